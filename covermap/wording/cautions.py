"""The cautions that stand on every output people read."""

from __future__ import annotations

from covermap.wording.language import ENGLISH, messages, say
from covermap.wording.retold import retold

_ENGLISH = messages(ENGLISH)
_KEYS = tuple(key for key in _ENGLISH if key.startswith("caution."))
_NOT_COUNTED_KEYS = tuple(key for key in _ENGLISH if key.startswith("not_counted."))

CAUTIONS: tuple[str, ...] = tuple(_ENGLISH[key] for key in _KEYS)
"""One sentence a caution; the words in braces are filled by cautions()."""

STANDING: tuple[str, ...] = tuple(sentence for sentence in CAUTIONS[1:] if "{" not in sentence)
"""The cautions that also hold where nothing is predicted, such as for a log of measurements."""

NOT_COUNTED: tuple[str, ...] = tuple(_ENGLISH[key] for key in _NOT_COUNTED_KEYS)
"""What this edition leaves out of its results; in run.json as `not_counted` and among the cautions."""


def trees_sentence(
    kind: str = "bare_earth",
    has_land_cover: bool = False,
    *,
    has_heights: bool = False,
    assumed_m: float = 0.0,
) -> str:
    """Return how trees and buildings are included.

    kind : the scenario's terrain kind, 'bare_earth' or 'with_canopy'
    has_heights : a raster of their heights is given; assumed_m : what is assumed where nothing is
    """
    if kind == "with_canopy":
        return say("trees.in_terrain")
    if has_heights:
        return say("trees.by_height_and_class" if has_land_cover else "trees.by_height")
    if has_land_cover:
        return say("trees.by_class")
    return say("trees.assumed", height_m=f"{assumed_m:g}") if assumed_m > 0.0 else say("trees.none")


def cautions(
    *,
    stations_as_of: str,
    terrain: str,
    cell_m: float,
    trees: str = "",
    not_counted: tuple[str, ...] | None = None,
) -> list[str]:
    """Return the cautions of a run, one sentence each, what is not counted at the end.

    Parameters
    ----------
    stations_as_of : date of the station list, empty when the list has none
    terrain : the elevation data in words, for example its file name and spacing
    cell_m : width of a cell. [m]
    trees : a sentence of trees_sentence(); empty means trees and buildings are not included
    not_counted : sentences on what the results leave out; None: NOT_COUNTED, in the language that is spoken
    """
    values = {
        "stations_as_of": stations_as_of or say("number.no_date"),
        "terrain": retold([terrain])[0],
        "cell_m": f"{cell_m:g}",
        "trees": trees or trees_sentence(),
    }
    left_out = [say(key) for key in _NOT_COUNTED_KEYS] if not_counted is None else list(not_counted)
    return [say(key, **values) for key in _KEYS] + left_out
