"""The sentences `covermap map` ends with."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from covermap.planning.areas import HOMES_PREFIX, LAND_PREFIX, WholeSummary
from covermap.result.coverage import Coverage
from covermap.result.result_folder import RUN_FILE
from covermap.wording.run_facts import outside_in_words
from covermap.wording.words import (
    SMALL_COUNT,
    homes_number,
    homes_range,
    path_in_words,
    percent_whole,
    plural,
)

INDOORS, OUTDOORS, AMPLIFIED = (1, 2, 3), (4, 5), (6, 7)
READ_FIRST = ("brief.html", "map.html")
GIS_FILES = ("coverage.qgs", "coverage.gpkg")


def run_in_words(coverage: Coverage, whole: dict[str, WholeSummary]) -> str:
    """Return the summary of a finished run, one or two sentences a list, then what to open.

    whole : of planning.areas.summarise_whole()
    """
    lines = []
    for list_name, summary in whole.items():
        lines.append(f"{_heading(coverage, list_name)}: {counts_in_words(summary.columns)}")
        decider = decider_in_words(summary.columns)
        if decider:
            lines.append(decider)
    outside = outside_in_words(dict(coverage.run))
    lines += [outside] if outside else []
    lines += coverage.run.get("not_counted", [])
    lines.append(files_in_words(coverage.folder, coverage.run.get("warnings", [])))
    return "\n".join(lines)


def counts_in_words(columns: pd.Series) -> str:
    """Return how many homes need what, two significant figures; without homes shares of the land."""
    of_homes = f"{HOMES_PREFIX}total" in columns
    prefix = HOMES_PREFIX if of_homes else LAND_PREFIX
    number = homes_number if of_homes else percent_whole

    def of(tiers: Sequence[int]) -> str:
        return number(float(sum(columns[f"{prefix}tier_{tier}"] for tier in tiers)))

    are, need, manage = ("are", "need", "manage") if of_homes else ("is", "needs", "manages")
    whole = f"about {homes_number(float(columns['homes_total']))} homes" if of_homes else "the land"
    without = number(float(columns[f"{prefix}without"]))
    low, high = columns.get(f"{prefix}without_low"), columns.get(f"{prefix}without_high")
    if of_homes and low is not None and high is not None and not pd.isna(high) and high >= SMALL_COUNT:
        without = homes_range(float(columns["homes_without"]), float(low), float(high))
    groups = (
        [
            (of(INDOORS), f"{manage} indoors"),
            (of(OUTDOORS), f"{need} a gable or rooftop antenna"),
            (of(AMPLIFIED), "an amplifier or tall mast"),
        ],
        [
            (of((8,)), "cannot be promised the list by any antenna"),
            (without, f"{are} expected to get none of it at all"),
        ],
        [(number(float(columns[f"{prefix}unknown"])), f"{are} unknown")],
    )
    nothing = (number(0.0), "0 %")
    told = [[f"{count} {words}" for count, words in group if count not in nothing] for group in groups]
    return f"of {whole}, {'; '.join(', '.join(group) for group in told if group)}."


def decider_in_words(columns: pd.Series) -> str:
    """Return which service decides for most homes, or '' where none does."""
    service: Any = columns["deciding_service"]
    if pd.isna(service):
        return ""
    of_what = "the homes" if f"{HOMES_PREFIX}total" in columns else "the land"
    return f"{service} decides for {percent_whole(float(columns['deciding_share_percent']))} of {of_what}."


def files_in_words(folder: Path, warnings: Sequence[str]) -> str:
    """Return what to open first, of the files that are there, and where the warnings stand."""
    first = [path_in_words(folder / name) for name in READ_FIRST if (folder / name).is_file()]
    gis = next((path_in_words(folder / name) for name in GIS_FILES if (folder / name).is_file()), None)
    parts = []
    if first:
        parts.append(f"Open {', then '.join([f'{first[0]} first', *first[1:]] if len(first) > 1 else first)}")
    if gis:
        parts.append(f"QGIS: {gis}")
    text = "; ".join(parts) + "." if parts else f"Results are in {path_in_words(folder)}."
    if not warnings:
        return text
    return f"{text} {plural(len(warnings), 'warning')} in {path_in_words(folder / RUN_FILE)}."


def _heading(coverage: Coverage, list_name: str) -> str:
    confidence = coverage.run.get("confidence_percent")
    sure = "" if confidence is None else f", {confidence:g} % sure"
    return f'{coverage.run.get("name") or "Result"}, list "{list_name}"{sure}'
