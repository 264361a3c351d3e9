"""What else a result may tell of a square's plan: second aim, aim window, cause, cautions of the plan."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from covermap.errors import InputError
from covermap.outputs.coverage import Coverage
from covermap.outputs.web_map.layers import UNKNOWN, two_bytes
from covermap.outputs.web_map.page_grid import PageGrid

ANGLES = ("second_aim", "aim_from", "aim_to")  # whole degrees, -1 none
CLASSES = ("tier_without_deciding", "main_cause", "amplifier")  # 255 none or unknown
BY_SERVICE = "service_cause"  # one band a service; 255 where it is not weak
FLAGS = "plan_flags"  # sum of the flags below

CAUSE_WORDS = {
    "ridges": "hills in the way",
    "earth_bulge": "the curve of the earth",
    "distance": "distance",
    "clutter": "trees and buildings near the antenna",
    "noise": "noise from outside, around the antenna",
    "same_channel": "another transmitter on the same channel",
    "next_channel": "a strong transmitter on the next channel",
    "overload": "signals so strong that they overload the amplifier or the set",
    "pattern_null": "a weak direction of the transmitter's antenna",
}
CAUSE_MARKS = {  # the same in a word, as it stands on the map
    "ridges": "hills",
    "earth_bulge": "earth's curve",
    "distance": "distance",
    "clutter": "trees",
    "noise": "noise",
    "same_channel": "same channel",
    "next_channel": "next channel",
    "overload": "too strong",
    "pattern_null": "pattern",
}
AMPLIFIER_WORDS = {
    1: "A masthead amplifier helps here.",
    2: "A masthead amplifier does nothing here: noise from outside decides.",
    3: "A masthead amplifier does harm here without a filter: strong signals overload it.",
}
PLAN_NOTES = (
    (1, "Needs a filter before the amplifier or the set."),
    (2, "Strong signals may overload the amplifier or the set."),
    (4, "Good by day, but it may be lost on nights when far transmitters carry."),
    (8, "High VHF needs an antenna of its own."),
    (16, "The two antennas join through a diplexer, one for each band."),
    (32, "Mount the antenna upright, for vertical polarization."),
    (64, "The path of an interfering transmitter was taken over smooth earth."),
)


def plan_kinds(coverage: Coverage, list_name: str) -> list[str]:
    """Return which of the optional kinds this result holds for a list."""
    return [kind for kind in (*ANGLES, *CLASSES, BY_SERVICE, FLAGS) if _has(coverage, f"{list_name}/{kind}")]


def plan_facts(coverage: Coverage, list_name: str) -> dict[str, Any]:
    """Return what the page must know of a list's optional layers: their kinds and the causes' words."""
    kinds = plan_kinds(coverage, list_name)
    causes = coverage.tag_values(f"{list_name}/main_cause", "CAUSES") if "main_cause" in kinds else ()
    return {
        "plan_kinds": kinds,
        "cause_marks": [CAUSE_MARKS.get(cause, cause.replace("_", " ")) for cause in causes],
        "causes": [CAUSE_WORDS.get(cause, cause.replace("_", " ")) for cause in causes],
    }


def plan_layers(
    coverage: Coverage, grid: PageGrid, list_name: str
) -> Iterator[tuple[str, NDArray[np.uint8]]]:
    """Yield name and bytes of the optional layers; an angle takes two, KIND_low and KIND_high."""
    for kind in plan_kinds(coverage, list_name):
        values = coverage.read(f"{list_name}/{kind}")
        if kind in ANGLES:
            low, high = two_bytes(grid.spread(values, -1))
            yield f"{list_name}/{kind}_low", low
            yield f"{list_name}/{kind}_high", high
        elif kind == BY_SERVICE:
            for order, causes in enumerate(values):
                yield f"{list_name}/{kind}_{order}", grid.spread(causes, UNKNOWN)
        else:
            yield f"{list_name}/{kind}", grid.spread(values, 0 if kind == FLAGS else UNKNOWN)


def _has(coverage: Coverage, name: str) -> bool:
    try:
        return coverage.has(name)
    except InputError:  # a kind of raster that this version does not write
        return False
