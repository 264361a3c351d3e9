"""The exact path from a mast to one point: its own profile along the geodesic, by plain scans."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pyproj
from numpy.typing import NDArray

from covermap.constants import CLEAR_OF_CLUTTER_KM, ITM_CLIMATES, NEAR_MAST_KM
from covermap.grid.cover_kernels import FAR_FROM_COAST_KM, SEA
from covermap.grid.near_mast import model_begins_km
from covermap.propagation.free_space import free_space_loss_db
from covermap.propagation.itm.loss import itm_median_loss_db
from covermap.propagation.itm.path import ItmGround
from covermap.propagation.p1812 import p1812_path
from covermap.propagation.terms import TERM_COUNT, THETA_T
from covermap.scenario.records import Station
from covermap.scenario.settings import PredictionSettings
from covermap.terrain import Terrain

GEODESIC = pyproj.Geod(ellps="WGS84")
SHORTEST_KM = 0.001  # our own: free space has no value at no distance


@dataclass(frozen=True, eq=False)
class PointProfile:
    """The terrain between a mast and a point; arrays of shape (n + 1,), the mast first.

    azimuth_deg : at the mast towards the point; back_azimuth_deg : at the point towards the mast
    """

    distance_km: NDArray[np.float64]
    ground_m: NDArray[np.float64]
    clutter_m: NDArray[np.float64]
    zone: NDArray[np.uint8]
    mid_latitude_deg: float
    azimuth_deg: float
    back_azimuth_deg: float

    @property
    def length_km(self) -> float:
        """Return the length of the path."""
        return float(self.distance_km[-1])


@dataclass(frozen=True, eq=False)
class GroundLine:
    """The bare ground between a mast and a point; arrays of shape (n + 1,), the mast first.

    along_m : from the mast. longitude_deg, latitude_deg : of the places
    azimuth_deg : at the mast towards the point; back_azimuth_deg : at the point towards the mast
    """

    along_m: NDArray[np.float64]
    ground_m: NDArray[np.float64]
    longitude_deg: NDArray[np.float64]
    latitude_deg: NDArray[np.float64]
    azimuth_deg: float
    back_azimuth_deg: float


@dataclass(frozen=True)
class ExactLoss:
    """Path loss in dB (NaN unknown), elevation of the ray at the mast in degrees, whether within 250 m."""

    loss_db: float
    departure_deg: float
    near: bool


def ground_line(
    terrain: Terrain,
    mast_latitude_deg: float,
    mast_longitude_deg: float,
    latitude_deg: float,
    longitude_deg: float,
    step_m: float = 50.0,
) -> GroundLine:
    """Return the ground along the geodesic in equal steps of step_m or a little more.

    Steps are never shorter than step_m: with steps just under 50 m the clutter next to each end would fall
    inside the 50 m that stay clear and count for nothing, by chance, where the radial sweep counts it.
    """
    azimuth, back_azimuth, length_m = GEODESIC.inv(
        mast_longitude_deg, mast_latitude_deg, longitude_deg, latitude_deg
    )
    steps = max(2, math.floor(length_m / step_m))
    along_m = np.linspace(0.0, length_m, steps + 1)
    same = np.ones(steps + 1)
    longitudes, latitudes, _ = (
        np.asarray(values)
        for values in GEODESIC.fwd(
            mast_longitude_deg * same, mast_latitude_deg * same, float(azimuth) * same, along_m
        )
    )
    ground_m = terrain.path_ground_m(longitudes, latitudes)
    # Mast and home stand on the ground even where only the canopy above it is unknown, as in the sweep.
    ground_m[[0, -1]] = terrain.ground_m(longitudes[[0, -1]], latitudes[[0, -1]])
    return GroundLine(along_m, ground_m, longitudes, latitudes, float(azimuth), float(back_azimuth))


def point_profile(
    terrain: Terrain,
    mast_latitude_deg: float,
    mast_longitude_deg: float,
    latitude_deg: float,
    longitude_deg: float,
    step_m: float = 50.0,
) -> PointProfile:
    """Return the profile along a ground_line(); what stands on the ground is its clutter."""
    line = ground_line(terrain, mast_latitude_deg, mast_longitude_deg, latitude_deg, longitude_deg, step_m)
    distance_km, longitudes, latitudes = line.along_m / 1000.0, line.longitude_deg, line.latitude_deg
    clutter_m = terrain.path_clutter_m(longitudes, latitudes).astype(np.float64)
    inner = np.minimum(distance_km, distance_km[-1] - distance_km) >= CLEAR_OF_CLUTTER_KM - 1e-9
    middle = GEODESIC.fwd(mast_longitude_deg, mast_latitude_deg, line.azimuth_deg, line.along_m[-1] / 2.0)[1]
    return PointProfile(
        distance_km,
        line.ground_m,
        np.where(inner, clutter_m, 0.0),
        terrain.zone(longitudes, latitudes),
        float(middle),
        line.azimuth_deg % 360.0,
        line.back_azimuth_deg % 360.0,
    )


def exact_loss(
    profile: PointProfile,
    *,
    tx_height_m: float,
    rx_height_m: float,
    frequency_mhz: float,
    vertical: bool,
    time_percent: float,
    dn: float,
    n0: float,
    model: str = "p1812",
    itm: ItmGround | None = None,
) -> ExactLoss:
    """Return the loss of one path at 50 % of locations.

    model : p1812, itm (which needs itm beside) or free_space. Where the model does not begin yet
        (model_begins_km) the loss is free space over the slant distance.
    """
    tx_level_m = profile.ground_m[0] + tx_height_m
    rx_level_m = profile.ground_m[-1] + rx_height_m
    near = profile.length_km < NEAR_MAST_KM
    if profile.length_km < model_begins_km(model):
        length_km = max(profile.length_km, SHORTEST_KM)
        loss_db = free_space_loss_db(length_km, tx_level_m, rx_level_m, frequency_mhz / 1000.0)
        departure = math.degrees(math.atan2((rx_level_m - tx_level_m) / 1000.0, length_km))
        return ExactLoss(float(loss_db), departure, near)
    # Also for the irregular terrain model: its departure angle is that of P.1812's geometry, as on the map.
    terms = np.empty(TERM_COUNT)
    loss_db = p1812_path(
        profile.distance_km,
        profile.ground_m,
        profile.clutter_m,
        profile.zone,
        tx_height_m,
        rx_height_m,
        frequency_mhz / 1000.0,
        time_percent,
        vertical,
        dn,
        n0,
        profile.mid_latitude_deg,
        *coast_distances_km(profile),
        terms,
    )
    if model == "itm":
        loss_db = itm_median_loss_db(
            profile.ground_m,
            profile.length_km,
            (tx_height_m, rx_height_m),
            frequency_mhz,
            vertical,
            time_percent,
            n0,
            itm or ItmGround(),
        )
    return ExactLoss(float(loss_db), math.degrees(terms[THETA_T] / 1000.0), near)


def station_loss(
    prediction: PredictionSettings,
    station: Station,
    profile: PointProfile,
    height_m: float,
    time_percent: float,
) -> ExactLoss:
    """Return the loss from a station by the scenario's model; height_m is the mount above ground."""
    return exact_loss(
        profile,
        tx_height_m=station.antenna_height_m,
        rx_height_m=height_m,
        frequency_mhz=station.frequency_mhz,
        vertical=station.polarization == "vertical",
        time_percent=time_percent,
        dn=prediction.dn,
        n0=prediction.n0,
        model=prediction.model,
        itm=itm_ground(prediction),
    )


def itm_ground(prediction: PredictionSettings) -> ItmGround:
    """Return what the irregular terrain model must know of a scenario's climate and ground."""
    return ItmGround(
        ITM_CLIMATES.index(prediction.climate) + 1,
        prediction.ground_permittivity,
        prediction.ground_conductivity_s_m,
    )


def coast_distances_km(profile: PointProfile) -> tuple[float, float]:
    """Return how far along the path the sea begins from each end; 500 km where there is none."""
    at_sea = profile.distance_km[profile.zone == SEA]
    if at_sea.size == 0:
        return FAR_FROM_COAST_KM, FAR_FROM_COAST_KM
    return float(at_sea[0]), float(profile.length_km - at_sea[-1])
