"""The paths to a bench: from the stations that a comparison log reads to the place where it was read."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from covermap.addresses.obstacles import obstacles
from covermap.addresses.paths import StationPath, mount_heights_m, station_paths
from covermap.addresses.site import Site
from covermap.propagation.ridges import PATH_CLASSES
from covermap.reception.bands import band_of
from covermap.reception.variability import OPEN_PATH, own_spread_db, prediction_sd_db
from covermap.scenario.records import Station

SAME_CHANNEL_MHZ = 1.0  # filed centres differ by offsets of some kHz


@dataclass(frozen=True)
class BenchPath:
    """One station of a log as the scenario knows it.

    bearing_deg : at the bench towards the mast, from true north. hills : above the line of sight, -1 unknown
    field_dbuvm : predicted half of the time at 10 m or the pole's height where greater; NaN unknown
    spread_db : of the prediction at one place
    """

    mast: str
    distance_km: float
    bearing_deg: float
    hills: int
    highest_m: float
    field_dbuvm: float
    spread_db: float


def bench_paths(
    site: Site,
    latitude_deg: float,
    longitude_deg: float,
    height_m: float,
    frequencies_mhz: Mapping[str, float],
) -> dict[str, BenchPath]:
    """Return the path of each station of a log that the scenario has, by the log's name of it.

    frequencies_mhz : the log's name of a station -> the centre of its channel. A station is known by its id
        or service, else by a channel that only one station uses.
    """
    stations = site.scenario.stations
    found = {name: _station(name, mhz, stations) for name, mhz in frequencies_mhz.items()}
    wanted = tuple(dict.fromkeys(station for station in found.values() if station is not None))
    if not wanted:
        return {}
    # Only what the log names: a path costs the same however weak its station is.
    narrowed = replace(site, scenario=replace(site.scenario, stations=wanted))
    heights_m = mount_heights_m([height_m])
    prediction = site.scenario.settings.prediction
    by_id = {}
    for path in station_paths(narrowed, latitude_deg, longitude_deg, heights_m):
        stand = obstacles(path, heights_m[-1], prediction.dn, prediction.n0)
        # Not smooth_earth: flat land in place of ground that is not known has no hills to tell of.
        known = path.status in ("ok", "near")
        by_id[path.station.station_id] = BenchPath(
            mast=path.station.mast,
            distance_km=path.profile.length_km,
            bearing_deg=path.profile.back_azimuth_deg,
            hills=len(stand.ridges) if known else -1,
            highest_m=max((ridge.height_above_line_m for ridge in stand.ridges), default=math.nan),
            field_dbuvm=path.median_dbuvm[heights_m[-1]] if known else math.nan,
            spread_db=_spread_db(site, path, heights_m[-1]),
        )
    return {name: by_id[station.station_id] for name, station in found.items() if station is not None}


def _spread_db(site: Site, path: StationPath, height_m: float) -> float:
    """Return the spread of the prediction at the end of a path, over open land. [dB]"""
    options, mhz = site.options, path.station.frequency_mhz
    kind = PATH_CLASSES[path.path_class] if path.path_class < len(PATH_CLASSES) else OPEN_PATH
    prediction_db = prediction_sd_db(options, kind, band_of(mhz))
    return float(own_spread_db(prediction_db, options.has_land_cover, mhz, options.cell_m, height_m, 0.0))


def _station(name: str, frequency_mhz: float, stations: tuple[Station, ...]) -> Station | None:
    """Return the station that a log means; None where the scenario has none, or several it could be."""
    # Names first: two stations of a scenario may share a channel, and a log may name one of them. A service
    # that several masts carry is not a name of one.
    for label in ("station_id", "service"):
        named = [one for one in stations if getattr(one, label).lower() == name.lower()]
        if len(named) == 1:
            return named[0]
    on_channel = [one for one in stations if abs(one.frequency_mhz - frequency_mhz) < SAME_CHANNEL_MHZ]
    return on_channel[0] if len(on_channel) == 1 else None
