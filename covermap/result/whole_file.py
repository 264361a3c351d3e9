"""Files that are whole or absent: written under a temporary name, then renamed."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Iterable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager, suppress
from pathlib import Path

from covermap.errors import CovermapError
from covermap.result.full_disk import full_disk_in_words

TEMPORARY_FOLDER = ".covermap_unfinished"
"""Folder of unfinished files inside an output folder; nothing but covermap writes there."""
# Windows flushes no file that is open for reading alone
FLUSHED_AS = os.O_RDWR if sys.platform == "win32" else os.O_RDONLY
FLUSHED_AT_ONCE = 8  # the disk writes them together: 130 files took 0.15 s instead of 0.9
TRIES = 1000  # to make a folder in it, which goes whenever it is empty


@contextmanager
def whole_file(path: Path) -> Iterator[Path]:
    """Give a temporary path beside `path`; on success it becomes `path`, on error it goes away.

    The temporary name keeps the suffix, because GDAL chooses by it. Raises whatever the block raises.
    """
    with whole_files([path]) as (temporary,):
        yield temporary


@contextmanager
def whole_files(paths: Iterable[Path]) -> Iterator[list[Path]]:
    """Give a temporary path for each of `paths`; all are renamed at the end, or none is.

    A path the block did not write is left as it was. Each rename is atomic; the set as a whole is
    renamed only once every file is complete. Raises CovermapError when the disk is full, and whatever else
    the block raises.
    """
    paths = [Path(path) for path in paths]
    temporaries = [_temporary(path, number) for number, path in enumerate(paths)]
    try:
        with full_disk_in_words(paths[0].parent if paths else Path()):
            yield temporaries
        for temporary, path in zip(temporaries, paths, strict=True):
            if temporary.exists():
                # Atomic only within one file system: that is why the temporary stands in a folder beside, not
                # in the system's.
                os.replace(temporary, path)
    finally:
        for folder in {temporary.parent for temporary in temporaries}:
            shutil.rmtree(folder, ignore_errors=True)
        drop_empty({path.parent / TEMPORARY_FOLDER for path in paths})


def write_text(path: Path, text: str) -> None:
    """Write a whole UTF-8 text file with line ends as given."""
    with whole_file(path) as temporary, open(temporary, "w", encoding="utf-8", newline="") as handle:
        handle.write(text)


def files_below(folder: Path) -> list[Path]:
    """Return the files below a folder, sorted, without unfinished ones."""
    return sorted(
        path
        for path in Path(folder).rglob("*")
        if path.is_file() and TEMPORARY_FOLDER not in path.relative_to(folder).parts
    )


def flush(paths: Iterable[Path]) -> None:
    """Have the disk hold files in earnest, so that a power cut cannot leave one empty that was whole."""
    with ThreadPoolExecutor(FLUSHED_AT_ONCE) as pool:
        for _ in pool.map(_flush, paths):
            pass


def _flush(path: Path) -> None:
    file = os.open(path, FLUSHED_AS)
    try:
        os.fsync(file)
    finally:
        os.close(file)


def _temporary(path: Path, number: int) -> Path:
    """Return a path in a fresh folder of this process, under the final file name."""
    # A folder with the final file name in it: some formats write sidecars beside, or note their own name.
    folder = path.parent / TEMPORARY_FOLDER / f"{os.getpid()}_{number}_{path.stem}"
    shutil.rmtree(folder, ignore_errors=True)
    for _ in range(TRIES):
        with suppress(FileExistsError, FileNotFoundError):  # another thread may take the empty parent away
            folder.parent.mkdir(parents=True, exist_ok=True)
            folder.mkdir()
            return folder / path.name
    raise CovermapError(f"{folder.parent}: somebody removes it again and again. Try again.")


def drop_empty(folders: Iterable[Path]) -> None:
    """Remove those of some folders that are empty, in the order they come in."""
    for folder in folders:
        try:
            folder.rmdir()
        except OSError:  # not empty, or gone already
            continue
