"""Reads a vector layer of points as a table of text with latitude and longitude."""

from __future__ import annotations

import math
from pathlib import Path

from covermap.errors import InputError
from covermap.scenario.csv_dialect import column_name
from covermap.scenario.text_table import Row, TextTable
from covermap.scenario.vector_file import read_vector_file
from covermap.tables.plain_text import with_blanks

MOST_ROWS = 100_000  # of a station file; the largest national lists have a tenth
POSITION_COLUMNS = ("latitude_deg", "longitude_deg")


def read_vector_table(path: Path, layer: str | None = None) -> TextTable:
    """Return the features of a layer as rows; its geometry gives latitude_deg and longitude_deg in WGS 84.

    Raises InputError if the file is no vector layer, has no CRS, or holds anything but points.
    """
    frame = read_vector_file(path, "[transmitters] file", layer=layer, most=MOST_ROWS).to_crs("EPSG:4326")
    columns = [column_name(str(name)) for name in frame.columns if name != frame.geometry.name]
    # the geometry counts, whatever columns of that name say
    columns = [column for column in columns if column not in POSITION_COLUMNS]
    rows = []
    for number, (_, feature) in enumerate(frame.iterrows(), start=1):
        cells = {
            column_name(str(name)): _text(feature[name])
            for name in frame.columns
            if name != frame.geometry.name
        }
        point = feature[frame.geometry.name]
        if point is None or point.is_empty or point.geom_type != "Point":
            found = "no geometry" if point is None or point.is_empty else point.geom_type
            raise InputError(
                f"{path.name}, feature {number}: found {found}. A station is a point. Correct the feature."
            )
        cells |= {"latitude_deg": f"{point.y:.8f}", "longitude_deg": f"{point.x:.8f}"}
        rows.append(Row(path.name, f"feature {number}", cells))
    return TextTable(path.name, (*columns, *POSITION_COLUMNS), tuple(rows))


def _text(value: object) -> str:
    """Return an attribute as a person would type it, control characters as blanks."""
    if value is None or (isinstance(value, float) and math.isnan(value)):
        return ""
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    text = with_blanks(str(value))
    return "" if text in ("NaT", "<NA>") else text
