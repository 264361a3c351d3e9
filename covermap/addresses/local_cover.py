"""What stands right before a point: the wood on the way to each mast, and one class of cover more or less."""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np

from covermap.addresses.plans import Place
from covermap.grid.cover_change import DENSER, MORE_OPEN, cover_change_db, one_class
from covermap.grid.woodland import last_wood_m
from covermap.terrain.woods import woods_around

AtHeight = tuple[str, float]  # station id, height of the mount


def wood_before(place: Place, heights_m: Sequence[float]) -> dict[AtHeight, float] | None:
    """Return the last wood before the point on the way to each station, in m; None without land cover."""
    terrain = place.site.terrain
    if not terrain.has_land_cover or np.isnan(place.latitude_deg):
        return None
    around = woods_around(terrain, np.array([place.latitude_deg]), np.array([place.longitude_deg]))
    return {
        (path.station.station_id, height_m): float(
            last_wood_m(around, np.array([path.profile.back_azimuth_deg]), height_m)[0]
        )
        for path in place.paths
        for height_m in heights_m
    }


def cover_changes(
    place: Place, heights_m: Sequence[float], listed: Collection[int]
) -> list[tuple[str, float, dict[AtHeight, float]]]:
    """Return for each class of cover more or less its name, its height and what it takes from each station.

    listed : indices of the list's stations, of which it is worked out; the others lose what they lose on the
        average, as on the map. Nothing where the place is not known or has no such class.
    """
    if np.isnan(place.latitude_deg):
        return []
    tops_m = {
        way: float(one_class(np.array([place.clutter_height_m], np.float32), way)[0])
        for way in (DENSER, MORE_OPEN)
    }
    # cover_change_db() takes stations of one position and height: the paths of a mast are followed once.
    by_mast: dict[tuple[float, float, float], list[int]] = {}
    for index in sorted(listed):
        station = place.paths[index].station
        key = station.latitude_deg, station.longitude_deg, station.antenna_height_m
        by_mast.setdefault(key, []).append(index)
    change_db = np.full((len(tops_m), len(place.paths), len(heights_m)), np.nan)
    for group in by_mast.values():
        change_db[:, group] = cover_change_db(
            place.site.terrain,
            place.site.scenario.settings.prediction,
            [place.paths[index].station for index in group],
            heights_m,
            np.array([place.latitude_deg]),
            np.array([place.longitude_deg]),
            np.array([[top_m] for top_m in tops_m.values()], np.float32),
        )[..., 0]
    others = [index for index in range(len(place.paths)) if index not in listed]
    change_db[:, others] = np.mean(change_db[:, sorted(listed)], axis=1, keepdims=True)
    return [
        (
            way,
            top_m,
            {
                (path.station.station_id, height_m): float(change_db[number, index, column])
                for index, path in enumerate(place.paths)
                for column, height_m in enumerate(heights_m)
            },
        )
        for number, (way, top_m) in enumerate(tops_m.items())
        # NaN: the cover here is the densest, or the most open, already.
        if not np.isnan(top_m)
    ]
