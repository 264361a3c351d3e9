"""Open sources of elevation and land cover, and the names of their tiles."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import shapely

from covermap.errors import InputError
from covermap.scenario.suggestions import nearest
from covermap.tables import load_table
from covermap.tables.user_table import read_table_rows


@dataclass(frozen=True)
class Source:
    """One row of terrain_sources.csv.

    layer : elevation | land_cover; kind : bare_earth | surface | class; tile_deg : length of a tile's side
    corner : south_west | north_west, the one that names a tile; missing_is_sea : a tile that is absent is sea
    """

    name: str
    layer: str
    kind: str
    address: str
    tile_deg: int
    corner: str
    missing_is_sea: bool
    land_cover_table: str
    credit: str
    licence: str


@dataclass(frozen=True)
class Tile:
    """A tile of a source: its south-west corner in whole degrees, its address and the name of its file."""

    south: int
    west: int
    address: str
    file_name: str


def read_sources(own: Path | None = None) -> dict[str, Source]:
    """Return the sources by name; own : a table of the same columns, whose rows are added or replace ours."""
    rows = load_table("terrain_sources")
    if own is not None:
        columns = tuple(name for name in rows[0] if name not in ("source", "licence", "unit"))
        rows += [
            {name: row.text(name) for name in rows[0]}
            for row in read_table_rows("terrain_sources", own, columns)
        ]
    return {row["name"]: _source(row) for row in rows}


def find_source(sources: dict[str, Source], name: str, layer: str) -> Source:
    """Return a source of a layer. Raises InputError naming those there are."""
    known = [one.name for one in sources.values() if one.layer == layer]
    if name not in known:
        option = f"--{layer.replace('_', '-')}"
        raise InputError(
            f'{option}: found "{name}", which is no source of {layer}.{nearest(name, known)} '
            f"They are {', '.join(known)}. Add your own with --sources TABLE."
        )
    return sources[name]


def _source(row: dict[str, str]) -> Source:
    if not row["address"].startswith(("http://", "https://")) or not row["tile_deg"].isdigit():
        raise InputError(
            f'Terrain source "{row["name"]}": found address "{row["address"]}" and tile_deg '
            f'"{row["tile_deg"]}". An address begins with http:// or https://, a tile has whole degrees. '
            "Correct the row."
        )
    return Source(
        name=row["name"],
        layer=row["layer"],
        kind=row["kind"],
        address=row["address"],
        tile_deg=int(row["tile_deg"]),
        corner=row["corner"],
        missing_is_sea=row["missing_tile"] == "sea",
        land_cover_table=row["land_cover_table"],
        credit=row["credit"],
        licence=row["licence"],
    )


def tiles_of(source: Source, places: shapely.Geometry) -> list[Tile]:
    """Return the tiles that a shape in WGS 84 degrees touches, from north to south and west to east."""
    west, south, east, north = places.bounds
    side = source.tile_deg
    found = []
    for row in range(math.floor(north / side), math.floor(south / side) - 1, -1):
        for col in range(math.floor(west / side), math.floor(east / side) + 1):
            box = shapely.box(col * side, row * side, (col + 1) * side, (row + 1) * side)
            if places.intersects(box):
                # across 180 degrees tiles are named by the longitude within -180 to 180
                found.append(_tile(source, row * side, (col * side + 180) % 360 - 180))
    return found


def _tile(source: Source, south: int, west: int) -> Tile:
    named_south = south + source.tile_deg if source.corner == "north_west" else south
    north_south = f"{'N' if named_south >= 0 else 'S'}{abs(named_south):02d}"
    east_west = f"{'E' if west >= 0 else 'W'}{abs(west):03d}"
    address = source.address.format(
        NS=north_south, EW=east_west, ns=north_south.lower(), ew=east_west.lower()
    )
    return Tile(south, west, address, f"{source.name}_{north_south}{east_west}.tif")
