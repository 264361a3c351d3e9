"""Where to measure next as a layer, a GPX file and a sheet to take along."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from xml.sax.saxutils import escape

import geopandas as gpd
import pandas as pd
import shapely

from covermap.constants import TIER_COUNT, TIER_NOT_PROMISED
from covermap.measurements.survey import SurveyPoint, survey_points
from covermap.reports.fieldwork import page as html
from covermap.result.coverage import Coverage
from covermap.result.whole_file import write_text
from covermap.wording.words import chance_number, homes_number

COLUMNS = ("rank", "wanted_list", "homes_settled")
OUTDOORS = (
    "Measure from the ground or a vehicle mast clear of power lines: a full mast length and 3 m more.",
    "Use one set of gear and one height for every point; write both down.",
    "Do not climb roofs for a reading, and ask before entering land.",
)


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
        f"<metadata><name>{escape(str(coverage.run['name']))}: where to measure next</name>"
        f"<desc>{escape(' '.join([*OUTDOORS, *cautions]))}</desc></metadata>",
    ]
    for point in points:
        words = _map_says(point, coverage)
        lines.append(
            f'<wpt lat="{point.latitude_deg:.5f}" lon="{point.longitude_deg:.5f}">'
            f"<name>{point.rank:02d}</name><desc>{escape(words)}</desc></wpt>"
        )
    return "\n".join([*lines, "</gpx>"]) + "\n"


def _map_says(point: SurveyPoint, coverage: Coverage) -> str:
    """Return tier and chance, and the chance of the tier under it, which a reading may show to be enough.

    Where nothing is promised the chance is that of tier 7.
    """
    chance = chance_number(point.chance_percent)
    if point.tier == TIER_NOT_PROMISED:
        return f"{point.tier} {coverage.tier_names[-1]}; class {TIER_COUNT}: {chance}"
    words = f"{point.tier} {coverage.tier_names[point.tier - 1]}: {chance}"
    if point.tier == 1:
        return words
    return f"{words}; class {point.tier - 1}: {chance_number(point.lower_chance_percent)}"


def survey_sheet(points: Sequence[SurveyPoint], coverage: Coverage, cautions: Sequence[str]) -> str:
    """Return the sheet: the points with blank boxes that become rows of a readings file."""
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
    settled = "Homes settled" if has_homes else "Homes (not known)"
    parts = [
        html.paragraph(
            f"{len(points)} points that would settle most homes, best first. A point is the "
            f"middle of a square, "
            "not an address: stop at the nearest safe public place and write down where you stood."
            if points
            else "The map is sure everywhere; no point would settle more homes."
        ),
        html.table(
            [
                "No",
                "Latitude, longitude",
                "Map says",
                settled,
                "Time",
                "Height m",
                "Channel",
                "Level, unit",
                "Seen",
            ],
            rows,
            "field",
        ),
        html.section("Before you go", OUTDOORS),
    ]
    return html.page(f"{coverage.run['name']}: where to measure next", parts, cautions)


def write_survey(points: Sequence[SurveyPoint], coverage: Coverage, folder: Path) -> list[Path]:
    """Write survey_points.gpx and survey_sheet.html; return their paths."""
    folder.mkdir(parents=True, exist_ok=True)
    cautions = coverage.run.get("cautions", [])
    files = {
        "survey_points.gpx": gpx_text(points, coverage, cautions),
        "survey_sheet.html": survey_sheet(points, coverage, cautions),
    }
    for name, text in files.items():
        write_text(folder / name, text)
    return [folder / name for name in files]
