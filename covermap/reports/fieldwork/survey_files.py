"""Where to measure next as a layer, a GPX file and a sheet to take along."""

from __future__ import annotations

import base64
from collections.abc import Sequence
from pathlib import Path
from xml.sax.saxutils import escape

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from covermap.constants import TIER_COUNT, TIER_NOT_PROMISED
from covermap.measurements.survey import SurveyPoint, survey_points
from covermap.reports.brief.picture import Label, mast_labels, still_map
from covermap.reports.fieldwork import page as html
from covermap.reports.web_map.layers import OUTSIDE
from covermap.reports.web_map.still import painted_tiers
from covermap.result.coverage import Coverage
from covermap.result.whole_file import write_text
from covermap.terrain import relief_grey
from covermap.wording.language import ENGLISH, messages, say
from covermap.wording.palette import TIERS
from covermap.wording.retold import retold
from covermap.wording.tier_names import spoken_tier_names
from covermap.wording.words import chance_number, homes_number

COLUMNS = ("rank", "wanted_list", "homes_settled")
_OUTDOORS = tuple(key for key in messages(ENGLISH) if key.startswith("outdoors."))


def outdoors() -> list[str]:
    """Return what must be known before going out to measure."""
    return [say(key) for key in _OUTDOORS]


def survey_layer(points: Sequence[SurveyPoint], list_name: str, coverage: Coverage) -> gpd.GeoDataFrame:
    """Return the points in the grid's CRS, best first; homes_settled is missing where homes are not known."""
    has_homes = coverage.has("homes")
    frame = gpd.GeoDataFrame(
        {
            "rank": [p.rank for p in points],
            "wanted_list": [list_name] * len(points),
            "homes_settled": [round(p.homes_settled, 1) if has_homes else None for p in points],
        },
        columns=list(COLUMNS),
        geometry=[shapely.Point(p.x, p.y) for p in points],
        crs=coverage.grid.crs_wkt,
    )
    return frame.astype({"homes_settled": "Float64", "rank": "int32"})


def survey_layers(coverage: Coverage) -> gpd.GeoDataFrame:
    """Return the points of every wanted list, for the layer survey_points."""
    layers = [survey_layer(survey_points(coverage, name), name, coverage) for name in coverage.lists]
    return gpd.GeoDataFrame(pd.concat(layers, ignore_index=True), crs=coverage.grid.crs_wkt)


def gpx_text(points: Sequence[SurveyPoint], coverage: Coverage, cautions: Sequence[str]) -> str:
    """Return the points as waypoints of GPX 1.1 (topografix schema), with the cautions in its description."""
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        '<gpx version="1.1" creator="covermap" xmlns="http://www.topografix.com/GPX/1/1">',
        f"<metadata><name>{escape(say('survey.title', name=coverage.run['name']))}</name>"
        f"<desc>{escape(' '.join([*outdoors(), *retold(cautions)]))}</desc></metadata>",
    ]
    for point in points:
        words = _map_says(point, coverage)
        lines.append(
            f'<wpt lat="{point.latitude_deg:.5f}" lon="{point.longitude_deg:.5f}">'
            f"<name>{point.rank:02d}</name><desc>{escape(words)}</desc></wpt>"
        )
    return "\n".join([*lines, "</gpx>"]) + "\n"


def _map_says(point: SurveyPoint, coverage: Coverage) -> str:
    """Return class and chance, and the chance of the class under it, which a reading may show to be enough.

    Where nothing is promised the chance is that of class 7.
    """
    chance = chance_number(point.chance_percent)
    named = f"{point.tier} {spoken_tier_names(coverage.tier_names)[point.tier - 1]}"
    if point.tier == TIER_NOT_PROMISED:
        return say("survey.not_promised", named=named, highest=TIER_COUNT, chance=chance)
    if point.tier == 1:
        return say("survey.lowest", named=named, chance=chance)
    lower = chance_number(point.lower_chance_percent)
    return say("survey.class", named=named, chance=chance, lower=point.tier - 1, lower_chance=lower)


def survey_sheet(
    points: Sequence[SurveyPoint], coverage: Coverage, cautions: Sequence[str], list_name: str | None = None
) -> str:
    """Return the sheet: a map, and the points with blank boxes that become rows of a readings file."""
    has_homes = coverage.has("homes")
    rows = [
        [
            p.rank,
            f"{p.latitude_deg:.5f}, {p.longitude_deg:.5f}",
            _map_says(p, coverage),
            homes_number(p.homes_settled) if has_homes else "",
            *[html.BLANK] * 5,
        ]
        for p in points
    ]
    settled = "survey.settled" if has_homes else "survey.settled_unknown"
    keys = ["number", "place", "says", "", "time", "height", "channel", "level", "seen"]
    name = str(coverage.run["name"])
    parts = [
        html.paragraph(say("survey.intro", count=len(points)) if points else say("survey.nothing")),
        _map(points, coverage, list_name or coverage.lists[0]) if points else "",
        html.table([say(f"survey.{key}" if key else settled) for key in keys], rows, "field"),
        html.section(say("survey.before"), outdoors()),
    ]
    return html.page(say("survey.title", name=name), parts, retold(cautions))


def _map(points: Sequence[SurveyPoint], coverage: Coverage, list_name: str) -> str:
    """Return a picture of the list's classes with the masts and the numbers of the points."""
    grid = coverage.grid
    inside = coverage.inside_area(grid.whole)
    tier = np.where(inside, coverage.read(f"{list_name}/tier"), np.uint8(OUTSIDE))
    relief = relief_grey(coverage.read("ground"), grid.cell_m)

    def paint(rows: slice, cols: slice, px: int) -> tuple[NDArray[np.uint8], list[tuple[int, float, float]]]:
        return painted_tiers(tier[rows, cols], relief[rows, cols], px), []

    labels = [Label(str(point.rank), point.x, point.y, is_point=True) for point in points]
    unit = coverage.run.get("options", {}).get("display", {}).get("distance", "km")
    picture = still_map(grid, inside, paint, [*labels, *mast_labels(coverage)], unit)
    base64_text = base64.b64encode(picture.png).decode("ascii")
    return html.picture(base64_text, say("survey.map_label"), picture.width_px, _key(coverage))


def _key(coverage: Coverage) -> list[tuple[str, str]]:
    """Return fill and name of every class on the picture."""
    named = zip(TIERS, spoken_tier_names(coverage.tier_names), strict=False)
    return [(look.painted, f"{look.number} {name}") for look, name in named]


def write_survey(
    points: Sequence[SurveyPoint], coverage: Coverage, folder: Path, list_name: str | None = None
) -> list[Path]:
    """Write survey_points.gpx and survey_sheet.html; return their paths."""
    folder.mkdir(parents=True, exist_ok=True)
    cautions = coverage.run.get("cautions", [])
    files = {
        "survey_points.gpx": gpx_text(points, coverage, cautions),
        "survey_sheet.html": survey_sheet(points, coverage, cautions, list_name),
    }
    for name, text in files.items():
        write_text(folder / name, text)
    return [folder / name for name in files]
