"""The mapping file: what the user settled about a list, kept for next time."""

from __future__ import annotations

import tomllib
from pathlib import Path

from covermap.errors import InputError
from covermap.station_lists.matching import Answers


def read_mapping(path: Path) -> Answers:
    """Return the answers of a mapping file. Raises InputError if it cannot be read."""
    try:
        values = tomllib.loads(path.read_text("utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise InputError(
            f"{path.name} cannot be read as a mapping file: {error}. Correct or remove it."
        ) from error
    words = {
        (name, word): ours
        for name, of_field in values.get("words", {}).items()
        for word, ours in of_field.items()
    }
    return Answers(dict(values.get("columns", {})), dict(values.get("units", {})), words)


def mapping_text(answers: Answers) -> str:
    """Return answers as the text of a mapping file."""
    lines = ["# What was settled about this list; covermap stations reads it with --mapping.", "[columns]"]
    lines += [f"{name} = {_quoted(heading)}" for name, heading in answers.columns.items()]
    lines += ["", "[units]", *(f"{name} = {_quoted(unit)}" for name, unit in answers.units.items())]
    for field in dict.fromkeys(name for name, _ in answers.words):
        lines += ["", f"[words.{field}]"]
        lines += [
            f"{_quoted(word)} = {_quoted(ours)}"
            for (name, word), ours in answers.words.items()
            if name == field
        ]
    return "\n".join(lines) + "\n"


def joined(first: Answers, second: Answers) -> Answers:
    """Return both; where both answer, the second counts."""
    return Answers(
        {**first.columns, **second.columns},
        {**first.units, **second.units},
        {**first.words, **second.words},
    )


def _quoted(text: str) -> str:
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{escaped}"'
