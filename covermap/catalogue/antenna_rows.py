"""Reads antennas.csv: what each antenna is, what it costs and where it may be put up."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from covermap.catalogue.asked import MARKS
from covermap.catalogue.cells import identifier, known, number, read_rows, source
from covermap.catalogue.gain_rows import GainTable
from covermap.catalogue.mounting import MOUNTS
from covermap.catalogue.records import KINDS, Antenna, Device
from covermap.errors import Faults, InputError
from covermap.scenario.text_table import Row

NEEDED = ("antenna_id", "name", "kind", "mounts", "source")
MOST_PRICE = 1e9
NOT_IN_IDS = (*MARKS, ",", " ")  # what commands read as something else


def read_antennas(
    path: Path, gains: GainTable, devices: Mapping[str, Device]
) -> tuple[dict[str, Antenna], tuple[str, ...]]:
    """Return antenna id -> Antenna of a table, and what was noticed.

    Raises InputError, all faults of the file together; also where the gains name an antenna that it lacks.
    """
    table = read_rows(path, NEEDED)
    antennas: dict[str, Antenna] = {}
    faults = Faults()
    for row in table.rows:
        antenna = faults.of(None, _antenna, row, antennas, gains, devices)
        if antenna is not None:
            antennas[antenna.antenna_id] = antenna
    faults.tell()
    unknown = [antenna_id for antenna_id in gains.antennas if antenna_id not in antennas]
    if unknown:
        raise InputError(
            f"{gains.file}, column antenna_id: found {', '.join(unknown[:5])}, of which {table.file} has no "
            f"row. Its antennas are {', '.join(list(antennas)[:12])}. Correct the id, or add the antenna."
        )
    return antennas, table.warnings


def _antenna(
    row: Row,
    seen: Mapping[str, Antenna],
    gains: GainTable,
    devices: Mapping[str, Device],
) -> Antenna:
    antenna_id = identifier(row, "antenna_id", seen)
    if any(mark in antenna_id for mark in NOT_IN_IDS):
        raise row.wrong("antenna_id", 'An id has no blank and none of + @ : and ",". Rename it.')
    amplifier = known(row, "amplifier", devices, "Or leave it empty.") if row.text("amplifier") else ""
    if antenna_id not in gains.antennas:
        raise row.wrong(
            "antenna_id",
            f"{gains.file} has no row for it. Add its gain, a row for each band or frequency that it serves.",
        )
    return Antenna(
        antenna_id=antenna_id,
        name=row.text("name") or antenna_id,
        kind=known(row, "kind", KINDS),
        mounts=_mounts(row),
        gains=gains.gains.get(antenna_id, ()),
        relative=gains.relative.get(antenna_id, ()),
        boom_m=number(row, "boom_m", 0.0, 20.0),
        price=number(row, "price", 0.0, MOST_PRICE),
        amplifier=devices[amplifier] if amplifier else None,
        impedance_loss_db=number(row, "impedance_loss_db", 0.0, 20.0, blank=0.0),
        cross_polar_db=number(row, "cross_polar_db", 0.0, 40.0),
        source=source(row),
    )


def _mounts(row: Row) -> tuple[str, ...]:
    """Return the mounts of a cell, which stand apart by blanks, "/" or ";"."""
    mounts = tuple(row.text("mounts").lower().replace("/", " ").replace(";", " ").split())
    if not mounts or any(mount not in MOUNTS for mount in mounts):
        raise row.wrong("mounts", f"It must be one or more of {' '.join(MOUNTS)}. Correct the cell.")
    return mounts
