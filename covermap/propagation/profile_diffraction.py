"""The checked door over delta-Bullington: diffraction loss of one profile."""

from dataclasses import dataclass

from covermap.propagation.checks import is_vertical, positive, within
from covermap.propagation.diffraction import delta_bullington_db
from covermap.propagation.p1812 import profile_surface_m
from covermap.propagation.path_geometry import diffraction_surface_ends_m, fitted_surface_ends_m
from covermap.propagation.path_loss import checked_profile
from covermap.propagation.profile import Profile

P526_WAVELENGTH_M_GHZ = 0.3  # published P.526 examples need it; P.1812 takes 0.2998 (0.003 dB apart)


@dataclass(frozen=True)
class Diffraction:
    """Diffraction loss of a profile and its parts, all dB.

    loss_db : delta-Bullington: bullington_db + max(spherical_earth_db - smooth_bullington_db, 0).
    bullington_db : Bullington's construction over the profile.
    smooth_bullington_db : the same over the smooth surface.
    spherical_earth_db : a smooth spherical earth with the same antennas.
    """

    loss_db: float
    bullington_db: float
    smooth_bullington_db: float
    spherical_earth_db: float


def delta_bullington(
    profile: Profile,
    *,
    frequency_mhz: float,
    tx_height_m: float,
    rx_height_m: float,
    effective_radius_km: float,
    polarization: str = "horizontal",
    sea_fraction: float = 0,
) -> Diffraction:
    """Diffraction loss of a profile by the delta-Bullington method.

    Parameters
    ----------
    profile : Profile
        The ground; clutter counts at all but the first and the last point, zones do not count.
    frequency_mhz : float
        Centre frequency. [MHz]
    tx_height_m, rx_height_m : float
        Antennas above the ground at their ends. [m]
    effective_radius_km : float
        Effective earth radius; 8500 where nothing is known. [km]
    polarization : str
        "horizontal" or "vertical".
    sea_fraction : float
        Share of the path over sea, 0 to 1.

    Returns
    -------
    Diffraction
        Losses. [dB]

    Raises
    ------
    InputError
        If an argument is not a number, not a possible value, or polarization is neither word.

    References
    ----------
    ITU-R P.526-16, section 4.5.
    """
    checked_profile(profile)
    frequency_ghz = positive("frequency_mhz", frequency_mhz) / 1000.0
    tx_level_m = float(profile.ground_m[0]) + positive("tx_height_m", tx_height_m)
    rx_level_m = float(profile.ground_m[-1]) + positive("rx_height_m", rx_height_m)
    radius_km = positive("effective_radius_km", effective_radius_km)
    vertical = is_vertical(polarization)
    sea_fraction = within("sea_fraction", sea_fraction, 0.0, 1.0)
    fit_m = fitted_surface_ends_m(profile.distance_km, profile.ground_m)
    smooth_m = diffraction_surface_ends_m(
        profile.distance_km, profile.ground_m, tx_level_m, rx_level_m, fit_m[0], fit_m[1]
    )
    parts = delta_bullington_db(
        profile.distance_km,
        profile_surface_m(profile.ground_m, profile.clutter_m),
        (tx_level_m, rx_level_m),
        (tx_level_m - smooth_m[0], rx_level_m - smooth_m[1]),
        radius_km,
        frequency_ghz,
        P526_WAVELENGTH_M_GHZ / frequency_ghz,
        vertical,
        sea_fraction,
    )
    return Diffraction(*(float(part) for part in parts))
