"""The land-cover raster and its table -> one layer of class numbers with their heights and kinds."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Protocol

import numpy as np
import rasterio
from numpy.typing import NDArray

from covermap.errors import InputError
from covermap.terrain.clutter import HeightsByCell
from covermap.terrain.layer import RasterLayer
from covermap.terrain.raster_file import declared_crs, open_raster, read_rows, read_windows
from covermap.terrain.space import TerrainSpace, release

UNKNOWN_CLASS = 255  # in LandCover.layer: no class known here
LARGEST_CODE = 2**31  # of a cell; beyond it no class is listed, and a float would not fit a whole number


class ClassTable(Protocol):
    """What is needed of a land-cover table (covermap.tables.land_cover.LandCoverTable): one value a class."""

    @property
    def class_code(self) -> NDArray[np.int64]:
        """Value in the raster."""

    @property
    def clutter_height_m(self) -> NDArray[np.float64]:
        """Height above ground. [m]"""

    @property
    def open_land(self) -> NDArray[np.bool_]:
        """Open land or water."""

    @property
    def water(self) -> NDArray[np.bool_]:
        """Water."""

    @property
    def built_up(self) -> NDArray[np.bool_]:
        """Houses."""

    @property
    def environment(self) -> NDArray[np.uint8]:
        """Noise environment, a place in covermap.propagation.noise.ENVIRONMENTS."""


@dataclass(frozen=True, eq=False)
class LandCover:
    """Land cover as row numbers of its table.

    layer : uint8 row of the table, 255 unknown
    clutter_height_m, open_land, water, built_up : shape (256,), by the layer's value; unknown is
        0 m, not open, no water and not built up. [m] and bool
    environment : the same, noise environment, a place in propagation.noise.ENVIRONMENTS; unknown is 255, as
        all are where it is None. It changes no path.
    """

    layer: RasterLayer
    clutter_height_m: NDArray[np.float32]
    open_land: NDArray[np.bool_]
    water: NDArray[np.bool_]
    built_up: NDArray[np.bool_]
    environment: NDArray[np.uint8] | None = None

    @cached_property
    def heights(self) -> HeightsByCell:
        """Return the height of each class; 0 where the class is unknown and beyond the raster."""
        return HeightsByCell(self.layer, self.clutter_height_m, 0.0)

    def digest(self) -> str:
        """Return the SHA-256 of the raster and of what its classes mean."""
        sha = hashlib.sha256(self.layer.digest().encode())
        # Not the noise environment: it changes no path, and stored paths would be computed anew for nothing.
        for values in (self.clutter_height_m, self.open_land, self.water, self.built_up):
            sha.update(values.tobytes())
        return sha.hexdigest()


def read_land_cover_file(path: Path, table: ClassTable, space: TerrainSpace | None = None) -> LandCover:
    """Read a land-cover raster of any CRS; space says where it is kept, by default in memory if it fits.

    Raises InputError if the file cannot be read, has no CRS or is rotated, or holds a class that the
    table does not list.
    """
    codes = np.asarray(table.class_code)
    if codes.size > UNKNOWN_CLASS:
        raise InputError(
            f"The land-cover table has {codes.size} classes; at most {UNKNOWN_CLASS} can be used."
        )
    with open_raster(path) as dataset:
        crs_wkt = declared_crs(dataset, path)
        classes = _read_classes(dataset, path, codes, space or TerrainSpace())
        layer = RasterLayer(path.name, classes, dataset.transform, crs_wkt)
    water = _by_class(table.water, np.bool_)
    clutter_height_m = _by_class(table.clutter_height_m, np.float32)
    # whatever a user's table says: nothing stands on water
    clutter_height_m[water] = 0.0
    return LandCover(
        layer,
        clutter_height_m,
        _by_class(table.open_land, np.bool_),
        water,
        _by_class(table.built_up, np.bool_),
        _by_class(table.environment, np.uint8, UNKNOWN_CLASS),
    )


def _by_class(column: NDArray, kind: type, unknown: int = 0) -> NDArray:
    values: NDArray = np.full(256, unknown, dtype=kind)
    values[: len(column)] = column
    return values


def _read_classes(
    dataset: rasterio.DatasetReader, path: Path, codes: NDArray, space: TerrainSpace
) -> NDArray[np.uint8]:
    order = np.argsort(codes)
    classes = space.array(dataset.height, dataset.width, np.uint8)
    unlisted: set[int] = set()
    for window in read_windows(dataset):
        raw = read_rows(dataset, path, window)
        void = np.ma.getmaskarray(raw) | ~np.isfinite(raw.data)
        values = np.clip(np.where(void, 0, raw.data), -LARGEST_CODE, LARGEST_CODE).astype(np.int64)
        # searchsorted answers codes.size for a code above all: brought back, and then not listed.
        found = order[np.minimum(np.searchsorted(codes, values, sorter=order), codes.size - 1)]
        listed = codes[found] == values
        unlisted.update(np.unique(values[~listed & ~void]).tolist())
        classes[window.toslices()] = np.where(void, UNKNOWN_CLASS, found)
        release(classes)
    if unlisted:
        shown = ", ".join(str(code) for code in sorted(unlisted)[:8])
        raise InputError(
            f"{path.name} holds class {shown}{' and more' if len(unlisted) > 8 else ''}, which the "
            f"land-cover table does not list (it has {', '.join(str(code) for code in codes[:12])}).\n"
            "  Name a table with a row for each class under [terrain] land_cover_table, or set the file's "
            "nodata value to the class that means unknown."
        )
    return classes
