"""The facts of a run as rows of key and value, for tables inside other files."""

from __future__ import annotations

import json
from typing import Any


def run_facts(run: dict[str, Any]) -> list[tuple[str, str]]:
    """Return (key, value) rows of a run's record, nested keys joined by a dot, lists numbered from 1.

    Every warning, caution and point not counted has its own row.
    """
    return [(key, _as_text(value)) for key, value in _rows("", run)]


def _rows(prefix: str, value: Any) -> list[tuple[str, Any]]:
    if isinstance(value, dict):
        pairs = [(str(key), part) for key, part in value.items()]
    elif isinstance(value, list | tuple):
        pairs = [(str(number), part) for number, part in enumerate(value, start=1)]
    else:
        return [(prefix, value)]
    return [row for key, part in pairs for row in _rows(f"{prefix}.{key}" if prefix else key, part)]


def _as_text(value: Any) -> str:
    if value is None:
        return ""
    return value if isinstance(value, str) else json.dumps(value)
