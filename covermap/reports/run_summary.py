"""The sentences `covermap map` ends with."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pandas as pd

from covermap.planning.areas import HOMES_PREFIX, LAND_PREFIX, WholeSummary
from covermap.result.coverage import Coverage
from covermap.result.result_folder import RUN_FILE
from covermap.wording.language import say
from covermap.wording.retold import retold
from covermap.wording.run_facts import outside_in_words
from covermap.wording.words import (
    SMALL_COUNT,
    as_given,
    homes_number,
    homes_range,
    path_in_words,
    percent_whole,
)

INDOORS, OUTDOORS, AMPLIFIED, NOT_PROMISED = (1, 2, 3), (4, 5), (6, 7), 8
READ_FIRST = ("brief.html", "map.html")
GIS_FILES = ("coverage.qgs", "coverage.gpkg")


def run_in_words(coverage: Coverage, whole: dict[str, WholeSummary]) -> str:
    """Return the summary of a finished run, one or two sentences a list, then what to open.

    whole : of planning.areas.summarise_whole()
    """
    lines = []
    for list_name, summary in whole.items():
        lines.append(_list_in_words(coverage, list_name, summary))
        decider = decider_in_words(summary.columns)
        if decider:
            lines.append(decider)
    outside = outside_in_words(dict(coverage.run))
    lines += [outside] if outside else []
    lines += retold(coverage.run.get("not_counted", []))
    lines.append(files_in_words(coverage.folder, coverage.run.get("warnings", [])))
    return "\n".join(lines)


def counts_in_words(columns: pd.Series) -> str:
    """Return how many homes need what, two significant figures; without homes shares of the land."""
    of_homes = f"{HOMES_PREFIX}total" in columns
    prefix = HOMES_PREFIX if of_homes else LAND_PREFIX
    number = homes_number if of_homes else percent_whole

    def of(tiers: Sequence[int]) -> str:
        return number(float(sum(columns[f"{prefix}tier_{tier}"] for tier in tiers)))

    without = number(float(columns[f"{prefix}without"]))
    low, high = columns.get(f"{prefix}without_low"), columns.get(f"{prefix}without_high")
    if of_homes and low is not None and high is not None and not pd.isna(high) and high >= SMALL_COUNT:
        without = homes_range(float(columns["homes_without"]), float(low), float(high))
    groups = (
        [("indoors", of(INDOORS)), ("outdoors", of(OUTDOORS)), ("amplified", of(AMPLIFIED))],
        [("not_promised", of((NOT_PROMISED,))), ("without", without)],
        [("unknown", number(float(columns[f"{prefix}unknown"])))],
    )
    nothing, key = (number(0.0), percent_whole(0.0)), "run.homes" if of_homes else "run.land"
    told = [
        [say(f"{key}.{name}", count=count) for name, count in group if count not in nothing]
        for group in groups
    ]
    words = "; ".join(", ".join(group) for group in told if group)
    if not of_homes:
        return say("run.of_land", groups=words)
    return say("run.of_homes", count=homes_number(float(columns["homes_total"])), groups=words)


def decider_in_words(columns: pd.Series) -> str:
    """Return which service decides for most homes, or '' where none does."""
    service: Any = columns["deciding_service"]
    if pd.isna(service):
        return ""
    key = "page.area.decides_homes" if f"{HOMES_PREFIX}total" in columns else "page.area.decides_land"
    return say(key, name=service, share=percent_whole(float(columns["deciding_share_percent"])))


def files_in_words(folder: Path, warnings: Sequence[str]) -> str:
    """Return what to open first, of the files that are there, and where the warnings stand."""
    first = [path_in_words(folder / name) for name in READ_FIRST if (folder / name).is_file()]
    gis = next((path_in_words(folder / name) for name in GIS_FILES if (folder / name).is_file()), None)
    parts = []
    if len(first) > 1:
        parts.append(say("run.open_first", first=first[0], second=first[1]))
    elif first:
        parts.append(say("run.open", first=first[0]))
    if gis:
        parts.append(say("run.qgis", file=gis))
    text = "; ".join(parts) + "." if parts else say("run.results", folder=path_in_words(folder))
    if not warnings:
        return text
    return f"{text} {say('run.warnings', count=len(warnings), file=path_in_words(folder / RUN_FILE))}"


def _list_in_words(coverage: Coverage, list_name: str, summary: WholeSummary) -> str:
    confidence = coverage.run.get("confidence_percent")
    return say(
        "run.heading",
        name=coverage.run.get("name") or say("run.unnamed"),
        list=list_name,
        sure="" if confidence is None else say("run.sure", percent=as_given(confidence)),
        counts=counts_in_words(summary.columns),
    )
