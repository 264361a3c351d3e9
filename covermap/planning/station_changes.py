"""Which stations two results do not share, and in what a station of both is not the same."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass, field
from typing import Any

import pandas as pd

# what of a station moves its field, or for whom it counts
TOLD = (
    "service",
    "rf_channel",
    "frequency_mhz",
    "erp_kw",
    "antenna_height_m",
    "ground_filed_m",
    "polarization",
    "azimuth_pattern",
    "elevation_pattern",
    "system",
    "bandwidth_mhz",
    "required_cn_db",
    "use",
    "status",
    "latitude_deg",
    "longitude_deg",
)
SAME_NUMBER = 1e-6  # written and read back; of a degree, 0.1 m


@dataclass(frozen=True)
class StationChange:
    """A column in which a station of both results is not the same; before, after None where it was blank."""

    station_id: str
    column: str
    before: str | float | None
    after: str | float | None


@dataclass(frozen=True)
class StationChanges:
    """What differs between the stations of two results.

    removed, added : ids that only the earlier, only the later result has, in its order
    changed : of stations that both have, in the later's order and that of TOLD
    services : of these stations, where it is known
    """

    removed: tuple[str, ...] = ()
    added: tuple[str, ...] = ()
    changed: tuple[StationChange, ...] = ()
    services: dict[str, str] = field(default_factory=dict)

    def __bool__(self) -> bool:
        """Return whether anything differs."""
        return bool(self.removed or self.added or self.changed)

    def name(self, station_id: str) -> str:
        """Return a station as people know it: 'Coast TV (CTV)'."""
        service = self.services.get(station_id)
        return f"{service} ({station_id})" if service else station_id


NO_CHANGES = StationChanges()


def station_changes(before: pd.DataFrame, after: pd.DataFrame) -> StationChanges:
    """Compare the stations of two results; columns that only one of the tables has are not compared.

    before, after : a row a station, by station_id, as result.transmitters.stations_of() returns them
    """
    old, new = _by_station(before), _by_station(after)
    changed = [
        StationChange(station, name, _value(old[station][name]), _value(cells[name]))
        for station, cells in new.items()
        if station in old
        for name in TOLD
        if name in cells and name in old[station]
    ]
    removed = tuple(station for station in old if station not in new)
    added = tuple(station for station in new if station not in old)
    changed = [pair for pair in changed if not _same(pair.before, pair.after)]
    told = {*removed, *added, *(pair.station_id for pair in changed)}
    services = {
        station: cells["service"]
        for station, cells in (old | new).items()
        if station in told and "service" in cells
    }
    return StationChanges(removed, added, tuple(changed), services)


def _by_station(table: pd.DataFrame) -> dict[str, dict[Hashable, Any]]:
    return {str(station): row for station, row in table.to_dict("index").items()}


def _value(cell: Any) -> str | float | None:
    """Return a cell as a text or a number, None where it is blank."""
    if pd.isna(cell):
        return None
    return cell if isinstance(cell, str) else float(cell)


def _same(before: str | float | None, after: str | float | None) -> bool:
    if isinstance(before, float) and isinstance(after, float):
        return abs(before - after) <= SAME_NUMBER
    return before == after
