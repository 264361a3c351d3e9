"""Writes the rasters of a result folder tile by tile, then as cloud-optimised GeoTIFFs."""

from __future__ import annotations

import contextlib
import os
import shutil
import threading
from collections.abc import Collection, Mapping, Sequence
from pathlib import Path
from types import TracebackType
from typing import Any

import numpy as np
import rasterio
import rasterio.shutil
from rasterio.io import MemoryFile
from rasterio.windows import Window

from covermap.constants import UNKNOWN_UINT8
from covermap.errors import InputError
from covermap.grid.executor import run_tasks
from covermap.grid.frame import Grid, Tile
from covermap.reception.causes import CAUSES
from covermap.reception.services import ServiceCounts
from covermap.reception.signals import AMPLIFIER_CODES, ListReception
from covermap.result.full_disk import full_disk_in_words
from covermap.result.parts import part_folder
from covermap.result.raster_catalogue import (
    OF_STATION,
    RASTERS_FOLDER,
    Layer,
    as_layer_array,
    layer_of,
    raster_path,
)
from covermap.result.whole_file import TEMPORARY_FOLDER
from covermap.scenario.records import WantedList
from covermap.wording.palette import TIERS, rgb

TILE_BLOCK_CELLS = 128  # of the unfinished files: the tiles of a run are multiples of it
BLOCK_CELLS = 256
CACHE_BYTES = 64 * 2**20
CAUSES_TAG, OF_CAUSES = "CAUSES", ("main_cause", "service_cause")
STATIONS_TAG, OF_STATIONS = "STATIONS", ("interferer", "service_interferer")
SERVICES_TAG = "SERVICES"
AMPLIFIER_TAG = "AMPLIFIER_CODES"


class RasterSet:
    """The rasters of one run, open for tiles; nothing appears under a final name before finish().

    Tiles that follow the 128-cell blocks of the files are written once each. Memory is a fixed block
    cache, whatever the grid. write() may be called from one thread at a time; a lock sees to it.

    Parameters
    ----------
    output : the result folder; rasters stand below its `rasters`
    grid : the run's grid
    services : list name -> its services in order, for the tag SERVICES and the bands of service_chance
    stations : station id -> text that describes it, for field rasters; in the scenario's order, for the tag
        STATIONS
    tags : text tags for every file, such as run_id
    workers : threads that make the finished files, several rasters at once
    only_in_memory : kinds that are written to no disk, not even for a moment; they end with the process
    part : the part of the map whose rasters these are, in a folder of their own; None is all of it

    After finish(), `in_memory` holds those by name, for Coverage.
    """

    def __init__(
        self,
        output: Path,
        grid: Grid,
        *,
        services: Mapping[str, Sequence[str]] | None = None,
        stations: Mapping[str, str] | None = None,
        tags: Mapping[str, str] | None = None,
        workers: int = 1,
        only_in_memory: Collection[str] = (),
        part: Tile | None = None,
    ) -> None:
        self.only_in_memory = frozenset(only_in_memory)
        self.in_memory: dict[str, MemoryFile] = {}
        self.workers = workers
        rasters = Path(output) / RASTERS_FOLDER
        self.part = part or grid.whole
        self.folder = rasters / part_folder(part) if part else rasters
        self.grid = grid.part(self.part)
        self.services = {name: tuple(values) for name, values in (services or {}).items()}
        self.stations = dict(stations or {})
        self.tags = dict(tags or {})
        self._temporary = self.folder / TEMPORARY_FOLDER / f"rasters_{os.getpid()}"
        self._open: dict[str, rasterio.io.DatasetWriter] = {}
        self._lock = threading.Lock()
        # what an interrupted run left; a lock on the folder keeps other runs out
        shutil.rmtree(self.folder / TEMPORARY_FOLDER, ignore_errors=True)

    def __enter__(self) -> RasterSet:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        try:
            if kind is None:
                self.finish()
        finally:
            self.discard()

    @property
    def names(self) -> list[str]:
        """Return the names written so far, sorted."""
        return sorted(self._open)

    def write(self, name: str, tile: Tile, array: np.ndarray) -> None:
        """Write a tile of raster `name` ('main/tier', 'field/STATION_ID', 'ground', ...).

        array : shape (rows, cols) of the tile, or (bands, rows, cols) for rasters of several bands;
            cells never written stay unknown

        Raises
        ------
        InputError
            If the name is unknown, or the shape differs from the tile's.
        """
        layer = layer_of(name)
        bands = as_layer_array(layer, array)
        expected = (self._band_count(name, layer), tile.rows, tile.cols)
        if bands.shape != expected:
            raise InputError(
                f"raster {name!r}: the array has shape {bands.shape}, the tile needs {expected}."
            )
        window = Window(tile.col - self.part.col, tile.row - self.part.row, tile.cols, tile.rows)
        with self._lock, full_disk_in_words(self.folder), rasterio.Env(GDAL_CACHEMAX=CACHE_BYTES):
            if name not in self._open:
                self._open[name] = self._create(name, layer)
            self._open[name].write(bands, window=window)

    def write_list(
        self,
        wanted: WantedList,
        tile: Tile,
        reception: ListReception,
        main_cause: np.ndarray | None = None,
        service_cause: np.ndarray | None = None,
    ) -> None:
        """Write what the cells of a tile need for one wanted list: every raster of the list.

        main_cause, service_cause : shapes (N,) and (V, N), indices into covermap.reception.causes.CAUSES
        """
        self.services[wanted.name] = wanted.services
        arrays = list_arrays(reception)
        if main_cause is not None and service_cause is not None:
            arrays |= {"main_cause": main_cause, "service_cause": service_cause}
        for kind, values in arrays.items():
            self.write(
                f"{wanted.name}/{kind}", tile, values.reshape(*values.shape[:-1], tile.rows, tile.cols)
            )

    def write_services(self, tile: Tile, found: ServiceCounts) -> None:
        """Write which services each class of antenna brings in the cells of a tile."""
        self.services["service_tiers"] = found.services
        for name, values in (("services_count", found.count), ("service_tiers", found.tiers)):
            self.write(name, tile, values.reshape(-1, tile.rows, tile.cols))

    def finish(self) -> list[Path]:
        """Close the tiles, write every raster as a COG and rename all; return their paths.

        Raises CovermapError when the disk is full; then, as after any error, no raster is renamed.
        """
        for name in self.in_memory:
            # closed, not finished: what stands in memory alone needs no overviews
            self._open.pop(name).close()
        # All are made before the first is renamed: a disk that fills up leaves no half of a result.
        finals = list(run_tasks(self._finish_one, list(self._open), self.workers))
        for whole, path in finals:
            path.parent.mkdir(parents=True, exist_ok=True)
            os.replace(whole, path)
        self.discard()
        return [path for _, path in finals]

    def _finish_one(self, name: str) -> tuple[Path, Path]:
        """Make a raster's COG beside its unfinished file; return where it is and where it belongs."""
        source = raster_path(self._temporary, name)
        whole = source.with_name(source.name + ".whole")
        with (
            full_disk_in_words(self.folder),
            rasterio.Env(GDAL_CACHEMAX=CACHE_BYTES, GDAL_TIFF_INTERNAL_MASK=True),
        ):
            self._open[name].close()
            _write_cog(source, whole, layer_of(name))
        # each goes as soon as its copy is whole, so that the disk need not hold all twice
        source.unlink()
        return whole, raster_path(self.folder, name)

    def discard(self) -> None:
        """Close and remove everything unfinished; finished files stay."""
        with rasterio.Env():  # what cannot be closed is said to its log, not to the terminal
            for dataset in self._open.values():
                with contextlib.suppress(Exception):  # on a full disk; the file goes anyway
                    dataset.close()
        self._open = {}
        shutil.rmtree(self._temporary, ignore_errors=True)
        if self._temporary.parent.exists() and not any(self._temporary.parent.iterdir()):
            self._temporary.parent.rmdir()

    def _list_services(self, name: str) -> tuple[str, ...]:
        return self.services.get(name.split("/")[0], ())

    def _band_count(self, name: str, layer: Layer) -> int:
        return layer.bands or len(self._list_services(name))

    def _create(self, name: str, layer: Layer) -> rasterio.io.DatasetWriter:
        """Open the unfinished raster, a file or memory, and describe its bands."""
        profile = self._profile(name, layer)
        if layer.kind in self.only_in_memory:
            self.in_memory[name] = MemoryFile(ext=".tif")
            dataset = self.in_memory[name].open(**profile)
        else:
            path = raster_path(self._temporary, name)
            path.parent.mkdir(parents=True, exist_ok=True)
            dataset = rasterio.open(path, "w", **profile)
        self._describe(dataset, name, layer)
        return dataset

    def _profile(self, name: str, layer: Layer) -> dict[str, Any]:
        """Return what GDAL must know to make an unfinished raster."""
        return {
            "driver": "GTiff",
            "width": self.grid.cols,
            "height": self.grid.rows,
            "count": self._band_count(name, layer),
            "dtype": layer.dtype,
            "nodata": layer.nodata,
            "crs": rasterio.crs.CRS.from_wkt(self.grid.crs_wkt),
            "transform": self.grid.transform,
            "tiled": True,
            "blockxsize": TILE_BLOCK_CELLS,
            "blockysize": TILE_BLOCK_CELLS,
            "interleave": "band",
            "compress": "deflate",
            # unfinished files are read once more and thrown away: fast, not small
            # (docs/decisions/fields_in_steps.md)
            "zlevel": 1,
            # Blocks never written take no room: large areas outside the polygon asked for.
            "sparse_ok": True,
            # a plain TIFF ends at 4 GB, and compressed sizes are not known beforehand
            "bigtiff": "if_safer",
        }

    def _describe(self, dataset: rasterio.io.DatasetWriter, name: str, layer: Layer) -> None:
        """Set tags, band names, units and, for tiers, the colour table."""
        services = self._list_services(name)
        dataset.update_tags(LAYER=name, MEANING=layer.meaning, **self.tags)
        if services:
            dataset.update_tags(**{SERVICES_TAG: "|".join(text.replace("|", "/") for text in services)})
        if layer.kind in OF_CAUSES:
            dataset.update_tags(**{CAUSES_TAG: "|".join(CAUSES)})
        if layer.kind in OF_STATIONS:
            dataset.update_tags(**{STATIONS_TAG: "|".join(self.stations)})
        if layer.kind == "amplifier":
            dataset.update_tags(**{AMPLIFIER_TAG: "|".join(AMPLIFIER_CODES)})
        for band, description in enumerate(self._band_names(name, layer), start=1):
            dataset.set_band_description(band, description)
            if layer.unit:
                dataset.set_band_unit(band, layer.unit)
        if layer.kind == "tier":
            table = {look.number: (*rgb(look.painted), 255) for look in TIERS}
            dataset.write_colormap(1, {value: table.get(value, (0, 0, 0, 0)) for value in range(256)})

    def _band_names(self, name: str, layer: Layer) -> Sequence[str]:
        if layer.bands == 0:
            return self._list_services(name)
        if layer.kind in ("tier_chance", "services_count"):
            return [look.label for look in TIERS[: layer.bands]]
        if layer.kind in OF_STATION:
            return [self.stations.get(name.split("/")[1], name.split("/")[1])]
        return [layer.meaning]


def list_arrays(reception: ListReception) -> dict[str, np.ndarray]:
    """Return the arrays of a list by raster name, cells along the last axis."""
    return {
        "tier": reception.tier,
        "tier_chance": reception.tier_chance_percent,
        "two_antennas_chance": reception.two_antennas_chance_percent,
        "dead_zone_chance": reception.dead_zone_chance_percent,
        "margin": reception.margin_db,
        "stored_margin": reception.stored_margin_db,
        "limiting_service": reception.limiting_service,
        "deciding_service": reception.deciding_service,
        "aim": reception.aim_deg,
        "service_chance": reception.service_chance_percent,
        "service_chance_one_lower": reception.service_chance_one_lower_percent,
        "tier_3db_weaker": reception.tier_weaker,
        "tier_3db_stronger": reception.tier_stronger,
        "dead_zone_chance_3db_weaker": reception.dead_weaker,
        "dead_zone_chance_3db_stronger": reception.dead_stronger,
        "second_aim": reception.second_aim_deg,
        "aim_from": reception.aim_from_deg,
        "aim_to": reception.aim_to_deg,
        "interferer": reception.deciding_interferer,
        "service_interferer": reception.service_interferer,
        "amplifier": reception.amplifier,
        "tier_without_deciding": reception.tier_without_deciding,
        # kept unknown where the tier is: 0 would say "no remarks"
        "plan_flags": np.where(reception.tier == UNKNOWN_UINT8, UNKNOWN_UINT8, reception.plan_flags),
    }


def _write_cog(source: Path, path: Path, layer: Layer) -> None:
    """Copy a finished GeoTIFF into a cloud-optimised one.

    Overviews take the nearest cell in every layer: a mean of decibels or of classes is nobody's value.
    """
    rasterio.shutil.copy(
        source,
        path,
        driver="COG",
        COMPRESS="DEFLATE",
        LEVEL=1,  # half the time of the usual 6 for 4 % more bytes (44 files, 1,000 x 1,000 cells)
        # Differences between neighbours pack better for quantities; for classes and codes they mean nothing.
        PREDICTOR="YES" if layer.dtype == "float32" or layer.unit else "NO",
        BLOCKSIZE=BLOCK_CELLS,
        OVERVIEWS="AUTO",
        OVERVIEW_RESAMPLING="NEAREST",
        BIGTIFF="IF_SAFER",
    )
