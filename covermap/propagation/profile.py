"""The ground between two antennas, checked once."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from covermap.errors import InputError
from covermap.propagation.path_geometry import COASTAL_ZONE, INLAND_ZONE, SEA_ZONE

LOWEST_GROUND_M = -500.0  # the shores of the Dead Sea lie at about -430 m (from memory)
HIGHEST_GROUND_M = 9000.0  # Everest is 8849 m (from memory)


@dataclass(frozen=True, eq=False)
class Profile:
    """The ground along a path, from the transmitter to the receiver.

    Parameters
    ----------
    distance_km : array_like, shape (n,), n >= 2
        Distance from the transmitter: 0 first, then rising. [km]
    ground_m : array_like, shape (n,)
        Ground above sea level, the two ends included. [m]
    clutter_m : array_like, shape (n,), optional
        Height of trees and buildings above the ground; not used at the two ends. Default: none. [m]
    zone : array_like of int, shape (n,), optional
        1 sea, 3 coastal land, 4 inland (ITU-R P.1812). Default: inland.

    Raises
    ------
    InputError
        If the arrays differ in length, have fewer than 2 points, distances do not rise from 0, a
        height is not a number or not on this earth, or a zone is none of the three.
    """

    distance_km: NDArray[np.float64]
    ground_m: NDArray[np.float64]
    clutter_m: NDArray[np.float64]
    zone: NDArray[np.uint8]

    def __init__(
        self,
        distance_km: ArrayLike,
        ground_m: ArrayLike,
        clutter_m: ArrayLike | None = None,
        zone: ArrayLike | None = None,
    ) -> None:
        # np.array in _column copies: what the caller does to the arrays later does not reach a checked
        # profile.
        distance = _distances(distance_km)
        points = distance.size
        ground = _column("ground_m", ground_m, points)
        _refuse("ground_m", ground, (ground < LOWEST_GROUND_M) | (ground > HIGHEST_GROUND_M), GROUND_RULE)
        clutter = np.zeros(points) if clutter_m is None else _column("clutter_m", clutter_m, points)
        _refuse("clutter_m", clutter, clutter < 0.0, "it must be 0 or more.")
        zones = np.full(points, INLAND_ZONE) if zone is None else _column("zone", zone, points)
        _refuse("zone", zones, ~np.isin(zones, (SEA_ZONE, COASTAL_ZONE, INLAND_ZONE)), ZONE_RULE)
        for name, values in (
            ("distance_km", distance),
            ("ground_m", ground),
            ("clutter_m", clutter),
            ("zone", zones.astype(np.uint8)),
        ):
            # the dataclass is frozen, and its fields are set by this checking __init__ alone
            object.__setattr__(self, name, values)

    @property
    def length_km(self) -> float:
        """Length of the path. [km]"""
        return float(self.distance_km[-1])

    def reversed(self) -> "Profile":
        """Return the same ground seen from the other end."""
        return Profile(
            self.length_km - self.distance_km[::-1],
            self.ground_m[::-1],
            self.clutter_m[::-1],
            self.zone[::-1],
        )


GROUND_RULE = (
    f"ground lies between {LOWEST_GROUND_M:g} and {HIGHEST_GROUND_M:g} m above sea level. "
    "A void has no height: leave the path out, or fill it first."
)
ZONE_RULE = "a zone is 1 (sea), 3 (coastal land) or 4 (inland)."


def _column(name: str, values: ArrayLike, points: int | None = None) -> NDArray[np.float64]:
    """Return a fresh float64 array of one dimension with finite values, or raise InputError."""
    try:
        column = np.array(values, dtype=np.float64)
    except (TypeError, ValueError) as error:
        raise InputError(f"{name} must be numbers, got {values!r}.") from error
    if column.ndim != 1:
        raise InputError(f"{name} must have one dimension, got shape {column.shape}.")
    if points is not None and column.size != points:
        raise InputError(f"{name} has {column.size} values, distance_km has {points}: give one a point.")
    _refuse(name, column, ~np.isfinite(column), "every point needs a finite number.")
    return column


def _distances(distance_km: ArrayLike) -> NDArray[np.float64]:
    """Return the distances, or raise InputError when they do not rise from 0."""
    distance = _column("distance_km", distance_km)
    if distance.size < 2:
        raise InputError(f"distance_km has {distance.size} points; a path needs 2 or more.")
    if distance[0] != 0.0:
        raise InputError(f"distance_km[0] is {distance[0]:g}; distances count from the transmitter, at 0 km.")
    not_rising = np.append(False, np.diff(distance) <= 0.0)
    _refuse("distance_km", distance, not_rising, "every point must lie farther than the one before.")
    return distance


def _refuse(name: str, values: NDArray[np.float64], bad: NDArray[np.bool_], rule: str) -> None:
    """Raise InputError showing the first bad value and the rule it breaks, if there is one."""
    if bad.any():
        index = int(np.argmax(bad))
        raise InputError(f"{name}[{index}] is {values[index]:g}; {rule}")
