"""Which stations share a site: by where they stand, whatever their masts are called."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from covermap.constants import EARTH_RADIUS_KM
from covermap.scenario.records import Station

SITE_KM = 1.0  # judgement: paths from masts closer than this to a home miles away cross the same ground


def antenna_positions(stations: Sequence[Station]) -> NDArray[np.int64]:
    """Return a number for each station, in their order, equal where they stand at one position."""
    places = [(station.latitude_deg, station.longitude_deg) for station in stations]
    numbers = {place: number for number, place in enumerate(dict.fromkeys(places))}
    return np.array([numbers[place] for place in places], dtype=np.int64)


def site_numbers(stations: Sequence[Station]) -> NDArray[np.int64]:
    """Return a number for each station, equal for those of one site, in the order of the stations.

    Stations within 1 km of each other share a site, and so do those that a chain of such steps joins.
    """
    latitude = np.radians([station.latitude_deg for station in stations])
    longitude = np.radians([station.longitude_deg for station in stations])
    site = np.full(len(stations), -1, dtype=np.int64)
    for first in range(len(stations)):
        if site[first] >= 0:
            continue
        number, reached = site.max() + 1, [first]
        site[first] = number
        while reached:
            here = reached.pop()
            distance_km = _distance_km(latitude[here], longitude[here], latitude, longitude)
            # All of a chain join before the next site begins: who shares a site does not depend on the order
            # of the file.
            joined = np.flatnonzero((site < 0) & (distance_km <= SITE_KM))
            site[joined] = number
            reached.extend(joined.tolist())
    return site


def site_names(stations: Sequence[Station]) -> tuple[str, ...]:
    """Return for each station the name of its site: the mast label of the site's first station."""
    first: dict[int, str] = {}
    return tuple(
        first.setdefault(int(site), station.mast)
        for site, station in zip(site_numbers(stations), stations, strict=True)
    )


def _distance_km(
    latitude: float, longitude: float, latitudes: NDArray[np.float64], longitudes: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return distances on the sphere from one point to others, all in radians (haversine)."""
    half = (
        np.sin(0.5 * (latitudes - latitude)) ** 2
        + np.cos(latitude) * np.cos(latitudes) * np.sin(0.5 * (longitudes - longitude)) ** 2
    )
    return np.asarray(2.0 * EARTH_RADIUS_KM * np.arcsin(np.sqrt(np.minimum(half, 1.0))))
