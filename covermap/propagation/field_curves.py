"""The field of a regulator's printed curves: between their heights and distances, and where it ends."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from covermap.errors import InputError

F50_50, F50_10, F50_90 = "F(50,50)", "F(50,10)", "F(50,90)"
CURVES = (F50_50, F50_10, F50_90)
LOWEST_HAAT_M = 30.48  # 47 CFR 73.699: 100 feet, which lower heights count as
HIGHEST_HAAT_M = 1600.0  # 47 CFR 73.684(f): no heights above
NO_TEN_PERCENT_KM = 16.09344  # 47 CFR 73.699, figures 9a, 10a, 10c: begin at 10 miles
CONTOUR_STEP_KM = 0.5  # where a contour is looked for; between two such places it is a straight line
Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class CurveSheet:
    """One printed sheet, for 1 kW from a half-wave dipole, received at 9.1 m.

    distance_km : shape (D,); haat_m : shape (H,); field_dbuvm : shape (D, H). All rising but the field.
    """

    distance_km: Floats
    haat_m: Floats
    field_dbuvm: Floats


@dataclass(frozen=True, eq=False)
class FieldCurves:
    """The sheets by (band, curve): F(50,50) and F(50,10) of each band."""

    sheets: Mapping[tuple[str, str], CurveSheet]

    @property
    def bands(self) -> tuple[str, ...]:
        """Return the bands there are sheets for."""
        return tuple(dict.fromkeys(band for band, _ in self.sheets))

    def reach_km(self, band: str, curve: str) -> float:
        """Return the distance at which a curve ends."""
        sheet = self.sheets[band, F50_10 if curve == F50_10 else F50_50]
        return float(sheet.distance_km[-1])


def akima(x: Floats, y: Floats, at: Floats) -> Floats:
    """Return curves through points at places, by the method of Akima; outside, the end pieces go on.

    x : rising, shape (N,), N >= 3. y : shape (..., N). at : shape (..., K), the leading shape as y's, or 1s
    where all curves are asked at the same places.
    Source: H. Akima, Journal of the ACM 17 (1970), 589-602. Exact through every point and on straight lines.
    """
    step = np.diff(y) / np.diff(x)
    # Two slopes beyond either end, as Akima has them: the end pieces go on as parabolas.
    before = [2.0 * step[..., :1] - step[..., 1:2], 3.0 * step[..., :1] - 2.0 * step[..., 1:2]]
    after = [2.0 * step[..., -1:] - step[..., -2:-1], 3.0 * step[..., -1:] - 2.0 * step[..., -2:-1]]
    m = np.concatenate([before[1], before[0], step, after[0], after[1]], axis=-1)
    bend = np.abs(np.diff(m))
    left, right = bend[..., 2:], bend[..., :-2]
    both = left + right
    even = 0.5 * (m[..., 1:-2] + m[..., 2:-1])
    with np.errstate(invalid="ignore", divide="ignore"):
        # Where neither side bends, Akima's weights are 0/0: the mean of the two slopes, which are then alike.
        slope = np.where(both > 1e-12, (left * m[..., 1:-2] + right * m[..., 2:-1]) / both, even)
    index = np.clip(np.searchsorted(x, at, side="right") - 1, 0, x.size - 2)
    width = x[index + 1] - x[index]
    u = (at - x[index]) / width
    y0, y1 = _picked(y, index), _picked(y, index + 1)
    s0, s1 = _picked(slope, index) * width, _picked(slope, index + 1) * width
    return y0 + u * (s0 + u * (3.0 * (y1 - y0) - 2.0 * s0 - s1 + u * (s0 + s1 - 2.0 * (y1 - y0))))


def _picked(values: Floats, index: NDArray[np.intp]) -> Floats:
    """Return values (..., N) at places (..., K) along the last axis, or (1, ..., K) for all alike."""
    if index.size == index.shape[-1]:
        return values[..., index.ravel()]
    return np.take_along_axis(values, index, -1)


def _on_sheet(sheet: CurveSheet, haat_m: Floats, distance_km: Floats) -> Floats:
    """Return the field of a sheet for 1 kW, haat_m (R,), distance_km (R, K) or (1, K); NaN beyond its end."""
    heights = np.log10(np.clip(haat_m, LOWEST_HAAT_M, HIGHEST_HAAT_M))
    shape = (heights.size, sheet.distance_km.size)
    fields = np.broadcast_to(sheet.field_dbuvm, (*shape, sheet.haat_m.size))
    places = np.broadcast_to(heights[:, np.newaxis, np.newaxis], (*shape, 1))
    by_distance = akima(np.log10(sheet.haat_m), fields, places)[..., 0]
    first_km, last_km = sheet.distance_km[0], sheet.distance_km[-1]
    # nearer than the curve begins, free space goes on from its first point (our own)
    field = akima(sheet.distance_km, by_distance, np.maximum(distance_km, first_km))
    field += 20.0 * np.log10(first_km / np.minimum(distance_km, first_km))
    # The end is miles turned into km, so a distance meant to be the end may lie a rounding error past it.
    return np.where(distance_km <= last_km * (1.0 + 1e-9), field, np.nan)


def field_1kw(curves: FieldCurves, band: str, curve: str, haat_m: Floats, distance_km: Floats) -> Floats:
    """Return the field of 1 kW ERP along radials, in dB(uV/m); NaN beyond the end of the curve.

    haat_m : height above average terrain of R radials, shape (R,); under 30.48 m counts as that, over
        1600 m as that. distance_km : shape (R, K), or (1, K) for the same places on all; above 0.

    Source: 47 CFR 73.699, figures 9 to 10c; F(50,90) = 2 F(50,50) - F(50,10), 47 CFR 73.625(b) and OET
    Bulletin 69; nearer than 16.1 km, where F(50,10) begins, it is F(50,50). Accuracy: of the interpolation,
    0.5 km in the distances the rules print.
    """
    if curve == F50_10:
        near_db = _on_sheet(curves.sheets[band, F50_50], haat_m, distance_km)
        far_db = _on_sheet(curves.sheets[band, F50_10], haat_m, distance_km)
        return np.where(distance_km < NO_TEN_PERCENT_KM, near_db, far_db)
    median_db = _on_sheet(curves.sheets[band, F50_50], haat_m, distance_km)
    if curve == F50_50:
        return median_db
    strong_db = _on_sheet(curves.sheets[band, F50_10], haat_m, distance_km)
    return np.where(distance_km < NO_TEN_PERCENT_KM, median_db, 2.0 * median_db - strong_db)


def contour_km(
    curves: FieldCurves, band: str, curve: str, haat_m: Floats, erp_dbk: Floats, field_dbuvm: float
) -> Floats:
    """Return how far along R radials the field is at least field_dbuvm, in km, shape (R,).

    haat_m, erp_dbk : of each radial, shape (R,); erp_dbk in dB above 1 kW. The end of the curve where the
    field is never less, 0 where it is less everywhere; NaN for a radial without a height.
    """
    end_km = curves.reach_km(band, curve)
    places = np.append(np.arange(CONTOUR_STEP_KM, end_km, CONTOUR_STEP_KM), end_km)
    along_db = field_1kw(curves, band, curve, haat_m, places[np.newaxis])
    above_db = along_db + erp_dbk[:, np.newaxis] - field_dbuvm
    reached = above_db >= 0.0
    # Seen from outside: the last place that reaches the field, as the field may dip and come back further in.
    last = places.size - 1 - np.argmax(reached[:, ::-1], axis=1)
    beyond = np.minimum(last + 1, places.size - 1)
    row = np.arange(haat_m.size)
    here_db, there_db = above_db[row, last], above_db[row, beyond]
    share = np.where(beyond > last, here_db / np.where(beyond > last, here_db - there_db, 1.0), 0.0)
    found_km = places[last] + share * (places[beyond] - places[last])
    found_km = np.where(reached.any(axis=1), found_km, 0.0)
    return np.where(np.isnan(haat_m), np.nan, found_km)


def checked_curve(curves: FieldCurves, band: str, curve: str) -> None:
    """Raise InputError for a band or a curve there is no sheet for."""
    if band not in curves.bands:
        raise InputError(f"band must be one of {', '.join(curves.bands)}, got {band!r}.")
    if curve not in CURVES:
        raise InputError(f"curve must be one of {', '.join(CURVES)}, got {curve!r}.")


def field_of_curves(
    curves: FieldCurves, erp_kw: ArrayLike, haat_m: ArrayLike, distance_km: ArrayLike, band: str, curve: str
) -> Floats:
    """Return the field at any places; see covermap.curve_field, which this is with the curves given."""
    checked_curve(curves, band, curve)
    erp, haat, distance = np.broadcast_arrays(
        *(np.asarray(values, dtype=np.float64) for values in (erp_kw, haat_m, distance_km))
    )
    for name, values, bad in (
        ("erp_kw", erp, ~(erp > 0.0)),
        ("haat_m", haat, ~np.isfinite(haat) | (haat > HIGHEST_HAAT_M)),
        ("distance_km", distance, distance <= 0.0),
    ):
        if bad.any():
            limit = f"at most {HIGHEST_HAAT_M:g} m" if name == "haat_m" else "greater than 0"
            raise InputError(f"{name} must be {limit}, got {values[bad].ravel()[0]:g}.")
    field = field_1kw(curves, band, curve, haat.ravel(), distance.reshape(-1, 1))[:, 0]
    return np.asarray(field.reshape(erp.shape) + 10.0 * np.log10(erp))
