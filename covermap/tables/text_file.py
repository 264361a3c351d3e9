"""Reads a whole text file of the user's: a regular file, not too large, or one clear error."""

from __future__ import annotations

import os
import stat
from pathlib import Path

from covermap.errors import InputError

MOST_BYTES = 1_000_000_000  # a national table of addresses lies far below
OTHER_KINDS = (
    (stat.S_ISDIR, "a folder"),
    (stat.S_ISFIFO, "a named pipe"),
    (stat.S_ISSOCK, "a socket"),
    (stat.S_ISCHR, "a device"),
    (stat.S_ISBLK, "a device"),
)


def read_text_file(path: Path, most_bytes: int = MOST_BYTES) -> bytes:
    """Return the content of a file.

    Raises InputError if it is missing, no regular file (a pipe would be waited for without end), not
    readable, or larger than most_bytes.
    """
    try:
        status = os.stat(path)
        kind = kind_of(status)
        if kind:
            raise InputError(f"{path.name} is {kind}, not a file: {path}. Give the path of a file.")
        if status.st_size > most_bytes:
            raise InputError(
                f"{path.name} has {status.st_size / 1e6:,.0f} MB; a file of this kind has at most "
                f"{most_bytes / 1e6:,.0f} MB. Is it the right file? Leave out what the area does not need."
            )
        return path.read_bytes()
    except OSError as error:
        raise InputError(
            f"{path.name[:80]} cannot be read: {error.strerror}. Check the path {str(path)[:200]}."
        ) from error


def kind_of(status: os.stat_result) -> str:
    """Return what stands in place of a regular file, as in "a named pipe"; '' for a regular file."""
    return next((words for is_kind, words in OTHER_KINDS if is_kind(status.st_mode)), "")
