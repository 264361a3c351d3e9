"""Reads addresses.csv: id, label or name, and latitude_deg, longitude_deg or position; a row a place."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from covermap.measurements.field_rows import open_rows, read_each
from covermap.scenario.coordinates import read_place
from covermap.scenario.text_table import Row

NUMBERS = ("latitude_deg", "longitude_deg")
COLUMNS = ("id", "latitude_deg", "longitude_deg", "position", "label", "name")


@dataclass(frozen=True)
class ListedAddress:
    """One row of the list. where : file and line."""

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
    return AddressList(tuple(found), tuple(rows.unreadable), tuple(rows.warnings))


def read_address(row: Row, warnings: list[str]) -> ListedAddress:
    """Return the place of a row. Raises InputError where it has none."""
    latitude_deg, longitude_deg = read_place(row, warnings)
    # What spreadsheets and geocoders leave where they found nothing; in the sea off Africa, so nobody's home.
    if latitude_deg == 0.0 and longitude_deg == 0.0:
        raise row.wrong("latitude_deg", "0, 0 is a missing position. Fill it or remove the row.")
    # row.place is file and row: it must serve as a file's name later.
    point_id = row.text("id") or row.place.replace(" ", "_")
    return ListedAddress(
        row.where, point_id, row.text("label") or row.text("name"), latitude_deg, longitude_deg
    )
