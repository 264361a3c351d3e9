"""Reads addresses.csv: id; label, name or address; latitude_deg and longitude_deg, or position."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from covermap.measurements.field_rows import open_rows, read_each
from covermap.scenario.coordinates import read_place
from covermap.scenario.text_table import Row

NUMBERS = ("latitude_deg", "longitude_deg")
COLUMNS = ("id", "latitude_deg", "longitude_deg", "position", "label", "name", "address")


@dataclass(frozen=True)
class ListedAddress:
    """One row of the list. where : file and line; point_id : its id, else its label, else empty."""

    where: str
    point_id: str
    label: str
    latitude_deg: float
    longitude_deg: float


@dataclass(frozen=True)
class AddressList:
    """The readable rows in file order, a sentence on each row left out, and what was noticed on reading."""

    addresses: tuple[ListedAddress, ...]
    left_out: tuple[str, ...]
    warnings: tuple[str, ...]


def read_addresses(path: Path | str) -> AddressList:
    """Read a list of addresses; rows that cannot be used are named with the reason and the rest is kept.

    Raises InputError if the file or its header cannot be read, or if no row is usable.
    """
    rows = open_rows(path, NUMBERS, COLUMNS, (("latitude_deg", "position"), ("longitude_deg", "position")))
    found = read_each(rows, read_address)
    return AddressList(_apart(found), tuple(rows.unreadable), tuple(rows.warnings))


def read_address(row: Row, warnings: list[str]) -> ListedAddress:
    """Return the place of a row. Raises InputError where it has none."""
    latitude_deg, longitude_deg = read_place(row, warnings)
    label = row.text("label") or row.text("name") or row.text("address")
    return ListedAddress(row.where, row.text("id") or label, label, latitude_deg, longitude_deg)


def _apart(found: Sequence[ListedAddress]) -> tuple[ListedAddress, ...]:
    """Return addresses in which those without an id of their own are told apart by a number."""
    seen: Counter[str] = Counter()
    apart = []
    for one in found:
        seen[one.point_id] += 1
        count, is_label = seen[one.point_id], one.point_id != "" and one.point_id == one.label
        apart.append(replace(one, point_id=f"{one.point_id} {count}") if is_label and count > 1 else one)
    return tuple(apart)
