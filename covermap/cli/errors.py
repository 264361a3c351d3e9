"""Errors as one message on stderr and an exit status, never a traceback for wrong input."""

from __future__ import annotations

import os
import signal
import sys
import traceback
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, NoReturn

from covermap.cli.terminal import say, shortened
from covermap.errors import CovermapError, InputError

INPUT_IS_WRONG = 2
FAILED_WHILE_RUNNING = 1
INTERRUPTED = 130
ASK_TO_STOP = ("SIGTERM", "SIGHUP")  # of a system that shuts down, a scheduler of jobs, a closed terminal


@contextmanager
def errors_as_exit_status() -> Iterator[None]:
    """Turn InputError into status 2, other failures into 1 and being stopped into 130, one message each."""
    try:
        with _stopped_as_by_the_keyboard():
            yield
    except InputError as error:
        _leave("\n".join([str(error), *_written(error)]), INPUT_IS_WRONG)
    except CovermapError as error:
        _leave(str(error), FAILED_WHILE_RUNNING)
    except KeyboardInterrupt:
        _leave("Stopped. The same command carries on where this one stopped.", INTERRUPTED)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(FAILED_WHILE_RUNNING)
    except MemoryError as error:
        given = f" ({error})" if str(error) else ""
        _leave(
            f"The run failed: there is not enough memory{given}. Use larger squares, a smaller area or fewer "
            "--workers.",
            FAILED_WHILE_RUNNING,
        )
    except OSError as error:
        _leave(f"The run failed: {type(error).__name__}: {error}", FAILED_WHILE_RUNNING)
    except Exception as error:  # a fault of ours: show where, for the report
        traceback.print_exc()
        _leave(
            f"covermap failed, which is a fault in it: {type(error).__name__}: {error}", FAILED_WHILE_RUNNING
        )


@contextmanager
def _stopped_as_by_the_keyboard() -> Iterator[None]:
    """Let a request to stop end the command as Ctrl+C does; one that is ignored, as below nohup, stays so."""

    def stop(_number: int, _frame: Any) -> None:
        raise KeyboardInterrupt

    asked = [getattr(signal, name) for name in ASK_TO_STOP if hasattr(signal, name)]
    before = {one: signal.signal(one, stop) for one in asked if signal.getsignal(one) == signal.SIG_DFL}
    try:
        yield
    finally:
        for one, handler in before.items():
            signal.signal(one, handler)


def _written(error: InputError) -> list[str]:
    """Return what a command that refuses an input has written: what the error notes, else nothing."""
    return getattr(error, "__notes__", []) or ["Nothing was written."]


def _leave(message: str, status: int) -> NoReturn:
    say("\n".join(shortened(line) for line in message.split("\n")), err=True)
    sys.exit(status)
