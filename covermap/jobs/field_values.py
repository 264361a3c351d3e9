"""Functions of the public door that need tables or terrain: for someone at a Python prompt."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import geopandas as gpd
import numpy as np
from numpy.typing import ArrayLike, NDArray

from covermap.errors import InputError
from covermap.grid.point_field import point_field
from covermap.inputs.assumed_clutter import read_terrain_of
from covermap.propagation.field_curves import field_of_curves
from covermap.reception.options import ReceptionOptions
from covermap.reception.required_field import required_field as required_field_of_tier
from covermap.reception.tiers import Tier
from covermap.scenario.records import Scenario, Station
from covermap.scenario.systems import find_system
from covermap.tables import read_external_noise, read_prediction_spread, read_tiers
from covermap.tables.field_curves import read_field_curves
from covermap.terrain import Terrain

DEFAULT_BANDWIDTH_MHZ = 6.0  # of the channel, where a system does not say its own


def required_field(
    tier: Tier | int,
    frequency_mhz: float,
    system: str | float = "atsc1_8vsb",
    noise: str = "residential",
    *,
    confidence_percent: float = 50.0,
    clutter_height_m: float = 0.0,
    open_land: bool = False,
    path_class: str = "clear",
) -> float:
    """Return the median outdoor field that gives an aimed installation margin 0.

    Parameters
    ----------
    tier : Tier or int
        The installation, or its number in the built-in table.
    frequency_mhz : float
        Centre of the channel. [MHz]
    system : str or float
        Transmission system by name, or the required C/N itself. [dB]
    noise : str
        Environment: city, residential, rural or quiet_rural.
    confidence_percent : float
        How sure; 50 is margin 0. [%]
    clutter_height_m, open_land : surroundings of the place; at least 10 m is used. [m]
    path_class : str
        What stands in the way, which decides how far a prediction can be off: clear, grazing, one_ridge,
        two_ridges, many_ridges, earth_bulge or scatter.

    Returns
    -------
    float
        Field at 10 m, at the tier's own height where that is greater. [dB(uV/m)]

    Raises
    ------
    InputError
        For an unknown system, environment or path class, or a number out of range.
    """
    installation = _built_in_tier(tier) if isinstance(tier, int) else tier
    bandwidth_mhz = DEFAULT_BANDWIDTH_MHZ
    if isinstance(system, str):
        found = find_system(system, "system")
        system, bandwidth_mhz = found.required_cn_db, found.bandwidth_in(DEFAULT_BANDWIDTH_MHZ)
    return required_field_of_tier(
        installation,
        frequency_mhz,
        system,
        noise,
        confidence_percent=confidence_percent,
        clutter_height_m=clutter_height_m,
        open_land=open_land,
        bandwidth_mhz=bandwidth_mhz,
        options=ReceptionOptions(
            noise_environment=noise,
            external_noise=read_external_noise(),
            path_spread_db=read_prediction_spread(),
        ),
        path_class=path_class,
    )


def _built_in_tier(number: int) -> Tier:
    """Return a tier of the built-in table. Raises InputError for a number that is no antenna."""
    tiers: Sequence[Tier] = read_tiers().tiers
    if not 1 <= number <= len(tiers):
        raise InputError(f"tier is {number}; antennas are tiers 1 to {len(tiers)}.")
    return tiers[number - 1]


def field_at(
    scenario: Scenario,
    points: gpd.GeoSeries | gpd.GeoDataFrame,
    *,
    height_m: float = 10.0,
    time_percent: float = 50.0,
    exact: bool = True,
) -> gpd.GeoDataFrame:
    """Return the field each station makes at points, by the exact path to each.

    Parameters
    ----------
    scenario : Scenario
        From read_scenario.
    points : GeoSeries or GeoDataFrame
        Points in any CRS.
    height_m : float
        Mount above ground; under 10 m the field at 10 m less ITU-R P.2108-1 section 3.1. [m]
    time_percent : float
        Share of time for which the field is exceeded, 1 to 50. [%]
    exact : bool
        Must be True; values of the grid's cells are read with open_coverage().at().

    Returns
    -------
    GeoDataFrame
        One row a point and station, point order then file order: point (0-based), station_id,
        field_dbuvm (ERP and pattern in, no variability; NaN unknown), path_loss_db, distance_km,
        azimuth_deg (at the point towards the mast), status (ok, near, unknown), geometry as given.

    Raises
    ------
    InputError
        If points have no CRS or are not points, or a number is out of range.
    """
    if not exact:
        raise InputError("exact is False. Values of cells are read with open_coverage(output).at(lat, lon).")
    if not 0.5 <= height_m <= 300.0:
        raise InputError(f"height_m is {height_m}; mounts stand 0.5 to 300 m above ground.")
    if not 1.0 <= time_percent <= 50.0:
        raise InputError(f"time_percent is {time_percent}; ITU-R P.1812-8 answers 1 to 50 %.")
    geometry = points.geometry
    if geometry.crs is None:
        raise InputError("points have no CRS. Set it with points.set_crs(...).")
    if not (geometry.geom_type == "Point").all():
        raise InputError(f"points hold {sorted(set(geometry.geom_type))}; only points have one field.")
    terrain = read_terrain_of(scenario)
    rows: list[dict[str, Any]] = []
    for index, place in enumerate(geometry.to_crs("EPSG:4326")):
        for station in scenario.stations:
            row = _field_of(scenario, terrain, station, place.y, place.x, height_m, time_percent)
            rows.append({"point": index, **row})
    repeated = geometry.iloc[np.repeat(np.arange(len(geometry)), len(scenario.stations))]
    return gpd.GeoDataFrame(rows, geometry=repeated.to_numpy(), crs=geometry.crs)


def _field_of(
    scenario: Scenario,
    terrain: Terrain,
    station: Station,
    latitude_deg: float,
    longitude_deg: float,
    height_m: float,
    time_percent: float,
) -> dict[str, Any]:
    field = point_field(scenario, terrain, station, latitude_deg, longitude_deg, height_m, time_percent)
    return {
        "station_id": station.station_id,
        "field_dbuvm": field.field_dbuvm,
        "path_loss_db": field.path_loss_db,
        "distance_km": field.profile.length_km,
        "azimuth_deg": field.profile.back_azimuth_deg,
        "status": "unknown" if math.isnan(field.field_dbuvm) else "near" if field.near else "ok",
    }


def curve_field(
    erp_kw: ArrayLike,
    haat_m: ArrayLike,
    distance_km: ArrayLike,
    band: str,
    curve: str = "F(50,90)",
) -> NDArray[np.float64]:
    """Field by the curves of 47 CFR 73.699, received at 9.1 m.

    Parameters
    ----------
    erp_kw : array_like
        Effective radiated power towards the place (half-wave dipole reference). [kW]
    haat_m : array_like
        Height above average terrain along the radial; under 30.48 counts as that, at most 1600. [m]
    distance_km : array_like
        Above 0. The three arrays have any shapes that go together. [km]
    band : str
        "low_vhf", "high_vhf" or "uhf".
    curve : str
        "F(50,50)", "F(50,10)" or "F(50,90)": half of the places, that percentage of time.

    Returns
    -------
    ndarray of float64
        Field strength; NaN beyond the end of the curve (322 km, F(50,10) 499 km). [dB(uV/m)]

    Raises
    ------
    InputError
        For a band or curve of another name, or a number out of range.

    References
    ----------
    47 CFR 73.699, figures 9 to 10c; F(50,90) = 2 F(50,50) - F(50,10).
    """
    return field_of_curves(read_field_curves(), erp_kw, haat_m, distance_km, band, curve)
