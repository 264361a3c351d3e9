"""Ridges in the way: the taut string over a profile, and what it touches."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from covermap.propagation.checks import positive
from covermap.propagation.diffraction import delta_bullington_db, fresnel_parameter, line_height_m
from covermap.propagation.free_space import free_space_loss_db
from covermap.propagation.p1812 import P1812_WAVELENGTH_M_GHZ
from covermap.propagation.path_geometry import (
    diffraction_surface_ends_m,
    fitted_surface_ends_m,
    horizons,
    median_radius_km,
)
from covermap.propagation.path_loss import checked_dn, checked_profile
from covermap.propagation.profile import Profile
from covermap.propagation.sight import earth_bulge_m, fresnel_radius_m
from covermap.propagation.troposcatter import troposcatter_loss_db

DIP_M = 15.0  # judgement: ground this far under the string parts two ridges
FLAT_M = 15.0  # judgement: a run of contacts on ground varying less is the earth's bulge
FRESNEL_SHARE = 0.6  # common practice, no source: clear when 0.6 of the first zone is free
PATH_CLASSES = ("clear", "grazing", "one_ridge", "two_ridges", "many_ridges", "earth_bulge", "scatter")


@dataclass(frozen=True)
class Ridge:
    """One ridge that the string over the bare ground touches.

    distance_km : from the transmitter, of the point with the largest nu. [km]
    ground_m : bare ground there, above sea level. [m]
    height_above_line_m : of that point above the straight line between the antennas, the earth's
        bulge counted. [m]
    nu : Fresnel-Kirchhoff parameter of that point against the straight line.
    start_km, end_km : first and last point of the ridge that the string touches. [km]
    """

    distance_km: float
    ground_m: float
    height_above_line_m: float
    nu: float
    start_km: float
    end_km: float


@dataclass(frozen=True, eq=False)
class _TautString:
    """A profile in effective-earth coordinates and the string pulled over it.

    bulged_m : ground plus the earth's bulge, the ends at the antennas. [m]
    string_m : the string at each point. [m]
    knots : indices of the string's corners, both ends included.
    """

    profile: Profile
    frequency_mhz: float
    bulged_m: NDArray[np.float64]
    string_m: NDArray[np.float64]
    knots: list[int]

    def above_line_m(self, index: int) -> float:
        """Height of a point above the straight line between the antennas. [m]"""
        line_m = line_height_m(
            self.profile.distance_km[index], self.profile.length_km, self.bulged_m[0], self.bulged_m[-1]
        )
        return float(self.bulged_m[index] - line_m)

    def nu(self, index: int) -> float:
        """Fresnel-Kirchhoff parameter of a point against the straight line between the antennas."""
        before_km = self.profile.distance_km[index]
        wavelength_m = P1812_WAVELENGTH_M_GHZ * 1000.0 / self.frequency_mhz
        after_km = self.profile.length_km - before_km
        return float(fresnel_parameter(self.above_line_m(index), before_km, after_km, wavelength_m))

    def parted(self, first: int, second: int) -> bool:
        """Whether ground falls far enough under the string between two contacts to make two ridges."""
        if second - first < 2:
            return False
        half_km = 0.5 * (self.profile.distance_km[second] - self.profile.distance_km[first])
        zone_m = fresnel_radius_m(half_km, half_km, self.frequency_mhz)
        dip_m = np.max((self.string_m - self.bulged_m)[first + 1 : second])
        return bool(dip_m > max(DIP_M, FRESNEL_SHARE * zone_m))

    def groups(self) -> list[list[int]]:
        """Contacts gathered into ridges and runs over the bulge, from the transmitter on."""
        gathered: list[list[int]] = []
        for contact in self.knots[1:-1]:
            if gathered and not self.parted(gathered[-1][-1], contact):
                gathered[-1].append(contact)
            else:
                gathered.append([contact])
        return gathered

    def is_bulge(self, group: list[int]) -> bool:
        """Whether contacts lie on flat ground, so that the earth's curve and no ridge is in the way.

        Looked at: the ground between them, on either side as far as it stays near the string, and
        one point more, so that a flat-topped or one-point ridge shows its flanks.
        """
        near = self.string_m - self.bulged_m <= DIP_M
        last = near.size - 1
        begin, end = group[0], group[-1]
        while begin > 0 and near[begin]:
            begin -= 1
        while end < last and near[end]:
            end += 1
        ground_m = self.profile.ground_m[begin : end + 1]
        return bool(ground_m.max() - ground_m.min() < FLAT_M)


def _taut_string(
    profile: Profile, frequency_mhz: float, tx_height_m: float, rx_height_m: float, dn: float
) -> _TautString:
    """Pull the string over the bare ground between the antennas, arguments checked."""
    checked_profile(profile)
    frequency_mhz = positive("frequency_mhz", frequency_mhz)
    distance_km = profile.distance_km
    radius_km = median_radius_km(checked_dn(dn))
    bulged_m = profile.ground_m + earth_bulge_m(distance_km, profile.length_km - distance_km, radius_km)
    bulged_m[0] += positive("tx_height_m", tx_height_m)
    bulged_m[-1] += positive("rx_height_m", rx_height_m)
    knots = _upper_hull(distance_km, bulged_m)
    string_m = np.interp(distance_km, distance_km[knots], bulged_m[knots])
    return _TautString(profile, frequency_mhz, bulged_m, string_m, knots)


def _without_hollows(distance_km: NDArray[np.float64], height_m: NDArray[np.float64]) -> NDArray[np.intp]:
    """Return the indices of points without most of those that cannot be corners, both ends included.

    A point not above the line between two others is none; here the two beside it are looked at, over again
    while that leaves out a third.
    """
    left = np.arange(distance_km.size)
    while True:
        x, y = distance_km[left], height_m[left]
        along = (y[1:-1] - y[:-2]) * (x[2:] - x[:-2])
        across = (y[2:] - y[:-2]) * (x[1:-1] - x[:-2])
        kept = np.ones(left.size, np.bool_)
        kept[1:-1] = along > across
        before, left = left.size, left[kept]
        if 3 * left.size > 2 * before:
            return left


def _upper_hull(distance_km: NDArray[np.float64], height_m: NDArray[np.float64]) -> list[int]:
    """Return the indices of the corners of the string pulled over the points, both ends included."""
    left = _without_hollows(distance_km, height_m)
    x, y = distance_km.tolist(), height_m.tolist()  # plain numbers: a third of the time of an array's
    hull: list[int] = []
    for point in left.tolist():
        while len(hull) > 1:
            before, middle = hull[-2], hull[-1]
            along = (y[middle] - y[before]) * (x[point] - x[before])
            across = (y[point] - y[before]) * (x[middle] - x[before])
            # Contacts in one straight line lose the middle one: the string does not turn there.
            if along > across:
                break
            hull.pop()
        hull.append(point)
    return hull


def ridges(
    profile: Profile, *, frequency_mhz: float, tx_height_m: float, rx_height_m: float, dn: float = 45
) -> list[Ridge]:
    """Ridges in the way, counted on the string pulled taut over the bare ground.

    Parameters
    ----------
    profile : Profile
        The ground; clutter and zones do not count.
    frequency_mhz : float
        Centre frequency; decides how deep a dip parts two ridges. [MHz]
    tx_height_m, rx_height_m : float
        Antennas above the ground at their ends. [m]
    dn : float
        Fall of refractivity in the lowest kilometre, positive. [N-units/km]

    Returns
    -------
    list of Ridge
        From the transmitter on; empty when nothing but the earth's bulge, or nothing, is in the way.

    Raises
    ------
    InputError
        If an argument is not a number or not a possible value.

    References
    ----------
    Counting: our own rule, no source. Two contacts are one ridge unless the ground between falls
    more than 15 m and 0.6 of the first Fresnel zone under the string. nu: ITU-R P.526-16, section 4.1.
    """
    string = _taut_string(profile, frequency_mhz, tx_height_m, rx_height_m, dn)
    return [_ridge(string, group) for group in string.groups() if not string.is_bulge(group)]


def taut_string(
    profile: Profile, *, frequency_mhz: float, tx_height_m: float, rx_height_m: float, dn: float = 45
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Corners of the string pulled taut over the bare ground, for drawing.

    Parameters
    ----------
    profile, frequency_mhz, tx_height_m, rx_height_m, dn
        As for ridges.

    Returns
    -------
    tuple of ndarray
        Distance from the transmitter [km] and height above sea level [m] of each corner, the antennas
        included. Between corners the string is straight over the curved earth: draw the bulge in.

    Raises
    ------
    InputError
        If an argument is not a number or not a possible value.
    """
    string = _taut_string(profile, frequency_mhz, tx_height_m, rx_height_m, dn)
    distance_km = profile.distance_km[string.knots]
    bulge_m = earth_bulge_m(distance_km, profile.length_km - distance_km, median_radius_km(dn))
    return distance_km, string.bulged_m[string.knots] - bulge_m


def _ridge(string: _TautString, group: list[int]) -> Ridge:
    """Describe a group of contacts by the one with the largest nu."""
    top = max(group, key=string.nu)
    distance_km = string.profile.distance_km
    return Ridge(
        distance_km=float(distance_km[top]),
        ground_m=float(string.profile.ground_m[top]),
        height_above_line_m=string.above_line_m(top),
        nu=string.nu(top),
        start_km=float(distance_km[group[0]]),
        end_km=float(distance_km[group[-1]]),
    )


def path_class(
    profile: Profile,
    *,
    frequency_mhz: float,
    tx_height_m: float,
    rx_height_m: float,
    dn: float = 45,
    n0: float = 325,
) -> str:
    """Class of a path by what stands in its way.

    Parameters
    ----------
    profile, frequency_mhz, tx_height_m, rx_height_m, dn
        As for ridges.
    n0 : float
        Refractivity at sea level. [N-units]

    Returns
    -------
    str
        "clear"; "grazing" (something inside 0.6 of the first Fresnel zone, nothing above the line);
        "one_ridge", "two_ridges", "many_ridges"; "earth_bulge" (only flat ground in the way);
        "scatter" (in the way whatever it may be, and half of the time troposcatter brings more than
        diffraction does).

    Raises
    ------
    InputError
        If an argument is not a number or not a possible value.

    References
    ----------
    Classes: our own, no source. Losses compared: ITU-R P.1812-8, sections 4.3 and 4.4.
    """
    string = _taut_string(profile, frequency_mhz, tx_height_m, rx_height_m, dn)
    groups = string.groups()
    if not groups:
        return "clear" if _least_clearance(string) >= FRESNEL_SHARE else "grazing"
    if _scatter_wins(string, median_radius_km(dn), positive("n0", n0)):
        return "scatter"
    count = sum(not string.is_bulge(group) for group in groups)
    return ("earth_bulge", "one_ridge", "two_ridges")[count] if count < 3 else "many_ridges"


def _least_clearance(string: _TautString) -> float:
    """Return the least clearance under the line, as a share of the first Fresnel zone's radius."""
    inner = slice(1, -1)
    before_km = string.profile.distance_km[inner]
    if before_km.size == 0:
        return float("inf")
    after_km = string.profile.length_km - before_km
    zone_m = 550.0 * np.sqrt(before_km * after_km / (string.profile.length_km * string.frequency_mhz))
    return float(np.min((string.string_m - string.bulged_m)[inner] / zone_m))


def _scatter_wins(string: _TautString, radius_km: float, n0: float) -> bool:
    """Whether troposcatter loses less than free space and bare-ground diffraction, half of the time."""
    profile = string.profile
    distance_km, ground_m = profile.distance_km, profile.ground_m
    levels_m = (float(string.bulged_m[0]), float(string.bulged_m[-1]))
    frequency_ghz = string.frequency_mhz / 1000.0
    wavelength_m = P1812_WAVELENGTH_M_GHZ / frequency_ghz
    fit_m = fitted_surface_ends_m(distance_km, ground_m)
    smooth_m = diffraction_surface_ends_m(distance_km, ground_m, *levels_m, *fit_m)
    diffraction_db = delta_bullington_db(
        distance_km,
        ground_m,
        levels_m,
        (levels_m[0] - smooth_m[0], levels_m[1] - smooth_m[1]),
        radius_km,
        frequency_ghz,
        wavelength_m,
        False,
        0.0,
    )[0]
    tx_mrad, rx_mrad, _, _ = horizons(distance_km, ground_m, *levels_m, radius_km, wavelength_m)
    theta_mrad = 1000.0 * profile.length_km / radius_km + tx_mrad + rx_mrad
    scatter_db = troposcatter_loss_db(profile.length_km, theta_mrad, frequency_ghz, n0, 50.0)
    return bool(scatter_db < free_space_loss_db(profile.length_km, *levels_m, frequency_ghz) + diffraction_db)
