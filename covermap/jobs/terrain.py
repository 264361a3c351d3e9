"""`covermap terrain`: fetches the tiles of open elevation and land cover that the stations' reach needs."""

from __future__ import annotations

import math
import shlex
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import shapely

from covermap.errors import CovermapError, InputError
from covermap.grid.area import read_area
from covermap.grid.make_grid import make_grid
from covermap.inputs.prepare import reception_options
from covermap.inputs.stations_that_count import in_grid
from covermap.result.whole_file import whole_file
from covermap.scenario.read import scenario_of
from covermap.scenario.settings_file import settings_of
from covermap.scenario.toml_edit import with_keys
from covermap.scenario.toml_file import read_toml
from covermap.tables import read_tiers, table_text
from covermap.terrain_tiles.fetch import fetch, size_of
from covermap.terrain_tiles.rasters import check_tile, write_land_cover, write_lowest_around, write_sea
from covermap.terrain_tiles.sources import Source, Tile, find_source, read_sources, tiles_of
from covermap.wording.words import path_in_words

AROUND_STATIONS_DEG = 0.3  # of the map where a scenario names no area: around its stations
ENDS_SENTENCE = (
    "Only a surface model (roofs and trees in it) is known here: both ends of a path stand on the lowest of "
    "the cells within 90 m."
)
Progress = Callable[[str, float, str], bool]


@dataclass(frozen=True)
class _Layer:
    """A source, its tiles and their sizes in bytes; None for a tile that is not there."""

    source: Source
    tiles: list[Tile]
    sizes: list[int | None]
    folder: Path

    @property
    def missing(self) -> int:
        return sum(size is None for size in self.sizes)

    def left_bytes(self) -> int:
        """Return what is still to be fetched."""
        left = 0
        for tile, size in zip(self.tiles, self.sizes, strict=True):
            path, part = self.folder / tile.file_name, self.folder / f"{tile.file_name}.part"
            if size is not None and not (path.exists() and path.stat().st_size == size):
                left += size - (min(part.stat().st_size, size) if part.exists() else 0)
        return left


def fetch_terrain(
    scenario_path: Path,
    *,
    elevation: str,
    land_cover: str | None = None,
    sources: Path | None = None,
    only_tell: bool = False,
    tell: Callable[[str], None] = print,
    progress: Progress | None = None,
) -> str:
    """Fetch what a scenario's paths need, and name it in the scenario; return what to say.

    elevation, land_cover : names of terrain_sources.csv or of `sources`, a table of the same columns
    only_tell : say how much it is and fetch nothing
    tell : given the size before anything is fetched

    Raises InputError when an input is wrong, CovermapError when something does not arrive; the same command
    goes on from there.
    """
    known = read_sources(sources)
    chosen = [find_source(known, elevation, "elevation")]
    if land_cover is not None:
        chosen.append(find_source(known, land_cover, "land_cover"))
    path = scenario_path / "scenario.toml" if scenario_path.is_dir() else scenario_path
    path = path.resolve()
    needed = paths_outline(path)
    layers = [_look(source, needed, path.parent / "terrain" / source.name) for source in chosen]
    tell(_size_in_words(layers))
    if only_tell:
        return "Nothing was fetched."
    for layer in layers:
        _fetch_all(layer, progress)
    keys = _keys(layers, path.parent, needed.bounds)
    with whole_file(path) as temporary:
        Path(temporary).write_text(with_keys(path.read_text("utf-8-sig"), "terrain", keys), "utf-8")
    credit = " ".join(dict.fromkeys(layer.source.credit for layer in layers))
    shown = path_in_words(path)
    return f"Wrote the terrain into {shown}. Credit: {credit}\nNext: covermap check {shlex.quote(shown)}"


def paths_outline(path: Path) -> shapely.Geometry:
    """Return what the paths of a scenario cross, in WGS 84 degrees: from its area to its stations.

    The scenario needs no elevation yet. Raises InputError when its stations or area are wrong.
    """
    values: dict[str, Any] = read_toml(path, "Correct that line.")
    values["terrain"] = {"elevation": [str(path)]}  # any file that is there: no height is read
    settings = settings_of(path, values)
    scenario = scenario_of(path, settings)
    longitude = np.array([station.longitude_deg for station in scenario.stations])
    latitude = np.array([station.latitude_deg for station in scenario.stations])
    around = AROUND_STATIONS_DEG
    box = (
        float(longitude.min()) - around, float(latitude.min()) - around,
        float(longitude.max()) + around, float(latitude.max()) + around,
    )  # fmt: skip
    grid = make_grid(settings.grid, read_area(settings.grid), box)
    tiers = read_tiers(settings.reception.antenna_tiers)
    kept = in_grid(scenario, grid, tiers, reception_options(settings, grid)).stations
    west_east, south_north = grid.corners_lonlat()
    area = shapely.MultiPoint(np.column_stack([west_east, south_north])).convex_hull
    fans = [
        shapely.union(area, shapely.Point(station.longitude_deg, station.latitude_deg)).convex_hull
        for station in kept
    ]
    return shapely.buffer(shapely.union_all([area, *fans]), 0.01)  # a kilometre for what is drawn around


def _look(source: Source, needed: shapely.Geometry, folder: Path) -> _Layer:
    tiles = tiles_of(source, needed)
    layer = _Layer(source, tiles, [size_of(tile.address) for tile in tiles], folder)
    if layer.missing == len(tiles):
        raise CovermapError(
            f"{source.name}: none of its {len(tiles)} tiles is there (first: {tiles[0].address}).\n"
            "  Does the source cover this area, and is its address right?"
        )
    return layer


def _size_in_words(layers: list[_Layer]) -> str:
    lines = []
    for layer in layers:
        total = sum(size or 0 for size in layer.sizes)
        absent = f", {layer.missing} not there" if layer.missing else ""
        lines.append(
            f"{layer.source.name}: {len(layer.tiles)} tiles{absent}, {total / 1e6:.1f} MB, "
            f"{layer.left_bytes() / 1e6:.1f} MB still to fetch ({layer.source.licence or 'see its licence'})"
        )
    return "\n".join(lines)


def _fetch_all(layer: _Layer, progress: Progress | None) -> None:
    try:
        layer.folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(f"{layer.folder} cannot be made: {error.strerror}.") from error
    left, done = max(1, layer.left_bytes()), 0
    for tile, size in zip(layer.tiles, layer.sizes, strict=True):
        path = layer.folder / tile.file_name
        if size is None:
            if layer.source.layer == "elevation" and layer.source.missing_is_sea and not path.exists():
                write_sea(path, tile, layer.source.tile_deg)
            continue
        if path.exists() and path.stat().st_size == size:
            continue

        def told(count: int, name: str = tile.file_name) -> bool:
            nonlocal done
            done += count
            return progress is None or progress("download", min(1.0, done / left), name)

        fetch(tile.address, size, path, told)
        check_tile(path, tile, layer.source.tile_deg)


def _keys(layers: list[_Layer], base: Path, bounds_deg: tuple[float, ...]) -> dict[str, Any]:
    """Return the keys of [terrain] that name what was fetched, after making what is derived from it."""
    heights, *cover = layers
    named = heights.folder.relative_to(base).as_posix()
    keys: dict[str, Any] = {"elevation": [named], "kind": "bare_earth"}
    notes = [f"Elevation: {heights.source.credit}."]
    if heights.source.kind == "surface":
        lowest = base / "terrain" / f"{heights.source.name}_lowest"
        lowest.mkdir(exist_ok=True)
        for path in sorted(heights.folder.glob("*.tif")):
            if not (lowest / path.name).exists():
                write_lowest_around(path, lowest / path.name)
        keys |= {"kind": "with_canopy", "bare_earth": [lowest.relative_to(base).as_posix()]}
        notes.append(ENDS_SENTENCE)
    for layer in cover:
        tiles = sorted(layer.folder.glob("*.tif"))
        kept = base / "terrain" / "land_cover.tif"
        west, south, east, north = bounds_deg
        write_land_cover(
            tiles, (math.floor(west), math.floor(south), math.ceil(east), math.ceil(north)), kept
        )
        keys["land_cover"] = kept.relative_to(base).as_posix()
        notes.append(f"Land cover: {layer.source.credit}.")
        if layer.source.land_cover_table:
            table = base / "terrain" / f"{layer.source.land_cover_table}.csv"
            table.write_text(table_text(layer.source.land_cover_table), "utf-8")
            keys["land_cover_table"] = table.relative_to(base).as_posix()
    return keys | {"credits": notes}
