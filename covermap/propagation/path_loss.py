"""The checked door over the P.1812 kernel: one profile in, its loss out."""

import math
from dataclasses import dataclass

import numpy as np

from covermap.errors import InputError
from covermap.propagation.checks import finite, is_vertical, not_negative, percent, positive, within
from covermap.propagation.locations import location_loss_db
from covermap.propagation.p1812 import p1812_path
from covermap.propagation.profile import Profile
from covermap.propagation.terms import (
    FIELD,
    LOSS,
    LOSS_50_PERCENT_OF_LOCATIONS,
    LOSS_NO_DIFFRACTION,
    TERM_COUNT,
    TERM_NAMES,
)


@dataclass(frozen=True)
class PathLoss:
    """What a path-loss model answers for one profile.

    loss_db : basic transmission loss between isotropic antennas. [dB]
    terms : intermediate values by name, the unit in the name.
    warnings : reasons to doubt the answer, such as use outside the model's range; empty if none.
    """

    loss_db: float
    terms: dict[str, float]
    warnings: tuple[str, ...] = ()


# The ranges within which ITU-R P.1812-8 says it holds (section 2 and table of inputs).
FREQUENCY_MHZ = (30.0, 6000.0)
DISTANCE_KM = (0.25, 3000.0)
HEIGHT_M = (1.0, 3000.0)
TIME_PERCENT = (1.0, 50.0)
LOCATION_PERCENT = (1.0, 99.0)


def _outside(name: str, value: float, limits: tuple[float, float]) -> list[str]:
    """Return a list of one warning when value is outside limits, else an empty list."""
    low, high = limits
    if low <= value <= high:
        return []
    return [f"{name} is {value:g}, outside {low:g} to {high:g}, the range of ITU-R P.1812-8."]


def p1812_loss(
    profile: Profile,
    *,
    frequency_mhz: float,
    tx_height_m: float,
    rx_height_m: float,
    time_percent: float = 50,
    location_percent: float = 50,
    location_sd_db: float = 0,
    polarization: str = "horizontal",
    n0: float = 325,
    dn: float = 45,
    latitude_deg: float,
    tx_coast_km: float = 500,
    rx_coast_km: float = 500,
) -> PathLoss:
    """Basic transmission loss of one path by ITU-R P.1812-8.

    Parameters
    ----------
    profile : Profile
        The ground; clutter counts at all but the first and the last point.
    frequency_mhz : float
        Centre frequency; the model's range is 30 to 6000. [MHz]
    tx_height_m, rx_height_m : float
        Antennas above the ground at their ends. [m]
    time_percent : float
        Share of time for which the loss is not exceeded. The model covers 1 to 50; outside, the
        answer is that of the nearest end, with a warning. [%]
    location_percent : float
        Share of places with no more than this loss; above 50 gives more loss. [%]
    location_sd_db : float
        Standard deviation over places; 0 leaves the median. [dB]
    polarization : str
        "horizontal" or "vertical".
    n0 : float
        Refractivity at sea level. [N-units]
    dn : float
        Fall of refractivity in the lowest kilometre, positive. [N-units/km]
    latitude_deg : float
        Of the point half the profile's length from the transmitter. [degrees]
    tx_coast_km, rx_coast_km : float
        Distance from each end to the coast along the path; 500 when there is none. [km]

    Returns
    -------
    PathLoss
        loss_db at location_percent; terms named as TERM_NAMES, with Lb_dB and Ep_dBuVm_1kW at
        location_percent; warnings.

    Raises
    ------
    InputError
        If an argument is not a number, not a possible value, or polarization is neither word.

    References
    ----------
    ITU-R P.1812-8, Annex 1.
    """
    frequency_mhz = positive("frequency_mhz", frequency_mhz)
    tx_height_m = positive("tx_height_m", tx_height_m)
    rx_height_m = positive("rx_height_m", rx_height_m)
    time_percent = percent("time_percent", time_percent)
    location_percent = percent("location_percent", location_percent)
    location_sd_db = not_negative("location_sd_db", location_sd_db)
    vertical = is_vertical(polarization)
    n0 = positive("n0", n0)
    dn = checked_dn(dn)
    latitude_deg = within("latitude_deg", latitude_deg, -90.0, 90.0)
    tx_coast_km = not_negative("tx_coast_km", tx_coast_km)
    rx_coast_km = not_negative("rx_coast_km", rx_coast_km)
    checked_profile(profile)
    warnings = (
        _outside("frequency_mhz", frequency_mhz, FREQUENCY_MHZ)
        + _outside("the path's length in km", profile.length_km, DISTANCE_KM)
        + _outside("tx_height_m", tx_height_m, HEIGHT_M)
        + _outside("rx_height_m", rx_height_m, HEIGHT_M)
        + _outside("time_percent", time_percent, TIME_PERCENT)
        + _outside("location_percent", location_percent, LOCATION_PERCENT)
    )
    terms = np.empty(TERM_COUNT)
    p1812_path(
        profile.distance_km,
        profile.ground_m,
        profile.clutter_m,
        profile.zone,
        tx_height_m,
        rx_height_m,
        frequency_mhz / 1000.0,
        min(max(time_percent, TIME_PERCENT[0]), TIME_PERCENT[1]),
        vertical,
        dn,
        n0,
        latitude_deg,
        tx_coast_km,
        rx_coast_km,
        terms,
    )
    # The kernel took the maximum with Lb0p at half of the places. The spread belongs under that maximum (to
    # Lbc), not on top of it, so the last step is done again here and the two terms that hold it are
    # corrected.
    at_places_db = terms[LOSS_50_PERCENT_OF_LOCATIONS] + location_loss_db(location_percent, location_sd_db)
    loss_db = max(terms[LOSS_NO_DIFFRACTION], at_places_db)
    terms[FIELD] -= loss_db - terms[LOSS]
    terms[LOSS] = loss_db
    if not math.isfinite(loss_db):
        warnings.append("the formulas gave no number for this path.")
    return PathLoss(
        loss_db=float(loss_db),
        terms=dict(zip(TERM_NAMES, terms.tolist(), strict=True)),
        warnings=tuple(warnings),
    )


def checked_dn(dn: float) -> float:
    """Return dn as a float, or raise InputError when it is not from 0 up to 157 N-units/km."""
    value = finite("dn", dn)
    if not 0.0 <= value < 157.0:
        raise InputError(
            f"dn must be positive and under 157 N-units/km, got {dn!r}. 45 is a temperate median."
        )
    return value


def checked_profile(profile: Profile) -> Profile:
    """Return profile, or raise InputError when it is not a Profile."""
    if not isinstance(profile, Profile):
        raise InputError(
            f"profile must be a Profile, got {profile!r}. Make one: Profile(distance_km, ground_m)."
        )
    return profile
