"""The Terrain value: ground, land cover and radio zones of a scenario, asked in WGS 84 degrees."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from covermap.terrain.clutter import (
    OPEN_BELOW_M,
    STEP_HEIGHT_M,
    HeightsByCell,
    fill_heights_from,
    heights_from,
    in_steps,
)
from covermap.terrain.extent import covers, summary_in_words
from covermap.terrain.land_cover_file import UNKNOWN_CLASS, LandCover
from covermap.terrain.layer import Floats, RasterLayer
from covermap.terrain.lookup import classes_at, fill_classes_along, fill_heights_along, heights_at
from covermap.terrain.zones import INLAND, SEA

_IDENTITY = np.arange(256, dtype=np.uint8)


@dataclass(frozen=True, eq=False)
class Terrain:
    """Everything a path crosses. Arrays in, arrays out; places are longitude and latitude in WGS 84 degrees.

    elevation : layers of heights in m, the first that knows a place answers
    bare_earth : layers of the bare ground where elevation includes the canopy, else empty
    land_cover : classes, None without
    clutter_heights : heights of trees and buildings, asked before the classes; None without
    assumed : heights that are assumed on land, where nothing else is given; None without
    zones : layer of ITU-R P.1812 radio zones (1 sea, 3 coastal land, 4 inland), None when all is inland
    warnings : what is worth doubting, a sentence each; notes : what was understood
    """

    elevation: tuple[RasterLayer, ...]
    bare_earth: tuple[RasterLayer, ...] = ()
    land_cover: LandCover | None = None
    zones: RasterLayer | None = None
    warnings: tuple[str, ...] = ()
    notes: tuple[str, ...] = field(default=())
    clutter_heights: HeightsByCell | None = None
    assumed: HeightsByCell | None = None

    @property
    def has_land_cover(self) -> bool:
        """Return True when land cover was given."""
        return self.land_cover is not None

    @property
    def with_canopy(self) -> bool:
        """Return True when the elevation includes trees and houses: what it is above the bare ground."""
        return bool(self.bare_earth)

    @property
    def knows_clutter(self) -> bool:
        """Return True when the data say what stands on the ground: classes, heights or a canopy."""
        return self.has_land_cover or self.with_canopy or self.clutter_heights is not None

    @property
    def has_clutter(self) -> bool:
        """Return True when paths run over trees and buildings, known or assumed."""
        return self.knows_clutter or self.assumed is not None

    @property
    def _standing(self) -> tuple[HeightsByCell, ...]:
        """Return what gives heights above the ground, the one to be asked first in front."""
        classes = None if self.land_cover is None else self.land_cover.heights
        return tuple(one for one in (self.clutter_heights, classes, self.assumed) if one is not None)

    @cached_property
    def elevation_digest(self) -> str:
        """SHA-256 of all heights (bare ground too), where they lie and their CRS."""
        parts = [layer.digest() for layer in self.elevation]
        return _combined(*parts, "bare", *(layer.digest() for layer in self.bare_earth))

    @cached_property
    def land_cover_digest(self) -> str:
        """SHA-256 of the land cover and its classes' heights."""
        return _combined("none") if self.land_cover is None else self.land_cover.digest()

    @cached_property
    def sea_digest(self) -> str:
        """SHA-256 of the radio zones."""
        return _combined("inland") if self.zones is None else self.zones.digest()

    @cached_property
    def digest(self) -> str:
        """SHA-256 of all inputs that can change a path."""
        # Only where used: a terrain without them keeps its digest, and the paths stored under it.
        more = [one.digest() for one in (self.clutter_heights, self.assumed) if one is not None]
        more += ["canopy above bare earth"] * self.with_canopy
        return _combined(self.elevation_digest, self.land_cover_digest, self.sea_digest, *more)

    @cached_property
    def bounds_deg(self) -> tuple[float, float, float, float]:
        """West, south, east and north of the elevation in degrees; west > east across the antimeridian."""
        rims = [layer.rim_lonlat() for layer in self.elevation]
        reference = float(np.mean(rims[0][0]))
        longitude = np.concatenate([x - 360.0 * np.round((np.mean(x) - reference) / 360.0) for x, _ in rims])
        latitude = np.concatenate([y for _, y in rims])
        west, east = float(longitude.min()), float(longitude.max())
        west, east = (x - 360.0 if x > 180.0 else x + 360.0 if x < -180.0 else x for x in (west, east))
        return west, float(latitude.min()), east, float(latitude.max())

    @cached_property
    def rims_deg(self) -> tuple[tuple[Floats, Floats], ...]:
        """Longitude and latitude of points around the edge of each elevation raster, clockwise."""
        return tuple(layer.rim_lonlat() for layer in self.elevation)

    @property
    def finest_cell_m(self) -> float:
        """Length of the smallest elevation cell in m."""
        return min(layer.cell_m for layer in self.elevation)

    def covers(self, longitude_deg: ArrayLike, latitude_deg: ArrayLike) -> NDArray[np.bool_]:
        """Return True at places within the edges of any elevation raster, void or not."""
        return covers(self.elevation, longitude_deg, latitude_deg)

    def summary(
        self,
        places_deg: Sequence[tuple[float, float]] = (),
        read_deg: tuple[Floats, Floats] | None = None,
    ) -> str:
        """Return one line on the elevation: range, gaps, and how far it reaches past the masts.

        places_deg : (latitude, longitude) of each mast; without any the last part is left out
        read_deg : longitude and latitude of places that are read: only gaps there count; default all
        """
        return summary_in_words(self.elevation, places_deg, read_deg)

    def elevation_m(self, longitude_deg: ArrayLike, latitude_deg: ArrayLike) -> Floats:
        """Return the elevation as given, canopy included, bilinear; NaN outside and in voids. [m, float64]"""
        return heights_at(self.elevation, longitude_deg, latitude_deg)

    def ground_m(self, longitude_deg: ArrayLike, latitude_deg: ArrayLike) -> Floats:
        """Return the height of the ground: bare earth, else the elevation. [m, float64]"""
        return heights_at(self.bare_earth or self.elevation, longitude_deg, latitude_deg)

    def path_ground_m(self, longitude_deg: ArrayLike, latitude_deg: ArrayLike) -> Floats:
        """Return ground_m, NaN also where the canopy is unknown: what paths run over. [m, float64]"""
        ground_m = self.ground_m(longitude_deg, latitude_deg)
        if self.with_canopy:
            ground_m[np.isnan(self.elevation_m(longitude_deg, latitude_deg))] = np.nan
        return ground_m

    def filled_at(self, longitude_deg: ArrayLike, latitude_deg: ArrayLike) -> NDArray[np.bool_]:
        """Return True at places whose elevation was filled in over a small gap of the data."""
        return np.asarray(
            np.any([one.filled_at(longitude_deg, latitude_deg) for one in self.elevation], axis=0)
        )

    def clutter_height_m(self, longitude_deg: ArrayLike, latitude_deg: ArrayLike) -> NDArray[np.float32]:
        """Return the height of what stands on the ground at each place.

        Of a canopy elevation its height above the bare earth; else of the raster of heights, where it has
        none of the cell's class, or what is assumed; 0 where nothing says anything. [m]
        """
        heights_m = self.path_clutter_m(longitude_deg, latitude_deg)
        # In steps, so that surroundings() can list every height that a place may have.
        return STEP_HEIGHT_M[in_steps(heights_m)] if self.with_canopy else heights_m

    def path_clutter_m(self, longitude_deg: ArrayLike, latitude_deg: ArrayLike) -> NDArray[np.float32]:
        """Return clutter_height_m, a canopy as high as it is: what paths carry on their ground. [m]"""
        if self.with_canopy:
            place = longitude_deg, latitude_deg
            above_m = self.elevation_m(*place) - self.ground_m(*place)
            # Two surveys differ by decimetres, so the surface may lie below the ground.
            return np.maximum(np.nan_to_num(above_m), 0.0).astype(np.float32)
        heights_m = heights_from(self._standing, longitude_deg, latitude_deg)
        if self.assumed is not None:
            # assumed for land; data are believed on water too
            heights_m[self.zone(longitude_deg, latitude_deg) == SEA] = 0.0
        return heights_m

    def open_land(self, longitude_deg: ArrayLike, latitude_deg: ArrayLike) -> NDArray[np.bool_]:
        """Return True on open land and water where nothing stands; False without land cover."""
        if self.land_cover is None:
            return np.zeros(np.broadcast(longitude_deg, latitude_deg).shape, dtype=bool)
        of_class = self.land_cover.open_land[self._classes(self.land_cover, longitude_deg, latitude_deg)]
        if not self.has_heights:
            return of_class
        # A raster of heights knows better than the class whether a field has a row of trees on it.
        return of_class & (self.clutter_height_m(longitude_deg, latitude_deg) < OPEN_BELOW_M)

    @property
    def has_heights(self) -> bool:
        """Return True when rasters, not classes alone, say how high things stand."""
        return self.with_canopy or self.clutter_heights is not None

    def surroundings(self) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
        """Return clutter_height_m and open_land of every kind that a place can have, in any order."""
        heights_m, open_land = np.zeros(1, dtype=np.float32), np.zeros(1, dtype=bool)
        if self.land_cover is not None:
            heights_m, open_land = self.land_cover.clutter_height_m, self.land_cover.open_land
        if self.has_heights:
            steps_m = STEP_HEIGHT_M[~np.isnan(STEP_HEIGHT_M)]
            opens_m = steps_m[steps_m < OPEN_BELOW_M] if self.has_land_cover else steps_m[:0]
            heights_m = np.concatenate([heights_m, steps_m, opens_m])
            closed = np.zeros(steps_m.size, dtype=bool)
            open_land = np.concatenate([open_land, closed, np.ones(opens_m.size, dtype=bool)])
        if self.assumed is not None:
            assumed_m = np.append(self.assumed.height_m, np.float32(self.assumed.outside_m))
            heights_m = np.concatenate([heights_m, np.unique(assumed_m)])
            open_land = np.concatenate([open_land, np.zeros(np.unique(assumed_m).size, dtype=bool)])
        return heights_m, open_land

    def environment(self, longitude_deg: ArrayLike, latitude_deg: ArrayLike) -> NDArray[np.uint8]:
        """Return the noise environment of the class at each place, a place in ENVIRONMENTS; 255 unknown."""
        by_class = np.full(256, UNKNOWN_CLASS, dtype=np.uint8)
        if self.land_cover is None or self.land_cover.environment is None:
            return by_class[np.zeros(np.broadcast(longitude_deg, latitude_deg).shape, dtype=np.uint8)]
        by_class = self.land_cover.environment
        return by_class[self._classes(self.land_cover, longitude_deg, latitude_deg)]

    def water(self, longitude_deg: ArrayLike, latitude_deg: ArrayLike) -> NDArray[np.bool_]:
        """Return True on water of the land cover and on the sea."""
        sea = self.zone(longitude_deg, latitude_deg) == SEA
        if self.land_cover is None:
            return sea
        return sea | self.land_cover.water[self._classes(self.land_cover, longitude_deg, latitude_deg)]

    def built_up(self, longitude_deg: ArrayLike, latitude_deg: ArrayLike) -> NDArray[np.bool_]:
        """Return True where the land cover has houses; False without land cover."""
        if self.land_cover is None:
            return np.zeros(np.broadcast(longitude_deg, latitude_deg).shape, dtype=bool)
        return self.land_cover.built_up[self._classes(self.land_cover, longitude_deg, latitude_deg)]

    def zone(self, longitude_deg: ArrayLike, latitude_deg: ArrayLike) -> NDArray[np.uint8]:
        """Return the radio zone of ITU-R P.1812: 1 sea, 3 coastal land, 4 inland and beyond the data."""
        if self.zones is None:
            return np.full(np.broadcast(longitude_deg, latitude_deg).shape, INLAND, dtype=np.uint8)
        return classes_at(self.zones, longitude_deg, latitude_deg, INLAND)

    def sample_profiles(
        self,
        knot_longitude_deg: Floats,
        knot_latitude_deg: Floats,
        steps_per_knot: int,
        ground_out: Floats,
        clutter_out: NDArray[np.float32],
        zone_out: NDArray[np.uint8],
    ) -> None:
        """Fill ground, clutter and zone along many radials at once.

        Parameters
        ----------
        knot_longitude_deg, knot_latitude_deg : ndarray, shape (R, K), K >= 2
            Places along each geodesic, equally spaced: knot k is step k * steps_per_knot. [WGS 84 degrees]
        steps_per_knot : int
            Steps from one knot to the next; n <= (K - 1) steps_per_knot.
        ground_out : float64, shape (R, n + 1)
            Filled with what path_ground_m gives. [m]
        clutter_out : float32, shape (R, n + 1)
            Filled with what path_clutter_m gives. [m]
        zone_out : uint8, shape (R, n + 1)
            Filled with what zone gives.

        Raises
        ------
        ValueError
            If the knots end before the last step, or the shapes do not agree.

        Only the knots are projected; positions between them come from a cubic through four knots.
        Releases the GIL in its loops, so threads can fill different radials.
        """
        _check_lines(knot_longitude_deg, knot_latitude_deg, steps_per_knot, ground_out, clutter_out, zone_out)
        knots = knot_longitude_deg, knot_latitude_deg, steps_per_knot
        fill_heights_along(self.bare_earth or self.elevation, *knots, ground_out)
        if self.with_canopy:
            self._fill_canopy(*knots, ground_out, clutter_out)
        else:
            fill_heights_from(self._standing, *knots, clutter_out)
        if self.zones is None:
            zone_out[...] = INLAND
        else:
            fill_classes_along(self.zones, _IDENTITY, INLAND, *knots, zone_out)
            if self.assumed is not None:
                clutter_out[zone_out == SEA] = 0.0

    def _fill_canopy(
        self,
        knot_longitude_deg: Floats,
        knot_latitude_deg: Floats,
        steps_per_knot: int,
        ground: Floats,
        clutter: NDArray[np.float32],
    ) -> None:
        """Write how high the elevation stands above the ground; where it is unknown the ground is too."""
        surface_m = np.empty_like(ground)
        fill_heights_along(self.elevation, knot_longitude_deg, knot_latitude_deg, steps_per_knot, surface_m)
        ground[np.isnan(surface_m)] = np.nan
        clutter[...] = np.maximum(np.nan_to_num(surface_m - ground), 0.0)

    def _classes(
        self, land_cover: LandCover, longitude_deg: ArrayLike, latitude_deg: ArrayLike
    ) -> NDArray[np.uint8]:
        return classes_at(land_cover.layer, longitude_deg, latitude_deg, UNKNOWN_CLASS)


def _combined(*digests: str) -> str:
    return hashlib.sha256("|".join(digests).encode()).hexdigest()


def _check_lines(
    longitude: NDArray,
    latitude: NDArray,
    steps_per_knot: int,
    ground: NDArray,
    clutter: NDArray,
    zone: NDArray,
) -> None:
    lines, knots = longitude.shape
    if latitude.shape != longitude.shape or knots < 2 or steps_per_knot < 1:
        raise ValueError(
            f"knots must be two arrays of one shape (R, K >= 2) with steps_per_knot >= 1; got "
            f"{longitude.shape}, {latitude.shape} and {steps_per_knot}."
        )
    if not ground.shape == clutter.shape == zone.shape or ground.shape[0] != lines:
        raise ValueError(
            f"ground_out, clutter_out and zone_out must be ({lines}, n + 1); got {ground.shape}, "
            f"{clutter.shape} and {zone.shape}."
        )
    if ground.shape[1] - 1 > (knots - 1) * steps_per_knot:
        raise ValueError(
            f"{knots} knots of {steps_per_knot} steps end before step {ground.shape[1] - 1}; add knots."
        )
