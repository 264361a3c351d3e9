"""What the page knows of the antennas of a catalogue: where each holds a list, and what it brings."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from covermap.catalogue import MOST_TRIED
from covermap.reports.web_map.layers import UNKNOWN
from covermap.reports.web_map.page_grid import PageGrid
from covermap.wording.language import say
from covermap.wording.palette import ANTENNA_FILLS
from covermap.wording.words import decimal

# values of the layers of a list; 2 is the first amplifier of an antenna, 3 its second and so on
HOLDS, WITH_AMPLIFIERS, NOT_HELD = 1, tuple(range(2, 2 + MOST_TRIED)), 0
GROUP = 7  # antennas to a byte of a service: a sum of bits, of which 255 stays free for unknown


@dataclass(frozen=True)
class PageAntenna:
    """One antenna: its name, the mount it is judged at, its price, NaN unknown.

    amplifiers : name and price of those tried with it, least costly first
    """

    name: str
    mount: str
    price: float
    amplifiers: tuple[tuple[str, float], ...]


@dataclass(frozen=True, eq=False)
class PageAntennas:
    """The antennas of a catalogue on the page's grid, A of them, by the run's own reception.

    holds : list name -> uint8 (A, rows, cols), HOLDS without an amplifier, one of WITH_AMPLIFIERS with
        that one and no less costly one, NOT_HELD, 255 unknown
    services : of the station file, V of them; bits : uint8 (groups of GROUP antennas, V, rows, cols), with
        which antennas of the group each arrives, without an amplifier, alone; 255 unknown
    """

    antennas: tuple[PageAntenna, ...]
    holds: dict[str, NDArray[np.uint8]]
    services: tuple[str, ...]
    bits: NDArray[np.uint8]

    def facts(self) -> dict[str, Any]:
        """Return the JSON record."""
        keys = ("holds", "with_amplifier", "not_held")
        fills = zip(keys, ((HOLDS,), WITH_AMPLIFIERS, (NOT_HELD,)), ANTENNA_FILLS, strict=True)
        return {
            "antennas": [
                {
                    "name": one.name,
                    "mount": say(f"antennas.mount_of.{one.mount}"),
                    "price": _price(one.price),
                    "amplifiers": [
                        ", ".join(part for part in (name, _price(price)) if part)
                        for name, price in one.amplifiers
                    ],
                }
                for one in self.antennas
            ],
            "services": list(self.services),
            "group": GROUP,
            "steps": [
                {"values": list(values), "fill": fill, "words": say(f"page.antenna.{key}")}
                for key, values, fill in fills
            ],
        }

    def layers(self, grid: PageGrid, step: int) -> Iterator[tuple[str, NDArray[np.uint8]]]:
        """Yield antenna/LIST/0, ... and antenna_services/0/0, ..., one value for step x step pixels."""
        for name, holds in self.holds.items():
            for order, values in enumerate(holds):
                yield f"antenna/{name}/{order}", grid.spread_to_blocks(values, UNKNOWN, step)
        for group, of_group in enumerate(self.bits):
            for order, values in enumerate(of_group):
                name = f"antenna_services/{group}/{order}"
                yield name, grid.spread_to_blocks(values, UNKNOWN, step)


def _price(price: float) -> str:
    return "" if math.isnan(price) else decimal(price)
