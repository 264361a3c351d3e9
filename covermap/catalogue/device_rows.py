"""Reads devices.csv: amplifiers, cables and what splits, joins or filters."""

from __future__ import annotations

import math
from pathlib import Path

from covermap.catalogue.cells import identifier, known, number, read_rows, source, span
from covermap.catalogue.records import Device
from covermap.errors import Faults
from covermap.scenario.text_table import Row

AMPLIFIERS = ("amplifier", "distribution_amplifier", "launch_amplifier")
PASSIVE = ("splitter", "combiner", "diplexer", "tap", "filter", "outlet", "balun", "connector", "arrestor")
KINDS = (*AMPLIFIERS, "cable", *PASSIVE)
NEEDED = ("device_id", "name", "kind", "source")
DBUV_IN_75_OHM = 108.75  # dBuV = dBm + 108.75 in 75 ohm; definition of the units
MOST_PRICE = 1e9
FREQUENCIES_MHZ = (1.0, 3000.0)


def read_devices(path: Path) -> tuple[dict[str, Device], tuple[str, ...]]:
    """Return device id -> Device of a table, and what was noticed.

    Raises InputError, all faults of the file together.
    """
    table = read_rows(path, NEEDED)
    devices: dict[str, Device] = {}
    faults = Faults()
    for row in table.rows:
        device = faults.of(None, _device, row, devices)
        if device is not None:
            devices[device.device_id] = device
    faults.tell()
    return devices, table.warnings


def _device(row: Row, seen: dict[str, Device]) -> Device:
    device_id, kind = identifier(row, "device_id", seen), known(row, "kind", KINDS)
    device = Device(
        device_id=device_id,
        name=row.text("name") or device_id,
        kind=kind,
        ways=int(number(row, "ways", 1, 64, blank=1.0)),
        gain_db=span(row, _columns("gain{}_db"), 0.0, 60.0),
        noise_figure_db=span(row, _columns("noise_figure{}_db"), 0.0, 20.0),
        loss_vhf_db=span(row, _columns("loss_vhf{}_db"), 0.0, 60.0),
        loss_uhf_db=span(row, _columns("loss_uhf{}_db"), 0.0, 60.0),
        through_db=span(row, _columns("through{}_db"), 0.0, 20.0),
        cable_db_per_100_m=_cable(row),
        # data sheets give limits in dBuV
        max_input_dbm=span(row, _columns("max_input{}_dbuv"), 0.0, 150.0, minus=DBUV_IN_75_OHM),
        max_output_dbm=span(row, _columns("max_output{}_dbuv"), 0.0, 150.0, minus=DBUV_IN_75_OHM),
        price=number(row, "price", 0.0, MOST_PRICE),
        source=source(row),
        lowest_mhz=number(row, "lowest_mhz", *FREQUENCIES_MHZ),
        highest_mhz=number(row, "highest_mhz", *FREQUENCIES_MHZ),
    )
    _check_complete(row, device)
    return device


def _columns(column: str) -> tuple[str, str, str]:
    """Return the columns of low, typical and high."""
    return column.format("_low"), column.format(""), column.format("_high")


def _cable(row: Row) -> tuple[float, float] | None:
    root = number(row, "cable_root_db_per_100_m", 0.0, 5.0)
    linear = number(row, "cable_linear_db_per_100_m", 0.0, 0.1, blank=0.0)
    return None if math.isnan(root) else (root, linear)


def _check_complete(row: Row, device: Device) -> None:
    """Raise InputError where a device lacks what its kind must have."""
    if device.kind in AMPLIFIERS:
        for column, value in (("gain_db", device.gain_db), ("noise_figure_db", device.noise_figure_db)):
            if value is None:
                raise row.wrong(column, "An amplifier needs gain and noise figure. Fill the cell.")
        if device.lowest_mhz > device.highest_mhz:
            raise row.wrong("highest_mhz", f"It must be {device.lowest_mhz:g} or more. Correct the row.")
    elif device.kind == "cable" and device.cable_db_per_100_m is None:
        raise row.wrong(
            "cable_root_db_per_100_m", "A cable needs a of its loss a sqrt(MHz) + b MHz, per 100 m."
        )
    elif device.kind in PASSIVE and device.loss_vhf_db is None and device.loss_uhf_db is None:
        raise row.wrong("loss_uhf_db", f"A {device.kind} needs its loss at VHF, at UHF or both. Fill a cell.")
