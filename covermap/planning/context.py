"""Layers drawn on the map for orientation: roads, water, buildings, boundaries, labels of the user's own."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np

from covermap.errors import InputError
from covermap.planning.neighbourhoods import as_text
from covermap.planning.places import NAME_COLUMNS
from covermap.planning.polygons import find_column, read_layer, usable_places
from covermap.scenario.settings import ContextLayer

WHERE = "[map] context"
LINES, AREAS = {"LineString", "MultiLineString"}, {"Polygon", "MultiPolygon"}
# what most people give: lines are roads, areas boundaries, points labels
BY_GEOMETRY = (("road", LINES), ("boundary", AREAS), ("label", {"Point", "MultiPoint"}))
FITS = {
    "road": LINES,
    "water": LINES | AREAS,
    "building": AREAS,
    "boundary": LINES | AREAS,
    "label": LINES | AREAS | {"Point", "MultiPoint"},
}


@dataclass(frozen=True, eq=False)
class Context:
    """One layer as it is drawn, WGS 84.

    draw : road, water, building, boundary or label; label : the words of each feature, of labels only
    """

    draw: str
    shapes: gpd.GeoSeries
    label: tuple[str, ...] = ()


def read_context(layers: Sequence[ContextLayer]) -> tuple[tuple[Context, ...], tuple[str, ...]]:
    """Return the layers in their order, and sentences on features left out.

    A feature is left out that has no place, whose kind does not fit the drawing, or, as a label, no words.
    Raises InputError if a file is not readable, has no column of words, or nothing that can be drawn.
    """
    found: list[Context] = []
    warnings: list[str] = []
    for layer in layers:
        frame, left_out = read_layer(layer.file, None, WHERE)
        warnings += left_out
        frame = frame.to_crs("EPSG:4326")
        kinds = np.asarray(frame.geometry.geom_type, dtype=object)
        draw = layer.draw or _guessed(kinds)
        usable = usable_places(np.asarray(frame.geometry.array, dtype=object))
        usable &= np.isin(kinds, list(FITS[draw]))
        words = _labels(frame, layer) if draw == "label" else [""] * len(frame)
        usable &= np.array([draw != "label" or bool(word) for word in words], dtype=bool)
        if not usable.any():
            raise InputError(
                f"{layer.file.name} ({WHERE}): not one of {len(frame)} features can be drawn as {draw}. "
                f"Change draw, or remove the layer."
            )
        if not usable.all():
            warnings.append(
                f"{layer.file.name}: {int((~usable).sum())} of {len(frame)} features cannot be drawn as "
                f"{draw}; they are left out."
            )
        kept = tuple(word for word, is_kept in zip(words, usable, strict=True) if is_kept)
        found.append(Context(draw, frame.geometry[usable], kept if draw == "label" else ()))
    return tuple(found), tuple(warnings)


def _guessed(kinds: np.ndarray) -> str:
    """Return how a layer is drawn by what most of its features are."""
    count = {draw: int(np.isin(kinds, list(fitting)).sum()) for draw, fitting in BY_GEOMETRY}
    # max keeps the first of equals, so the order of BY_GEOMETRY decides.
    return max(count, key=lambda draw: count[draw])


def _labels(frame: gpd.GeoDataFrame, layer: ContextLayer) -> list[str]:
    columns = [str(column) for column in frame.columns if column != frame.geometry.name]
    if layer.label is not None:
        column = find_column(frame, layer.label, f"{WHERE} label", layer.file)
    else:
        column = next((column for column in columns if column.lower() in NAME_COLUMNS), "")
    if not column:
        raise InputError(
            f"{layer.file.name} ({WHERE}): labels need a column of words. Name it with label; the columns "
            f"are: {', '.join(columns) or 'none'}."
        )
    return [as_text(value) for value in frame[column]]
