"""The facts of a run as rows of key and value, for tables inside other files."""

from __future__ import annotations

import json
from typing import Any

from covermap.wording.language import say
from covermap.wording.lists import capital
from covermap.wording.words import homes_number


def run_facts(run: dict[str, Any]) -> list[tuple[str, str]]:
    """Return (key, value) rows of a run's record, nested keys joined by a dot, lists numbered from 1.

    Every warning, caution and point not counted has its own row.
    """
    return [(key, _as_text(value)) for key, value in _rows("", run)]


def dates_of_stations(run: dict[str, Any]) -> str:
    """Return the date of a run's station list, or its oldest and latest: '2026-03-01 to 2026-09-01'."""
    latest, oldest = run.get("stations_as_of") or "", run.get("stations_as_of_oldest") or ""
    return say("number.range", low=oldest, high=latest) if oldest not in ("", latest) else latest


def outside_in_words(run: dict[str, Any]) -> str:
    """Return what is said of homes off the map and in no neighbourhood, '' where there are none."""
    homes = run.get("homes") or {}
    total, off_map = homes.get("total") or 0.0, homes.get("outside_map") or 0.0
    nowhere = homes.get("outside_neighbourhoods") or 0.0
    sentences = []
    if total > 0 and off_map >= 0.5:
        of_file = {"off_map": capital(homes_number(off_map)), "total": homes_number(total)}
        sentences.append(say("basis.off_map", **of_file))
    if nowhere > 0:
        sentences.append(say("basis.nowhere", nowhere=capital(homes_number(nowhere))))
    return " ".join(sentences)


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
