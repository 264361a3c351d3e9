"""Several antennas of a comparison log side by side: what each read on every station, and every pair."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from covermap.constants import BANDS
from covermap.errors import InputError
from covermap.measurements.antenna_test import AntennaTest, antenna_test
from covermap.measurements.band_result import BandResult
from covermap.measurements.comparison_log import LogReading
from covermap.measurements.paired import as_level, decodable_floor

Scale = tuple[str, str]  # set and kind of scale


@dataclass(frozen=True)
class MatrixCell:
    """What one antenna read on one station: mean of the readings with a picture, NaN without one.

    value : level in dBm at the antenna's terminals, or per cent as shown. lost, saturated : of `readings`
    """

    value: float
    readings: int
    lost: int
    saturated: int


@dataclass(frozen=True)
class MatrixRow:
    """One station of one set: antenna -> cell, for the antennas that were read there."""

    station: str
    channel: str
    frequency_mhz: float
    band: str
    cells: Mapping[str, MatrixCell]


@dataclass(frozen=True)
class Matrix:
    """Stations by antennas at one site with one set and scale, stations in order of frequency.

    site : as the log names it, '' where it does not
    in_dbm : whether cells are levels; else per cent, of which decibels are known where `calibrated`, or MER
    """

    site: str
    scale: Scale
    in_dbm: bool
    calibrated: bool
    antennas: tuple[str, ...]
    rows: tuple[MatrixRow, ...]


def matrices(test: AntennaTest) -> tuple[Matrix, ...]:
    """Return a matrix for each site, set and scale of a log; readings behind attenuators are left out."""
    readings = [reading for reading in test.log.readings if reading.attenuator_db == 0.0]
    groups: dict[tuple[str, Scale], list[LogReading]] = {}
    for reading in readings:
        # By set and scale too: what two sets show of one signal is not to be compared.
        groups.setdefault((reading.site, (reading.device, reading.scale.kind)), []).append(reading)
    calibrated = {(scale.device, scale.kind) for scale in test.scales}
    return tuple(_matrix(*key, rows, key[1] in calibrated) for key, rows in groups.items())


def _matrix(site: str, scale: Scale, readings: Sequence[LogReading], calibrated: bool) -> Matrix:
    antennas = tuple(dict.fromkeys(reading.antenna for reading in readings))
    stations = dict.fromkeys((r.frequency_mhz, r.station, r.channel, r.band) for r in readings)
    in_dbm = not (readings[0].scale.is_percent or readings[0].scale.kind == "MER")
    rows = []
    for mhz, station, channel, band in sorted(stations):
        here = [r for r in readings if (r.frequency_mhz, r.station) == (mhz, station)]
        cells = {
            antenna: _cell([r for r in here if r.antenna == antenna], in_dbm)
            for antenna in antennas
            if any(r.antenna == antenna for r in here)
        }
        rows.append(MatrixRow(station, channel, mhz, band, cells))
    return Matrix(site, scale, in_dbm, calibrated, antennas, tuple(rows))


def _cell(readings: Sequence[LogReading], in_dbm: bool) -> MatrixCell:
    seen = [r for r in readings if r.state != "lost"]
    floor = decodable_floor(readings)
    values = [as_level(r, floor, {}).low_db if in_dbm else r.value for r in seen]
    saturated = sum(r.state == "saturated" for r in readings)
    mean = float(np.mean(values)) if values else float("nan")
    return MatrixCell(mean, len(readings), len(readings) - len(seen), saturated)


def every_pair(test: AntennaTest, *, remounted: bool = False) -> tuple[BandResult, ...]:
    """Return the figures of each two antennas of a log, the later one against the earlier, by band.

    Antennas in the order reference first, then as the log has them.
    """
    names = list(dict.fromkeys(reading.antenna for reading in test.log.readings))
    order = [test.reference, *(name for name in names if name != test.reference)]
    found = list(test.bands)
    for reference in order[1:-1]:
        later = order[order.index(reference) + 1 :]
        try:
            other = antenna_test(test.log, test.log.channel_plan, remounted=remounted, reference=reference)
        except InputError:  # no station was read with it and another antenna in one session
            continue
        found += [result for result in other.bands if result.candidate in later]
    rank = {name: number for number, name in enumerate(order)}
    return tuple(sorted(found, key=lambda r: (rank[r.reference], rank[r.candidate], BANDS.index(r.band))))
