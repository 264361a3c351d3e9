"""The rasters of a result folder: name, type, unit and meaning of each."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from covermap.constants import TIER_COUNT, UNKNOWN_UINT8
from covermap.errors import InputError
from covermap.propagation.ridges import PATH_CLASSES
from covermap.reception.signals import AMPLIFIER_CODES

NEAR_MAST_FLAG = 1
STEEP_RAY_FLAG = 2
OUTSIDE_FLAG = 4
FILLED_GROUND_FLAG = 8
CELL_REMARKS = (
    (NEAR_MAST_FLAG, "within 250 m of a mast"),
    (STEEP_RAY_FLAG, "ray more than 3° below level, pattern unknown"),
    (OUTSIDE_FLAG, "outside the asked area"),
    (FILLED_GROUND_FLAG, "ground filled in over a small gap of the elevation"),
)
"""Bits of flags and what each says of the square."""
AIM_UNKNOWN = -1
STATION_NONE = -1
PLAN_REMARKS = (
    (1, "needs a filter"),
    (2, "strong signals may overload it"),
    (4, "may be lost on some nights"),
    (8, "own antenna for high VHF"),
    (16, "two antennas joined by band"),
    (32, "mounted upright"),
    (64, "an interferer's path over smooth earth"),
    (128, "second antenna mounted upright"),
)
"""Bits of plan_flags and what each says of the stored plan."""
AMPLIFIER_MEANINGS = tuple((number, code.replace("_", " ")) for number, code in enumerate(AMPLIFIER_CODES))
PATHS = tuple((number, kind.replace("_", " ")) for number, kind in enumerate(PATH_CLASSES))
RASTERS_FOLDER = "rasters"
FIELD_STEP_DB = 1.0 / 128.0  # three fifths of the bytes; docs/decisions/fields_in_steps.md
OF_STATION = ("field", "field_adjusted")
OF_GRID = frozenset({
    "ground", "flags", "homes", "homes_without_roof", "reading_weight", "services_count", "service_tiers",
})  # fmt: skip
"""Rasters that stand alone, for no list and no station."""
TELLS_OF_HOMES = frozenset({
    "homes", "homes_without_roof", "reading_weight",
    "tier_3db_weaker", "tier_3db_stronger", "dead_zone_chance_3db_weaker", "dead_zone_chance_3db_stronger",
})  # fmt: skip
"""Kinds that tell where homes are: counts, or values only where some are or were read. None is public."""
DOUBTS = frozenset({"tier_in_leaf", "tier_cover_doubt"})
"""Kinds that are worked out where homes are, unless they are asked for everywhere."""


@dataclass(frozen=True)
class Layer:
    """One kind of raster.

    kind : last part of the raster's name, or 'field' or 'field_adjusted' for rasters/field/STATION_ID.tif
    nodata : value of unknown cells; None where every cell has a value
    bands : number of bands; 0 means one band a service of the list
    codes : what each value stands for, where that is the same in every result
    is_sum : whether values are sums of the codes
    step : values are kept as whole multiples of it, so that files are smaller; 0: as they are
    """

    kind: str
    dtype: str
    nodata: float | None
    unit: str
    bands: int
    meaning: str
    codes: tuple[tuple[int, str], ...] = ()
    is_sum: bool = False
    step: float = 0.0

    @property
    def of_list(self) -> bool:
        """Return whether there is one such raster for each wanted list."""
        return self.kind not in OF_STATION and self.kind not in OF_GRID

    @property
    def stacked(self) -> bool:
        """Return whether its arrays carry a band axis first."""
        return self.bands != 1


_NAN = float("nan")
_STATION = ("int16", STATION_NONE, "")
_CLASS, _PERCENT, _FLOAT = ("uint8", UNKNOWN_UINT8, ""), ("uint8", UNKNOWN_UINT8, "%"), ("float32", _NAN)
LAYERS: dict[str, Layer] = {
    layer.kind: layer
    for layer in (
        Layer("tier", *_CLASS, 1, "tier of the cheapest installation that is sure enough; 8 not promised"),
        Layer("tier_chance", *_PERCENT, TIER_COUNT, "chance of the whole list with one antenna of each tier"),
        Layer("two_antennas_chance", *_PERCENT, 1, "the same with two antennas, where the answer has two"),
        Layer("dead_zone_chance", *_PERCENT, 1, "chance that tier 7 brings dead_zone_services of the list"),
        Layer("margin", *_FLOAT, "dB", 1, "worst margin with tier 5's best plan"),
        Layer("stored_margin", *_FLOAT, "dB", 1, "worst margin with the stored plan"),
        Layer(
            "limiting_service",
            *_CLASS,
            1,
            "service of the lowest chance with the stored plan, a place in SERVICES",
        ),
        Layer(
            "deciding_service",
            *_CLASS,
            1,
            "service of the lowest chance one tier lower, a place in SERVICES; none where some are enough",
        ),
        Layer("aim", "int16", AIM_UNKNOWN, "degree", 1, "azimuth of the stored plan from true north"),
        Layer("service_chance", *_PERCENT, 0, "chance of each service alone with the stored plan"),
        Layer("service_chance_one_lower", *_PERCENT, 0, "the same with the best plan one tier lower"),
        Layer("tier_3db_weaker", *_CLASS, 1, "tier, every field 3 dB weaker; with homes only where some are"),
        Layer("tier_3db_stronger", *_CLASS, 1, "tier with every field 3 dB stronger, likewise"),
        Layer("dead_zone_chance_3db_weaker", *_PERCENT, 1, "dead_zone_chance, fields 3 dB weaker"),
        Layer("dead_zone_chance_3db_stronger", *_PERCENT, 1, "dead_zone_chance, fields 3 dB stronger"),
        Layer("second_aim", "int16", AIM_UNKNOWN, "degree", 1, "azimuth of a second antenna; -1 none"),
        Layer("aim_from", "int16", AIM_UNKNOWN, "degree", 1, "first azimuth, clockwise, that keeps the list"),
        Layer("aim_to", "int16", AIM_UNKNOWN, "degree", 1, "last such azimuth; 0 and 359 are all around"),
        Layer("main_cause", *_CLASS, 1, "why reception is hard, a place in CAUSES; none where it is not"),
        Layer("service_cause", *_CLASS, 0, "why each service is weak with the stored plan, of CAUSES"),
        Layer(
            "service_path", *_CLASS, 0, "what stands in the way of each service, its strongest station", PATHS
        ),
        Layer(
            "interferer",
            *_STATION,
            1,
            "station that interferes most with the deciding service, one tier lower; a place in STATIONS",
        ),
        Layer("service_interferer", *_STATION, 0, "the same for each service with the stored plan"),
        Layer("amplifier", *_CLASS, 1, "what an amplifier does: AMPLIFIER_CODES", AMPLIFIER_MEANINGS),
        Layer(
            "tier_without_deciding",
            *_CLASS,
            1,
            "tier of the list without its deciding service; none where some are enough",
        ),
        Layer("plan_flags", *_CLASS, 1, "remarks on the stored plan, a sum; 0 none", PLAN_REMARKS, True),
        Layer("tier_in_leaf", *_CLASS, 1, "tier, the last wood before the antenna in leaf; where homes are"),
        Layer(
            "tier_cover_doubt",
            *_CLASS,
            1,
            "classes the tier moves if the cover here were one class denser or more open; where homes are",
        ),
        Layer("tier_second_opinion", *_CLASS, 1, "tier by the model of the second opinion"),
        Layer(
            "second_opinion",
            *_FLOAT,
            "dB",
            1,
            "median field of the limiting service by the second opinion, less the map's",
        ),
        Layer(
            "field",
            *_FLOAT,
            "dB(uV/m)",
            1,
            "median field at 10 m, exceeded for 50 % of time",
            step=FIELD_STEP_DB,
        ),
        Layer(
            "field_adjusted",
            *_FLOAT,
            "dB(uV/m)",
            1,
            "field with the offsets of calibration added",
            step=FIELD_STEP_DB,
        ),
        Layer("ground", *_FLOAT, "m", 1, "elevation at the cell's centre"),
        Layer("flags", *_CLASS, 1, "remarks on the cell, a sum; 0 none", CELL_REMARKS, True),
        Layer("reading_weight", *_PERCENT, 1, "how much of what places nearby share the readings tell"),
        Layer("homes", *_FLOAT, "homes", 1, "homes in the cell"),
        Layer(
            "services_count",
            *_CLASS,
            TIER_COUNT,
            "services that arrive, each alone, with each tier",
        ),
        Layer(
            "service_tiers",
            *_CLASS,
            0,
            "for each service the tiers that bring it: a sum of 1 for tier 1, 2 for tier 2, 4 for tier 3 ...",
        ),
        Layer("homes_without_roof", *_FLOAT, "homes", 1, "those of them that may use no roof"),
    )
}


def tells_of_homes(*, doubts_everywhere: bool) -> frozenset[str]:
    """Return the kinds that tell where homes are in a result; none of them is public."""
    return TELLS_OF_HOMES if doubts_everywhere else TELLS_OF_HOMES | DOUBTS


def layer_of(name: str) -> Layer:
    """Return the layer of a raster name: 'LIST/tier', 'field/STATION_ID', 'ground', 'flags', 'homes'.

    Raises InputError for any other name.
    """
    parts = name.split("/")
    # A list may not be called field (scenario/wanted.py), so the first part tells.
    kind = parts[0] if len(parts) == 2 and parts[0] in OF_STATION else parts[-1]
    layer = LAYERS.get(kind)
    expected_parts = 1 if kind in OF_GRID else 2
    if layer is None or len(parts) != expected_parts or not all(parts):
        kinds = ", ".join(f"LIST/{layer.kind}" for layer in LAYERS.values() if layer.of_list)
        raise InputError(
            f"No raster is called {name!r}. Names are {kinds}, field/STATION_ID, "
            f"{', '.join(sorted(OF_GRID))}."
        )
    return layer


def raster_path(folder: Path, name: str) -> Path:
    """Return the path of a raster below the rasters folder. Raises InputError for an unknown name."""
    layer_of(name)
    return Path(folder) / f"{name}.tif"


def virtual_path(folder: Path, name: str) -> Path:
    """Return the path of the virtual raster over a raster's parts. Raises InputError for an unknown name."""
    layer_of(name)
    return Path(folder) / f"{name}.vrt"


def bits_of(values: np.ndarray) -> np.ndarray:
    """Return sums of remarks with none where they are unknown."""
    return np.where(values == UNKNOWN_UINT8, np.uint8(0), values)


def as_layer_array(layer: Layer, array: np.ndarray) -> np.ndarray:
    """Return an array as the layer stores it: its type and step, with a band axis first."""
    array = np.ascontiguousarray(array, dtype=layer.dtype)
    if layer.step > 0.0:
        # Whole multiples of a power of two: the last bits of the float are zero, which is what the
        # compression lives on.
        array = np.rint(array / layer.step).astype(layer.dtype) * np.asarray(layer.step, layer.dtype)
    return array if array.ndim == 3 else array[np.newaxis]
