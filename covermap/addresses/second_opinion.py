"""What another model says at one point: its field less the prediction's, station by station."""

from __future__ import annotations

import math

import numpy as np

from covermap.addresses.paths import PATH_HEIGHT_M, StationPath
from covermap.addresses.site import Site
from covermap.constants import FIELD_FROM_LOSS_DB
from covermap.grid.exact_path import exact_loss, itm_ground, station_loss
from covermap.grid.height_above_average import heights_above_average_m
from covermap.propagation.field_curves import F50_50, HIGHEST_HAAT_M, field_1kw

SAME_STATUS = ("near", "unknown", "out_of_reach", "smooth_earth")  # where no other model is asked


def other_model_shift_db(site: Site, path: StationPath) -> float:
    """Return what to add to a station's field to get the other model's, offsets of readings taken out. [dB]

    By median fields at 10 m; 0 near the mast and where the path is not known. NaN where the other model has
    no answer.
    """
    prediction, station = site.scenario.settings.prediction, path.station
    if path.status in SAME_STATUS:
        return 0.0
    # By losses, not fields: power and pattern are taken as the same on both sides and cancel.
    ours = station_loss(prediction, station, path.profile, PATH_HEIGHT_M, 50.0)
    if prediction.second_opinion == "curves":
        other_db = _curve_loss_db(site, path)
    else:
        other_db = exact_loss(
            path.profile,
            tx_height_m=station.antenna_height_m,
            rx_height_m=PATH_HEIGHT_M,
            frequency_mhz=station.frequency_mhz,
            vertical=station.polarization == "vertical",
            time_percent=50.0,
            dn=prediction.dn,
            n0=prediction.n0,
            model="itm",
            itm=itm_ground(prediction),
        ).loss_db
    # Readings have set right the prediction only; the other model is asked without them.
    return ours.loss_db - other_db - path.adjustment_db


def _curve_loss_db(site: Site, path: StationPath) -> float:
    """Return the loss that the regulator's curves stand for, in dB; NaN where they know none."""
    station = path.station
    if site.curves is None:
        return math.nan
    azimuth_deg = np.array([path.profile.azimuth_deg])
    haat_m = heights_above_average_m(
        site.terrain, station.latitude_deg, station.longitude_deg, station.antenna_height_m, azimuth_deg
    )
    if math.isnan(haat_m[0]):
        return math.nan
    distance_km = np.array([[path.profile.length_km]])
    # The curves end there; above it they are read at their end, lower than asked.
    haat_m = np.minimum(haat_m, HIGHEST_HAAT_M)
    field = field_1kw(site.curves, station.band, F50_50, haat_m, distance_km)
    # A field of 1 kW ERP turned into the loss that would give it.
    return FIELD_FROM_LOSS_DB + 20.0 * math.log10(station.frequency_mhz / 1000.0) - float(field[0, 0])
