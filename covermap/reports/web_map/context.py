"""Roads, water, buildings, boundaries and labels of the user's own, thinned and packed for the page."""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from covermap.grid.one_piece import crosses_180
from covermap.planning.context import Context
from covermap.reports.web_map.layers import COMPRESSION
from covermap.reports.web_map.page_grid import PageGrid

MOST_BYTES = 1_400_000  # deflated, for all layers: as base64 under 2 MB
FINEST_PX, COARSEST_PX = 0.05, 8.0  # how far a line may be moved by thinning, in pixels of the page
STEPS_A_PX = 16  # positions are held in steps this fine
MARGIN = 0.1  # of the page's longer side, drawn beyond its edges
MOST_LABELS = 4000


@dataclass(frozen=True, eq=False)
class PackedContext:
    """The layers of a page: what is drawn how, the bytes of each, and the labels."""

    draw: tuple[str, ...]
    parts: tuple[NDArray[np.uint8], ...]
    labels: tuple[dict[str, Any], ...]

    def facts(self) -> dict[str, Any]:
        """Return the JSON record; the bytes of layer N stand in context/N."""
        return {"draw": list(self.draw), "labels": list(self.labels), "steps_a_px": STEPS_A_PX}


def packed_context(context: Sequence[Context], grid: PageGrid) -> PackedContext:
    """Return the layers as little-endian int32: for each line its number of points, then x, y and the steps
    from point to point, in STEPS_A_PX of a pixel; a closed outline has its number of points negative.

    Thinned as little as MOST_BYTES allow.
    """
    lines = [one for one in context if one.draw != "label"]
    shapes = [_in_pixels(one, grid) for one in lines]
    tolerance_px = FINEST_PX
    while True:
        parts = [_as_bytes(shape, tolerance_px) for shape in shapes]
        size = sum(len(zlib.compress(part.tobytes(), COMPRESSION)) for part in parts)
        if size <= MOST_BYTES or tolerance_px >= COARSEST_PX:
            break
        tolerance_px *= 2.0
    return PackedContext(tuple(one.draw for one in lines), tuple(parts), tuple(_labels(context)))


def _in_pixels(layer: Context, grid: PageGrid) -> NDArray[Any]:
    """Return the layer's lines and rings in pixels of the page, cut to it and its margin."""
    rows, cols = grid.shape
    shapes = layer.shapes
    if crosses_180(grid.grid):
        shapes = shapes.map(_off_greenwich)
    shapes = np.asarray(shapes.to_crs(grid.mercator).array, dtype=object)
    shapes = shapely.transform(
        shapes,
        lambda at: np.stack(
            [(at[:, 0] - grid.x_min) / grid.pixel_m, (grid.y_max - at[:, 1]) / grid.pixel_m], axis=-1
        ),
    )
    beyond = MARGIN * max(rows, cols)
    shapes = shapely.clip_by_rect(shapely.make_valid(shapes), -beyond, -beyond, cols + beyond, rows + beyond)
    single = shapely.get_parts(shapely.get_parts(shapes))  # parts of collections may be collections
    kind = shapely.get_type_id(single)
    rings = shapely.get_rings(single[kind == shapely.GeometryType.POLYGON])
    return np.concatenate([single[kind == shapely.GeometryType.LINESTRING], rings])


def _off_greenwich(shape: Any) -> Any:
    """Return a shape in degrees without what lies far from 180, where it goes round the world past Greenwich.

    There longitudes from 0 to 360 begin and end, and a line across would cross the whole map.
    """
    longitude_deg = shapely.get_coordinates(shape)[:, 0]
    if np.ptp(longitude_deg % 360.0) <= 180.0:
        return shape
    near = [shapely.box(west, -90.0, west + 90.0, 90.0) for west in (-180.0, 90.0)]
    return shapely.intersection(shapely.make_valid(shape), shapely.MultiPolygon(near))


def _as_bytes(lines: NDArray[Any], tolerance_px: float) -> NDArray[np.uint8]:
    found = []
    for line in shapely.simplify(lines, tolerance_px):
        at = np.rint(shapely.get_coordinates(line) * STEPS_A_PX).astype(np.int64)
        at = at[np.append(True, np.any(np.diff(at, axis=0) != 0, axis=1))]
        closed = line.geom_type == "LinearRing"
        at = at[:-1] if closed and len(at) > 1 else at
        if len(at) < (3 if closed else 2):
            continue  # smaller than can be seen
        found.append(np.concatenate([[-len(at) if closed else len(at)], at[0], np.diff(at, axis=0).ravel()]))
    whole = np.concatenate(found) if found else np.empty(0)
    return whole.astype("<i4").view(np.uint8)


def _labels(context: Sequence[Context]) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = []
    for layer in context:
        if layer.draw != "label":
            continue
        points = layer.shapes.representative_point()
        found += [
            {"name": name, "latitude_deg": round(point.y, 6), "longitude_deg": round(point.x, 6)}
            for name, point in zip(layer.label, points, strict=True)
        ]
    return found[:MOST_LABELS]
