"""Changes keys of a scenario file and leaves its other lines, comments too, as they are."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence

Value = str | float | bool | Sequence[str]


def with_keys(text: str, table: str, values: Mapping[str, Value]) -> str:
    """Return the text of a TOML file with keys of a table set.

    A key that is there, or stands as an example behind "#", is replaced where it stands; others are put
    under the table's heading, and a table that is missing at the end. A list over several lines is replaced
    whole.
    """
    # Line by line, not parsed and written anew: a TOML writer would drop the comments, which are the manual.
    lines = text.split("\n")
    heading = next((i for i, line in enumerate(lines) if line.strip() == f"[{table}]"), None)
    if heading is None:
        commented = next(
            (i for i, line in enumerate(lines) if re.match(rf"#\s*\[{re.escape(table)}\]", line)), None
        )
        if commented is None:
            lines += ["", f"[{table}]"]
            heading = len(lines) - 1
        else:
            lines[commented], heading = f"[{table}]", commented
    for key, value in values.items():
        first, last = _place(lines, heading, key)
        lines[first:last] = [f"{key} = {_written(value)}"]
    return "\n".join(lines)


def _place(lines: Sequence[str], heading: int, key: str) -> tuple[int, int]:
    """Return which lines a key takes, empty behind the heading where it is not there; set before example."""
    end = next((i for i in range(heading + 1, len(lines)) if re.match(r"(#\s*)?\[", lines[i])), len(lines))
    for pattern in (rf"\s*{re.escape(key)}\s*=", rf"#\s*{re.escape(key)}\s*="):
        for number in range(heading + 1, end):
            if re.match(pattern, lines[number]):
                last = number + 1
                value = lines[number].partition("=")[2].partition("#")[0].strip()
                while value.startswith("[") and "]" not in value and last < end:
                    value += lines[last].partition("#")[0].strip()
                    last += 1
                return number, last
    return heading + 1, heading + 1


def _written(value: Value) -> str:
    if isinstance(value, str | bool):
        return json.dumps(value, ensure_ascii=False)  # a JSON text is also a TOML text
    if isinstance(value, Sequence):
        return json.dumps(list(value), ensure_ascii=False)
    return f"{value:g}"
