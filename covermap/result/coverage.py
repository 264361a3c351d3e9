"""Reads a finished result folder: rasters by name, neighbourhoods, and one place."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import pyproj
from rasterio.windows import Window

from covermap.constants import RESULT_FORMAT, TIER_COUNT
from covermap.errors import InputError
from covermap.grid.frame import Grid, Tile
from covermap.reception.services import ClassServices, classes_of
from covermap.result.new_result import settle
from covermap.result.parts import files_of_parts
from covermap.result.raster_catalogue import (
    LAYERS,
    OF_GRID,
    OF_STATION,
    OUTSIDE_FLAG,
    RASTERS_FOLDER,
    bits_of,
    layer_of,
    raster_path,
    virtual_path,
)
from covermap.result.result_folder import RUN_FILE
from covermap.result.result_raster import result_raster
from covermap.wording.palette import TIERS

if TYPE_CHECKING:
    import folium
    import geopandas as gpd
    import pandas as pd
    import xarray
    from rasterio.io import MemoryFile

    from covermap.scenario.records import Scenario

GEOPACKAGE_FILE = "coverage.gpkg"

Cells = tuple[slice, slice] | Tile | None


class Coverage:
    """A result folder, open for reading; every call reads from disk only what it needs.

    folder : the output folder
    run : the content of run.json (while a run is being written: what will become it); needs the keys
        grid, wanted and result_format
    in_memory : rasters by name that stand on no disk, from RasterSet
    scenario : what the result was predicted from, where predict() just did so
    """

    scenario: Scenario | None = None

    def __init__(
        self, folder: Path, run: dict[str, Any], in_memory: Mapping[str, MemoryFile] | None = None
    ) -> None:
        self.folder = Path(folder)
        self.run = run
        self._in_memory = dict(in_memory or {})
        self.grid = grid_from_record(run["grid"])

    def __repr__(self) -> str:
        size = f"{self.grid.rows} x {self.grid.cols} squares of {self.grid.cell_m:g} m"
        name = self.run.get("name") or "result"
        return (
            f"<Coverage {name!r}: {size}, {self.grid.crs.name}, lists {', '.join(self.lists)}; {self.folder}>"
        )

    def _repr_html_(self) -> str:
        """Return what a notebook shows: a small map of the first list, land and homes by tier."""
        from covermap.result.coverage_html import coverage_html

        return coverage_html(self)

    @property
    def lists(self) -> tuple[str, ...]:
        """Return the names of the wanted lists."""
        return tuple(self.run["wanted"])

    def services(self, list_name: str) -> tuple[str, ...]:
        """Return the services of a wanted list, in the order of its rasters. Raises InputError."""
        if list_name not in self.run["wanted"]:
            raise InputError(f"{self.folder}: no list {list_name!r}; there is {', '.join(self.lists)}.")
        return tuple(self.run["wanted"][list_name]["services"])

    @property
    def tier_names(self) -> tuple[str, ...]:
        """Return the names of tiers 1 to 8, those of the run's own tier table where it has one."""
        names = self.run.get("tier_names") or [look.name for look in TIERS[:TIER_COUNT]]
        return (*names, TIERS[TIER_COUNT].name)

    def path(self, name: str) -> Path:
        """Return the path of a raster by name, whether it exists or not. Raises InputError.

        That of a map in parts is a virtual raster over them.
        """
        virtual = virtual_path(self.folder / RASTERS_FOLDER, name)
        return virtual if virtual.is_file() else raster_path(self.folder / RASTERS_FOLDER, name)

    def files(self, name: str) -> list[Path]:
        """Return the files that hold a raster: one, or a virtual one and those of the map's parts."""
        return [self.path(name), *files_of_parts(self.folder, name)] if self.path(name).is_file() else []

    def raster_names(self) -> list[str]:
        """Return the names of all rasters the result has: those of lists, of stations, of the grid."""
        names = [f"{name}/{kind}" for name in self.lists for kind, layer in LAYERS.items() if layer.of_list]
        names += [f"{kind}/{station}" for kind in OF_STATION for station in self.field_stations]
        names += [kind for kind in LAYERS if kind in OF_GRID]
        return [name for name in names if self.has(name)]

    def has(self, name: str) -> bool:
        """Return whether the result holds a raster of this name."""
        return name in self._in_memory or self.path(name).is_file()

    @property
    def field_stations(self) -> tuple[str, ...]:
        """Return the ids of the stations that have a field raster, sorted."""
        folder = self.folder / RASTERS_FOLDER / "field"
        return tuple(sorted({path.stem for ending in ("tif", "vrt") for path in folder.glob(f"*.{ending}")}))

    def read(self, name: str, window: Cells = None) -> np.ndarray:
        """Return a raster, or the cells of a window.

        Parameters
        ----------
        name : 'LIST/tier', 'LIST/tier_chance', 'field/STATION_ID', 'ground', 'flags', 'homes', ...
        window : a Tile, (row slice, col slice), or None for the whole grid

        Returns
        -------
        ndarray, shape (rows, cols), or (bands, rows, cols) for tier_chance and the service chances,
        in the stored type. Unknown is 255, -1 (aim) or NaN.

        Raises
        ------
        InputError
            If the result holds no raster of that name.
        CovermapError
            If its file is damaged.
        """
        layer = layer_of(name)
        if not self.has(name):
            raise InputError(f"{self.folder}: there is no raster {name!r} in this result.")
        # opened for each call: threads read side by side, and may not share a dataset
        with result_raster(self._source(name), self.path(name)) as dataset:
            bands: np.ndarray = dataset.read(window=self._window(window))
        return bands if layer.stacked else bands[0]

    def tag_values(self, name: str, tag: str) -> tuple[str, ...]:
        """Return the parts of a raster's tag that lists names ('SERVICES', 'CAUSES'); none without it."""
        text = self.tags(name).get(tag, "")
        return tuple(text.split("|")) if text else ()

    def tags(self, name: str) -> dict[str, str]:
        """Return a raster's tags. Raises CovermapError if its file is damaged."""
        with result_raster(self._source(name), self.path(name)) as dataset:
            return dict(dataset.tags())

    def inside_area(self, tile: Tile) -> np.ndarray:
        """Return which cells of a tile lie in the asked area, bool, shape (rows, cols)."""
        if not self.has("flags"):
            return np.ones((tile.rows, tile.cols), dtype=bool)
        inside: np.ndarray = (bits_of(self.read("flags", tile)) & OUTSIDE_FLAG) == 0
        return inside

    def coordinates(self) -> tuple[np.ndarray, np.ndarray]:
        """Return the centres of the columns and of the rows in the grid's CRS, from west and north. [m]"""
        half = self.grid.cell_m / 2.0
        x = self.grid.x_min + half + self.grid.cell_m * np.arange(self.grid.cols)
        y = self.grid.y_max - half - self.grid.cell_m * np.arange(self.grid.rows)
        return x, y

    def to_xarray(self, names: Sequence[str] | None = None) -> xarray.Dataset:
        """Return rasters as an xarray Dataset; see covermap.result.dataset.to_xarray()."""
        from covermap.result.dataset import to_xarray

        return to_xarray(self, names)

    def tier_totals(self) -> pd.DataFrame:
        """Return exact land and homes by tier, nine rows a list; see covermap.planning.tier_totals."""
        from covermap.planning.tier_totals import tier_totals

        return tier_totals(self, self.tier_names)

    def to_folium(self, list_name: str | None = None) -> folium.FeatureGroup:
        """Return layers for a folium map of one's own; see covermap.result.own_map.feature_group()."""
        from covermap.result.own_map import feature_group

        return feature_group(self, list_name)

    def explore(self, list_name: str | None = None) -> folium.Map:
        """Return a folium map of a list, to move about in a notebook; its scripts need a network.

        Raises InputError if there is no such list. map.html of the output folder needs no network.
        """
        from covermap.result.own_map import own_map

        return own_map(self, list_name)

    def layer(self, name: str) -> gpd.GeoDataFrame:
        """Return a layer of coverage.gpkg, such as 'tier_areas'. Raises InputError if it is not there."""
        return self._layer(name, "look into its run_metadata")

    def areas(self, list_name: str | None = None) -> gpd.GeoDataFrame:
        """Return the neighbourhoods with their columns, one row each and list, or of one list only.

        Raises InputError if the result has no neighbourhoods, or no such list.
        """
        frame = self._layer("neighbourhoods", "the scenario names no [areas] neighbourhoods")
        if list_name is None:
            return frame
        self.services(list_name)
        return frame[frame["wanted_list"] == list_name].reset_index(drop=True)

    def dead_zones(self) -> gpd.GeoDataFrame:
        """Return the dead and doubtful zones of all lists, columns of outputs; no rows where there are none.

        Raises InputError if the result was made without this layer.
        """
        import geopandas as gpd

        if self.run.get("dead_zones") == {}:
            return gpd.GeoDataFrame(
                {"zone_id": [], "wanted_list": [], "kind": []}, geometry=[], crs=self.grid.crs
            )
        return self._layer("dead_zones", "it was made without; run covermap map again")

    def cell_at(self, latitude_deg: float, longitude_deg: float) -> tuple[int, int]:
        """Return (row, col) of the cell that holds a WGS 84 place. Raises InputError outside the grid."""
        to_grid = pyproj.Transformer.from_crs("EPSG:4326", self.grid.crs, always_xy=True)
        x, y = to_grid.transform(longitude_deg, latitude_deg)
        if np.isfinite([x, y]).all():
            row = int(np.floor((self.grid.y_max - y) / self.grid.cell_m))
            col = int(np.floor((x - self.grid.x_min) / self.grid.cell_m))
            if 0 <= row < self.grid.rows and 0 <= col < self.grid.cols:
                return row, col
        raise InputError(
            f"{latitude_deg}, {longitude_deg} (latitude, longitude) is outside the predicted area. "
            "Latitude comes first; west and south are negative."
        )

    def at(self, latitude_deg: float, longitude_deg: float) -> dict[str, dict[str, Any]]:
        """Return for each wanted list what its cell says; None is unknown.

        Keys: tier, chance_percent (of the stored plan; tier 8: of tier 7's), tier_chance_percent (7
        values, of one antenna), dead_zone_chance_percent, margin_db, aim_deg_true, limiting_service,
        deciding_service, row, col. Raises InputError outside the grid.
        """
        row, col = self.cell_at(latitude_deg, longitude_deg)
        from covermap.result.cell_answer import cell_answer

        return {name: cell_answer(self, name, row, col) for name in self.lists}

    def services_by_class(self, latitude_deg: float, longitude_deg: float) -> tuple[ClassServices, ...]:
        """Return which services each class of antenna brings in a cell; nothing where it is not known.

        Raises InputError outside the grid.
        """
        row, col = self.cell_at(latitude_deg, longitude_deg)
        if not self.has("service_tiers"):
            return ()
        tiers = self.read("service_tiers", Tile(row, col, 1, 1))[:, 0, 0]
        return classes_of(self.tag_values("service_tiers", "SERVICES"), tiers.tolist())

    def _source(self, name: str) -> Path | str:
        """Return what GDAL opens for a raster."""
        held = self._in_memory.get(name)
        return self.path(name) if held is None else held.name

    def _layer(self, layer: str, reason: str) -> gpd.GeoDataFrame:
        """Return a layer of coverage.gpkg, or say why it is not there."""
        import geopandas as gpd
        import pyogrio

        path = self.folder / GEOPACKAGE_FILE
        if not path.is_file() or layer not in pyogrio.list_layers(path)[:, 0]:
            raise InputError(f"{self.folder}: this result has no layer {layer!r}: {reason}.")
        return gpd.read_file(path, layer=layer, engine="pyogrio")

    def _window(self, window: Cells) -> Window | None:
        if window is None:
            return None
        rows, cols = window.window if isinstance(window, Tile) else window
        row, row_end, _ = rows.indices(self.grid.rows)
        col, col_end, _ = cols.indices(self.grid.cols)
        return Window(col, row, col_end - col, row_end - row)


def open_coverage(output: str | Path) -> Coverage:
    """Return the result in a folder that `covermap map` finished.

    Raises
    ------
    InputError
        If the folder holds no finished result, or one of another result format.
    """
    folder = Path(output)
    # A run may have been stopped while its files moved in: carried on before anything is read, so that files
    # of two results never stand together.
    settle(folder)
    path = folder / RUN_FILE
    if not path.is_file():
        raise InputError(
            f"{folder}: no {RUN_FILE} here, so it holds no finished result. "
            "Give the folder that covermap map wrote, or run the same command again to finish it."
        )
    try:
        run = json.loads(path.read_text(encoding="utf-8"))
    except ValueError as error:
        raise InputError(f"{path}: not readable as JSON ({error}). Run covermap map again.") from error
    found = run.get("result_format") if isinstance(run, dict) else None
    if found != RESULT_FORMAT:
        raise InputError(
            f"{path}: result_format is {found}, this version reads {RESULT_FORMAT}. "
            "Open it with the version that wrote it, or run covermap map again."
        )
    try:
        coverage = Coverage(folder, run)
        # asked now: a damaged record is refused on opening, not in the middle of a page
        services = [coverage.services(name) for name in coverage.lists]
    except (KeyError, TypeError, AttributeError, ValueError) as error:
        raise _not_whole(path, f"{type(error).__name__}: {error}") from error
    if not services:
        raise _not_whole(path, "no wanted list")
    return coverage


def _not_whole(path: Path, found: str) -> InputError:
    return InputError(f"{path}: not what a finished run writes ({found}). Run covermap map again.")


def grid_record(grid: Grid) -> dict[str, Any]:
    """Return a grid as run.json keeps it."""
    return {
        "crs_wkt": grid.crs_wkt,
        "cell_m": grid.cell_m,
        "x_min": grid.x_min,
        "y_max": grid.y_max,
        "rows": grid.rows,
        "cols": grid.cols,
    }


def grid_from_record(record: dict[str, Any]) -> Grid:
    """Return the grid that grid_record() wrote. Raises KeyError, TypeError or ValueError otherwise."""
    numbers = {name: float(record[name]) for name in ("cell_m", "x_min", "y_max")}
    return Grid(str(record["crs_wkt"]), **numbers, rows=int(record["rows"]), cols=int(record["cols"]))
