"""What a terminal is told: nothing that it would obey, turn round or fail to write."""

from __future__ import annotations

import io
import re
import sys
import warnings

import click

LONGEST_LINE = 600  # letters; a file that is no text has lines without end
# control codes, single surrogates, line separators, and the marks of direction of Unicode Standard Annex 9,
# which make a terminal show a name backwards
OBEYED = re.compile("[\x00-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u2069\ud800-\udfff]")


def write_what_it_can() -> None:
    """Have standard output write letters its encoding lacks as escapes, and warnings told as one line."""
    if isinstance(sys.stdout, io.TextIOWrapper):
        sys.stdout.reconfigure(errors="backslashreplace")
    warnings.showwarning = lambda message, *_, **__: say(f"Warning: {message}", err=True)


def say(text: str, *, err: bool = False) -> None:
    """Write lines to the terminal, as printable() has them."""
    click.echo("\n".join(printable(line) for line in text.split("\n")), err=err)


def printable(line: str) -> str:
    """Return a line with an escape in place of each letter that a terminal would obey rather than show."""
    return OBEYED.sub(lambda found: f"\\u{ord(found[0]):04x}", line.replace("\t", " "))


def shortened(line: str) -> str:
    """Return a line, its middle left out when it has no end."""
    half = LONGEST_LINE // 2
    return line if len(line) <= LONGEST_LINE else f"{line[:half]} ... {line[-half:]}"
