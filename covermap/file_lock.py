"""A lock on an open file that ends with its process, as POSIX systems and as Windows know it."""

from __future__ import annotations

import errno
import os
import time
from typing import Any

fcntl: Any
msvcrt: Any
try:
    import fcntl
except ImportError:  # Windows
    fcntl = None
    import msvcrt

LOCKED_BYTE = 2**30  # of Windows' locks: nobody else may read what is locked, so it lies behind all content
ASKED_AGAIN_S = 0.1


def lock(file: int, *, wait: bool = False) -> bool:
    """Lock an open file, given by its descriptor; return False where another holder has it.

    wait : until it is free, so that True is returned
    The system takes the lock away when the file is closed, also with a process that is killed. On Windows the
    file's position is moved.

    Raises OSError on a disk without locks.
    """
    if fcntl is None:
        return _lock_byte(file, wait)
    try:
        fcntl.flock(file, fcntl.LOCK_EX | (0 if wait else fcntl.LOCK_NB))
    except BlockingIOError:
        return False
    return True


def _lock_byte(file: int, wait: bool) -> bool:
    while True:
        os.lseek(file, LOCKED_BYTE, os.SEEK_SET)
        try:
            msvcrt.locking(file, msvcrt.LK_NBLCK, 1)
        except OSError as error:
            if error.errno != errno.EACCES:
                raise
        else:
            return True
        if not wait:
            return False
        time.sleep(ASKED_AGAIN_S)
