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
from covermap.grid.frame import BAND_CELLS, Grid, Tile
from covermap.planning.cell_fractions import PolygonCells
from covermap.planning.resampled import on_one_grid
from covermap.planning.results import Results

SAME, EASIER, HARDER, NOW_UNKNOWN, NOW_KNOWN, NEVER_KNOWN = range(6)
CHANGES = ("same", "easier", "harder", "unknown now", "known now", "unknown")


@dataclass(frozen=True, eq=False)
class ListChange:
    """What changed for one list; arrays over the common grid.

    change : codes into CHANGES; tier_before, tier_after : as stored
    services : service -> (homes that gained it, homes that lost it); without homes: cells
    """

    list_name: str
    change: NDArray[np.uint8]
    tier_before: NDArray[np.uint8]
    tier_after: NDArray[np.uint8]
    services: dict[str, tuple[float, float]]


@dataclass(frozen=True, eq=False)
class Comparison:
    """Two results over the cells they share.

    grid : of the shared cells; inside : those in both asked areas; homes : of the later result, None without
    first : what differs beside the stations and must be read first, empty when nothing does
    notes : further sentences; later : the later result on a grid whose cells are those of `grid`
    """

    grid: Grid
    inside: NDArray[np.bool_]
    homes: NDArray[np.float32] | None
    lists: dict[str, ListChange]
    first: tuple[str, ...]
    notes: tuple[str, ...]
    later: Results

    def counts(self, list_name: str) -> pd.DataFrame:
        """Return cells, area_km2 and homes by change (index CHANGES)."""
        change = self.lists[list_name].change[self.inside]
        cells = np.bincount(change, minlength=len(CHANGES))
        homes = [np.nan] * len(CHANGES)
        if self.homes is not None:
            homes = np.bincount(change, self.homes[self.inside], minlength=len(CHANGES)).tolist()
        area = cells * self.grid.cell_m**2 / 1e6
        return pd.DataFrame({"cells": cells, "area_km2": area, "homes": homes}, index=list(CHANGES))


def compare(before: Results, after: Results) -> Comparison:
    """Compare two results cell by cell; of different grids the finer is read on the coarser's cells.

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
    inside = before.inside_area(window_before) & after.inside_area(window_after)
    homes = None
    if after.has("homes"):
        homes = np.nan_to_num(after.read("homes", window_after))
        notes += _homes_notes(before, window_before, homes)
    lists = {}
    for name in names:
        if before.services(name) != after.services(name):
            notes.append(f"List {name!r} does not hold the same services in both results.")
        lists[name] = _list_change(name, before, after, window_before, window_after, inside, homes)
    first = tuple(sentence for sentence in (how, *differences(before.run, after.run)) if sentence)
    return Comparison(grid, inside, homes, lists, first, tuple(notes), after)


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
        change = comparison.lists[list_name].change[tile.window].ravel()[part.cell]
        weight = np.where(
            comparison.inside[tile.window],
            grid.cell_m**2 / 1e6 if comparison.homes is None else comparison.homes[tile.window],
            0.0,
        )
        np.add.at(sums, (part.polygon, change), part.fraction * weight.ravel()[part.cell])
    prefix = "area_km2_" if comparison.homes is None else "homes_"
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
        changed = sorted(key for key in {*old, *new} if old.get(key) != new.get(key) and key != "model")
        if changed:
            found.append(f"[{section}] is not the same in: {', '.join(changed)}.")
    return tuple(found)


def _digests(run: Mapping[str, Any], prefix: str) -> list[tuple[str, str]]:
    return sorted(
        (part["role"], str(part["sha256"]))
        for part in run.get("inputs", [])
        if part["role"].startswith(prefix)
    )


def _common(before: Grid, after: Grid) -> tuple[Tile, Tile, Grid]:
    """Return the shared cells of two aligned grids as a tile of each and as a grid.

    Raises InputError where they share none.
    """
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


def _homes_notes(before: Results, window: Tile, homes: NDArray) -> list[str]:
    if not before.has("homes"):
        return ["Only the later result knows homes; they are counted in both."]
    old = float(np.nansum(before.read("homes", window), dtype=np.float64))
    new = float(homes.sum(dtype=np.float64))
    if abs(old - new) > 0.5:
        return [f"Homes differ: {old:,.0f} before, {new:,.0f} after; those of the later count."]
    return []


def _list_change(
    name: str,
    before: Results,
    after: Results,
    window_before: Tile,
    window_after: Tile,
    inside: NDArray[np.bool_],
    homes: NDArray | None,
) -> ListChange:
    old = before.read(f"{name}/tier", window_before)
    new = after.read(f"{name}/tier", window_after)
    knew, knows = old <= TIER_NOT_PROMISED, new <= TIER_NOT_PROMISED
    change = np.full(old.shape, NEVER_KNOWN, np.uint8)
    change[knew & knows] = SAME
    change[knew & knows & (new < old)] = EASIER
    change[knew & knows & (new > old)] = HARDER
    change[knew & ~knows] = NOW_UNKNOWN
    change[~knew & knows] = NOW_KNOWN
    both = [service for service in after.services(name) if service in before.services(name)]
    sums = np.zeros((len(both), 2))  # a raster of all services is read a band of rows at a time
    rows_at_once = max(1, BAND_CELLS // window_before.cols)
    for row in range(0, window_before.rows, rows_at_once):
        part = slice(row, row + rows_at_once)
        weight = np.where(inside[part], 1.0 if homes is None else homes[part].astype(np.float64), 0.0)
        had = _receives(before, name, both, _rows_of(window_before, part))
        has = _receives(after, name, both, _rows_of(window_after, part))
        sums[:, 0] += [weight[gained].sum() for gained in ~had & has]
        sums[:, 1] += [weight[lost].sum() for lost in had & ~has]
    services = {service: (float(gain), float(loss)) for service, (gain, loss) in zip(both, sums, strict=True)}
    return ListChange(name, change, old, new, services)


def _rows_of(window: Tile, rows: slice) -> Tile:
    """Return some of the rows of a tile, those that it has."""
    return Tile(window.row + rows.start, window.col, min(rows.stop, window.rows) - rows.start, window.cols)


def _receives(results: Results, name: str, services: Sequence[str], window: Tile) -> NDArray[np.bool_]:
    """Return where the stored plan brings each service as surely as the run asks, shape (V, rows, cols)."""
    of_list = results.services(name)
    chance = results.read(f"{name}/service_chance", window)[[of_list.index(service) for service in services]]
    return (chance >= results.run.get("confidence_percent", 90)) & (chance <= 100)
