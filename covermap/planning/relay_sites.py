"""Hilltops where a relay could stand: local tops that receive every wanted service well."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from covermap.planning.results import Results

TOP_RADIUS_M = 600.0  # a top is the highest place within this distance
DONOR_MARGIN_DB = 10.0  # above what the rooftop tier needs; common practice, no source
MOST_SITES = 200
NEAR_KM = 15.0  # homes within this distance count when tops are many


@dataclass(frozen=True, eq=False)
class Sites:
    """Candidate tops: row and column of their cells, ground [m] and worst donor margin [dB], each (C,)."""

    row: NDArray[np.int64]
    col: NDArray[np.int64]
    ground_m: NDArray[np.float64]
    donor_margin_db: NDArray[np.float64]


def candidate_sites(
    results: Results, list_name: str, homes: NDArray[np.float64], most: int = MOST_SITES
) -> Sites:
    """Return local maxima of the ground where the worst service of the list has donor margin enough.

    homes : shape (rows, cols), the homes a relay should reach; with more tops than `most` those with most
        of them within 15 km stay
    """
    grid = results.grid
    ground_m = np.asarray(results.read("ground"), dtype=np.float64)
    reach = max(1, round(TOP_RADIUS_M / grid.cell_m))
    filled = np.where(np.isnan(ground_m), -np.inf, ground_m)
    highest = ndimage.maximum_filter(filled, size=2 * reach + 1, mode="nearest")
    margin_db = results.read(f"{list_name}/margin")
    tops = (filled == highest) & np.isfinite(filled) & (margin_db >= DONOR_MARGIN_DB)
    labels, count = ndimage.label(tops, structure=np.ones((3, 3)))  # a flat top is one
    middles = ndimage.maximum_position(margin_db, labels, range(1, count + 1)) if count else []
    row = np.array([int(place[0]) for place in middles], dtype=np.int64)
    col = np.array([int(place[1]) for place in middles], dtype=np.int64)
    if row.size > most:
        kept = np.argsort(-_near_homes(homes, row, col, grid.cell_m), kind="stable")[:most]
        row, col = row[np.sort(kept)], col[np.sort(kept)]
    return Sites(row, col, ground_m[row, col], margin_db[row, col].astype(np.float64))


def _near_homes(homes: NDArray, row: NDArray, col: NDArray, cell_m: float) -> NDArray[np.float64]:
    """Return the homes around each place, nearer ones counting more."""
    home_row, home_col = np.nonzero(homes)
    count = homes[home_row, home_col]
    found = np.zeros(row.size)
    for site in range(row.size):
        away_km = np.hypot(home_row - row[site], home_col - col[site]) * cell_m / 1000.0
        found[site] = (count * np.clip(1.0 - away_km / NEAR_KM, 0.0, None)).sum()
    return found
