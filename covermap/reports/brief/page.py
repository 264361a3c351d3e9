"""Writes brief.html."""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pyproj
from numpy.typing import NDArray

from covermap.planning.areas import WholeSummary
from covermap.planning.not_promised import NotPromised, not_promised
from covermap.planning.places import Place
from covermap.reports.brief.facts import brief_facts
from covermap.reports.brief.picture import Label, brief_picture
from covermap.reports.templates import templates_beside
from covermap.result.coverage import Coverage
from covermap.result.whole_file import write_text
from covermap.scenario.letters import service_names
from covermap.scenario.records import Scenario

BRIEF_FILE = "brief.html"
TALL_FROM_PX = 480  # pictures lower than this leave room under them for the bars
LISTS_HEAD_PX, LISTS_ROW_PX = 50, 20  # of the table of wanted lists on paper
LOWEST_PX = 160  # the map on paper is not lower
TEMPLATES = templates_beside(__file__)


def write_brief(
    coverage: Coverage,
    scenario: Scenario,
    summaries: Mapping[str, WholeSummary],
    relief: NDArray[np.uint8],
    folder: Path,
    *,
    behind: NotPromised | None = None,
    areas: gpd.GeoDataFrame | None = None,
    zones: gpd.GeoDataFrame | None = None,
    places: Sequence[Place] = (),
) -> Path:
    """Write brief.html, one page: the first wanted list, a table of all of them; return its path.

    Parameters
    ----------
    coverage, scenario : the run
    summaries : of planning.areas.summarise_whole()
    relief : uint8, shape (rows, cols), of terrain.relief_grey()
    behind : of planning.not_promised.not_promised(); None reads it from the rasters
    areas : of summarise_areas(); zones : the layer dead_zones; None where the result has none
    places : names for the map, the first ones are written first
    """
    list_name = coverage.lists[0]
    tier = coverage.read(f"{list_name}/tier")
    outside = ~coverage.inside_area(coverage.grid.whole)
    unit = scenario.settings.display.distance if scenario.settings is not None else "km"
    picture = brief_picture(coverage.grid, tier, outside, relief, _labels(coverage, scenario, places), unit)
    facts = brief_facts(
        coverage,
        list_name,
        summaries,
        behind or not_promised(coverage, list_name),
        areas,
        zones,
        service_names(scenario, list_name),
    )
    shown: dict[str, Any] = {
        "base64": base64.b64encode(picture.png).decode("ascii"),
        "width": picture.width_px,
        "height": picture.height_px,
        "tall": picture.height_px >= TALL_FROM_PX,
        "print_height": print_height_px(picture.height_px, len(summaries)),
    }
    path = Path(folder) / BRIEF_FILE
    write_text(path, TEMPLATES.get_template("brief.html").render(facts=facts, picture=shown))
    return path


def print_height_px(height_px: int, lists: int) -> int:
    """Return the height of the map on paper, where the table of several lists takes its room from it. [px]"""
    table_px = LISTS_HEAD_PX + LISTS_ROW_PX * lists if lists > 1 else 0
    return max(LOWEST_PX, height_px - table_px)


def _labels(coverage: Coverage, scenario: Scenario, places: Sequence[Place]) -> list[Label]:
    """Return masts, then places, in the grid's CRS."""
    to_grid = pyproj.Transformer.from_crs("EPSG:4326", coverage.grid.crs, always_xy=True)
    masts = {station.mast: (station.longitude_deg, station.latitude_deg) for station in scenario.stations}
    labels = [Label(name, *to_grid.transform(*place), is_mast=True) for name, place in masts.items()]
    for place in places:
        labels.append(Label(place.name, *to_grid.transform(place.longitude_deg, place.latitude_deg)))
    return labels
