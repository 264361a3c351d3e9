"""Whether the elevation reaches every mast and the area, and what to add where it does not."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from covermap.errors import InputError
from covermap.terrain.extent import nearest_edge
from covermap.terrain.layer import RasterLayer
from covermap.terrain.terrain import Terrain

MOSTLY_UNKNOWN_SHARE = 0.5  # judgement: a raster turned in the grid leaves corners unknown
SOME_UNKNOWN_SHARE = 0.05  # judgement: rims of voids are usual

MOST_NAMED = 5  # masts of which each is told

Mast = tuple[str, float, float, bool]  # label, latitude_deg, longitude_deg, has a wanted service


def check_masts(terrain: Terrain, masts: Sequence[Mast]) -> tuple[str, ...]:
    """Check that the elevation reaches each mast.

    Parameters
    ----------
    terrain : Terrain
    masts : sequence of (label, latitude_deg, longitude_deg, has_wanted)

    Returns
    -------
    tuple of str
        A warning for each mast without a wanted service that stands where no height is known.

    Raises
    ------
    InputError
        If a mast with a wanted service does: how far the elevation ends short, and which degrees to add.
    """
    if not masts:
        return ()
    latitude = np.array([mast[1] for mast in masts])
    longitude = np.array([mast[2] for mast in masts])
    # Under a canopy both count: the mast stands on bare earth, its paths run over both.
    unknown = np.isnan(terrain.elevation_m(longitude, latitude)) | np.isnan(
        terrain.ground_m(longitude, latitude)
    )
    lost = [mast for mast, is_unknown in zip(masts, unknown, strict=True) if is_unknown]
    wanted = [mast for mast in lost if mast[3]]
    if wanted:
        raise InputError(_refusal(terrain, wanted))
    sentences = [
        f"{_reaches_not(terrain, mast)} It has no wanted service; "
        "its interference is taken over smooth earth."
        for mast in lost[:MOST_NAMED]
    ]
    if len(lost) > MOST_NAMED:
        sentences.append(f"The same holds for {len(lost) - MOST_NAMED} more masts without a wanted service.")
    return tuple(sentences)


def check_area(
    terrain: Terrain, longitude_deg: NDArray[np.float64], latitude_deg: NDArray[np.float64]
) -> tuple[str, ...]:
    """Check that the elevation knows the area asked for, at squares spread over it.

    Parameters
    ----------
    terrain : Terrain
    longitude_deg, latitude_deg : ndarray, shape (n,)
        Middles of squares inside the area, WGS 84; none gives no warning.

    Returns
    -------
    tuple of str
        A warning when the ground of more than half of them is unknown.

    Raises
    ------
    InputError
        If the ground of all of them is: nothing could be predicted there.
    """
    if not longitude_deg.size:
        return ()
    share = float(np.mean(np.isnan(terrain.elevation_m(longitude_deg, latitude_deg))))
    if share == 1.0:
        latitude, longitude = float(np.mean(latitude_deg)), float(np.mean(longitude_deg))
        middle = f"{_coordinate(latitude, 'S', 'N')}, {_coordinate(longitude, 'W', 'E')}"
        raise InputError(
            f"The area asked for (middle {middle}) lies nowhere on known ground of "
            f"{_file_names(terrain.elevation)}.\n"
            "  Correct the area or the sides under [grid], use smaller squares, or add elevation there."
        )
    if share > MOSTLY_UNKNOWN_SHARE:
        return (
            f"About {100.0 * share:.0f} % of the squares lie where no height is known and stay unknown. "
            "Ask for a smaller area under [grid], or add elevation there.",
        )
    return ()


def check_clutter_heights(
    terrain: Terrain, longitude_deg: NDArray[np.float64], latitude_deg: NDArray[np.float64]
) -> tuple[str, ...]:
    """Check that a raster of clutter heights knows the area, at squares spread over it; as check_area.

    Returns a warning where it says nothing of more than a twentieth of them. Raises InputError where it says
    nothing of any.
    """
    heights = terrain.clutter_heights
    if heights is None or not longitude_deg.size:
        return ()
    share = float(np.mean(np.isnan(heights.at(longitude_deg, latitude_deg))))
    if share == 1.0:
        raise InputError(
            f"{heights.layer.name} ([terrain] clutter_height) says nothing of the area asked for: it ends "
            "before it, or is void there.\n  Name a raster of this area, in the CRS the file declares."
        )
    if share <= SOME_UNKNOWN_SHARE:
        return ()
    instead = "the land-cover class's height counts" if terrain.has_land_cover else "nothing stands"
    return (
        f"{heights.layer.name}: about {100.0 * share:.0f} % of the squares have no height in it; there "
        f"{instead}.",
    )


def _refusal(terrain: Terrain, masts: Sequence[Mast]) -> str:
    _, latitude, longitude, _ = masts[0]
    distance_km, edge_longitude, edge_latitude = nearest_edge(
        _lacking(terrain, masts[0]), latitude, longitude
    )
    if distance_km == 0.0:
        advice = "Fill the gap with a second file under [terrain] elevation, or remove the station."
    elif math.isfinite(distance_km):
        tiles = (
            f"{_degrees(latitude, edge_latitude, 'S', 'N')}, {_degrees(longitude, edge_longitude, 'W', 'E')}"
        )
        advice = f"Add tiles covering {tiles} under\n  [terrain] elevation, or remove the station."
    else:
        advice = "Is its position right? Correct it, or remove the station."
    others = ", ".join(mast[0] for mast in masts[1 : MOST_NAMED + 1])
    if len(masts) > MOST_NAMED + 1:
        others += f" and {len(masts) - MOST_NAMED - 1} more"
    return f"{_reaches_not(terrain, masts[0])}\n  A path needs terrain all the way. {advice}" + (
        f"\n  The same holds for {others}." if others else ""
    )


def _reaches_not(terrain: Terrain, mast: Mast) -> str:
    label, latitude, longitude, _ = mast
    place = f"{label} ({_coordinate(latitude, 'S', 'N')}, {_coordinate(longitude, 'W', 'E')})"
    layers = _lacking(terrain, mast)
    distance_km, _, _ = nearest_edge(layers, latitude, longitude)
    if distance_km == 0.0:
        return f"{_file_names(layers)} has a gap (void cells) at {place}."
    short = (
        f"it ends {distance_km:.1f} km short" if distance_km < 10 else f"it ends {distance_km:.0f} km short"
    )
    return f"{_file_names(layers)} does not reach {place}" + (
        f": {short}." if math.isfinite(distance_km) else "."
    )


def _lacking(terrain: Terrain, mast: Mast) -> Sequence[RasterLayer]:
    """Return the layers that do not know the height at a mast: the elevation, else the bare earth."""
    _, latitude, longitude, _ = mast
    return terrain.elevation if np.isnan(terrain.elevation_m(longitude, latitude)) else terrain.bare_earth


def _file_names(layers: Sequence[RasterLayer]) -> str:
    first = layers[0].name
    return first if len(layers) == 1 else f"The elevation ({first} and others)"


def _coordinate(degrees: float, negative: str, positive: str) -> str:
    return f"{abs(degrees):.3f} {negative if degrees < 0 else positive}"


def _degrees(place: float, edge: float, negative: str, positive: str) -> str:
    """Return the whole degrees from the elevation's edge to beyond a place: "44.0-45.0 N"."""
    # A hundredth of a degree of slack: an edge at 44.999 or 45.001 by rounding is the edge of a whole tile.
    first = math.floor(min(place, edge) + (0.01 if edge < place else 0.0))
    last = math.ceil(max(place, edge) - (0.01 if edge > place else 0.0))
    last = max(last, first + 1)
    if last <= 0:
        return f"{abs(first):.1f}-{abs(last):.1f} {negative}"
    if first >= 0:
        return f"{first:.1f}-{last:.1f} {positive}"
    return f"{abs(first):.1f} {negative} to {last:.1f} {positive}"
