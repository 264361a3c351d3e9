"""What an address says of stations: each one there, the hills on its path, who interferes, the skyline."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from covermap.grid.exact_path import PointProfile


@dataclass(frozen=True)
class RidgeAtSite:
    """One ridge between a mast and the point; distance from the point. loss_db is of this edge alone."""

    distance_km: float
    ground_m: float
    height_above_line_m: float
    loss_db: float


@dataclass(frozen=True)
class Interferer:
    """A station that disturbs another one, on its channel or beside it."""

    station_id: str
    service: str
    rf_channel: int | None
    frequency_mhz: float
    band: str
    azimuth_deg: float


@dataclass(frozen=True)
class StationAtSite:
    """One station at the point.

    letter : of covermap.scenario.letters; on_list : carries a service of the wanted list
    status : ok, near (within 250 m), unknown (the path leaves the elevation), out_of_reach, smooth_earth (the
        ground between is not known; computed over flat land)
    field_dbuvm : at 10 m, half of the time, on the point's own path; cell_field_dbuvm : of the map's cell;
        prediction_sd_db : how far a prediction of such a path is usually out
    adjustment_db : added by calibration before the margin is computed
    margin_db, chance_percent : alone, with the stored plan; NaN unknown, a margin of -inf where two combined
        antennas hear it alike
    interference_db : what other stations take from the margin; interferer : the worst of them where that is
        1 dB or more
    lost_at_night : its chance reaches the confidence by day and not on nights of good propagation
    azimuth_deg : from the point; off_aim_deg : angle to the aim of the antenna that brings it
    antenna : which antenna of the stored plan brings it, from 1
    obstacle_db : loss of the whole path above free space, half of the time, 0 or more
    path_class : of covermap.propagation.ridges; ridges : from the point outwards
    cause : why it is weak, empty where it is not
    """

    station_id: str
    service: str
    mast: str
    letter: str
    on_list: bool
    displayed_channel: str
    rf_channel: int | None
    frequency_mhz: float
    band: str
    status: str
    field_dbuvm: float
    adjustment_db: float
    cell_field_dbuvm: float
    prediction_sd_db: float
    margin_db: float
    chance_percent: float
    interference_db: float
    interferer: Interferer | None
    lost_at_night: bool
    azimuth_deg: float
    distance_km: float
    off_aim_deg: float
    antenna: int
    obstacle_db: float
    path_class: str
    ridges: tuple[RidgeAtSite, ...]
    cause: str


@dataclass(frozen=True, eq=False)
class MastPath:
    """The ground between one mast and the point, and the stations that come along it.

    profile : mast first; tx_height_m, rx_height_m : antennas above ground
    effective_radius_km : of the earth, for the bulge; stations : those that come along it
    """

    mast: str
    path_class: str
    profile: PointProfile
    tx_height_m: float
    rx_height_m: float
    effective_radius_km: float
    stations: tuple[StationAtSite, ...]


@dataclass(frozen=True, eq=False)
class Skyline:
    """Elevation of the horizon as seen from the mount, one value an azimuth (true), NaN unknown.

    reach_km : how far each line was followed; azimuth_deg, elevation_deg, reach_km have shape (n,)
    """

    azimuth_deg: NDArray[np.float64]
    elevation_deg: NDArray[np.float64]
    reach_km: NDArray[np.float64]
