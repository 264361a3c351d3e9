"""The wanted lists of a run beside each other: who is promised which, and who gets none of it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import geopandas as gpd
import pandas as pd

from covermap.constants import TIER_NOT_PROMISED
from covermap.planning.areas import HOMES_PREFIX, LAND_PREFIX, WholeSummary
from covermap.wording.language import say
from covermap.wording.lists import short_list_words
from covermap.wording.words import few, homes_number, percent_whole


def lists_table(
    run: Mapping[str, Any],
    summaries: Mapping[str, WholeSummary],
    zones: gpd.GeoDataFrame | None,
    tier_names: Sequence[str],
) -> dict[str, Any] | None:
    """Return heading, columns and a row for each list, in words; None for a run of one list.

    summaries : of planning.areas.summarise_whole(); zones : the layer dead_zones; tier_names : as spoken
    """
    if len(summaries) < 2:
        return None
    of_homes = any(f"{HOMES_PREFIX}total" in summary.columns for summary in summaries.values())
    prefix = HOMES_PREFIX if of_homes else LAND_PREFIX
    counted = [f"{prefix}tier_{tier}" for tier in range(1, TIER_NOT_PROMISED + 1)]
    counted += [f"{prefix}unknown", f"{prefix}without"]
    columns = [*tier_names, say("page.unknown"), say("brief.lists.without")]
    columns += [say("brief.lists.dead")] if zones is not None else []
    rows = []
    for name, summary in summaries.items():
        values = [count_text(summary.columns, column, of_homes) for column in counted]
        values += [_zones_text(zones, name)] if zones is not None else []
        rows.append({"name": name, "words": short_list_words(*wanted_of(run, name)), "values": values})
    heading = say("brief.lists.homes" if of_homes else "brief.lists.land")
    return {"heading": heading, "columns": columns, "rows": rows}


def wanted_of(run: Mapping[str, Any], list_name: str) -> tuple[int, int]:
    """Return how many services a list has, and how many of them are needed."""
    wanted = run["wanted"][list_name]
    count = len(wanted["services"])
    return count, wanted.get("at_least") or count


def count_text(columns: pd.Series, name: str, of_homes: bool) -> str:
    """Return a counted column as people read it; of homes never a bare 0 beside a range."""
    value = float(columns[name])
    low, high = columns.get(f"{name}_low"), columns.get(f"{name}_high")
    if of_homes and value == 0.0 and high is not None and not pd.isna(high) and high > low:
        return few()
    return homes_number(value) if of_homes else percent_whole(value)


def _zones_text(zones: gpd.GeoDataFrame, list_name: str) -> str:
    """Return how many dead zones a list has, the doubtful ones in brackets: '2 (5)'."""
    kinds = zones.loc[zones["wanted_list"] == list_name, "kind"]
    dead, doubtful = int((kinds == "dead").sum()), int((kinds == "doubtful").sum())
    return f"{dead} ({doubtful})" if doubtful else f"{dead}"
