"""Reads the table that gives each land-cover class its height and kind."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from covermap.tables.user_table import read_table_rows

COLUMNS = ("class", "category", "clutter_height_m", "open_land", "water", "built_up")


@dataclass(frozen=True, eq=False)
class LandCoverTable:
    """What each of N land-cover classes means, one value a class.

    class_code : int, the value in the raster
    category : words
    clutter_height_m : above ground; what the path profile carries on top of the terrain
    open_land : form (2b) of ITU-R P.2108-1 section 3.1 applies (open land and water)
    water, built_up : bool
    """

    class_code: NDArray[np.int64]
    category: tuple[str, ...]
    clutter_height_m: NDArray[np.float64]
    open_land: NDArray[np.bool_]
    water: NDArray[np.bool_]
    built_up: NDArray[np.bool_]


def read_land_cover_table(path: Path | str | None = None) -> LandCoverTable:
    """Return the land-cover classes of the built-in table or of the user's CSV.

    Raises InputError if a column is missing, a cell is wrong or a class stands twice.
    """
    rows = read_table_rows("land_cover", None if path is None else Path(path), COLUMNS)
    codes = [int(row.number("class", 0, 65_535)) for row in rows]
    faults = rows[0].faults
    faults.tell()
    earlier: set[int] = set()
    for row, code in zip(rows, codes, strict=True):
        if code in earlier:
            faults.sentences.append(
                f"{row.where}, column class: found {code} a second time. "
                "Each class may stand once. Delete one of the rows."
            )
        earlier.add(code)
    table = LandCoverTable(
        class_code=np.array(codes, dtype=np.int64),
        category=tuple(row.text("category") for row in rows),
        clutter_height_m=np.array([row.number("clutter_height_m", 0.0, 100.0) for row in rows]),
        open_land=np.array([row.yes_no("open_land") for row in rows]),
        water=np.array([row.yes_no("water") for row in rows]),
        built_up=np.array([row.yes_no("built_up") for row in rows]),
    )
    faults.tell()
    return table
