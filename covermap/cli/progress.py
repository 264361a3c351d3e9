"""Progress on stderr: one living line for people, JSON lines for programs, or nothing."""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from covermap.cli.terminal import printable

# told the stage, the fraction of it that is done, and words about it; False stops the run
Progress = Callable[[str, float, str], bool]
LINE_EVERY_S = 10.0
LEAST_TIMED_S = 1.0  # a shorter part says nothing of the rest


class _Clock:
    """Time left in a stage, from the time that a part of it took."""

    def __init__(self) -> None:
        self._stage = ""
        self._start = 0.0
        self._done = 0.0

    def seconds_left(self, stage: str, fraction: float) -> float | None:
        """Return the seconds left, or None while too little is done to tell."""
        now = time.monotonic()
        if stage != self._stage:
            # What was done before the first word took a time that nobody measured.
            self._stage, self._start, self._done = stage, now, fraction
        took_s, part = now - self._start, fraction - self._done
        if fraction >= 1.0:
            return 0.0
        if part <= 0.02 or took_s < LEAST_TIMED_S:
            return None
        return took_s * (1.0 - fraction) / part


def say_nothing(stage: str, fraction: float, words: str = "") -> bool:
    """Go on, silently."""
    return True


@contextmanager
def progress_on_stderr(kind: str) -> Iterator[Progress]:
    """Yield the function a job calls; kind is auto, json or none."""
    if kind == "none":
        yield say_nothing
    elif kind == "json":
        yield _json_lines()
    else:
        with _living_line() as report:
            yield report


def _json_lines() -> Progress:
    clock = _Clock()

    def report(stage: str, fraction: float, words: str = "") -> bool:
        left = clock.seconds_left(stage, fraction)
        line = {
            "stage": stage,
            "fraction": round(fraction, 4),
            "seconds_left": None if left is None else round(left),
        }
        print(json.dumps(line), file=sys.stderr, flush=True)
        return True

    return report


@contextmanager
def _living_line() -> Iterator[Progress]:
    from rich.console import Console
    from rich.text import Text

    console = Console(stderr=True, highlight=False)
    if not console.is_terminal:
        yield _lines_now_and_then()
        return
    clock = _Clock()
    with console.status("Reading the inputs", spinner="dots") as status:

        def report(stage: str, fraction: float, words: str = "") -> bool:
            text = _in_words(clock, stage, fraction, words)
            text += "   (safe to stop with Ctrl+C; the same command carries on)"
            status.update(Text(printable(text)))  # as it is: a name in brackets is no markup
            return True

        yield report


def _lines_now_and_then() -> Progress:
    """Return what writes a line every 10 s to output that is no terminal: a log, a pipe, a batch job."""
    clock = _Clock()
    told = [time.monotonic()]

    def report(stage: str, fraction: float, words: str = "") -> bool:
        now, line = time.monotonic(), _in_words(clock, stage, fraction, words)
        if now - told[0] >= LINE_EVERY_S:
            told[0] = now
            print(printable(line), file=sys.stderr, flush=True)
        return True

    return report


def _in_words(clock: _Clock, stage: str, fraction: float, words: str) -> str:
    left = clock.seconds_left(stage, fraction)
    tail = "" if left is None else f"   {left:.0f} s left"
    return f"{stage.capitalize():<10} {words}   {100 * fraction:.0f} %{tail}"
