"""What readings say of the places around them, beside a mast's offset: never past its range."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

KM_PER_DEG = 111.2  # of latitude, on a sphere of 6371 km


def shared_share(apart_km: NDArray[np.float64], range_km: float) -> NDArray[np.float64]:
    """Return which share of a neighbourhood's effect places so far apart have in common: 1 to 0 at the range.

    Source: spherical covariance of geostatistics (textbook).
    """
    h = np.minimum(apart_km / range_km, 1.0)
    return np.asarray(1.0 - 1.5 * h + 0.5 * h**3)


@dataclass(frozen=True, eq=False)
class LocalEffect:
    """The effect that places nearby share on paths of one mast in one band, as its readings tell it.

    range_km : where it ends. places : (longitude, latitude, weight_db, known) of each reading's place: what
    it adds at no distance, and which share of the effect there it tells, 0 to 1
    """

    range_km: float
    places: tuple[tuple[float, float, float, float], ...]

    def effect_db(self, longitude_deg: NDArray, latitude_deg: NDArray) -> NDArray[np.float64]:
        """Return the effect at places; 0 beyond the range of every reading. [dB]"""
        total = np.zeros(np.shape(longitude_deg))
        for longitude, latitude, weight_db, _ in self.places:
            total += weight_db * self._share(longitude_deg, latitude_deg, longitude, latitude)
        return total

    def known(self, longitude_deg: NDArray, latitude_deg: NDArray) -> NDArray[np.float64]:
        """Return which share of the effect's variance the nearest readings tell at places, 0 to 1.

        Each reading by itself: several together tell at least as much.
        """
        most = np.zeros(np.shape(longitude_deg))
        for longitude, latitude, _, known in self.places:
            share = self._share(longitude_deg, latitude_deg, longitude, latitude)
            # variance: the square of the correlation between reading and place
            most = np.maximum(most, known * share**2)
        return most

    def _share(
        self, longitude_deg: NDArray, latitude_deg: NDArray, longitude: float, latitude: float
    ) -> NDArray[np.float64]:
        turn = np.mod(np.asarray(longitude_deg) - longitude + 180.0, 360.0) - 180.0
        east_km = KM_PER_DEG * math.cos(math.radians(latitude)) * turn
        north_km = KM_PER_DEG * (np.asarray(latitude_deg) - latitude)
        return shared_share(np.hypot(east_km, north_km), self.range_km)
