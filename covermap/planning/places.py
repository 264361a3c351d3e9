"""Names to find on the map: places of the user's, as points."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from covermap.errors import InputError
from covermap.planning.neighbourhoods import as_text
from covermap.planning.polygons import read_layer, usable_places

NAME_COLUMNS = ("name", "place", "label")
MOST_PLACES = 20_000  # judgement: the page of the map carries them all


@dataclass(frozen=True)
class Place:
    """A name on the map, WGS 84."""

    name: str
    longitude_deg: float
    latitude_deg: float


def read_places(path: Path, what: str = "[areas] places") -> tuple[tuple[Place, ...], tuple[str, ...]]:
    """Return the places of a layer or CSV, and sentences on those left out.

    The name stands in a column name, place or label, else in the first one. A place without a name or a
    geometry is left out; of a line or polygon a point inside stands for it.

    what : the key that names the file, for messages
    Raises InputError if the file is not readable, has no column of names, too many places, or none usable.
    """
    frame, warnings = read_layer(path, None, what, most=MOST_PLACES)
    frame = frame.to_crs("EPSG:4326")
    columns = [str(column) for column in frame.columns if column != frame.geometry.name]
    if not columns:
        raise InputError(f"{path.name} ({what}): it has no column of names. Add a column name.")
    if len(frame) > MOST_PLACES:
        raise InputError(
            f"{path.name} ({what}): it has {len(frame):,} places; at most {MOST_PLACES:,} can be "
            "used. Leave out the smaller ones."
        )
    column = next((column for column in columns if column.lower() in NAME_COLUMNS), columns[0])
    names = [as_text(value) for value in frame[column]]
    usable = usable_places(np.asarray(frame.geometry.array, dtype=object))
    usable &= np.array([bool(name) for name in names], dtype=bool)
    if len(frame) and not usable.any():
        raise InputError(
            f"{path.name} ({what}): not one of {len(frame)} features has a name in column {column} "
            "and a geometry. Fill them, or remove the key."
        )
    left_out = int((~usable).sum())
    if left_out:
        warnings += (
            f"{path.name}: {left_out} of {len(frame)} places have no name in column {column} or no geometry; "
            "they are left out.",
        )
    points = frame.geometry[usable].representative_point()
    kept = [name for name, is_usable in zip(names, usable, strict=True) if is_usable]
    return tuple(Place(name, p.x, p.y) for name, p in zip(kept, points, strict=True)), warnings
