"""Two finished results compared: where the antenna needed became easier or harder, and for whom."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from covermap.constants import TIER_NOT_PROMISED
from covermap.errors import InputError
from covermap.grid.frame import Grid, Tile
from covermap.planning.cell_fractions import PolygonCells
from covermap.planning.resampled import on_one_grid
from covermap.planning.results import Results
from covermap.planning.station_changes import NO_CHANGES, StationChanges

# places in CHANGES; by_neighbourhood() and the counts index with them
SAME, EASIER, HARDER, NOW_UNKNOWN, NOW_KNOWN, NEVER_KNOWN = range(6)
CHANGES = ("same", "easier", "harder", "unknown now", "known now", "unknown")


@dataclass(frozen=True, eq=False)
class Shared:
    """Two results over the cells they share, read a tile at a time.

    grid : of the shared cells; of_before, of_after : the same cells as a tile of each result's grid
    """

    before: Results
    after: Results
    of_before: Tile
    of_after: Tile
    grid: Grid

    def inside(self, tile: Tile) -> NDArray[np.bool_]:
        """Return which cells of a tile lie in both asked areas."""
        inside: NDArray[np.bool_] = self.before.inside_area(_moved(tile, self.of_before))
        return inside & self.after.inside_area(_moved(tile, self.of_after))

    def homes(self, tile: Tile) -> NDArray[np.float32] | None:
        """Return the homes of the later result in the cells of a tile; None without."""
        if not self.after.has("homes"):
            return None
        # Of the later result also where the earlier one knows other homes: else a home built since would look
        # like one that gained.
        return np.nan_to_num(self.after.read("homes", _moved(tile, self.of_after)))

    def ground_m(self, tile: Tile) -> np.ndarray:
        """Return the ground of the later result in the cells of a tile."""
        return self.after.read("ground", _moved(tile, self.of_after))

    def read_both(self, name: str, tile: Tile) -> tuple[np.ndarray, np.ndarray]:
        """Return a raster of both results in the cells of a tile."""
        before = self.before.read(name, _moved(tile, self.of_before))
        return before, self.after.read(name, _moved(tile, self.of_after))


@dataclass(frozen=True, eq=False)
class ListChange:
    """What changed for one list over the cells two results share.

    services : service -> (homes that gained it, homes that lost it); without homes: cells
    cells, homes : by code into CHANGES, of the cells in both areas; homes None without
    """

    list_name: str
    shared: Shared
    services: dict[str, tuple[float, float]]
    cells: NDArray[np.int64]
    homes: NDArray[np.float64] | None

    def tiers(self, tile: Tile) -> tuple[np.ndarray, np.ndarray]:
        """Return the tiers before and after in the cells of a tile, as stored."""
        return self.shared.read_both(f"{self.list_name}/tier", tile)

    def of(self, tile: Tile) -> NDArray[np.uint8]:
        """Return what changed in the cells of a tile, codes into CHANGES."""
        return change_of(*self.tiers(tile))

    @property
    def change(self) -> NDArray[np.uint8]:
        """Return what changed in every cell."""
        return self.of(self.shared.grid.whole)

    @property
    def tier_before(self) -> np.ndarray:
        """Return the tiers before of every cell, as stored."""
        return self.tiers(self.shared.grid.whole)[0]

    @property
    def tier_after(self) -> np.ndarray:
        """Return the tiers after of every cell, as stored."""
        return self.tiers(self.shared.grid.whole)[1]


@dataclass(frozen=True, eq=False)
class Comparison:
    """Two results over the cells they share; whole arrays are read when they are asked for.

    first : what differs beside the stations and must be read first, empty when nothing does
    notes : further sentences
    stations : what differs between their stations
    """

    shared: Shared
    lists: dict[str, ListChange]
    first: tuple[str, ...]
    notes: tuple[str, ...]
    stations: StationChanges

    @property
    def grid(self) -> Grid:
        """Return the grid of the shared cells."""
        return self.shared.grid

    @property
    def later(self) -> Results:
        """Return the later result, on a grid whose cells are those of `grid`."""
        return self.shared.after

    @property
    def has_homes(self) -> bool:
        """Return whether the later result knows homes, which are then counted."""
        return self.shared.after.has("homes")

    @property
    def inside(self) -> NDArray[np.bool_]:
        """Return which cells lie in both asked areas."""
        return self.shared.inside(self.grid.whole)

    @property
    def homes(self) -> NDArray[np.float32] | None:
        """Return the homes of the later result in every cell, None without."""
        return self.shared.homes(self.grid.whole)

    def counts(self, list_name: str) -> pd.DataFrame:
        """Return cells, area_km2 and homes by change (index CHANGES)."""
        found = self.lists[list_name]
        homes = [np.nan] * len(CHANGES) if found.homes is None else found.homes.tolist()
        area = found.cells * self.grid.cell_m**2 / 1e6
        return pd.DataFrame({"cells": found.cells, "area_km2": area, "homes": homes}, index=list(CHANGES))


def compare(before: Results, after: Results, stations: StationChanges = NO_CHANGES) -> Comparison:
    """Compare two results cell by cell; of different grids the finer is read on the coarser's cells.

    stations : what differs between their stations

    Raises
    ------
    InputError
        If their cells differ by more than ten times in size, or they share no cell or no list.
    """
    before, after, how = on_one_grid(before, after)
    window_before, window_after, grid = _common(before.grid, after.grid)
    notes = []
    if grid.shape != before.grid.shape or grid.shape != after.grid.shape:
        notes.append(f"The areas differ: only the {grid.rows} x {grid.cols} cells both have are compared.")
    names = [name for name in after.lists if name in before.lists]
    if not names:
        raise InputError(
            f"The results share no wanted list: before has {', '.join(before.lists)}, after "
            f"{', '.join(after.lists)}. Give a list the same name in both scenarios."
        )
    left = sorted({*before.lists, *after.lists} - set(names))
    if left:
        notes.append(f"Lists that only one of the results has are left out: {', '.join(left)}.")
    shared = Shared(before, after, window_before, window_after, grid)
    notes += _homes_notes(shared)
    lists = {}
    for name in names:
        if before.services(name) != after.services(name):
            notes.append(f"List {name!r} does not hold the same services in both results.")
        lists[name] = _list_change(name, shared)
    first = tuple(sentence for sentence in (how, *differences(before.run, after.run)) if sentence)
    return Comparison(shared, lists, first, tuple(notes), stations)


def by_neighbourhood(comparison: Comparison, areas: gpd.GeoDataFrame, list_name: str) -> pd.DataFrame:
    """Return homes (without homes: area_km2) by change for each neighbourhood.

    areas : neighbourhood_id, neighbourhood_name and outlines, one row each
    """
    grid = comparison.grid
    polygons = np.asarray(areas.geometry.to_crs(grid.crs_wkt).array, dtype=object)
    cells = PolygonCells(polygons, grid)
    sums = np.zeros((len(polygons), len(CHANGES)))
    for tile in grid.tiles():
        part = cells.fractions(tile)
        if not part.cell.size:
            continue
        change = comparison.lists[list_name].of(tile).ravel()[part.cell]
        homes = comparison.shared.homes(tile)
        weight = np.where(
            comparison.shared.inside(tile), grid.cell_m**2 / 1e6 if homes is None else homes, 0.0
        )
        np.add.at(sums, (part.polygon, change), part.fraction * weight.ravel()[part.cell])
    prefix = "homes_" if comparison.has_homes else "area_km2_"
    table = pd.DataFrame(
        {
            "neighbourhood_id": areas["neighbourhood_id"].to_numpy(),
            "neighbourhood_name": areas["neighbourhood_name"].to_numpy(),
            "wanted_list": list_name,
        }
    )
    for code, name in enumerate(CHANGES):
        table[prefix + name.replace(" ", "_")] = sums[:, code].round(3)
    return table


def differences(before: Mapping[str, Any], after: Mapping[str, Any]) -> tuple[str, ...]:
    """Return sentences on what differs between two runs beside stations and homes: terrain, model, rules."""
    found = []
    if _digests(before, "terrain.") != _digests(after, "terrain."):
        found.append("The terrain or land cover is not the same in both results.")
    for key, words in (("chosen", "model"),):
        old, new = before.get("models", {}).get(key), after.get("models", {}).get(key)
        if old != new:
            found.append(f"The {words} is not the same: {old} before, {new} after.")
    old, new = (run.get("versions", {}).get("physics") for run in (before, after))
    if old != new:
        found.append(f"The version of the physics is not the same: {old} before, {new} after.")
    if before.get("not_counted") != after.get("not_counted"):
        found.append("The results do not count the same effects (see not_counted in their run.json).")
    for section in ("prediction", "reception"):
        old, new = (run.get("options", {}).get(section, {}) for run in (before, after))
        # The model is told above by its own name.
        changed = sorted(key for key in {*old, *new} if old.get(key) != new.get(key) and key != "model")
        if changed:
            found.append(f"[{section}] is not the same in: {', '.join(changed)}.")
    return tuple(found)


def _digests(run: Mapping[str, Any], prefix: str) -> list[tuple[str, str]]:
    return sorted(
        # digests, not names: a file that only moved or was renamed changes nothing
        (part["role"], str(part["sha256"]))
        for part in run.get("inputs", [])
        if part["role"].startswith(prefix)
    )


def _common(before: Grid, after: Grid) -> tuple[Tile, Tile, Grid]:
    """Return the shared cells of two aligned grids as a tile of each and as a grid.

    Raises InputError where they share none.
    """
    # Whole numbers but for rounding: on_one_grid() has aligned the two.
    col = (after.x_min - before.x_min) / before.cell_m
    row = (before.y_max - after.y_max) / before.cell_m
    first_row, first_col = max(0, round(row)), max(0, round(col))
    rows = min(before.rows, round(row) + after.rows) - first_row
    cols = min(before.cols, round(col) + after.cols) - first_col
    if rows <= 0 or cols <= 0:
        raise InputError("The two results share no cell: their areas lie apart. Compare results of one area.")
    grid = Grid(
        before.crs_wkt,
        before.cell_m,
        before.x_min + first_col * before.cell_m,
        before.y_max - first_row * before.cell_m,
        rows,
        cols,
    )
    of_after = Tile(first_row - round(row), first_col - round(col), rows, cols)
    return Tile(first_row, first_col, rows, cols), of_after, grid


def change_of(before: np.ndarray, after: np.ndarray) -> NDArray[np.uint8]:
    """Return what changed from one tier to another, codes into CHANGES; any shape."""
    knew, knows = before <= TIER_NOT_PROMISED, after <= TIER_NOT_PROMISED
    change = np.full(before.shape, NEVER_KNOWN, np.uint8)
    change[knew & knows] = SAME
    change[knew & knows & (after < before)] = EASIER
    change[knew & knows & (after > before)] = HARDER
    change[knew & ~knows] = NOW_UNKNOWN
    change[~knew & knows] = NOW_KNOWN
    return change


def _homes_notes(shared: Shared) -> list[str]:
    """Return a sentence where homes of the two results differ, or only the later has some."""
    if not shared.after.has("homes"):
        return []
    if not shared.before.has("homes"):
        return ["Only the later result knows homes; they are counted in both."]
    old = new = 0.0
    for tile in shared.grid.bands():
        both = shared.read_both("homes", tile)
        old, new = (
            so_far + float(np.nansum(homes, dtype=np.float64))
            for so_far, homes in zip((old, new), both, strict=True)
        )
    # Half a home: sums of float32 in another order differ by less.
    if abs(old - new) > 0.5:
        return [f"Homes differ: {old:,.0f} before, {new:,.0f} after; those of the later count."]
    return []


def _list_change(name: str, shared: Shared) -> ListChange:
    """Count what changed for a list, a band of rows at a time."""
    of_before = shared.before.services(name)
    both = [service for service in shared.after.services(name) if service in of_before]
    sums = np.zeros((len(both), 2))
    cells = np.zeros(len(CHANGES), dtype=np.int64)
    homes = np.zeros(len(CHANGES)) if shared.after.has("homes") else None
    for tile in shared.grid.bands():
        inside, of_tile = shared.inside(tile), shared.homes(tile)
        change = change_of(*shared.read_both(f"{name}/tier", tile))[inside]
        cells += np.bincount(change, minlength=len(CHANGES))
        if homes is not None and of_tile is not None:
            homes += np.bincount(change, of_tile[inside], minlength=len(CHANGES))
        weight = np.where(inside, 1.0 if of_tile is None else of_tile.astype(np.float64), 0.0)
        had = _receives(shared.before, name, both, _moved(tile, shared.of_before))
        has = _receives(shared.after, name, both, _moved(tile, shared.of_after))
        sums[:, 0] += [weight[gained].sum() for gained in ~had & has]
        sums[:, 1] += [weight[lost].sum() for lost in had & ~has]
    services = {service: (float(gain), float(loss)) for service, (gain, loss) in zip(both, sums, strict=True)}
    return ListChange(name, shared, services, cells, homes)


def _moved(tile: Tile, window: Tile) -> Tile:
    """Return a tile of the shared cells as one of the result that they are a window of."""
    return Tile(tile.row + window.row, tile.col + window.col, tile.rows, tile.cols)


def _receives(results: Results, name: str, services: Sequence[str], window: Tile) -> NDArray[np.bool_]:
    """Return where the stored plan brings each service as surely as the run asks, shape (V, rows, cols)."""
    # Bands by name: the two runs may list their services in another order.
    of_list = results.services(name)
    chance = results.read(f"{name}/service_chance", window)[[of_list.index(service) for service in services]]
    # each run by its own confidence; 255 is unknown, hence <= 100
    return (chance >= results.run.get("confidence_percent", 90)) & (chance <= 100)
