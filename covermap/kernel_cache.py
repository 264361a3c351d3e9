"""Where compiled kernels are kept: a folder for each state of the files they are compiled from.

numba notices a change of the file a kernel stands in, not of the kernels and constants it takes from other
files, and not when a new version comes with the old one's dates. So the folder's name holds a digest of all
these files: after an upgrade or an edit kernels are compiled anew, and a stale one is never run. Folders of
earlier states go when a new one begins: all but the few last used, and none that was used within a week,
since another process or version may still be running from it.

Kernels that maps use are compiled in sets, side by side; a lock in the folder keeps two processes from
compiling the same set.
"""

from __future__ import annotations

import atexit
import contextlib
import hashlib
import os
import shutil
import tempfile
import time
import warnings
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from typing import Any

from covermap.file_lock import lock

PACKAGE = Path(__file__).resolve().parent
KERNEL_FOLDERS = (
    "propagation",
    "reception",
    "grid",
    "terrain",
    "planning",
)  # and what kernels take from them
KERNEL_FILES = (
    "constants.py",
    "linked_kernels.py",
    "numba_arguments.py",
    "numba_calls.py",
    "numba_inference.py",
    "numba_items.py",
    "numba_linking.py",
    "numba_passes.py",
    "numba_records.py",
    "numba_typing.py",
)
FOLDER_PREFIX, LEAVING_PREFIX = "kernels_", "leaving_"
LOCK_PREFIX, READY_PREFIX = "compiling_", "ready_"
KEPT_FOLDERS = 3  # beside the one in use, whatever their age
UNUSED_S = 7 * 86400.0
MARKED_EACH_S = 86400.0  # a folder's date, which says when it was used, is not written at every start


def in_own_cache(decorate: Callable[[Any], Any]) -> Callable[[Any], Any]:
    """Return a numba decorator whose kernels are kept in the folder of these very files.

    With NUMBA_CACHE_DIR set, the folder it names is used as it is: who sets it looks after it.
    """

    import numba

    config: Any = numba.config

    def decorator(function: Any) -> Any:
        before = config.CACHE_DIR
        config.CACHE_DIR = str(cache_folder())  # read when a kernel is declared, not when compiled
        try:
            return decorate(function)
        finally:
            config.CACHE_DIR = before

    return decorator


@cache
def cache_folder() -> Path:
    """Return the folder: NUMBA_CACHE_DIR's, else one beside the package, else in the user's own cache.

    Notes that it is used; where it is new, folders of earlier states are pruned. Where none of them can be
    written, kernels are kept for this process alone, with a warning: every run then compiles for a minute.
    """
    from covermap.linked_kernels import is_linked

    named = os.environ.get("NUMBA_CACHE_DIR")
    folder = _folder(plain=not is_linked())
    try:
        is_new = not folder.is_dir()
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryFile(dir=folder):
            pass
    except OSError as error:
        return _of_this_process(folder, error)
    with contextlib.suppress(OSError):  # a folder that cannot be marked or pruned costs room, nothing else
        if is_new and not named:
            prune(folder)
        elif not named:
            _mark_used(folder)
    return folder


def _folder(*, plain: bool) -> Path:
    """Return the folder for kernels that are linked as text, or plain ones."""
    named = os.environ.get("NUMBA_CACHE_DIR")
    own = f"{FOLDER_PREFIX}{source_digest(PACKAGE)}{'_plain' if plain else ''}"
    return Path(named) if named else _parent() / own


def is_kept() -> bool:
    """Return whether kernels that this process compiles are there for others."""
    from covermap.linked_kernels import is_linked

    return cache_folder() == _folder(plain=not is_linked())


@contextlib.contextmanager
def compiling(kernel_set: str) -> Iterator[None]:
    """Compile a set of kernels within, alone: wait for another process that is at it.

    The system takes the lock away with the process. On a disk without locks both compile.
    """
    with open(cache_folder() / f"{LOCK_PREFIX}{kernel_set}", "ab") as file:
        with contextlib.suppress(OSError):
            lock(file.fileno(), wait=True)
        yield


def is_being_compiled(kernel_set: str) -> bool:
    """Return whether a process is at a set of kernels now. Loads no library."""
    for plain in (False, True):
        with (
            contextlib.suppress(OSError),  # not there, or on a disk without locks
            open(_folder(plain=plain) / f"{LOCK_PREFIX}{kernel_set}", "rb") as file,
        ):
            if not lock(file.fileno()):
                return True
    return False


def mark_ready() -> None:
    """Note that every set of kernels is compiled."""
    with contextlib.suppress(OSError):
        (cache_folder() / f"{READY_PREFIX}{source_digest(PACKAGE)}").touch()


def is_ready() -> bool:
    """Return whether every set was compiled from these very files. Loads no library."""
    mark = f"{READY_PREFIX}{source_digest(PACKAGE)}"
    return any((_folder(plain=plain) / mark).exists() for plain in (False, True))


def _of_this_process(folder: Path, error: OSError) -> Path:
    """Return a folder that goes when the process ends."""
    warnings.warn(
        f"Compiled kernels cannot be kept in {folder} ({error.strerror}): each run compiles for a minute or "
        "more. Name a folder you may write to in the environment variable NUMBA_CACHE_DIR.",
        stacklevel=2,
    )
    own = tempfile.mkdtemp(prefix="covermap_kernels_")
    atexit.register(shutil.rmtree, own, ignore_errors=True)
    return Path(own)


def _parent() -> Path:
    """Return where cache folders stand."""
    beside = PACKAGE / "__pycache__"
    if os.access(beside if beside.is_dir() else PACKAGE, os.W_OK):
        return beside
    own = os.environ.get("XDG_CACHE_HOME") or os.environ.get("LOCALAPPDATA") or Path.home() / ".cache"
    return Path(own) / "covermap"


def _mark_used(folder: Path) -> None:
    """Give a folder today's date, which says when it was last used."""
    if time.time() - folder.stat().st_mtime > MARKED_EACH_S:
        os.utime(folder)


def prune(in_use: Path) -> list[Path]:
    """Remove folders beside the one in use that nobody needs; return them.

    The last used KEPT_FOLDERS stay, and all that were used within UNUSED_S. A folder is renamed before it
    is emptied, so that no process finds half of one; a process that began in it compiles anew.
    """
    others = []
    for folder in in_use.parent.glob(f"{FOLDER_PREFIX}*"):
        with contextlib.suppress(OSError):  # gone meanwhile
            if folder != in_use and folder.is_dir() and not folder.is_symlink():
                others.append((folder.stat().st_mtime, folder))
    oldest_first = sorted(others)[: max(0, len(others) - KEPT_FOLDERS)]
    removed = []
    for used, folder in oldest_first:
        if time.time() - used < UNUSED_S:
            break
        leaving = folder.with_name(f"{LEAVING_PREFIX}{folder.name}_{os.getpid()}")
        with contextlib.suppress(OSError):  # another removes it, or it may not be removed
            folder.rename(leaving)
            removed.append(folder)
            shutil.rmtree(leaving, ignore_errors=True)
    for leaving in in_use.parent.glob(f"{LEAVING_PREFIX}{FOLDER_PREFIX}*"):
        shutil.rmtree(leaving, ignore_errors=True)  # of a process that died here
    return removed


@cache
def source_digest(package: Path) -> str:
    """Return sixteen digits for the content of every file that kernels are compiled from."""
    digest = hashlib.sha256()
    files = [package / name for name in KERNEL_FILES]
    for folder in KERNEL_FOLDERS:
        files += sorted((package / folder).rglob("*.py"))
    for path in files:
        digest.update(path.relative_to(package).as_posix().encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]
