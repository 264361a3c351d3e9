"""The frozen records a checked scenario is made of."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    from covermap.scenario.settings import Settings


@dataclass(frozen=True, eq=False)
class Pattern:
    """A transmitting antenna's pattern in one plane, in dB below its greatest field.

    name : as in patterns.csv
    plane : "azimuth" (degrees clockwise from true north) or "elevation" (degrees, up positive)
    angle_deg : increasing; an azimuth pattern closes at 360
    relative_db : 20 log10 of the relative field, at most 0, floored at -30
    """

    name: str
    plane: str
    angle_deg: NDArray[np.float64]
    relative_db: NDArray[np.float64]

    def relative_db_at(self, angle_deg: NDArray[np.float64]) -> NDArray[np.float64]:
        """Return the pattern at any angles, straight in dB between its rows."""
        if self.plane == "azimuth":
            return np.interp(np.mod(angle_deg, 360.0), self.angle_deg, self.relative_db)
        return np.interp(angle_deg, self.angle_deg, self.relative_db)


@dataclass(frozen=True, eq=False)
class Station:
    """One transmitter on one RF channel."""

    station_id: str
    service: str
    mast: str
    displayed_channel: str
    status: str  # on_air | planned (off_air rows are left out on reading)
    latitude_deg: float
    longitude_deg: float
    rf_channel: int | None
    frequency_mhz: float  # centre of the channel
    bandwidth_mhz: float
    band: str  # low_vhf | high_vhf | uhf
    erp_kw: float
    antenna_height_m: float  # above ground
    ground_m: float | None  # as filed; compared with the terrain, never used for paths
    polarization: str  # horizontal | vertical | slant | circular
    azimuth_pattern: Pattern | None
    elevation_pattern: Pattern | None
    electrical_tilt_deg: float  # positive is down
    mechanical_tilt_deg: float  # positive is down, towards mechanical_tilt_azimuth_deg
    mechanical_tilt_azimuth_deg: float
    system: str
    required_cn_db: float
    use: str  # wanted | interferer
    sfn_group: str
    sfn_delay_us: float
    as_of: str  # ISO date or empty
    source: str  # "transmitters.csv, line 7"
    sfn_window_us: float = 0.0  # delay within which stations of one network add up
    indoor_more_cn_db: float = 0.0  # beyond required_cn_db, where no direct ray comes

    @property
    def indoor_cn_db(self) -> float:
        """Return the C/N required at an indoor antenna. [dB]"""
        return self.required_cn_db + self.indoor_more_cn_db


@dataclass(frozen=True)
class WantedList:
    """A named list of services a viewer wants.

    services : names in file order
    transmitters : for each service the indices into Scenario.stations that carry it; any one suffices
    at_least : how many must arrive; None means all
    """

    name: str
    services: tuple[str, ...]
    transmitters: tuple[tuple[int, ...], ...]
    at_least: int | None

    @property
    def needed(self) -> int:
        """Return how many services must arrive."""
        return len(self.services) if self.at_least is None else self.at_least


@dataclass(frozen=True, eq=False)
class Scenario:
    """A checked scenario: what read_scenario returns. Paths in it are absolute.

    warnings : sentences for people; left_out : reason -> number of transmitter rows dropped
    """

    path: Path
    name: str
    output: Path
    settings: Settings
    stations: tuple[Station, ...]
    wanted: tuple[WantedList, ...]
    warnings: tuple[str, ...]
    left_out: dict[str, int]

    @property
    def masts(self) -> tuple[str, ...]:
        """Return the mast labels in file order."""
        return tuple(dict.fromkeys(station.mast for station in self.stations))

    @property
    def stations_as_of(self) -> str:
        """Return the latest as_of date among the stations, or an empty text."""
        return max((station.as_of for station in self.stations), default="")

    @property
    def stations_as_of_oldest(self) -> str:
        """Return the oldest as_of date among the stations that have one, or an empty text."""
        return min((station.as_of for station in self.stations if station.as_of), default="")

    @property
    def stations_as_of_range(self) -> str:
        """Return the dates of the stations for people: one date, or '2026-03-01 to 2026-09-01'."""
        oldest, latest = self.stations_as_of_oldest, self.stations_as_of
        return latest if oldest in ("", latest) else f"{oldest} to {latest}"
