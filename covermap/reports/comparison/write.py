"""Writes a comparison: changes.gpkg, changes.csv and changes.html."""

from __future__ import annotations

import base64
import json
from dataclasses import asdict
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
from numpy.typing import NDArray

from covermap.constants import UNKNOWN_UINT8
from covermap.grid.frame import Tile
from covermap.planning.changes import (
    CHANGES,
    EASIER,
    HARDER,
    NEVER_KNOWN,
    SAME,
    Comparison,
    by_neighbourhood,
)
from covermap.planning.patches import Patches, Votes
from covermap.reports.brief.picture import Label, mast_labels
from covermap.reports.comparison.picture import change_picture, key_fills
from covermap.reports.comparison.words import comparison_in_words, first_in_words, stations_in_words
from covermap.reports.templates import templates_beside
from covermap.result.coverage import Coverage
from covermap.result.csv_tables import write_csv
from covermap.result.whole_file import whole_file, write_text
from covermap.wording.language import say
from covermap.wording.retold import retold
from covermap.wording.run_facts import dates_of_stations
from covermap.wording.words import days_text, decimal, homes_number, path_in_words

TEMPLATES = templates_beside(__file__)
RECORD_FILE = "changes.json"
CODES = UNKNOWN_UINT8 + 1  # of tiers as stored
MOST_AREAS = 24  # neighbourhoods on the page; all of them stand in changes.csv
MOST_SERVICES = 12  # services on the page; all of them stand in changes.json


def write_comparison(
    comparison: Comparison, before: Coverage, after: Coverage, folder: Path, distance_unit: str = "km"
) -> list[str]:
    """Write layer, table, page and record of a comparison into a folder; return it in sentences.

    changes.gpkg: connected patches where the tier changed. changes.csv: a row a neighbourhood and list
    (without neighbourhoods a row a list). changes.html: a picture of each list with its counts.
    """
    folder.mkdir(parents=True, exist_ok=True)
    sentences = comparison_in_words(comparison)
    patches = pd.concat([change_patches(comparison, name) for name in comparison.lists], ignore_index=True)
    _write_layer(
        gpd.GeoDataFrame(patches, geometry="geometry", crs=comparison.grid.crs_wkt), sentences, folder
    )
    table = _table(comparison, after)
    write_csv(table, folder / "changes.csv")
    _write_page(comparison, before, after, table, folder / "changes.html", distance_unit)
    record = {
        "before": {"run_id": before.run.get("run_id"), "name": before.run.get("name")},
        "after": {"run_id": after.run.get("run_id"), "name": after.run.get("name")},
        "read_first": list(comparison.first),
        "notes": list(comparison.notes),
        "stations": asdict(comparison.stations),
        "lists": {name: _figures(comparison, name) for name in comparison.lists},
        "cautions": after.run.get("cautions", []),
    }
    write_text(folder / RECORD_FILE, json.dumps(record, indent=2, ensure_ascii=False) + "\n")
    return sentences


def change_patches(comparison: Comparison, list_name: str) -> gpd.GeoDataFrame:
    """Return connected patches of one change: patch_id, wanted_list, change, cells, homes, tiers, outline.

    tier_before, tier_after : what most cells of the patch had
    """
    of_list, shared, grid = comparison.lists[list_name], comparison.shared, comparison.grid
    patches = Patches(grid, lambda tile: _kinds(comparison, list_name, tile))
    count = patches.count
    cells, homes = np.zeros(count, dtype=np.int64), np.zeros(count)
    tiers = Votes(count, CODES), Votes(count, CODES)
    for part in patches.cells():
        cells += np.bincount(part.patch, minlength=count)
        lived = shared.homes(part.tile)
        if lived is not None:
            homes += np.bincount(part.patch, lived.ravel()[part.cell], minlength=count)
        for votes, tier in zip(tiers, of_list.tiers(part.tile), strict=True):
            votes.add(part.patch, tier.ravel()[part.cell], np.ones(part.cell.size))
    order = np.argsort(patches.kind, kind="stable")
    place = np.empty(count, dtype=np.int64)
    place[order] = np.arange(count)
    before, after = (_known_tiers(votes.most()[order]) for votes in tiers)
    frame = {
        "patch_id": [f"{list_name}-{number}" for number in range(1, count + 1)],
        "wanted_list": list_name,
        "change": [CHANGES[kind] for kind in patches.kind[order]],
        "tier_before": before,
        "tier_after": after,
        "area_km2": cells[order] * grid.cell_m**2 / 1e6,
        "homes": pd.array(
            homes[order].round(3).tolist() if comparison.has_homes else [None] * count, dtype="Float64"
        ),
    }
    return gpd.GeoDataFrame(frame, geometry=patches.outlines(place, count), crs=grid.crs_wkt)


def _kinds(comparison: Comparison, list_name: str, tile: Tile) -> NDArray[np.uint8]:
    """Return the code of what changed in each cell of a tile, 0 where nothing did or nothing is known."""
    change = comparison.lists[list_name].of(tile)
    unchanged = np.isin(change, (SAME, NEVER_KNOWN)) | ~comparison.shared.inside(tile)
    return np.where(unchanged, SAME, change).astype(np.uint8)


def _known_tiers(tier: NDArray[np.int64]) -> pd.api.extensions.ExtensionArray:
    return pd.array([int(value) if value < UNKNOWN_UINT8 else None for value in tier], dtype="Int64")


def _figures(comparison: Comparison, name: str) -> dict[str, Any]:
    counts = comparison.counts(name).round(3)
    services = {
        service: {"gained": round(gained, 3), "lost": round(lost, 3)}
        for service, (gained, lost) in comparison.lists[name].services.items()
    }
    cells = {change: int(value) for change, value in counts["cells"].items()}
    homes = {c: float(v) for c, v in counts["homes"].items()} if comparison.has_homes else None
    return {"cells": cells, "homes": homes, "services": services}


def _table(comparison: Comparison, after: Coverage) -> pd.DataFrame:
    try:
        areas = after.areas(next(iter(comparison.lists)))
    except ValueError:  # InputError: no neighbourhoods
        rows = []
        for name in comparison.lists:
            counts = comparison.counts(name)
            values = counts["homes"] if comparison.has_homes else counts["area_km2"]
            prefix = "homes_" if comparison.has_homes else "area_km2_"
            rows.append({"wanted_list": name} | {prefix + c.replace(" ", "_"): values[c] for c in CHANGES})
        return pd.DataFrame(rows)
    return pd.concat(
        [by_neighbourhood(comparison, areas, name) for name in comparison.lists], ignore_index=True
    )


def _write_layer(patches: gpd.GeoDataFrame, sentences: list[str], folder: Path) -> None:
    with whole_file(folder / "changes.gpkg") as temporary:
        pyogrio.write_dataframe(
            patches,
            temporary,
            layer="changes",
            driver="GPKG",
            geometry_type="Polygon",
            dataset_options={"VERSION": "1.2"},
            layer_options={"GEOMETRY_NAME": "geom", "DESCRIPTION": " ".join(sentences)},
        )


def _write_page(
    comparison: Comparison,
    before: Coverage,
    after: Coverage,
    table: pd.DataFrame,
    path: Path,
    distance_unit: str,
) -> None:
    labels, of_homes = _labels(comparison, after), comparison.has_homes
    homes, squares = say("changes.counted_homes"), say("changes.counted_squares")
    lists = []
    for name in comparison.lists:
        picture = change_picture(comparison, name, labels, distance_unit)
        services = _service_rows(comparison, name)
        areas = _area_rows(table[table["wanted_list"] == name])
        lists.append(
            {
                "name": name,
                "base64": base64.b64encode(picture.png).decode("ascii"),
                "width": picture.width_px,
                "three": _three(comparison, name),
                "areas": areas[:MOST_AREAS],
                "more_areas": _more("areas", len(areas) - MOST_AREAS),
                "areas_heading": say("changes.by_area", counted=homes if of_homes else "km²"),
                "services": services[:MOST_SERVICES],
                "services_heading": say("changes.by_service", counted=homes if of_homes else squares),
                "more_services": _more("services", len(services) - MOST_SERVICES),
            }
        )
    facts = {
        "title": after.run.get("name") or say("brief.this_area"),
        "before": _run_in_words(before),
        "after": _run_in_words(after),
        "first": first_in_words(comparison) if comparison.first else "",
        "stations": stations_in_words(comparison.stations),
        "notes": retold(comparison.notes),
        "key": [{"fill": fill, "words": say(f"changes.key_{name}")} for name, fill in key_fills().items()],
        "lists": lists,
        "cautions": retold(after.run.get("cautions", [])),
    }
    write_text(path, TEMPLATES.get_template("changes.html").render(facts=facts))


def _labels(comparison: Comparison, after: Coverage) -> list[Label]:
    """Return masts and neighbourhoods of the later result, in the grid's CRS."""
    labels = mast_labels(after, comparison.grid)
    try:
        areas = after.areas(next(iter(comparison.lists))).to_crs(comparison.grid.crs_wkt)
    except ValueError:  # InputError: no neighbourhoods
        return labels
    points = areas.geometry.representative_point()
    named = zip(areas["neighbourhood_name"], points, strict=True)
    return [*labels, *(Label(str(name), point.x, point.y) for name, point in named)]


def _three(comparison: Comparison, name: str) -> list[dict[str, str]]:
    """Return the numbers of one list: harder, easier, newly and no longer known; nothing where none."""
    counts = comparison.counts(name)
    of_homes = comparison.has_homes
    rows = []
    what = "homes" if of_homes else "squares"
    for change in ("harder", "easier", "unknown now", "known now"):
        count = float(counts.homes[change] if of_homes else counts.cells[change])
        if count > 0.0 or change in ("harder", "easier"):
            number = homes_number(count) if count > 0.0 else "0"
            rows.append({"number": number, "words": say(f"changes.{what}_{change.replace(' ', '_')}")})
    return rows


def _more(what: str, count: int) -> str:
    """Return how many are not on the page, and where they stand; empty where all are."""
    return say(f"changes.more_{what}", count=count) if count > 0 else ""


def _service_rows(comparison: Comparison, name: str) -> list[dict[str, str]]:
    """Return the services that some gained or lost, most lost first."""
    moved = {s: pair for s, pair in comparison.lists[name].services.items() if any(pair)}
    ordered = sorted(moved.items(), key=lambda item: (-item[1][1], -item[1][0]))
    return [
        {"name": service, "lost": homes_number(lost), "gained": homes_number(gained)}
        for service, (gained, lost) in ordered
    ]


def _area_rows(rows: pd.DataFrame) -> list[dict[str, str]]:
    """Return the neighbourhoods where something changed, most harder first."""
    if "neighbourhood_name" not in rows.columns:
        return []
    prefix = "homes_" if "homes_harder" in rows.columns else "area_km2_"
    changed = rows[(rows[prefix + CHANGES[HARDER]] > 0) | (rows[prefix + CHANGES[EASIER]] > 0)]
    ordered = changed.sort_values([prefix + CHANGES[HARDER], prefix + CHANGES[EASIER]], ascending=False)
    number = homes_number if prefix == "homes_" else lambda value: decimal(value, 1)
    return [
        {
            "name": str(row["neighbourhood_name"]),
            "harder": number(row[prefix + CHANGES[HARDER]]),
            "easier": number(row[prefix + CHANGES[EASIER]]),
        }
        for _, row in ordered.iterrows()
    ]


def _run_in_words(coverage: Coverage) -> str:
    run = coverage.run
    return say(
        "changes.run",
        folder=path_in_words(coverage.folder),
        name=run.get("name"),
        run_id=run.get("run_id"),
        date=days_text([day for day in dates_of_stations(run).split(" to ") if day]),
    )
