"""Radio zones: sea, coastal land and inland, on one raster over the elevation.

ITU-R P.1812-8 gives each profile point a zone (1 sea, 3 coastal land, 4 inland). Coastal land is land up
to 100 m above sea level and within 50 km of the sea (ITU-R P.452-18 and P.1812-8, table of radio-climatic
zones; from memory, the documents were not at hand).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import geopandas
import numpy as np
import pyproj
import rasterio.features
from affine import Affine
from numpy.typing import NDArray
from scipy import ndimage

from covermap.errors import InputError
from covermap.scenario.vector_file import lies_on_earth, made_valid, read_vector_file
from covermap.terrain.land_cover_file import UNKNOWN_CLASS, LandCover
from covermap.terrain.layer import RasterLayer, crs_from_wkt
from covermap.terrain.lookup import fill_classes_along, fill_heights_along

SEA, COASTAL, INLAND = 1, 3, 4
COAST_KM = 50.0  # from memory, see above
COAST_HEIGHT_M = 100.0  # from memory, see above
SEA_SURFACE_M = 10.0  # water higher than this is a lake, even where the data's edge cuts it: our own choice
MOST_POLYGONS = 1_000_000
MOST_CELLS = 2000  # cells along the longer side of the zone raster
_DISTANCE_CELLS = 1000  # of the raster on which the distance to the sea is measured
_KNOT_CELLS = 16
_IDENTITY = np.arange(256, dtype=np.uint8)


@dataclass(frozen=True, eq=False)
class _Frame:
    """A north-up raster to fill: cells of cell_m from corner (x_min, y_max) in a projected CRS."""

    crs: pyproj.CRS
    x_min: float
    y_max: float
    cell_m: float
    rows: int
    cols: int

    @property
    def transform(self) -> Affine:
        unit = self.cell_m / self.crs.axis_info[0].unit_conversion_factor
        return Affine(unit, 0.0, self.x_min, 0.0, -unit, self.y_max)

    @property
    def bounds(self) -> tuple[float, float, float, float]:
        """Return x_min, y_min, x_max, y_max, a cell wider on every side."""
        unit = self.transform.a
        x_max, y_min = self.x_min + self.cols * unit, self.y_max - self.rows * unit
        return self.x_min - unit, y_min - unit, x_max + unit, self.y_max + unit

    def coarser(self, factor: int, pad_cells: int) -> _Frame:
        """Return the frame with cells `factor` times as long, pad_cells of them added on every side."""
        unit = self.transform.a * factor
        return _Frame(
            self.crs,
            self.x_min - pad_cells * unit,
            self.y_max + pad_cells * unit,
            self.cell_m * factor,
            -(-self.rows // factor) + 2 * pad_cells,
            -(-self.cols // factor) + 2 * pad_cells,
        )


def zones_from_polygons(
    elevation: Sequence[RasterLayer], path: Path
) -> tuple[RasterLayer | None, tuple[str, ...]]:
    """Return the zone layer (uint8) from a polygon layer of the sea, and notes; None when no sea is near.

    Raises InputError if the layer cannot be read, is empty, has no CRS or holds no polygon.
    """
    frame = _frame_over(elevation)
    factor, pad = _distance_scale(frame, padded=True)
    coarse = frame.coarser(factor, pad)
    polygons = _read_polygons(path).to_crs(frame.crs).clip_by_rect(*coarse.bounds)
    # A cell is sea where its middle is. On the coarse raster every cell the sea touches counts, or a narrow
    # inlet would have no coast.
    sea = _rasterize(polygons, frame, all_touched=False)
    near_sea = _within_coast(_rasterize(polygons, coarse, all_touched=True), coarse.cell_m)
    if not near_sea.any():
        return None, (
            f"{path.name}: no sea within {COAST_KM:.0f} km of the elevation: every path is over inland.",
        )
    return _zone_layer(
        frame, sea, _spread(near_sea[pad:, pad:], factor, frame), _heights_on(frame, elevation)
    ), ()


def zones_from_water(
    elevation: Sequence[RasterLayer], land_cover: LandCover
) -> tuple[RasterLayer | None, tuple[str, ...]]:
    """Return the zone layer (uint8) from water that touches the land cover's edge, and notes; None without.

    Water whose middle height is above 10 m is a lake cut by the edge, not the sea.
    """
    frame = _frame_over(elevation)
    heights_m = _heights_on(frame, elevation)
    classes = np.empty((frame.rows, frame.cols), dtype=np.uint8)
    fill_classes_along(land_cover.layer, _IDENTITY, UNKNOWN_CLASS, *_row_knots(frame), _KNOT_CELLS, classes)
    sea = _edge_water(land_cover.water[classes], classes != UNKNOWN_CLASS, heights_m)
    if not sea.any():
        return None, ("No water of the land cover reaches its edge at sea level: every path is over inland.",)
    factor, _ = _distance_scale(frame, padded=False)
    coarse = frame.coarser(factor, 0)
    rows, cols = coarse.rows * factor, coarse.cols * factor
    padded = np.zeros((rows, cols), dtype=bool)
    padded[: frame.rows, : frame.cols] = sea
    blocks = padded.reshape(coarse.rows, factor, coarse.cols, factor).any(axis=(1, 3))
    near_sea = _within_coast(np.asarray(blocks), coarse.cell_m)
    note = "The sea is taken from the land cover: its water that reaches the data's edge."
    return _zone_layer(frame, sea, _spread(near_sea, factor, frame), heights_m), (note,)


def _frame_over(elevation: Sequence[RasterLayer]) -> _Frame:
    """Return the frame of the zone raster: in the elevation's CRS if projected, else in a local one."""
    first = elevation[0]
    rims = [layer.rim_lonlat() for layer in elevation]
    longitude = np.concatenate([rim[0] for rim in rims])
    latitude = np.concatenate([rim[1] for rim in rims])
    crs = crs_from_wkt(first.crs_wkt).to_2d()
    if first.is_geographic:
        middle = first.lonlat(first.array.shape[1] / 2.0, first.array.shape[0] / 2.0)
        crs = pyproj.CRS.from_proj4(
            f"+proj=laea +lon_0={float(middle[0])} +lat_0={float(middle[1])} +datum=WGS84 +units=m"
        )
    x, y = pyproj.Transformer.from_crs("EPSG:4326", crs, always_xy=True).transform(longitude, latitude)
    metres = crs.axis_info[0].unit_conversion_factor
    width_m, height_m = float(np.ptp(x)) * metres, float(np.ptp(y)) * metres
    cell_m = max(min(layer.cell_m for layer in elevation), max(width_m, height_m) / MOST_CELLS)
    rows, cols = max(1, round(height_m / cell_m)), max(1, round(width_m / cell_m))
    return _Frame(crs, float(np.min(x)), float(np.max(y)), cell_m, rows, cols)


def _row_knots(frame: _Frame) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return longitude and latitude in degrees of knots along each row's cell centres."""
    knots = -(-(frame.cols - 1) // _KNOT_CELLS) + 1
    transform = frame.transform
    x = transform.c + (0.5 + _KNOT_CELLS * np.arange(max(knots, 2))) * transform.a
    y = transform.f + (0.5 + np.arange(frame.rows)) * transform.e
    to_wgs84 = pyproj.Transformer.from_crs(frame.crs, "EPSG:4326", always_xy=True)
    longitude_deg, latitude_deg = to_wgs84.transform(*np.meshgrid(x, y))
    return np.asarray(longitude_deg), np.asarray(latitude_deg)


def _heights_on(frame: _Frame, elevation: Sequence[RasterLayer]) -> NDArray[np.float64]:
    heights_m = np.empty((frame.rows, frame.cols))
    fill_heights_along(elevation, *_row_knots(frame), _KNOT_CELLS, heights_m)
    return heights_m


def _read_polygons(path: Path) -> geopandas.GeoSeries:
    frame = read_vector_file(path, "[terrain] sea", most=MOST_POLYGONS)
    shapes = frame.geometry
    shapes = shapes[lies_on_earth(shapes)]
    areas = shapes[shapes.geom_type.isin(["Polygon", "MultiPolygon"])]
    if len(areas) == 0:
        raise InputError(
            f"{path.name}: found no polygon among {len(frame)} features.\n"
            "  [terrain] sea is a layer of polygons over the sea; a line does not say which side it is."
        )
    areas = made_valid(areas)
    # long straight edges in degrees are curves in a projected CRS
    return areas.segmentize(0.05) if areas.crs.is_geographic else areas


def _rasterize(polygons: geopandas.GeoSeries, frame: _Frame, all_touched: bool) -> NDArray[np.bool_]:
    burnt = rasterio.features.rasterize(
        [shape for shape in polygons if shape is not None and not shape.is_empty],
        out_shape=(frame.rows, frame.cols),
        transform=frame.transform,
        fill=0,
        default_value=1,
        all_touched=all_touched,
        dtype="uint8",
    )
    return burnt.astype(bool)


def _edge_water(
    water: NDArray[np.bool_], known: NDArray[np.bool_], heights_m: NDArray[np.float64]
) -> NDArray[np.bool_]:
    """Return the water that reaches the edge of what is known and stands at sea level."""
    pieces, count = ndimage.label(water, structure=np.ones((3, 3)))
    if count == 0:
        return water
    # Holes are lakes of missing data inside; only the outer edge tells where water goes on beyond.
    whole = ndimage.binary_fill_holes(known)
    edge = whole & ~ndimage.binary_erosion(whole, structure=np.ones((3, 3)))
    is_sea = np.zeros(count + 1, dtype=bool)
    for piece in np.unique(pieces[edge & water]):
        inside = heights_m[pieces == piece]
        inside = inside[~np.isnan(inside)]  # files often leave the sea void: then it is taken as sea
        is_sea[piece] = inside.size == 0 or abs(float(np.median(inside))) <= SEA_SURFACE_M
    return is_sea[pieces]


def _distance_scale(frame: _Frame, padded: bool) -> tuple[int, int]:
    """Return how many cells make one of the distance raster, and how many of those lie around it."""
    span_m = max(frame.rows, frame.cols) * frame.cell_m + (2e3 * COAST_KM if padded else 0.0)
    factor = max(1, round(span_m / _DISTANCE_CELLS / frame.cell_m))
    pad = int(np.ceil(1e3 * COAST_KM / (factor * frame.cell_m))) if padded else 0
    return factor, pad


def _within_coast(sea: NDArray[np.bool_], cell_m: float) -> NDArray[np.bool_]:
    if not sea.any():
        return np.zeros_like(sea)
    distance_cells = np.asarray(ndimage.distance_transform_edt(~sea))
    return np.asarray(distance_cells * (cell_m / 1000.0) <= COAST_KM)


def _spread(coarse: NDArray[np.bool_], factor: int, frame: _Frame) -> NDArray[np.bool_]:
    """Return a coarse mask on the cells of the frame."""
    rows, cols = np.arange(frame.rows) // factor, np.arange(frame.cols) // factor
    return coarse[rows[:, None], cols[None, :]]


def _zone_layer(
    frame: _Frame, sea: NDArray[np.bool_], near_sea: NDArray[np.bool_], heights_m: NDArray[np.float64]
) -> RasterLayer:
    zone = np.full(sea.shape, INLAND, dtype=np.uint8)
    zone[near_sea & (heights_m <= COAST_HEIGHT_M)] = COASTAL  # NaN compares False: inland
    # last, over coastal land
    zone[sea] = SEA
    return RasterLayer("zones", zone, frame.transform, frame.crs.to_wkt())
