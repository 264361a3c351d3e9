"""The checked door over the irregular terrain model: one path in, its loss out."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from covermap.constants import ITM_CLIMATES
from covermap.propagation.checks import finite, is_vertical
from covermap.propagation.inverse_normal import inverse_complementary_normal
from covermap.propagation.itm.limits import (
    ItmRefusal,
    refuse_path,
    refuse_unless,
    warning_bits,
    warning_sentences,
)
from covermap.propagation.itm.path import (
    ItmGround,
    ItmPath,
    effective_earth_radius_m,
    ground_impedance,
)
from covermap.propagation.itm.profile import itm_profile_path
from covermap.propagation.itm.reference import itm_free_space_db, reference_attenuation_db
from covermap.propagation.itm.siting import SITINGS, itm_area_path
from covermap.propagation.itm.variability import BROADCAST, varied_loss_db
from covermap.propagation.path_loss import PathLoss, checked_profile
from covermap.propagation.profile import Profile

VARIABILITY_MODES = tuple(extra + kind for extra in (0, 10, 20, 30) for kind in range(4))
CLUTTER_WARNING = "the model knows no clutter: clutter_m of the profile is not used."
UNEVEN_WARNING = "the profile's points are unevenly spaced: heights were interpolated to even steps."


def itm_median_loss_db(
    ground_m: NDArray[np.float64],
    length_km: float,
    heights_m: tuple[float, float],
    frequency_mhz: float,
    vertical: bool,
    time_percent: float,
    n0: float,
    ground: ItmGround,
) -> float:
    """Return the broadcast-mode loss at the median of places and situations, arguments trusted. [dB]

    ground_m : at even steps over length_km, the mast first; NaN gives NaN. heights_m : the antennas'.
    """
    if np.isnan(ground_m).any():
        return math.nan
    last = ground_m.size - 1
    path = itm_profile_path(ground_m, last, 1000.0 * length_km / last, heights_m[0], heights_m[1], n0)
    impedance = ground_impedance(frequency_mhz, ground.permittivity, ground.conductivity_s_m, vertical)
    reference_db, _ = reference_attenuation_db(path, frequency_mhz, impedance)
    z_time = inverse_complementary_normal(time_percent / 100.0)
    beyond_db = varied_loss_db(path, frequency_mhz, reference_db, ground.climate, BROADCAST, z_time, 0.0, 0.0)
    return float(beyond_db + itm_free_space_db(path.length_m, frequency_mhz))


@dataclass(frozen=True)
class _Link:
    """All that both modes share, checked: radio, ground and percentages."""

    frequency_mhz: float
    tx_height_m: float
    rx_height_m: float
    deviates: tuple[float, float, float]
    variability_mode: int
    climate: int
    n0: float
    impedance: complex


def itm_loss(
    profile: Profile,
    *,
    frequency_mhz: float,
    tx_height_m: float,
    rx_height_m: float,
    time_percent: float = 50,
    location_percent: float = 50,
    situation_percent: float = 50,
    variability_mode: int,
    climate: int | str,
    n0: float,
    permittivity: float,
    conductivity_s_m: float,
    polarization: str,
) -> PathLoss:
    """Basic transmission loss of one path by the irregular terrain model, from its profile.

    Parameters
    ----------
    profile : Profile
        The ground, best at even steps; clutter and zones are not used.
    frequency_mhz : float
        20 to 20000; a warning outside 40 to 10000. [MHz]
    tx_height_m, rx_height_m : float
        Antennas above the ground, 0.5 to 3000; a warning outside 1 to 1000. [m]
    time_percent, location_percent, situation_percent : float
        Shares of time, places and situations (like paths elsewhere) with no more than this loss. [%]
    variability_mode : int
        0 single message, 1 accidental, 2 mobile, 3 broadcast; + 10 without the variability of places,
        + 20 without that of situations.
    climate : int or str
        1 to 7, or one of ITM_CLIMATES in that order.
    n0 : float
        Refractivity at sea level, 250 to 400. [N-units]
    permittivity, conductivity_s_m : float
        Of the ground: relative permittivity, 1 or more; conductivity above 0. [-], [S/m]
    polarization : str
        "horizontal" or "vertical".

    Returns
    -------
    PathLoss
        loss_db; terms: mode (1 sight, 2 diffraction, 3 scatter), A_ref_db, A_fs_db, heights and horizons,
        return_code (0, or 1 with warnings) and warning_bits as published; warnings in words.

    Raises
    ------
    ItmRefusal
        An InputError with the published error number as code: a value outside the limits above.

    References
    ----------
    G. A. Hufford, "The ITS Irregular Terrain Model, version 1.2.2: the Algorithm", NTIA/ITS 1995.
    A. G. Longley and P. L. Rice, ERL 79-ITS 67, 1968. L. E. Vogler, NBS J. Res. 68D, 1964.
    """
    link = _checked_link(
        frequency_mhz, tx_height_m, rx_height_m, time_percent, location_percent, situation_percent,
        variability_mode, climate, n0, permittivity, conductivity_s_m, polarization,
    )  # fmt: skip
    checked_profile(profile)
    ground_m, uneven = _even_ground_m(profile)
    last = ground_m.size - 1
    step_m = profile.length_km * 1000.0 / last
    path = itm_profile_path(ground_m, last, step_m, link.tx_height_m, link.rx_height_m, link.n0)
    doubts = [CLUTTER_WARNING] if profile.clutter_m[1:-1].any() else []
    return _answer(path, link, doubts + ([UNEVEN_WARNING] if uneven else []))


def itm_area_loss(
    distance_km: float,
    *,
    delta_h_m: float,
    tx_siting: int | str,
    rx_siting: int | str,
    frequency_mhz: float,
    tx_height_m: float,
    rx_height_m: float,
    time_percent: float = 50,
    location_percent: float = 50,
    situation_percent: float = 50,
    variability_mode: int,
    climate: int | str,
    n0: float,
    permittivity: float,
    conductivity_s_m: float,
    polarization: str,
) -> PathLoss:
    """Basic transmission loss by the irregular terrain model where only the kind of ground is known.

    Parameters
    ----------
    distance_km : float
        Length of the path, above 0. [km]
    delta_h_m : float
        Interdecile range of terrain heights: 0 smooth, 30 plains, 90 hills, 200 mountains. [m]
    tx_siting, rx_siting : int or str
        How the places were chosen: 0 "random", 1 "careful", 2 "very_careful".

    Returns
    -------
    PathLoss
        As of itm_loss, whose other arguments and errors hold here too.
    """
    link = _checked_link(
        frequency_mhz, tx_height_m, rx_height_m, time_percent, location_percent, situation_percent,
        variability_mode, climate, n0, permittivity, conductivity_s_m, polarization,
    )  # fmt: skip
    length_km = finite("distance_km", distance_km)
    refuse_unless(length_km > 0.0, 1017, f"distance_km must be greater than 0, got {distance_km!r}.")
    delta_h_m = finite("delta_h_m", delta_h_m)
    refuse_unless(delta_h_m >= 0.0, 1018, f"delta_h_m must not be negative, got {delta_h_m!r}.")
    sitings = (
        _choice("tx_siting", tx_siting, SITINGS, 0, 1019),
        _choice("rx_siting", rx_siting, SITINGS, 0, 1020),
    )
    path = itm_area_path(
        length_km * 1000.0,
        delta_h_m,
        (link.tx_height_m, link.rx_height_m),
        sitings,
        link.n0,
        effective_earth_radius_m(link.n0),
    )
    return _answer(path, link, [])


def _checked_link(
    frequency_mhz: float,
    tx_height_m: float,
    rx_height_m: float,
    time_percent: float,
    location_percent: float,
    situation_percent: float,
    variability_mode: int,
    climate: int | str,
    n0: float,
    permittivity: float,
    conductivity_s_m: float,
    polarization: str,
) -> _Link:
    """Return the arguments that both modes share, or raise ItmRefusal with the published number."""
    ranges = (
        ("tx_height_m", tx_height_m, 0.5, 3000.0, 1000),
        ("rx_height_m", rx_height_m, 0.5, 3000.0, 1001),
        ("n0", n0, 250.0, 400.0, 1008),
        ("frequency_mhz", frequency_mhz, 20.0, 20000.0, 1009),
        ("permittivity", permittivity, 1.0, math.inf, 1011),
    )
    for name, value, low, high, code in ranges:
        within = low <= finite(name, value) <= high
        limits = f"{low:g} to {high:g}" if math.isfinite(high) else f"{low:g} or more"
        refuse_unless(within, code, f"{name} must be {limits}, got {value!r}.")
    shares = (
        ("time_percent", time_percent, 1003),
        ("location_percent", location_percent, 1004),
        ("situation_percent", situation_percent, 1005),
    )
    for name, value, code in shares:
        good = 0.0 < finite(name, value) < 100.0
        refuse_unless(good, code, f"{name} must be above 0 and below 100, got {value!r}.")
    conducts = finite("conductivity_s_m", conductivity_s_m) > 0.0
    refuse_unless(conducts, 1012, f"conductivity_s_m must be greater than 0, got {conductivity_s_m!r}.")
    refuse_unless(
        variability_mode in VARIABILITY_MODES,
        1014,
        f"variability_mode must be 0 to 3, plus 10, 20 or 30, got {variability_mode!r}.",
    )
    deviates = tuple(float(inverse_complementary_normal(float(value) / 100.0)) for _, value, _ in shares)
    vertical = is_vertical(polarization)
    return _Link(
        float(frequency_mhz),
        float(tx_height_m),
        float(rx_height_m),
        (deviates[0], deviates[1], deviates[2]),
        int(variability_mode),
        _choice("climate", climate, ITM_CLIMATES, 1, 1002),
        float(n0),
        complex(
            ground_impedance(float(frequency_mhz), float(permittivity), float(conductivity_s_m), vertical)
        ),
    )


def _choice(name: str, value: int | str, words: tuple[str, ...], first: int, code: int) -> int:
    """Return the number of a choice given as a number or as a word."""
    if value in words:
        return words.index(str(value)) + first
    numbers = range(first, first + len(words))
    if isinstance(value, (int, float, np.integer)) and value in numbers:
        return int(value)
    raise ItmRefusal(
        code, f"{name} must be {first} to {numbers[-1]} or one of {', '.join(words)}, got {value!r}."
    )


def _even_ground_m(profile: Profile) -> tuple[NDArray[np.float64], bool]:
    """Return the ground at even steps and whether it had to be interpolated."""
    points = profile.distance_km.size
    even_km = np.linspace(0.0, profile.length_km, points)
    step_km = profile.length_km / (points - 1)
    if np.all(np.abs(profile.distance_km - even_km) <= 1e-3 * step_km):
        return profile.ground_m, False
    return np.interp(even_km, profile.distance_km, profile.ground_m), True


def _answer(path: ItmPath, link: _Link, doubts: list[str]) -> PathLoss:
    """Return the loss of a path, or raise ItmRefusal where the model has none."""
    refuse_path(path, link.impedance)
    reference_db, mode = reference_attenuation_db(path, link.frequency_mhz, link.impedance)
    beyond_db = varied_loss_db(
        path, link.frequency_mhz, reference_db, link.climate, link.variability_mode, *link.deviates
    )
    free_space_db = itm_free_space_db(path.length_m, link.frequency_mhz)
    bits = warning_bits(path, link.frequency_mhz, link.deviates)
    terms = {
        "mode": float(mode),
        "A_ref_db": float(reference_db),
        "A_fs_db": float(free_space_db),
        "d_km": path.length_m / 1000.0,
        "N_s": path.refractivity,
        "delta_h_m": path.delta_h_m,
        "theta_hzn_tx_rad": path.tx_horizon_rad,
        "theta_hzn_rx_rad": path.rx_horizon_rad,
        "d_hzn_tx_m": path.tx_horizon_m,
        "d_hzn_rx_m": path.rx_horizon_m,
        "h_e_tx_m": path.tx_effective_m,
        "h_e_rx_m": path.rx_effective_m,
        "return_code": float(bits > 0),
        "warning_bits": float(bits),
    }
    return PathLoss(float(beyond_db + free_space_db), terms, warning_sentences(bits) + tuple(doubts))
