"""What the map draws beside classes: neighbourhoods, ridges, zones, and where homes are counted once."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import rasterio.features
from affine import Affine
from numpy.typing import NDArray

from covermap.planning.dead_zones import zone_kinds
from covermap.reports.web_map.layers import two_bytes
from covermap.reports.web_map.page_grid import PageGrid
from covermap.result.coverage import Coverage

MOST_RIDGES = 200  # a list; those that shade most homes
HOMES_HERE, HOMES_COUNTED = 1, 2  # values of layer homes_any


def counted_homes(grid: PageGrid, tenths: NDArray[np.int64]) -> NDArray[np.uint8]:
    """Return HOMES_HERE in pixels with homes, HOMES_COUNTED in the one over the cell's centre, else 0.

    Pixels are a little smaller than cells, so some cells have two; a sum over HOMES_COUNTED takes each once.

    tenths : homes of each pixel, in tenths
    """
    rows, cols = grid.grid.shape
    row, col = np.divmod(np.arange(rows * cols), cols)
    to_mercator = pyproj.Transformer.from_crs(grid.grid.crs, grid.mercator, always_xy=True)
    x, y = to_mercator.transform(
        grid.grid.x_min + (col + 0.5) * grid.grid.cell_m, grid.grid.y_max - (row + 0.5) * grid.grid.cell_m
    )
    over = np.zeros(grid.shape, dtype=bool)
    over[
        np.floor((grid.y_max - np.asarray(y)) / grid.pixel_m).astype(int),
        np.floor((np.asarray(x) - grid.x_min) / grid.pixel_m).astype(int),
    ] = True
    return np.where(tenths > 0, np.where(over, HOMES_COUNTED, HOMES_HERE), 0).astype(np.uint8)


def ridge_facts(ridges: gpd.GeoDataFrame | None, list_name: str) -> list[dict[str, Any]]:
    """Return the ridges that shade most homes of a list, most first, with their places in WGS 84 degrees."""
    if ridges is None or not len(ridges):
        return []
    rows = ridges[ridges["wanted_list"] == list_name].head(MOST_RIDGES)
    places = rows.geometry.to_crs("EPSG:4326")
    return [
        {
            "latitude_deg": round(place.y, 6),
            "longitude_deg": round(place.x, 6),
            "service": str(row["service"]),
            "above_line_m": float(row["above_line_m"]),
            "homes_shaded": None if pd.isna(row["homes_shaded"]) else float(row["homes_shaded"]),
        }
        for (_, row), place in zip(rows.iterrows(), places, strict=True)
    ]


def zone_layers(
    coverage: Coverage, grid: PageGrid, list_name: str
) -> Iterator[tuple[str, NDArray[np.uint8]]]:
    """Yield LIST/zone: 1 in dead squares, 2 in doubtful ones, 0 elsewhere."""
    if coverage.has(f"{list_name}/dead_zone_chance"):
        yield f"{list_name}/zone", grid.spread(zone_kinds(coverage.read(f"{list_name}/dead_zone_chance")), 0)


def area_layers(
    areas: gpd.GeoDataFrame | None, grid: PageGrid, list_name: str
) -> Iterator[tuple[str, NDArray[np.uint8]]]:
    """Yield area_low and area_high: the neighbourhood of each pixel, by its order among the list's rows."""
    if areas is None:
        return
    rows = areas[areas["wanted_list"] == list_name].to_crs(grid.grid.crs)
    cell_m = grid.grid.cell_m
    shapes = [(shape, order) for order, shape in enumerate(rows.geometry) if shape and not shape.is_empty]
    number = rasterio.features.rasterize(
        shapes,
        out_shape=grid.grid.shape,
        fill=-1,
        transform=Affine(cell_m, 0.0, grid.grid.x_min, 0.0, -cell_m, grid.grid.y_max),
        dtype=np.int32,
    )
    yield "area_low", two_bytes(grid.spread(number, -1))[0]
    yield "area_high", two_bytes(grid.spread(number, -1))[1]
