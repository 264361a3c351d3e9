"""Installations compared over a map: for whom each holds the list, and where one makes a difference."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from covermap.constants import UNKNOWN_UINT8
from covermap.grid.frame import Grid
from covermap.planning.cell_fractions import PolygonCells

# places in DIFFERENCES, and the codes of the raster: their order is part of the result
NEITHER, BOTH, ONLY_OTHER, ONLY_FIRST = range(4)
DIFFERENCES = ("neither", "both", "gained", "lost")


@dataclass(frozen=True)
class InstallationCount:
    """For whom one installation holds the list; homes, or cells where homes are not known.

    holds : without an amplifier; with_amplifiers : further ones with each amplifier tried, as far as no less
        costly one does; empty where none is tried; not_held, unknown
    low, high : as holds, with every gain at the end of its span; None where the gains have none
    services : service -> those it arrives at, alone; services_amplified : with the amplifier
    """

    holds: float
    with_amplifiers: tuple[float, ...]
    not_held: float
    unknown: float
    low: float | None
    high: float | None
    services: dict[str, float]
    services_amplified: dict[str, float]

    @property
    def with_amplifier(self) -> float | None:
        """Return how many more hold the list with any of the amplifiers; None where none is tried."""
        return sum(self.with_amplifiers) if self.with_amplifiers else None


@dataclass(frozen=True, eq=False)
class InstallationDifference:
    """One installation instead of the first one, both without an amplifier.

    code : uint8 (rows, cols), a place in DIFFERENCES, 255 unknown
    gained, lost : homes (or cells) that hold the list only with it, and only with the first
    gained_range, lost_range : the same at both ends of what the gains of the two can differ by; None without
    services : service -> (gained, lost), each alone
    """

    code: NDArray[np.uint8]
    gained: float
    lost: float
    gained_range: tuple[float, float] | None
    lost_range: tuple[float, float] | None
    services: dict[str, tuple[float, float]]


@dataclass(frozen=True)
class ComparedInstallation:
    """One installation as it is told: key and name, its mount, its price without an amplifier, NaN unknown.

    amplifiers : name and price of those tried with it, least costly first
    turned : whether an antenna of it is turned to one azimuth for good
    unserved : services of the list at whose frequencies it has no gain
    """

    key: str
    name: str
    mount: str
    amplifiers: tuple[tuple[str, float], ...]
    price: float
    turned: bool = False
    unserved: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class InstallationComparison:
    """Installations compared over a run's grid; each of the others stands beside the first.

    counted : "homes" or "cells", what weight and all counts are of
    list_name, list_services, needed : of the list they are to hold, at confidence_percent
    services : of the station file
    inside : bool (rows, cols), of the asked area. ground_m : for the picture, NaN unknown
    counts : one an installation, in their order. differences, areas : one for each behind the first; areas
        None without neighbourhoods
    """

    grid: Grid
    counted: str
    list_name: str
    list_services: tuple[str, ...]
    needed: int
    confidence_percent: float
    services: tuple[str, ...]
    inside: NDArray[np.bool_]
    ground_m: NDArray[np.float32]
    weight: NDArray[np.float64]
    installations: tuple[ComparedInstallation, ...]
    counts: tuple[InstallationCount, ...]
    differences: tuple[InstallationDifference, ...]
    areas: tuple[pd.DataFrame, ...] | None


def count_installation(
    weight: NDArray[np.float64],
    variant: NDArray[np.uint8],
    ends: NDArray[np.uint8] | None,
    bit: int,
    bits: NDArray[np.uint8],
    bits_amplified: NDArray[np.uint8],
    services: Sequence[str],
    amplifiers: int = 0,
) -> InstallationCount:
    """Return for whom an installation holds the list.

    weight : homes or 1 of each cell, (rows, cols). variant : 1 without, 2 and on with the first amplifier and
        those behind it, 0 neither, 255. amplifiers : how many are tried
    ends : 1 holds at the low end, 2 not there but as it is, 3 only at the high end, 0 nowhere; None no span
    bit : of this installation in bits and bits_amplified, (V, rows, cols)
    """

    def at(chosen: NDArray[np.bool_]) -> float:
        return float(weight[chosen].sum())

    return InstallationCount(
        holds=at(variant == 1),
        with_amplifiers=tuple(at(variant == 2 + number) for number in range(amplifiers)),
        not_held=at(variant == 0),
        unknown=at(variant == UNKNOWN_UINT8),
        low=None if ends is None else at(ends == 1),
        # what holds at the low end holds at the high end too, so 1 counts in both
        high=None if ends is None else at((ends >= 1) & (ends <= 3)),
        services=_by_service(weight, bit, bits, services),
        services_amplified=_by_service(weight, bit, bits_amplified, services) if amplifiers else {},
    )


def difference(
    weight: NDArray[np.float64],
    first: NDArray[np.uint8],
    other: NDArray[np.uint8],
    ends: NDArray[np.uint8] | None,
    pair_of_bits: tuple[int, int],
    bits: NDArray[np.uint8],
    services: Sequence[str],
) -> InstallationDifference:
    """Return what one installation instead of the first changes; arguments as count_installation.

    first, other : variants of both. ends : of the other at the ends of its difference to the first
    pair_of_bits : of the first and of the other
    """
    code = difference_code(first == 1, other == 1, (first != UNKNOWN_UINT8) & (other != UNKNOWN_UINT8))

    def moved(chosen: NDArray[np.uint8]) -> tuple[float, float]:
        return float(weight[chosen == ONLY_OTHER].sum()), float(weight[chosen == ONLY_FIRST].sum())

    gained, lost = moved(code)
    gained_range = lost_range = None
    if ends is not None:
        known = (first != UNKNOWN_UINT8) & (ends != UNKNOWN_UINT8)
        low = moved(difference_code(first == 1, ends == 1, known))
        high = moved(difference_code(first == 1, (ends >= 1) & (ends <= 3), known))
        # What is lost is least at the high end of the difference.
        gained_range, lost_range = (low[0], high[0]), (high[1], low[1])
    by_service = {
        service: moved(service_difference(bits[number], pair_of_bits))
        for number, service in enumerate(services)
    }
    return InstallationDifference(code, gained, lost, gained_range, lost_range, by_service)


def difference_code(
    first: NDArray[np.bool_], other: NDArray[np.bool_], known: NDArray[np.bool_]
) -> NDArray[np.uint8]:
    """Return places in DIFFERENCES, 255 where either is unknown."""
    code = np.where(first, np.where(other, BOTH, ONLY_FIRST), np.where(other, ONLY_OTHER, NEITHER))
    return np.where(known, code, UNKNOWN_UINT8).astype(np.uint8)


def service_difference(bits: NDArray[np.uint8], pair_of_bits: tuple[int, int]) -> NDArray[np.uint8]:
    """Return places in DIFFERENCES of one service, from the bits of the installations it comes with."""
    # Also of 255, where every bit is set; difference_code() takes those out.
    first, other = ((bits & (1 << bit)) > 0 for bit in pair_of_bits)
    return difference_code(first, other, bits != UNKNOWN_UINT8)


def by_neighbourhood(
    areas: gpd.GeoDataFrame,
    grid: Grid,
    weight: NDArray[np.float64],
    code: NDArray[np.uint8],
    pair_of_bits: tuple[int, int],
    bits: NDArray[np.uint8],
    services: Sequence[str],
) -> pd.DataFrame:
    """Return a row a neighbourhood: who gains and who loses the list, and each service alone.

    areas : neighbourhood_id, neighbourhood_name and outlines. Other arguments as difference()
    Columns: both, gained, lost, neither, then gained: SERVICE and lost: SERVICE.
    """
    polygons = np.asarray(areas.geometry.to_crs(grid.crs_wkt).array, dtype=object)
    cells = PolygonCells(polygons, grid)
    names = [*DIFFERENCES, *(f"{kind}: {service}" for service in services for kind in ("gained", "lost"))]
    sums = np.zeros((len(polygons), len(names)))
    for tile in grid.tiles():
        part = cells.fractions(tile)
        if not part.cell.size:
            continue
        # By the area of a cell inside: homes of a cell on an edge belong to both sides in parts.
        share = part.fraction * weight[tile.window].ravel()[part.cell]
        here = code[tile.window].ravel()[part.cell]
        for kind in range(len(DIFFERENCES)):
            np.add.at(sums[:, kind], part.polygon, share * (here == kind))
        for number in range(len(services)):
            of_service = service_difference(bits[number][tile.window].ravel()[part.cell], pair_of_bits)
            column = len(DIFFERENCES) + 2 * number
            np.add.at(sums[:, column], part.polygon, share * (of_service == ONLY_OTHER))
            np.add.at(sums[:, column + 1], part.polygon, share * (of_service == ONLY_FIRST))
    table: dict[str, Any] = {
        "neighbourhood_id": areas["neighbourhood_id"].to_numpy(),
        "neighbourhood_name": areas["neighbourhood_name"].to_numpy(),
    }
    return pd.DataFrame(table | {name: sums[:, column].round(3) for column, name in enumerate(names)})


def _by_service(
    weight: NDArray[np.float64], bit: int, bits: NDArray[np.uint8], services: Sequence[str]
) -> dict[str, float]:
    # Before the bits: 255 has all of them set.
    known = bits != UNKNOWN_UINT8
    return {
        service: float(weight[known[number] & ((bits[number] & (1 << bit)) > 0)].sum())
        for number, service in enumerate(services)
    }
