"""What else a result may tell of a square's plan: second aim, aim window, cause, cautions of the plan."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from covermap.errors import InputError
from covermap.planning.local_doubts import COVER_DOUBT, IN_LEAF, MOVES_BY
from covermap.reports.web_map.layers import UNKNOWN, two_bytes
from covermap.reports.web_map.page_grid import PageGrid
from covermap.result.coverage import Coverage
from covermap.result.raster_catalogue import bits_of
from covermap.wording.causes import cause_mark, cause_words
from covermap.wording.language import say

ANGLES = ("second_aim", "aim_from", "aim_to")  # whole degrees, -1 none
STATION = "interferer"  # a place in the raster's STATIONS, -1 none
CLASSES = ("tier_without_deciding", "main_cause", "amplifier")  # 255 none or unknown
BY_SERVICE = "service_cause"  # one band a service; 255 where it is not weak
FLAGS = "plan_flags"  # sum of the flags below
DOUBT = "doubt"  # of tier_in_leaf and tier_cover_doubt: a place in DOUBTS
DOUBTS = ("neither", "leaf", "cover", "both")
NO_KIND = 253  # known, but not looked at


def plan_kinds(coverage: Coverage, list_name: str) -> list[str]:
    """Return which of the optional kinds this result holds for a list."""
    return [
        kind
        for kind in (*ANGLES, STATION, *CLASSES, BY_SERVICE, FLAGS)
        if _has(coverage, f"{list_name}/{kind}")
    ]


def plan_facts(coverage: Coverage, list_name: str) -> dict[str, Any]:
    """Return what the page must know of a list's optional layers: kinds, causes' words, ids of stations."""
    kinds = plan_kinds(coverage, list_name)
    causes = coverage.tag_values(f"{list_name}/main_cause", "CAUSES") if "main_cause" in kinds else ()
    stations = coverage.tag_values(f"{list_name}/{STATION}", "STATIONS") if STATION in kinds else ()
    return {
        "plan_kinds": kinds,
        "interferers": list(stations),
        "cause_codes": list(causes),
        "cause_marks": [cause_mark(cause) for cause in causes],
        "causes": [cause_words(cause) for cause in causes],
        "doubts": [say(f"page.doubt.{doubt}") for doubt in DOUBTS] if has_doubts(coverage, list_name) else [],
    }


def has_doubts(coverage: Coverage, list_name: str) -> bool:
    """Return whether the result tells what leaves, or another class of land cover, would change."""
    return any(coverage.has(f"{list_name}/{kind}") for kind in (IN_LEAF, COVER_DOUBT))


def doubt_layer(coverage: Coverage, list_name: str) -> NDArray[np.uint8]:
    """Return what would move each cell, a place in DOUBTS; NO_KIND where nobody looked, UNKNOWN unknown."""
    tier = coverage.read(f"{list_name}/tier")
    found = np.zeros(tier.shape, np.uint8)
    looked_at = np.zeros(tier.shape, bool)
    for bit, kind in ((1, IN_LEAF), (2, COVER_DOUBT)):
        if coverage.has(f"{list_name}/{kind}"):
            other = coverage.read(f"{list_name}/{kind}")
            known = other != UNKNOWN
            moves = other > tier if kind == IN_LEAF else other >= MOVES_BY
            found[known & moves] |= np.uint8(bit)
            looked_at |= known
    return np.where(tier == UNKNOWN, UNKNOWN, np.where(looked_at, found, NO_KIND)).astype(np.uint8)


def plan_layers(
    coverage: Coverage, grid: PageGrid, list_name: str
) -> Iterator[tuple[str, NDArray[np.uint8]]]:
    """Yield name and bytes of the optional layers; angle and station take two, KIND_low and KIND_high."""
    for kind in plan_kinds(coverage, list_name):
        values = coverage.read(f"{list_name}/{kind}")
        if kind in (*ANGLES, STATION):
            low, high = two_bytes(grid.spread(values, -1))
            yield f"{list_name}/{kind}_low", low
            yield f"{list_name}/{kind}_high", high
        elif kind == BY_SERVICE:
            for order, causes in enumerate(values):
                yield f"{list_name}/{kind}_{order}", grid.spread(causes, UNKNOWN)
        else:
            shown = bits_of(values) if kind == FLAGS else values
            yield f"{list_name}/{kind}", grid.spread(shown, 0 if kind == FLAGS else UNKNOWN)
    if has_doubts(coverage, list_name):
        yield f"{list_name}/{DOUBT}", grid.spread(doubt_layer(coverage, list_name), UNKNOWN)


def _has(coverage: Coverage, name: str) -> bool:
    try:
        return coverage.has(name)
    except InputError:  # a kind of raster that this version does not write
        return False
