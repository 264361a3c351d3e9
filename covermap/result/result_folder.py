"""The output folder: whether it is ours and can be written to."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from covermap.errors import InputError
from covermap.result.whole_file import TEMPORARY_FOLDER

RUN_FILE = "run.json"
DIGESTS = "digests"  # in run.json: made_of, run (run.json without this key) and files, by name
JOURNAL_FILE = "exchange.json"  # in TEMPORARY_FOLDER while a result takes the place of an earlier one


def require_ours(folder: Path, overwrite: bool = False) -> None:
    """Check that results may be written to a folder: new, empty, an earlier result, or an unfinished one.

    Nothing is written or removed here. With `overwrite` any folder will do; files in it that are not
    results stay. Raises InputError otherwise.
    """
    folder = Path(folder)
    if folder.exists() and not folder.is_dir():
        raise InputError(f"{folder} is a file, not a folder. Name another output folder.")
    if overwrite or not folder.exists() or read_record(folder) is not None:
        return
    # In the middle of an exchange there may be no run.json: the journal says that the folder is ours.
    if (folder / TEMPORARY_FOLDER / JOURNAL_FILE).exists():
        return
    foreign = sorted(path.name for path in folder.iterdir() if not _is_unfinished(path))
    if foreign:
        raise InputError(
            f"{folder} holds files that are not a covermap result, for example {foreign[0]}. Name another "
            "folder, or add --overwrite: files that are not results stay as they are."
        )


def require_own_record(folder: Path, record: str, overwrite: bool = False) -> None:
    """Check that a folder is new, empty or holds the named record of an earlier command of ours.

    Raises InputError otherwise, unless `overwrite`; files of others stay as they are either way.
    """
    folder = Path(folder)
    if folder.exists() and not folder.is_dir():
        raise InputError(f"{folder} is a file, not a folder. Name another output folder.")
    if overwrite or not folder.exists() or (folder / record).is_file():
        return
    foreign = sorted(path.name for path in folder.iterdir() if not _is_unfinished(path))
    if foreign:
        raise InputError(
            f"{folder} holds files that are not of this command, for example {foreign[0]}. Name another "
            "folder, or add --overwrite."
        )


def require_writable(folder: Path) -> None:
    """Check that files can be written where a folder stands or will stand; nothing stays behind.

    Raises InputError when they cannot, for example below a file, on a read-only disk or without rights.
    """
    place = Path(folder)
    while not place.exists() and place != place.parent:
        place = place.parent
    try:
        # Tried, not asked: rights, read-only disks and network disks each say no in their own way.
        with tempfile.TemporaryDirectory(dir=place, prefix=".covermap_"):
            pass
    except OSError as error:
        raise InputError(
            f"{folder} cannot be written to: {error.strerror} ({place}). Name a folder you may write to."
        ) from error


def read_record(folder: Path) -> dict[str, Any] | None:
    """Return run.json of an earlier result of any format, None where there is none of ours."""
    try:
        run = json.loads((Path(folder) / RUN_FILE).read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return None
    return run if isinstance(run, dict) and "result_format" in run else None


def relative_names(folder: Path, paths: Iterable[Path]) -> list[str]:
    """Return paths below a folder as run.json lists them, sorted."""
    return sorted({Path(path).relative_to(folder).as_posix() for path in paths})


def _is_unfinished(path: Path) -> bool:
    """Return whether a path is only what an interrupted run left."""
    if path.name == TEMPORARY_FOLDER:
        return True
    return path.is_dir() and all(_is_unfinished(inner) for inner in path.iterdir())
