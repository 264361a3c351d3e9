"""Reads what a scenario says about its terrain into one Terrain value."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from covermap.errors import InputError
from covermap.tables.land_cover import read_land_cover_table
from covermap.terrain.clutter import HeightsByCell, read_clutter_heights
from covermap.terrain.elevation_file import look_at_elevation_file
from covermap.terrain.extent import height_range_m
from covermap.terrain.land_cover_file import ClassTable, LandCover, read_land_cover_file
from covermap.terrain.layer import Floats, RasterLayer
from covermap.terrain.mosaic import Mosaic, join_aligned, read_mosaic
from covermap.terrain.on_demand import BlocksOnDemand
from covermap.terrain.space import TerrainSpace
from covermap.terrain.terrain import Terrain
from covermap.terrain.voids import fill_small_voids
from covermap.terrain.zones import SEA, SEA_SURFACE_M, zones_from_polygons, zones_from_water

if TYPE_CHECKING:
    from covermap.scenario.settings import Settings, TerrainSettings

_BOX_POINTS = 33  # along each side of a box in degrees, whose sides bend in a projection
_SEA_SAMPLE = 200  # rows and columns of the zone raster at which the sea's height is looked at


@dataclass(frozen=True, eq=False)
class TerrainOutline:
    """The elevation as it was found, before its heights are read.

    elevation, bare_earth : tiles of one grid together, the finest first; warnings : a sentence each
    """

    elevation: tuple[Mosaic, ...]
    bare_earth: tuple[Mosaic, ...]
    warnings: tuple[str, ...]

    @property
    def whole(self) -> Terrain:
        """Return where the elevation lies: its bounds and rim. It knows no height."""
        return Terrain(tuple(mosaic.outline for mosaic in self.elevation))

    def around(self, longitude_deg: Floats, latitude_deg: Floats) -> TerrainOutline:
        """Return the part that holds the whole degrees around places in WGS 84; all where none lies there.

        Whole degrees, so that a station more does not make other paths be computed anew.
        """
        box = _whole_degrees(longitude_deg, latitude_deg)
        elevation = _parts(self.elevation, box)
        if not elevation:
            return self
        return replace(self, elevation=elevation, bare_earth=_parts(self.bare_earth, box) or self.bare_earth)


def look_at_terrain(settings: Settings) -> TerrainOutline:
    """Look at the elevation files of a scenario without reading their heights.

    settings : as read_terrain

    Raises InputError if a file is missing, rotated, without CRS or of an unknown unit, or kind is
    "with_canopy" without bare_earth.
    """
    asked = settings.terrain
    if not asked.elevation:
        raise InputError("[terrain] elevation names no file. Give at least one elevation raster.")
    elevation, warnings = _look_at(asked.elevation, asked.elevation_unit)
    bare_earth: tuple[Mosaic, ...] = ()
    if asked.kind == "with_canopy":
        if not asked.bare_earth:
            raise InputError(
                '[terrain] kind is "with_canopy", but bare_earth is missing.\n'
                "  Masts and homes stand on the ground under the canopy: name its elevation as bare_earth."
            )
        bare_earth, more = _look_at(asked.bare_earth, asked.elevation_unit)
        warnings += more
    return TerrainOutline(elevation, bare_earth, warnings)


def read_terrain(
    settings: Settings,
    table: ClassTable | None = None,
    folder: Path | None = None,
    *,
    outline: TerrainOutline | None = None,
    on_demand: bool = False,
) -> Terrain:
    """Read elevation, land cover, clutter heights and sea.

    Parameters
    ----------
    settings : covermap.scenario.settings.Settings
        Only settings.terrain is read: elevation, elevation_unit, kind, bare_earth, land_cover,
        land_cover_table, clutter_height, sea. Paths are absolute or relative to the working directory.
    table : land-cover table, optional
        What the classes mean; by default read from land_cover_table or the built-in one.
    folder : path, optional
        Where rasters go that do not fit in memory; see TerrainSpace.
    outline : TerrainOutline, optional
        What look_at_terrain found, or the part of it that is needed; default all.
    on_demand : bool
        Heights are read where they are first asked for, and not checked as a whole.

    Returns
    -------
    Terrain
        Finest elevation first; where it is void or ends, the next one answers.

    Raises
    ------
    InputError
        If a file is missing, damaged, rotated, without CRS, or of an unknown unit or class, or
        kind is "with_canopy" without bare_earth.
    """
    asked = settings.terrain
    outline = outline or look_at_terrain(settings)
    space = TerrainSpace(folder)
    warnings = outline.warnings
    elevation, more = _layers(outline.elevation, space, on_demand)
    bare_earth, of_bare_earth = _layers(outline.bare_earth, space, on_demand)
    warnings += more + of_bare_earth
    land_cover = _read_land_cover(asked, table, space)
    clutter_heights, of_clutter = _read_clutter_heights(asked, space)
    warnings += of_clutter
    zones, notes = _read_zones(asked, elevation, land_cover)
    terrain = Terrain(elevation, bare_earth, land_cover, zones, warnings, notes, clutter_heights)
    # Both look at the whole raster, which is what reading on demand is to spare.
    if not on_demand:
        doubts = (*_doubt_sea_level(terrain), *_doubt_all_land(terrain))
        terrain = replace(terrain, warnings=(*warnings, *doubts))
    return replace(terrain, notes=(*_mosaic_in_words(len(asked.elevation), elevation), *notes))


def _layers(
    mosaics: Sequence[Mosaic], space: TerrainSpace, on_demand: bool
) -> tuple[tuple[RasterLayer, ...], tuple[str, ...]]:
    """Return the heights of mosaics and what is worth doubting."""
    if on_demand:
        # A gap whose height another raster knows is that raster's to answer, which one block cannot tell.
        alone = len(mosaics) == 1
        return tuple(BlocksOnDemand(mosaic, fills_voids=alone).layer for mosaic in mosaics), ()
    read = [read_mosaic(mosaic, space) for mosaic in mosaics]
    layers, filled = fill_small_voids([layer for layer, _ in read])
    return layers, (*(sentence for _, more in read for sentence in more), *filled)


def _look_at(paths: Sequence[Path], unit: str | None) -> tuple[tuple[Mosaic, ...], tuple[str, ...]]:
    files = [look_at_elevation_file(Path(path), unit) for path in paths]
    return join_aligned(files), _each_once([sentence for file in files for sentence in file.warnings])


def _each_once(warnings: Sequence[str]) -> tuple[str, ...]:
    """Return warnings of many tiles, those that say the same of each tile once, with their number."""
    by_sentence: dict[str, list[str]] = {}
    for warning in warnings:
        by_sentence.setdefault(warning.partition(": ")[2], []).append(warning)
    return tuple(
        same[0] if len(same) == 1 else f"{same[0]} The same holds for {len(same) - 1} more files."
        for same in by_sentence.values()
    )


def _parts(mosaics: Sequence[Mosaic], box: tuple[Floats, Floats]) -> tuple[Mosaic, ...]:
    return tuple(part for mosaic in mosaics if (part := mosaic.cut(*box)) is not None)


def _whole_degrees(longitude_deg: Floats, latitude_deg: Floats) -> tuple[Floats, Floats]:
    """Return points along the edges of the box of whole degrees around places; longitude may pass 180."""
    # Brought within half a turn of the first place, so that a box across 180 degrees is narrow.
    longitude = longitude_deg - 360.0 * np.round((longitude_deg - longitude_deg[0]) / 360.0)
    west, east = np.floor(longitude.min()), np.ceil(longitude.max())
    south, north = np.floor(latitude_deg.min()), np.ceil(latitude_deg.max())
    share = np.linspace(0.0, 1.0, _BOX_POINTS)
    none, full = np.zeros_like(share), np.ones_like(share)
    across = np.concatenate([share, full, share, none])
    along = np.concatenate([none, share, full, share])
    return west + across * (east - west), south + along * (north - south)


def _read_land_cover(
    asked: TerrainSettings, table: ClassTable | None, space: TerrainSpace
) -> LandCover | None:
    if asked.land_cover is None:
        return None
    if table is None:
        table = read_land_cover_table(asked.land_cover_table)
    return read_land_cover_file(Path(asked.land_cover), table, space)


def _read_clutter_heights(
    asked: TerrainSettings, space: TerrainSpace
) -> tuple[HeightsByCell | None, tuple[str, ...]]:
    if asked.clutter_height is None:
        return None, ()
    return read_clutter_heights(Path(asked.clutter_height), space)


def _read_zones(
    asked: TerrainSettings, elevation: tuple[RasterLayer, ...], land_cover: LandCover | None
) -> tuple[RasterLayer | None, tuple[str, ...]]:
    if asked.sea is not None:
        return zones_from_polygons(elevation, Path(asked.sea))
    if land_cover is not None:
        return zones_from_water(elevation, land_cover)
    return None, ("Neither a sea layer nor land cover is given: every path is taken as over inland.",)


def _doubt_sea_level(terrain: Terrain) -> tuple[str, ...]:
    """Return a warning when the sea does not stand near 0 m: ellipsoidal heights, or a sea floor."""
    if terrain.zones is None:
        return ()
    rows, cols = np.nonzero(terrain.zones.array == SEA)
    step = max(1, rows.size // _SEA_SAMPLE**2)
    heights_m = terrain.elevation_m(*terrain.zones.lonlat(cols[::step] + 0.5, rows[::step] + 0.5))
    known = heights_m[~np.isnan(heights_m)]
    if heights_m.size and known.size < 0.5 * heights_m.size:
        share = 100.0 * (1.0 - known.size / heights_m.size)
        return (
            f"The elevation is void on {share:.0f} % of the sea; paths across it are unknown. "
            "If the file leaves the sea empty, fill its sea with 0.",
        )
    middle_m = float(np.median(known)) if known.size else 0.0
    if abs(middle_m) <= SEA_SURFACE_M:
        return ()
    return (
        f"The sea lies at {middle_m:.0f} m in the elevation and should be near 0: are these heights above "
        "the ellipsoid, or of the sea floor? They are taken as they stand.",
    )


def _doubt_all_land(terrain: Terrain) -> tuple[str, ...]:
    """Return a warning when no sea is known although the ground comes down to where one may be."""
    if terrain.zones is not None:
        return ()
    lowest_m = min(height_range_m(layer)[0] for layer in terrain.elevation)
    if lowest_m > SEA_SURFACE_M:
        return ()
    return (
        f"The ground comes down to {lowest_m:.0f} m, but no sea is known: every path is taken as inland. "
        "If there is sea here, name its polygons under [terrain] sea.",
    )


def _mosaic_in_words(files: int, elevation: Sequence[RasterLayer]) -> tuple[str, ...]:
    if files == 1:
        return ()
    cells = ", then ".join(f"{layer.name} ({layer.cell_m:.3g} m)" for layer in elevation)
    return (f"{files} elevation files answer in this order: {cells}.",)
