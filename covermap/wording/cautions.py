"""The cautions that stand on every output people read."""

from __future__ import annotations

CAUTIONS: tuple[str, ...] = (
    "This is a prediction, not a measurement; at one place it is typically 6 to 10 dB out.",
    "Stations as of {stations_as_of}.",
    "Terrain: {terrain}; one square is {cell_m} m wide. A square is not a house.",
    "{trees}",
    "Indoor results vary most.",
    "Try a test antenna before buying a mast.",
    "Work on roofs, raising masts, work near power lines, lightning protection and earthing are for "
    "a competent person under local rules.",
    "A relay needs a licence.",
    "Weak reception here is no proof of a fault at a station.",
)
"""One sentence a caution; the words in braces are filled by cautions()."""

STANDING: tuple[str, ...] = tuple(sentence for sentence in CAUTIONS[1:] if "{" not in sentence)
"""The cautions that also hold where nothing is predicted, such as for a log of measurements."""

NOT_COUNTED: tuple[str, ...] = (
    "Signals of mobile networks, and of stations that are not in the list, are not counted.",
    "How strong signals mix with each other inside an amplifier or tuner is not counted.",
)
"""What this edition leaves out of its results; in run.json as `not_counted` and among the cautions."""

DATE_UNKNOWN = "an unknown date"


def trees_sentence(kind: str = "bare_earth", has_land_cover: bool = False) -> str:
    """Return how trees and buildings are included.

    kind : the scenario's terrain kind, 'bare_earth' or 'with_canopy'
    """
    if kind == "with_canopy":
        return "Trees and buildings are included as part of the terrain heights."
    if has_land_cover:
        return "Trees and buildings are included as one typical height for each class of land cover."
    return "Trees and buildings are not included."


def cautions(
    *,
    stations_as_of: str,
    terrain: str,
    cell_m: float,
    trees: str = "",
    not_counted: tuple[str, ...] = NOT_COUNTED,
) -> list[str]:
    """Return the cautions of a run, one sentence each, what is not counted at the end.

    Parameters
    ----------
    stations_as_of : date of the station list, empty when the list has none
    terrain : the elevation data in words, for example its file name and spacing
    cell_m : width of a cell. [m]
    trees : a sentence of trees_sentence(); empty means trees and buildings are not included
    not_counted : sentences on what the results leave out
    """
    values = {
        "stations_as_of": stations_as_of or DATE_UNKNOWN,
        "terrain": terrain,
        "cell_m": f"{cell_m:g}",
        "trees": trees or trees_sentence(),
    }
    return [sentence.format(**values) for sentence in CAUTIONS] + list(not_counted)
