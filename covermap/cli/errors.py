"""Errors as one message on stderr and an exit status, never a traceback for wrong input."""

from __future__ import annotations

import os
import re
import sys
import traceback
from collections.abc import Iterator
from contextlib import contextmanager

import click

from covermap.errors import CovermapError, InputError

INPUT_IS_WRONG = 2
FAILED_WHILE_RUNNING = 1
INTERRUPTED = 130
LONGEST_LINE = 600  # letters; a file that is no text has lines without end


@contextmanager
def errors_as_exit_status() -> Iterator[None]:
    """Turn InputError into status 2, other failures into 1 and Ctrl+C into 130, one message each."""
    try:
        yield
    except InputError as error:
        _leave(f"{error}\nNothing was written.", INPUT_IS_WRONG)
    except CovermapError as error:
        _leave(str(error), FAILED_WHILE_RUNNING)
    except KeyboardInterrupt:
        _leave("Stopped. The same command carries on where this one stopped.", INTERRUPTED)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(FAILED_WHILE_RUNNING)
    except (OSError, MemoryError) as error:
        _leave(f"The run failed: {type(error).__name__}: {error}", FAILED_WHILE_RUNNING)
    except Exception as error:  # a fault of ours: show where, for the report
        traceback.print_exc()
        _leave(
            f"covermap failed, which is a fault in it: {type(error).__name__}: {error}", FAILED_WHILE_RUNNING
        )


def _leave(message: str, status: int) -> None:
    click.echo("\n".join(_printable(line) for line in message.split("\n")), err=True)
    sys.exit(status)


def _printable(line: str) -> str:
    """Return a line without what a terminal would obey, its middle left out when it has no end."""
    line = re.sub(r"[\x00-\x1f\x7f-\x9f]", "\N{REPLACEMENT CHARACTER}", line.replace("\t", " "))
    half = LONGEST_LINE // 2
    return line if len(line) <= LONGEST_LINE else f"{line[:half]} ... {line[-half:]}"
