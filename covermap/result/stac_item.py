"""The STAC item of a result: what catalogues of geographic data read to know where, when and which files."""

from __future__ import annotations

import json
from collections.abc import Iterable
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from pyproj import Transformer

from covermap.grid.one_piece import in_one_piece
from covermap.result.coverage import Coverage
from covermap.result.raster_catalogue import layer_of
from covermap.result.whole_file import write_text

STAC_FILE = "stac_item.json"
STAC_VERSION = "1.0.0"
PROJECTION = "https://stac-extensions.github.io/projection/v1.1.0/schema.json"
EDGE_POINTS = 40  # of the outline, whose sides are no straight lines in degrees
MEDIA_TYPES = {
    ".tif": "image/tiff; application=geotiff; profile=cloud-optimized",
    ".vrt": "application/xml",
    ".gpkg": "application/geopackage+sqlite3",
    ".parquet": "application/vnd.apache.parquet",
    ".pmtiles": "application/vnd.pmtiles",
    ".html": "text/html",
    ".csv": "text/csv",
    ".json": "application/json",
    ".qgs": "application/xml",
}
ROLES = {
    ".tif": "data",
    ".vrt": "data",
    ".gpkg": "data",
    ".parquet": "data",
    ".pmtiles": "data",
    ".csv": "data",
    ".html": "overview",
    ".json": "metadata",
}


def write_stac_item(coverage: Coverage, files: Iterable[Path]) -> Path:
    """Write the item of a result beside its files; return its path.

    files : below the result folder, which become assets; styles and sidecars among them are left out
    """
    path = coverage.folder / STAC_FILE
    write_text(path, json.dumps(stac_item(coverage, files), indent=2, ensure_ascii=False) + "\n")
    return path


def stac_item(coverage: Coverage, files: Iterable[Path]) -> dict[str, Any]:
    """Return the item, after the STAC specification 1.0.0 and its projection extension 1.1.0."""
    outline, box_deg = _outline(coverage)
    names = sorted(path.relative_to(coverage.folder).as_posix() for path in files)
    grid = coverage.grid
    code = grid.crs.to_epsg()
    return {
        "type": "Feature",
        "stac_version": STAC_VERSION,
        "stac_extensions": [PROJECTION],
        "id": coverage.run["run_id"],
        "geometry": json.loads(shapely.to_geojson(outline)),
        "bbox": [round(float(edge), 6) for edge in box_deg],
        "properties": {
            "datetime": _moment(coverage.run.get("stations_as_of", "")),
            "title": coverage.run.get("name") or "Result",
            "description": " ".join(coverage.run.get("cautions", [])),
            "proj:epsg": code,
            "proj:wkt2": grid.crs_wkt,
            "proj:shape": list(grid.shape),
            "proj:transform": list(grid.transform)[:6],
        },
        "links": [],
        "assets": {name: _asset(name) for name in names if Path(name).suffix in MEDIA_TYPES},
    }


def _asset(name: str) -> dict[str, Any]:
    """Return one file: where it stands beside the item, what it is and what it holds."""
    suffix = Path(name).suffix
    found: dict[str, Any] = {"href": f"./{name}", "type": MEDIA_TYPES[suffix]}
    if suffix in ROLES:
        found["roles"] = [ROLES[suffix]]
    if suffix in (".tif", ".vrt"):
        found["title"] = layer_of(name.removeprefix("rasters/").removesuffix(suffix)).meaning
    return found


def _outline(coverage: Coverage) -> tuple[shapely.Geometry, list[float]]:
    """Return the outline of the grid in WGS 84 degrees and its box: west, south, east, north.

    Where it crosses 180 degrees it has two parts, and west is greater than east (RFC 7946, sections 3.1.9
    and 5.2).
    """
    grid = coverage.grid
    east, south = grid.x_min + grid.cols * grid.cell_m, grid.y_max - grid.rows * grid.cell_m
    box = shapely.box(grid.x_min, south, east, grid.y_max)
    ring = shapely.get_coordinates(shapely.segmentize(box, box.length / EDGE_POINTS))
    to_wgs84 = Transformer.from_crs(grid.crs, "EPSG:4326", always_xy=True)
    longitude, latitude = to_wgs84.transform(ring[:, 0], ring[:, 1])
    whole = shapely.Polygon(np.column_stack([in_one_piece(grid, longitude), latitude]))
    west, low, east, high = whole.bounds
    if east <= 180.0:
        return whole, [west, low, east, high]
    beyond = shapely.intersection(whole, shapely.box(180.0, -90.0, 540.0, 90.0))
    wrapped = shapely.transform(beyond, lambda points: points - [360.0, 0.0])
    here = shapely.intersection(whole, shapely.box(-180.0, -90.0, 180.0, 90.0))
    return shapely.MultiPolygon([here, wrapped]), [west, low, east - 360.0, high]


def _moment(as_of: str) -> str:
    """Return the day the stations are of; the time of writing where they have no date."""
    try:
        return f"{date.fromisoformat(as_of).isoformat()}T00:00:00Z"
    except ValueError:
        return datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
