"""Reads what a scenario says about its terrain into one Terrain value."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from covermap.errors import InputError
from covermap.tables.land_cover import read_land_cover_table
from covermap.terrain.elevation_file import read_elevation_file
from covermap.terrain.extent import height_range_m
from covermap.terrain.land_cover_file import ClassTable, LandCover, read_land_cover_file
from covermap.terrain.layer import RasterLayer
from covermap.terrain.mosaic import join_aligned
from covermap.terrain.space import TerrainSpace
from covermap.terrain.terrain import Terrain
from covermap.terrain.voids import fill_small_voids
from covermap.terrain.zones import SEA, SEA_SURFACE_M, zones_from_polygons, zones_from_water

if TYPE_CHECKING:
    from covermap.scenario.settings import Settings, TerrainSettings

_SEA_SAMPLE = 200  # rows and columns of the zone raster at which the sea's height is looked at


def read_terrain(settings: Settings, table: ClassTable | None = None, folder: Path | None = None) -> Terrain:
    """Read elevation, land cover and sea.

    Parameters
    ----------
    settings : covermap.scenario.settings.Settings
        Only settings.terrain is read: elevation, elevation_unit, kind, bare_earth, land_cover,
        land_cover_table, sea. Paths are absolute or relative to the working directory.
    table : land-cover table, optional
        What the classes mean; by default read from land_cover_table or the built-in one.
    folder : path, optional
        Where rasters go that do not fit in memory; see TerrainSpace.

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
    if not asked.elevation:
        raise InputError("[terrain] elevation names no file. Give at least one elevation raster.")
    space = TerrainSpace(folder)
    elevation, warnings = _read_elevation(asked.elevation, asked.elevation_unit, space)
    bare_earth: tuple[RasterLayer, ...] = ()
    if asked.kind == "with_canopy":
        if not asked.bare_earth:
            raise InputError(
                '[terrain] kind is "with_canopy", but bare_earth is missing.\n'
                "  Masts and homes stand on the ground under the canopy: name its elevation as bare_earth."
            )
        bare_earth, more = _read_elevation(asked.bare_earth, asked.elevation_unit, space)
        warnings += more
    land_cover = _read_land_cover(asked, table, space)
    zones, notes = _read_zones(asked, elevation, land_cover)
    terrain = Terrain(elevation, bare_earth, land_cover, zones, warnings, notes)
    terrain = replace(terrain, warnings=(*warnings, *_doubt_sea_level(terrain), *_doubt_all_land(terrain)))
    return replace(terrain, notes=(*_mosaic_in_words(len(asked.elevation), elevation), *notes))


def _read_elevation(
    paths: Sequence[Path], unit: str | None, space: TerrainSpace
) -> tuple[tuple[RasterLayer, ...], tuple[str, ...]]:
    layers: list[RasterLayer] = []
    warnings: tuple[str, ...] = ()
    for path in paths:
        layer, more = read_elevation_file(Path(path), unit, space)
        layers.append(layer)
        warnings += more
    joined, filled = fill_small_voids(join_aligned(layers, space))
    return joined, warnings + filled


def _read_land_cover(
    asked: TerrainSettings, table: ClassTable | None, space: TerrainSpace
) -> LandCover | None:
    if asked.land_cover is None:
        return None
    if table is None:
        table = read_land_cover_table(asked.land_cover_table)
    return read_land_cover_file(Path(asked.land_cover), table, space)


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
