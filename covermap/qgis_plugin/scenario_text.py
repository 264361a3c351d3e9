"""The text of a scenario file from the choices of the algorithm. Pure Python."""

import json
import os
from pathlib import Path

MOST_LETTERS = 64  # of a list's name, as the command wants it


def scenario_text(choices, folder):
    """Return a scenario in TOML.

    choices : table -> key -> value; None and empty values are left out, Path values are written relative
        to folder where that is possible
    """
    lines = ["# Assembled from layers in QGIS."]
    for table, values in choices.items():
        rows = [f"{key} = {_toml(value, folder)}" for key, value in values.items() if not _empty(value)]
        if table and rows:
            lines += ["", f"[{table}]"]
        lines += rows
    return "\n".join(lines) + "\n"


def _empty(value):
    return value is None or value == "" or value == []


def _toml(value, folder):
    # before int: in Python True is one
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        return repr(value)
    if isinstance(value, Path):
        return json.dumps(relative_path(value, folder), ensure_ascii=False)
    if isinstance(value, (list, tuple)):
        return f"[{', '.join(_toml(part, folder) for part in value)}]"
    # A JSON string serves as TOML's. Not with ensure_ascii, which writes what is beyond 16 bits as two
    # surrogates, and TOML refuses them.
    return json.dumps(str(value), ensure_ascii=False)


def relative_path(path, folder):
    """Return a path relative to a folder with forward slashes; unchanged on another drive or for GDAL."""
    if str(path).startswith("/vsi"):
        return str(path)
    try:
        return Path(os.path.relpath(path, folder)).as_posix()
    except ValueError:
        return Path(path).as_posix()


def lists_of(text):
    """Return name -> services of further wanted lists, one a line: its name, a colon, its services.

    Raises ValueError for a line that is none.
    """
    found = {}
    for line in filter(str.strip, text.splitlines()):
        name, _, services = (part.strip() for part in line.partition(":"))
        # ASCII, as the command wants it: the name becomes a folder, and a TOML key without quotes
        plain = name.isascii() and all(letter.isalnum() or letter in "-_" for letter in name)
        if not plain or not 1 <= len(name) <= MOST_LETTERS or not services_of(services):
            raise ValueError(
                f"Further wanted lists, line {line.strip()!r}: write a name of letters from a to z and "
                "digits, at most 64, a colon, and services separated by semicolons."
            )
        if name == "main" or name in found:
            raise ValueError(f"Further wanted lists: {name!r} is taken; give each list a name of its own.")
        found[name] = services_of(services)
    return found


def services_of(text):
    """Return the services of a text that separates them by semicolons or lines."""
    parts = text.replace("\n", ";").split(";")
    return [part.strip() for part in parts if part.strip()]
