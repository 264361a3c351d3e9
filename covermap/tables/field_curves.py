"""Reads the tables of the regulator's field curves, and of the fields its contours end at."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cache

import numpy as np

from covermap.propagation.field_curves import CurveSheet, FieldCurves
from covermap.tables.loader import load_table

_HEIGHT_COLUMN = "field_dbuvm_at_"


@dataclass(frozen=True)
class ContourField:
    """The field at which a band's contour ends by a rule, and the curve it is read from.

    reference_mhz : frequency field_dbuvm is of; the field falls with 20 log(reference / f). NaN: no change.
    """

    rule: str
    band: str
    field_dbuvm: float
    reference_mhz: float
    curve: str

    def at(self, frequency_mhz: float) -> float:
        """Return the field at a frequency, in dB(uV/m)."""
        if math.isnan(self.reference_mhz):
            return self.field_dbuvm
        return self.field_dbuvm - 20.0 * math.log10(self.reference_mhz / frequency_mhz)


@cache
def read_field_curves() -> FieldCurves:
    """Return the curves of 47 CFR 73.699 as numbers."""
    rows = load_table("field_curves")
    columns = [name for name in rows[0] if name.startswith(_HEIGHT_COLUMN)]
    haat_m = np.array([float(name.removeprefix(_HEIGHT_COLUMN).removesuffix("_m")) for name in columns])
    sheets = {}
    for key in dict.fromkeys((row["band"], row["curve"]) for row in rows):
        mine = [row for row in rows if (row["band"], row["curve"]) == key]
        sheets[key] = CurveSheet(
            np.array([float(row["distance_km"]) for row in mine]),
            haat_m,
            np.array([[float(row[name]) for name in columns] for row in mine]),
        )
    return FieldCurves(sheets)


@cache
def read_contour_fields() -> dict[tuple[str, str], ContourField]:
    """Return (rule, band) -> the field its contour ends at."""
    return {
        (row["rule"], row["band"]): ContourField(
            row["rule"],
            row["band"],
            float(row["field_dbuvm"]),
            float(row["reference_mhz"] or "nan"),
            row["curve"],
        )
        for row in load_table("contour_fields")
    }
