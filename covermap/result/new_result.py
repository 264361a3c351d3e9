"""A result that takes the place of the earlier one whole or not at all.

A run writes into a hidden folder inside the output folder. At its end a journal is written there, and from
then on the new result is the one: the files of the earlier result go aside, then the new ones move in,
run.json last, so that files of two results never stand together. Who is stopped in between leaves the
journal; whoever opens the folder next, to read or to write, carries on from it.
"""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from covermap.errors import CovermapError
from covermap.result.finished_parts import drop_unfinished
from covermap.result.folder_lock import FolderLock, locked
from covermap.result.result_folder import JOURNAL_FILE, RUN_FILE, read_record
from covermap.result.whole_file import TEMPORARY_FOLDER, drop_empty, files_below, flush, write_text

NEW, EARLIER = "result", "earlier"  # folders beside the journal
SIDECARS = ("-wal", "-shm", "-journal", ".aux.xml")  # of SQLite and GDAL: of no use to a new file, or harmful


@contextmanager
def new_result(folder: Path, origin: str | None = None) -> Iterator[Path]:
    """Give a folder to write a result into; at the end it takes the place of the earlier one in `folder`.

    origin : what the parts of a map are made from. Those that were finished from it stay in the folder when
        the run fails or is stopped, and stand in it again next time (covermap.result.finished_parts)

    Whatever fails, the earlier result stays as it was, and the reason is raised. Files that are not of a
    result stay. A folder that was not there is not left behind empty.

    Raises InputError when another run is writing here, CovermapError when the folder is gone at the end or
    its files cannot be exchanged.
    """
    folder = Path(folder)
    # innermost first, so that dropping the empty ones in this order works
    made = [path for path in (folder, *folder.parents) if not path.exists()]
    try:
        with locked(folder) as lock:
            _settle(folder, origin)
            new = folder / TEMPORARY_FOLDER / NEW
            new.mkdir(exist_ok=True)
            try:
                yield new
                _require_there(folder, lock)
                _exchange(folder, new)
                origin = None
            except Exception as error:
                _require_there(folder, lock, error)
                error.add_note(
                    f"{folder} is as it was before the run; path losses that were computed are kept."
                )
                raise
            finally:
                _clear(folder, origin)
    finally:
        drop_empty(made)


def settle(folder: Path) -> None:
    """Carry on an exchange that a run began in a folder and did not end; nothing where there is none.

    Raises InputError while a run is at it, CovermapError where its files cannot be moved.
    """
    if (Path(folder) / TEMPORARY_FOLDER / JOURNAL_FILE).is_file():
        with locked(folder):
            _settle(Path(folder))


def _settle(folder: Path, origin: str | None = None) -> None:
    """Carry on an exchange that was not ended, then remove what else is unfinished and of no more use."""
    try:
        _carry_on(folder)
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise CovermapError(
            f"{folder}: a run was stopped while its result took the place of the earlier one, and it cannot "
            f"be carried on: {error}. Mend that, or remove {TEMPORARY_FOLDER} in it; then run covermap map."
        ) from error
    _clear(folder, origin)


def _exchange(folder: Path, new: Path) -> None:
    """Put the files of the new result in the place of the earlier ones."""
    names = _last(RUN_FILE, (path.relative_to(new).as_posix() for path in files_below(new)))
    # Before the journal: from then on the new files count, so they must be on the disk.
    flush(new / name for name in names)
    journal = folder / TEMPORARY_FOLDER / JOURNAL_FILE
    write_text(journal, json.dumps({"new": names, "earlier": _earlier_names(folder, names)}))
    try:
        _carry_on(folder)
    except BaseException as error:
        _take_back(folder)
        if isinstance(error, OSError):
            raise CovermapError(
                f"{folder}: the new result could not take the place of the earlier one: {error.strerror} "
                f"({error.filename}). The earlier one is as it was. Mend that and run again: paths are kept."
            ) from error
        raise


def _carry_on(folder: Path) -> None:
    """Do what is left of an exchange; in any state, any number of times."""
    hidden = folder / TEMPORARY_FOLDER
    if not (hidden / JOURNAL_FILE).is_file():
        return
    journal = _read_journal(folder)
    # A new file that has left the hidden folder stands in its place already: it must not be taken for the
    # earlier one of that name and moved aside.
    in_place = {name for name in journal["new"] if not (hidden / NEW / name).exists()}
    # run.json goes first: from then on nobody takes the folder for a result.
    for name in reversed(_last(RUN_FILE, journal["earlier"])):
        if name not in in_place:
            _move(folder / name, hidden / EARLIER / name)
    # run.json last (names are sorted so): only with it the folder is a result again.
    for name in journal["new"]:
        _move(hidden / NEW / name, folder / name)
    drop_empty({(folder / name).parent for name in journal["earlier"]} - {folder})
    (hidden / JOURNAL_FILE).unlink()


def _take_back(folder: Path) -> None:
    """Undo what was done of an exchange."""
    hidden = folder / TEMPORARY_FOLDER
    journal = _read_journal(folder)
    for name in reversed(journal["new"]):
        if not (hidden / NEW / name).exists():
            _move(folder / name, hidden / NEW / name)
    for name in _last(RUN_FILE, journal["earlier"]):
        _move(hidden / EARLIER / name, folder / name)
    drop_empty({(folder / name).parent for name in journal["new"]} - {folder})
    (hidden / JOURNAL_FILE).unlink()


def _read_journal(folder: Path) -> dict[str, list[str]]:
    """Return the names of the new and the earlier files, none of which leads out of the folder."""
    journal = json.loads((folder / TEMPORARY_FOLDER / JOURNAL_FILE).read_text(encoding="utf-8"))
    return {part: [name for name in journal[part] if _is_below(folder, name)] for part in ("new", "earlier")}


def _earlier_names(folder: Path, new: Iterable[str]) -> list[str]:
    """Return what must go aside: what an earlier run.json lists, what bears a new name, and sidecars."""
    record = read_record(folder) or {"files": []}
    listed = {name for name in record.get("files", []) if isinstance(name, str)} | {*new, RUN_FILE}
    names = listed | {name + ending for name in listed for ending in SIDECARS}
    return sorted(name for name in names if _is_below(folder, name) and (folder / name).is_file())


def _is_below(folder: Path, name: str) -> bool:
    # A journal or run.json from elsewhere could name ../../something: nothing outside the folder is ever
    # moved.
    return (folder / name).resolve().is_relative_to(folder.resolve())


def _move(source: Path, target: Path) -> None:
    """Rename a file, if it is there."""
    if source.exists():
        target.parent.mkdir(parents=True, exist_ok=True)
        os.replace(source, target)


def _last(name: str, names: Iterable[str]) -> list[str]:
    """Return names sorted, one of them last."""
    return sorted(names, key=lambda one: (one == name, one))


def _require_there(folder: Path, lock: FolderLock, error: Exception | None = None) -> None:
    """Raise CovermapError when somebody removed the folder that is written to."""
    if not lock.is_held:
        raise CovermapError(
            f"{folder} was removed while the run was writing there, or the hidden {TEMPORARY_FOLDER} in it. "
            "Run the same command again: path losses that were computed are kept."
        ) from error


def _clear(folder: Path, origin: str | None) -> None:
    """Remove what is unfinished, but the parts of an origin, and all an exchange must be carried on from."""
    hidden = folder / TEMPORARY_FOLDER
    if (hidden / JOURNAL_FILE).is_file():
        return
    drop_unfinished(hidden / NEW, origin)
    with suppress(FileNotFoundError):
        for path in hidden.iterdir():
            if path.is_dir() and path.name != NEW:
                # the folders alone: the lock's file beside them is held by this process
                shutil.rmtree(path, ignore_errors=True)
