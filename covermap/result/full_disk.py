"""A full disk while results are written: told in words, whichever library noticed it."""

from __future__ import annotations

import errno
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from covermap.errors import CovermapError

LEAST_FREE_BYTES = 2**20  # libraries write less at once: where more is free, none was refused
OF_FULL_DISKS = (
    "no space left", "disk is full", "quota exceeded", "not enough space", "file too large",
    "commit transaction",  # of SQLite on a file that nobody else has
)  # fmt: skip


@contextmanager
def full_disk_in_words(folder: Path) -> Iterator[None]:
    """Raise CovermapError where what is written inside does not fit on the disk of a folder.

    Also when no error came but the disk is full before or after: some libraries report a refused write only
    to a log, and the file would lack a part. Everything else is raised as it is.
    """
    if _is_full(folder):
        raise _full(folder)
    try:
        yield
    # already in words, perhaps of another disk (the store's)
    except CovermapError:
        raise
    except Exception as error:  # of any library: what counts is the disk
        if _tells_of_a_full_disk(error) or _is_full(folder):
            raise _full(folder) from error
        raise
    if _is_full(folder):
        raise _full(folder)


def _tells_of_a_full_disk(error: BaseException | None) -> bool:
    """Return whether an error, or one that led to it, is the disk's, or that of a limit on files."""
    while error is not None:
        if isinstance(error, OSError) and error.errno in (errno.ENOSPC, errno.EDQUOT, errno.EFBIG):
            return True
        if any(words in str(error).lower() for words in OF_FULL_DISKS):
            return True
        error = error.__cause__ or error.__context__
    return False


def _is_full(folder: Path) -> bool:
    folder = Path(folder).absolute()
    while not folder.exists():
        folder = folder.parent
    return shutil.disk_usage(folder).free < LEAST_FREE_BYTES


def _full(folder: Path) -> CovermapError:
    return CovermapError(
        f"The disk of {folder} is full, or takes no files of this size: the results did not fit. Nothing "
        "half written is left. Free space, or name a folder on another disk with --output; the same command "
        "carries on."
    )
