"""Reads the homes that are to share one antenna: a row a home, with its place, its cable and its splits."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from pathlib import Path

from covermap.addresses.list_file import COLUMNS as ADDRESS_COLUMNS
from covermap.addresses.list_file import ListedAddress, read_address
from covermap.measurements.field_rows import open_rows, optional_number, read_each
from covermap.scenario.text_table import Row

MOST_CABLE_M, MOST_OUTLETS, MOST_HOMES = 3000.0, 64, 200
NUMBERS = ("latitude_deg", "longitude_deg", "cable_m", "outlets")
COLUMNS = (*ADDRESS_COLUMNS, "cable_m", "outlets", "splits")
# a comma too: "4,8" is how a spreadsheet may have kept it
SPLITS = re.compile(r"\d+( *[x×*,] *\d+)*")


@dataclass(frozen=True)
class SharedHome:
    """One home of a block or hamlet.

    cable_m : from the antenna to it along the cable, NaN where the list does not say
    outlets : sets in it. splits : ways of the splitters passed on the way, those inside it left out; empty
        where the list does not say
    """

    address: ListedAddress
    cable_m: float
    outlets: int
    splits: tuple[int, ...]


@dataclass(frozen=True)
class SharedHomes:
    """The readable rows in file order, a sentence on each row left out, and what was noticed on reading."""

    homes: tuple[SharedHome, ...]
    left_out: tuple[str, ...]
    warnings: tuple[str, ...]


def read_shared_homes(path: Path | str) -> SharedHomes:
    """Read the homes of a shared antenna; rows that cannot be used are named and the rest is kept.

    Raises InputError if the file or its header cannot be read, no row is usable, or there are too many.
    """
    position = (("latitude_deg", "position"), ("longitude_deg", "position"))
    rows = open_rows(path, NUMBERS, COLUMNS, position, most_rows=MOST_HOMES)
    found = read_each(rows, _home)
    return SharedHomes(tuple(found), tuple(rows.unreadable), tuple(rows.warnings))


def _home(row: Row, warnings: list[str]) -> SharedHome:
    cable_m = optional_number(row, "cable_m", 0.0, MOST_CABLE_M)
    outlets = optional_number(row, "outlets", 1.0, MOST_OUTLETS)
    if outlets is not None and outlets != int(outlets):
        raise row.wrong("outlets", "It must be a whole number of sets, or empty for one. Correct the cell.")
    return SharedHome(
        read_address(row, warnings),
        math.nan if cable_m is None else cable_m,
        1 if outlets is None else int(outlets),
        _splits(row),
    )


def _splits(row: Row) -> tuple[int, ...]:
    """Return the ways of each splitter on the way: '4 x 8' is (4, 8)."""
    written = row.text("splits")
    if not written:
        return ()
    # [0] fails the check below, so that anything unreadable gets the same sentence.
    ways = [int(number) for number in re.findall(r"\d+", written)] if SPLITS.fullmatch(written) else [0]
    if not all(1 <= number <= MOST_OUTLETS for number in ways):
        raise row.wrong(
            "splits",
            f"Write the ways of each splitter from the antenna to this home, such as 4 x 8; each 1 to "
            f"{MOST_OUTLETS}. Leave it empty for one splitter with a way a home.",
        )
    # A splitter of one way is none, but people write it down.
    return tuple(number for number in ways if number > 1)
