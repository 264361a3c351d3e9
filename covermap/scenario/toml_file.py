"""Reads a TOML file, however it was damaged."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

from covermap.errors import InputError
from covermap.tables.text_file import read_text_file

MOST_BYTES = 5_000_000  # a scenario has a few kB; one that lists 10 000 elevation files under 1 MB
MOST_DOTS = 20  # outside quotes in one line; the reader's time grows with the square of a key's parts
# texts, an open one to the end of its line, and decimal numbers: dots that part no keys
_NO_KEYS = re.compile(r'"(?:[^"\\\n]|\\.)*"?|\'[^\'\n]*\'?|\d+\.\d+')


def read_toml(path: Path, advice: str) -> dict[str, Any]:
    """Return the values of a TOML file.

    advice : what to do, the end of the sentence where the file is no TOML

    Raises InputError if the file cannot be read, is no UTF-8 text, or is not valid TOML.
    """
    try:
        text = read_text_file(path, MOST_BYTES).decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise InputError(f"{path.name} is not UTF-8 text ({error.reason}). Save it as UTF-8.") from error
    _refuse_long_keys(path.name, text)
    try:
        return tomllib.loads(text)
    except RecursionError as error:
        raise InputError(
            f"{path.name} is not valid TOML: brackets stand inside brackets, over a hundred deep. {advice}"
        ) from error
    except ValueError as error:  # no TOML, or a number of thousands of digits
        raise InputError(f"{path.name} is not valid TOML: {str(error)[:300]}. {advice}") from error


def _refuse_long_keys(file: str, text: str) -> None:
    """Raise InputError for a line with a key of very many parts."""
    for number, line in enumerate(_NO_KEYS.sub("", text).split("\n"), start=1):
        dots = line.partition("#")[0].count(".")
        if dots > MOST_DOTS:
            raise InputError(
                f"{file}, line {number}: found {dots} dots outside quotes; no key has that many parts. "
                "Correct that line."
            )
