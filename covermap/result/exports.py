"""The layers of a result in other formats: GeoParquet files, and vector tiles for web maps."""

from __future__ import annotations

import importlib.util
import math
from collections.abc import Collection
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from covermap.errors import InputError
from covermap.grid.frame import Grid
from covermap.grid.one_piece import HALF_WORLD_M, crosses_180, web_mercator
from covermap.result.coverage import GEOPACKAGE_FILE, Coverage
from covermap.result.whole_file import whole_file

if TYPE_CHECKING:
    import geopandas as gpd

PARQUET, PMTILES = "parquet", "pmtiles"
FORMATS = (PARQUET, PMTILES)  # that layers are written in beside the GeoPackage, each in a folder of its name
TILED_LAYERS = ("tier_areas", "neighbourhoods")
CELLS_A_TILE = 256  # of the nearest zoom, along each side: a pixel a cell on most screens
ZOOMS = 7  # below the nearest
EQUATOR_M = 2.0 * HALF_WORLD_M  # the width of the world in web Mercator, EPSG:3857


def require_formats(formats: Collection[str]) -> None:
    """Raise InputError for a format that is none of FORMATS or needs what is not installed."""
    for name in formats:
        if name not in FORMATS:
            raise InputError(f"also is {name!r}. It must be of {', '.join(FORMATS)}.")
    if PARQUET in formats and importlib.util.find_spec("pyarrow") is None:
        raise InputError("pyarrow is not installed. Run: pip install 'covermap[parquet]'.")
    if PMTILES in formats:
        import pyogrio

        # asked before the run, not found out at its end
        if "w" not in pyogrio.list_drivers().get("PMTiles", ""):
            raise InputError(f"GDAL {pyogrio.__gdal_version__} here writes no PMTiles: 3.8 or newer does.")


def write_geoparquet(coverage: Coverage, folder: Path) -> list[Path]:
    """Write every layer of coverage.gpkg as GeoParquet into a folder, NAME.parquet; return the paths.

    Raises InputError if pyarrow is not installed, or the result has no GeoPackage.
    """
    import pyogrio

    require_formats([PARQUET])
    source = coverage.folder / GEOPACKAGE_FILE
    if not source.is_file():
        raise InputError(f"{coverage.folder}: there is no {GEOPACKAGE_FILE}. Run covermap map again.")
    Path(folder).mkdir(parents=True, exist_ok=True)
    written = []
    for name, geometry in pyogrio.list_layers(source):
        if geometry is None:
            continue
        path = Path(folder) / f"{name}.parquet"
        with whole_file(path) as temporary:
            coverage.layer(str(name)).to_parquet(temporary, index=False)
        written.append(path)
    return written


def write_pmtiles(coverage: Coverage, folder: Path) -> list[Path]:
    """Write tier areas and neighbourhoods as vector tiles, NAME.pmtiles; return the paths.

    A layer the result has not is left out. At the nearest zoom a tile is at most 256 cells wide.
    Raises InputError where GDAL lacks its driver for PMTiles.
    """
    import pyogrio

    Path(folder).mkdir(parents=True, exist_ok=True)
    there = set(pyogrio.list_layers(coverage.folder / GEOPACKAGE_FILE)[:, 0])
    nearest = _nearest_zoom(coverage)
    written = []
    for name in TILED_LAYERS:
        if name not in there:
            continue
        path = Path(folder) / f"{name}.pmtiles"
        with whole_file(path) as temporary:
            pyogrio.write_dataframe(
                _as_tiled(coverage.layer(name), coverage.grid),
                temporary,
                layer=name,
                driver="PMTiles",
                dataset_options={"MINZOOM": max(0, nearest - ZOOMS), "MAXZOOM": nearest, "NAME": name},
            )
        written.append(path)
    return written


def _as_tiled(frame: gpd.GeoDataFrame, grid: Grid) -> gpd.GeoDataFrame:
    """Return areas in web Mercator; one across 180 degrees in two rows, either side of it."""
    import geopandas as gpd

    whole = frame.to_crs(web_mercator(grid))
    if not crosses_180(grid):
        return whole
    # Tiles end at 180 degrees. Two rows and not one of two parts, whose box would be the whole world.
    sides = [
        whole.set_geometry(whole.clip_by_rect(west, -HALF_WORLD_M, west + HALF_WORLD_M, HALF_WORLD_M))
        for west in (0.0, HALF_WORLD_M)
    ]
    sides[1] = sides[1].set_geometry(sides[1].translate(-EQUATOR_M))
    both = pd.concat([side[~side.geometry.is_empty] for side in sides], ignore_index=True)
    return gpd.GeoDataFrame(both).set_crs("EPSG:3857", allow_override=True)


def _nearest_zoom(coverage: Coverage) -> int:
    """Return the zoom at which a tile is at most CELLS_A_TILE cells wide in the middle of the grid."""
    grid = coverage.grid
    _, latitude_deg = grid.lonlat_of(np.array([grid.rows // 2]), np.array([grid.cols // 2]))
    # Web Mercator stretches by 1/cos(latitude): a tile covers less ground towards the poles.
    world_m = EQUATOR_M * math.cos(math.radians(float(latitude_deg[0])))
    return max(0, math.ceil(math.log2(world_m / (CELLS_A_TILE * grid.cell_m))))
