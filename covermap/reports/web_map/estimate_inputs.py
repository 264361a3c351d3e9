"""What the page holds for the quick estimate: its record of numbers and its layers."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist
from typing import Any

import numpy as np
import pyproj
from numpy.typing import NDArray

from covermap.constants import UNKNOWN_UINT8
from covermap.reception.budget import (
    COMMON_RATIO,
    CROSS_DB,
    FLOOR_DB,
    NEED_DBUVM,
    OWN_INVERSE,
    ROLLOFF,
    TOTAL_INVERSE,
    heights_of,
    tier_figures,
)
from covermap.reception.options import ReceptionOptions
from covermap.reception.signals import StationFacts
from covermap.reception.tiers import Tier
from covermap.reports.web_map.estimate import CIRCLE_STEP_DEG
from covermap.reports.web_map.estimate_tables import (
    ARCTAN_STEPS,
    LEVEL_OFFSET_DB,
    SHARE_ENDS,
    SHARE_STEPS,
    Figures,
    Rules,
    arctangents,
    normal_shares,
    quadrature,
)
from covermap.reports.web_map.layers import UNKNOWN, block_middles
from covermap.reports.web_map.page_grid import WEB_MERCATOR, PageGrid

DIFFERENCE_ZERO = 128  # byte of a difference of 0 dB
FIGURE_DIGITS = 6
LEVEL_DIGITS = 3


@dataclass(frozen=True, eq=False)
class StationLevels:
    """What every square of a grid receives from the S stations of a scenario, in whole dB.

    level : uint8 (H, S, rows, cols), median over locations at the wanted time percentage, in whole dB(uV/m)
        plus LEVEL_OFFSET_DB, for each of heights_m; 255 unknown
    kind : uint8 (rows, cols), index into clutter_m and open_land: the kind of surroundings
    facts, tiers, options : what reception was worked out with
    """

    level: NDArray[np.uint8]
    kind: NDArray[np.uint8]
    clutter_m: NDArray[np.float64]
    open_land: NDArray[np.bool_]
    heights_m: NDArray[np.float64]
    facts: StationFacts
    tiers: tuple[Tier, ...]
    options: ReceptionOptions


def estimate_figures(levels: StationLevels, stations: Sequence[int]) -> Figures:
    """Return the figures of some stations as the page holds them: rounded, from the tables of reception."""
    station = np.asarray(stations, dtype=np.int64)
    figures = tier_figures(
        levels.tiers, levels.facts, station, levels.clutter_m, levels.open_land, levels.options
    )
    return Figures(
        (figures[:, :, NEED_DBUVM] + LEVEL_OFFSET_DB).round(LEVEL_DIGITS),
        figures[:, :, OWN_INVERSE].round(FIGURE_DIGITS),
        figures[:, :, COMMON_RATIO].round(FIGURE_DIGITS),
        figures[:, :, TOTAL_INVERSE].round(FIGURE_DIGITS),
        figures[0, :, ROLLOFF].round(FIGURE_DIGITS),
        figures[0, :, FLOOR_DB].round(LEVEL_DIGITS),
        np.stack([figures[0, :, CROSS_DB + mount].round(LEVEL_DIGITS) for mount in (0, 1)]),
        heights_of(levels.tiers, levels.heights_m),
    )


def estimate_rules(grid: PageGrid, masts: Sequence[dict[str, Any]], confidence_percent: float) -> Rules:
    """Return what is the same everywhere.

    masts : records with latitude_deg and longitude_deg, in the scenario's order
    """
    to_mercator = pyproj.Transformer.from_crs("EPSG:4326", WEB_MERCATOR, always_xy=True)
    x, y = to_mercator.transform(
        [mast["longitude_deg"] for mast in masts], [mast["latitude_deg"] for mast in masts]
    )
    place = np.asarray(grid.facts()["place_of_cell"]).reshape(-1, 2)
    degrees = grid.pixel_m / (2.0 * math.pi * 6378137.0) * 360.0
    points, weights = quadrature()
    return Rules(
        confidence_percent / 100.0,
        needed_deviation(confidence_percent),
        normal_shares(),
        arctangents(),
        points,
        weights,
        round(0.5 * degrees * math.sin(math.radians(float(place[:, 1].mean()))), 9),
        ((grid.y_max - np.asarray(y)) / grid.pixel_m).round(3),
        ((np.asarray(x) - grid.x_min) / grid.pixel_m).round(3),
    )


def reaching(levels: StationLevels, figures: Figures, stations: Sequence[int]) -> list[int]:
    """Return those stations that alone are sure enough somewhere with the last tier's antenna.

    figures : of these stations
    """
    last = len(levels.tiers) - 1
    deviation = needed_deviation(levels.options.confidence_percent)
    found = []
    for order, station in enumerate(stations):
        level = levels.level[figures.height[last], station]
        margin_db = level - figures.need[levels.kind, last, order]
        enough = margin_db * figures.total_inverse[levels.kind, last, order] >= deviation
        if (enough & (level != UNKNOWN_UINT8)).any():
            found.append(station)
    return found


def needed_deviation(confidence_percent: float) -> float:
    """Return the standard deviations by which a margin must exceed 0 to be so sure, to 1e-6."""
    return round(NormalDist().inv_cdf(confidence_percent / 100.0), 6)


def block_levels(levels: StationLevels, grid: PageGrid, station: int, step: int) -> NDArray[np.uint8]:
    """Return one station's levels as the page's blocks hold them, uint8 (H, block rows, block cols)."""
    return np.stack([block_middles(grid.spread(level[station], UNKNOWN), step) for level in levels.level])


def difference(level: NDArray[np.uint8], base: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return level - base as bytes around DIFFERENCE_ZERO; 255 where level or base is unknown.

    Differences beyond -128 and 126 dB are held as these.
    """
    apart = np.clip(level.astype(np.int16) - base, -DIFFERENCE_ZERO, DIFFERENCE_ZERO - 2) + DIFFERENCE_ZERO
    unknown = (level == UNKNOWN) | (base == UNKNOWN)
    return np.where(unknown, UNKNOWN, apart).astype(np.uint8)


def estimate_facts(figures: Figures, rules: Rules, levels: StationLevels) -> dict[str, Any]:
    """Return the numbers of the estimate as one JSON record."""
    named = {**figures._asdict(), **rules._asdict()}
    numbers = {name: np.asarray(value).tolist() for name, value in named.items()}
    return {
        **numbers,
        "heights": len(levels.heights_m),
        "kinds": int(levels.clutter_m.size),
        "circle_step_deg": CIRCLE_STEP_DEG,
        "share_ends": SHARE_ENDS,
        "share_steps": SHARE_STEPS,
        "arctan_steps": ARCTAN_STEPS,
        "difference_zero": DIFFERENCE_ZERO,
    }
