"""Reads the table that gives each land-cover class its height and kind."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from covermap.tables.noise import ENVIRONMENTS
from covermap.tables.user_table import TableRow, read_table_rows

CITY_M = 15.0  # judgement: houses of this height and more are a town's
COLUMNS = ("class", "category", "clutter_height_m", "open_land", "water", "built_up")


@dataclass(frozen=True, eq=False)
class LandCoverTable:
    """What each of N land-cover classes means, one value a class.

    class_code : int, the value in the raster
    category : words
    clutter_height_m : above ground; what the path profile carries on top of the terrain
    open_land : form (2b) of ITU-R P.2108-1 section 3.1 applies (open land and water)
    water, built_up : bool
    environment : uint8, noise environment of homes there, a place in propagation.noise.ENVIRONMENTS
    """

    class_code: NDArray[np.int64]
    category: tuple[str, ...]
    clutter_height_m: NDArray[np.float64]
    open_land: NDArray[np.bool_]
    water: NDArray[np.bool_]
    built_up: NDArray[np.bool_]
    environment: NDArray[np.uint8]


def read_land_cover_table(path: Path | str | None = None) -> LandCoverTable:
    """Return the land-cover classes of the built-in table or of the user's CSV.

    A user's table may leave out noise_environment: then built-up classes are residential, from 15 m on city,
    and all others rural.

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
    heights_m = np.array([row.number("clutter_height_m", 0.0, 100.0) for row in rows])
    built_up = np.array([row.yes_no("built_up") for row in rows])
    table = LandCoverTable(
        class_code=np.array(codes, dtype=np.int64),
        category=tuple(row.text("category") for row in rows),
        clutter_height_m=heights_m,
        open_land=np.array([row.yes_no("open_land") for row in rows]),
        water=np.array([row.yes_no("water") for row in rows]),
        built_up=built_up,
        environment=np.array(
            [_environment(*of_row) for of_row in zip(rows, built_up, heights_m, strict=True)], dtype=np.uint8
        ),
    )
    faults.tell()
    return table


def _environment(row: TableRow, built_up: bool, clutter_height_m: float) -> int:
    """Return a class's noise environment; where the row says none, by height and houses."""
    given = row.text("noise_environment")
    if not given:
        of_houses = "city" if clutter_height_m >= CITY_M else "residential"
        given = of_houses if built_up else "rural"
    if given not in ENVIRONMENTS:
        row.faults.sentences.append(
            f'{row.where}, column noise_environment: found "{given}". Environments are '
            f"{', '.join(ENVIRONMENTS)}. Correct the cell, or leave it empty."
        )
        return 0
    return ENVIRONMENTS.index(given)
