"""One run at a time in an output folder: a lock that says who holds it and that ends with its process."""

from __future__ import annotations

import contextlib
import json
import os
import socket
import tempfile
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from covermap.errors import CovermapError, InputError
from covermap.file_lock import lock
from covermap.result.whole_file import TEMPORARY_FOLDER

LOCK_FILE = "running.json"
SIGN_OF_LIFE_EACH_S = 15.0
SILENT_S = 120.0  # a holder on another machine that gave no sign of life for so long is taken to be dead
TRIES = 100  # another run's end may take the folder of the lock away between two steps


class FolderLock:
    """A lock that is held on an output folder."""

    def __init__(self, path: Path, file: int) -> None:
        self._path = path
        self._file = file

    @property
    def is_held(self) -> bool:
        """Return whether the lock's file still stands in its folder; not when somebody removed the folder."""
        return _is_file_of(self._path, self._file)


@contextmanager
def locked(folder: Path) -> Iterator[FolderLock]:
    """Hold the lock of an output folder, which is made when it is not there.

    The system takes the lock away with the process, however that ends. A disk that several machines share
    may not tell them of each other's locks: there the holder's file, touched every 15 s, is the sign of life.

    Raises InputError when another run holds it, naming its process and machine.
    """
    path = Path(folder) / TEMPORARY_FOLDER / LOCK_FILE
    file = _take(path)
    if file is None:
        raise InputError(_in_words(Path(folder), _read(path)))
    ended, is_left = threading.Event(), False
    try:
        other = _read(path)
        # The lock was given, but some network disks give it to both: a holder that still touches its file is
        # believed.
        if other.get("host", socket.gethostname()) != socket.gethostname() and _shows_life(path):
            raise InputError(_in_words(Path(folder), other))
        os.ftruncate(file, 0)
        os.lseek(file, 0, os.SEEK_SET)
        os.write(file, json.dumps(_this_process()).encode())
        threading.Thread(target=_show_life, args=(path, ended), daemon=True).start()
        try:
            yield FolderLock(path, file)
        finally:
            ended.set()
            if _is_file_of(path, file):
                # Only its own: whoever removed the folder by hand and ran again has a lock of its own there
                # now.
                is_left = not _is_removed(path)
    finally:
        os.close(file)
        with contextlib.suppress(OSError):
            if is_left:
                path.unlink()  # not where another run on Windows has opened it meanwhile
            path.parent.rmdir()


def _take(path: Path) -> int | None:
    """Return the open file of the lock, or None where another holds it."""
    for _ in range(TRIES):
        path.parent.mkdir(parents=True, exist_ok=True)
        try:
            file = os.open(path, os.O_RDWR | os.O_CREAT, 0o666)
        except FileNotFoundError:
            continue
        try:
            # not a file whose being there is the lock: the system releases this with the process, also after
            # a kill
            is_given = lock(file)
        except OSError as error:  # a file system without locks
            os.close(file)
            raise InputError(
                f"{path.parent.parent} cannot be locked: {error.strerror}. Name a folder on another disk."
            ) from error
        if not is_given:
            os.close(file)
            return None
        if _is_file_of(path, file):
            return file
        os.close(file)  # its holder removed it between the two steps
    raise CovermapError(f"{path.parent.parent}: other runs come and go too fast. Try again.")


def _is_removed(path: Path) -> bool:
    """Remove the file of a lock that is held; return False on Windows, which removes no open file."""
    try:
        path.unlink()
    except PermissionError:
        return False
    return True


def _is_file_of(path: Path, file: int) -> bool:
    try:
        return os.path.samestat(os.fstat(file), path.stat())
    except OSError:
        return False


def _this_process() -> dict[str, Any]:
    return {
        "pid": os.getpid(),
        "host": socket.gethostname(),
        "begun": datetime.now(UTC).isoformat(timespec="seconds"),
    }


def _read(path: Path) -> dict[str, Any]:
    """Return who holds or held the lock; nothing where that is not told."""
    try:
        record = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return {}
    return record if isinstance(record, dict) else {}


def _show_life(path: Path, ended: threading.Event) -> None:
    """Touch the file of the lock until the run ends."""
    while not ended.wait(SIGN_OF_LIFE_EACH_S):
        with contextlib.suppress(OSError):
            os.utime(path)


def _shows_life(path: Path) -> bool:
    """Return whether the lock's file was touched lately, by the clock of the disk it stands on."""
    # A file made there just now: its time is the disk's clock, which may differ from this machine's.
    with tempfile.NamedTemporaryFile(dir=path.parent) as now:
        age_s = os.stat(now.name).st_mtime - path.stat().st_mtime
    return abs(age_s) < SILENT_S


def _in_words(folder: Path, record: dict[str, Any]) -> str:
    who = f"process {record.get('pid', 'unknown')} on {record.get('host', 'this machine')}"
    return (
        f"{folder}: another run is writing here: {who}, begun {record.get('begun', 'just now')}.\n"
        "  Wait until it ends, or name another folder with --output. If its machine went down, run again in "
        f"{SILENT_S / 60:g} minutes."
    )
