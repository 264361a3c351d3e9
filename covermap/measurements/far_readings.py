"""Readings of a comparison log that lie far off what is predicted there, by the prediction's own spread."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from covermap.measurements.antenna_matrix import Matrix

FAR_SPREADS = 3.0  # of a normal spread 1 in 370 lies beyond


@dataclass(frozen=True)
class Predicted:
    """What an antenna should read on a station: level at its terminals, and the spread of that. [dBm, dB]"""

    level_dbm: float
    spread_db: float


@dataclass(frozen=True)
class FarReading:
    """One station at one site that an antenna read far off what is predicted."""

    site: str
    station: str
    channel: str
    antenna: str
    read_dbm: float
    predicted: Predicted

    @property
    def off_db(self) -> float:
        """Return how much more was read than predicted. [dB]"""
        return self.read_dbm - self.predicted.level_dbm


def far_readings(matrix: Matrix, antenna: str, predicted: Mapping[str, Predicted]) -> list[FarReading]:
    """Return what an antenna read more than FAR_SPREADS spreads off its prediction, farthest first.

    predicted : the log's name of a station -> what the antenna should read. Nothing is told of scales that
        are no level, and of stations that are lost or not predicted; a saturated set may read less.
    """
    found = []
    for row in matrix.rows if matrix.in_dbm else ():
        cell, expected = row.cells.get(antenna), predicted.get(row.station)
        if cell is None or expected is None:
            continue
        far = FarReading(matrix.site, row.station, row.channel, antenna, cell.value, expected)
        # NaN, a lost picture or an unknown path, is not far off anything.
        if abs(far.off_db) > FAR_SPREADS * expected.spread_db and not (cell.saturated and far.off_db < 0.0):
            found.append(far)
    return sorted(found, key=lambda far: -abs(far.off_db))
