"""The mapping file: what the user settled about a list, kept for next time."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from covermap.errors import InputError
from covermap.station_lists.matching import Answers


def read_mapping(path: Path) -> Answers:
    """Return the answers of a mapping file. Raises InputError if it cannot be read."""
    try:
        values = tomllib.loads(path.read_text("utf-8"))
        words = {
            (name, word): ours
            for name, of_field in _table(values, "words").items()
            for word, ours in _texts({name: of_field}, name).items()
        }
        return Answers(_texts(values, "columns"), _texts(values, "units"), words)
    except (OSError, ValueError) as error:  # no UTF-8 and no TOML are ValueErrors too
        raise InputError(
            f"{path.name} cannot be read as a mapping file: {error}. Correct or remove it."
        ) from error


def _table(values: Mapping[str, Any], name: str) -> dict[str, Any]:
    found = values.get(name, {})
    if not isinstance(found, dict):
        raise ValueError(f"{name} is {found!r}, not a table")
    return found


def _texts(values: Mapping[str, Any], name: str) -> dict[str, str]:
    table = _table(values, name)
    wrong = next((key for key, value in table.items() if not isinstance(value, str)), None)
    if wrong is not None:
        raise ValueError(f"{name}, {wrong} is {table[wrong]!r}, not text in quotes")
    return table


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
