"""What a word asks for: ID, ID+ID, a bearing behind either, and where it goes."""

from __future__ import annotations

import math
from difflib import get_close_matches
from typing import NamedTuple

from covermap.catalogue.mounting import MOUNTS
from covermap.catalogue.records import Antenna, AntennaCatalogue
from covermap.errors import InputError

JOINS, AT, TURNED = "+", "@", ":"
MARKS = JOINS + AT + TURNED
# where an antenna goes that suits several mounts
PREFERRED = ("rooftop", "gable", "loft", "mast", "window", "shelf")


class Asked(NamedTuple):
    """Antennas, the azimuth each is turned to for good (NaN: as each home needs it), and the mount."""

    antennas: tuple[Antenna, ...]
    turned_deg: tuple[float, ...]
    mount: str


def read_asked(spec: str, catalogue: AntennaCatalogue) -> Asked:
    """Return what a word asks for: ID:135 is turned to 135 degrees from true north, ID@loft goes there.

    Without a mount the antenna goes to the first of PREFERRED that it suits.

    Raises InputError for an id the catalogue does not have, more than two antennas, a bearing that is none,
    and a mount that does not suit.
    """
    named, _, mount = spec.partition(AT)
    parts = [part.partition(TURNED) for part in named.split(JOINS)]
    # Names before counts: a misspelt id is told with the nearest one, whatever else is wrong.
    antennas = tuple(antenna_of(name.strip(), catalogue) for name, _, _ in parts)
    if len(antennas) > 2:
        raise InputError(
            f'"{spec}": found {len(antennas)} antennas. One or two stand on one cable; name two.'
        )
    if len({antenna.antenna_id for antenna in antennas}) < len(antennas):
        raise InputError(
            f'"{spec}": found one antenna twice. A diplexer joins two for different bands; name two.'
        )
    # the mark decides, not the bearing: "ID:" with nothing behind it is a fault, not an antenna that is aimed
    turned_deg = tuple(_bearing_deg(spec, bearing) if mark else math.nan for _, mark, bearing in parts)
    return Asked(antennas, turned_deg, _mount(spec, antennas, mount.strip()))


def antenna_of(antenna_id: str, catalogue: AntennaCatalogue) -> Antenna:
    """Return an antenna by its id. Raises InputError where the catalogue has none of it."""
    if antenna_id not in catalogue.antennas:
        near = get_close_matches(antenna_id, catalogue.antennas, 1)
        hint = f" Did you mean {near[0]}?" if near else ""
        raise InputError(
            f'the catalogue has no antenna "{antenna_id}".{hint} Its antennas are '
            f"{', '.join(catalogue.antennas)}."
        )
    return catalogue.antennas[antenna_id]


def _bearing_deg(spec: str, word: str) -> float:
    try:
        bearing_deg = float(word)
    except ValueError:
        bearing_deg = math.nan
    if not 0.0 <= bearing_deg <= 360.0:
        raise InputError(
            f'"{spec}": found the bearing "{word.strip()}". It must be degrees from true north, 0 to 360, as '
            "in ID:135; without a colon each home aims the antenna as it needs it."
        )
    return bearing_deg % 360.0


def _mount(spec: str, antennas: tuple[Antenna, ...], asked: str) -> str:
    suits = [mount for mount in PREFERRED if all(mount in antenna.mounts for antenna in antennas)]
    if not suits:
        raise InputError(f'"{spec}": there is no mount that suits both antennas. Choose another pair.')
    if not asked:
        return suits[0]
    if asked not in suits:
        known = ", ".join(mount for mount in MOUNTS if mount in suits)
        raise InputError(f'"{spec}": found the mount "{asked}". It must be one of {known}.')
    return asked
