"""A judge of path-loss models: the wave equation solved in the vertical plane of one path."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.fft import dst, idst, next_fast_len

from covermap.constants import EARTH_RADIUS_KM
from covermap.errors import InputError
from covermap.propagation.checks import positive
from covermap.propagation.path_loss import checked_dn, checked_profile
from covermap.propagation.profile import Profile

SPEED_OF_LIGHT_M_US = 299.792458  # exact, by the definition of the metre
TILTS_PER_UNIT = 400.0  # propagators are kept for tilts rounded to 1/400
WIDEST_SINE = 0.5  # of the source's rays; tapered from three fifths of it
LONGEST_ABSORBED_M = 2000.0  # range over which the absorber applies one window: faster, it reflects
Floats = NDArray[np.float64]
Field = NDArray[np.complexfloating]


@dataclass(frozen=True)
class ParabolicGrid:
    """How finely the plane is divided, and what bounds it.

    step_m : along the path. cell_wavelengths : height of a cell. margin_m : free height above the highest
    ground or antenna; 0 takes 100 m and three Fresnel radii. absorber_m : above that; less than 1000 m
    sends grazing rays back. bottom_absorber_m : in place of ground, for tests without one. steepest_tilt :
    of what steeper ground rises beyond it, treads of tread_m are made. single : precision.
    """

    step_m: float = 50.0
    cell_wavelengths: float = 0.5
    margin_m: float = 0.0
    absorber_m: float = 1000.0
    bottom_absorber_m: float = 0.0
    steepest_tilt: float = 0.15
    tread_m: float = 6.25
    single: bool = True


def propagation_factor(
    profile: Profile,
    *,
    frequency_mhz: float,
    tx_height_m: float,
    rx_heights_m: ArrayLike,
    dn: float | None = 45.0,
    last_m: float = 0.0,
    edges: Sequence[tuple[float, float]] = (),
    grid: ParabolicGrid | None = None,
) -> tuple[Floats, Floats]:
    """Field over that of free space at heights near the end of a path, by a forward parabolic equation.

    Scalar, one way, horizontal polarization over perfectly conducting ground (the field is 0 there): ground
    as straight pieces, heights counted from it, a phase screen where pieces meet, on each piece the even
    part of the exact wide-angle propagator in the tilted frame. The loss is free space's less 20 log10.

    Parameters
    ----------
    profile : Profile
        The ground; clutter and zones are not used.
    frequency_mhz, tx_height_m : float
        Above 0; the antenna above ground. [MHz], [m]
    rx_heights_m : array_like, shape (H,)
        Above the ground at the end. [m]
    dn : float or None
        Fall of refractivity, which bends the earth; None leaves it flat. [N-units/km]
    last_m : float
        The field is also kept at the steps within this distance of the end. [m]
    edges : sequence of (m, m)
        Thin absorbing edges: distance, and top above sea level with the earth's bulge counted in.
    grid : ParabolicGrid, optional

    Returns
    -------
    range_m : ndarray of float64, shape (R,)
        Where the field was kept, the end last. [m]
    factor : ndarray of float64, shape (R, H)
        Modulus of the field over free space's. No unit.

    Raises
    ------
    InputError
        If an argument is not a possible value.

    Notes
    -----
    Not below some 60 dB under free space: rays leaked by the absorber stand 70 to 90 dB under it. No way
    round a hill, no roughness, trees, ducts or ground constants. Compare means over an area: one point sits
    in a lobe and swings by 6 to 10 dB.

    References
    ----------
    M. Levy, Parabolic Equation Methods for Electromagnetic Wave Propagation, IEE 2000, chapters 2, 6, 8
    (from memory). Proofs: tests/test_parabolic.py.
    """
    checked_profile(profile)
    frequency_mhz = positive("frequency_mhz", frequency_mhz)
    tx_height_m = positive("tx_height_m", tx_height_m)
    rx_m = np.atleast_1d(np.asarray(rx_heights_m, dtype=np.float64))
    if rx_m.size == 0 or not np.all(rx_m >= 0.0):
        raise InputError(f"rx_heights_m must be heights of 0 or more, got {rx_heights_m!r}.")
    plane = _plane(profile, frequency_mhz, tx_height_m, dn, float(rx_m.max()), grid or ParabolicGrid())
    sines = plane.wave_numbers
    ranges, factors = [], []
    for range_m, base_m, field in _march(
        plane, _source(plane, tx_height_m), plane.range_m[-1] - last_m, edges
    ):
        # read from the sine series itself: no error of interpolation
        spectrum = dst(field, type=1) / plane.cells
        at = np.abs(np.sin(np.outer(np.maximum(rx_m + base_m, 0.0), sines)) @ spectrum)
        ranges.append(range_m)
        # A line source's field falls with the root of the distance: this takes free space's own fall out.
        factors.append(at * np.sqrt(range_m / (2.0 * np.pi * plane.wave_number)))
    return np.array(ranges), np.array(factors)


@dataclass(frozen=True, eq=False)
class _Plane:
    """The divided plane: cells - 1 heights above the ground, a step between neighbouring range_m."""

    grid: ParabolicGrid
    wave_number: float
    cell_m: float
    cells: int
    range_m: Floats
    ground_m: Floats  # with the earth's bulge
    kept_per_m: Floats  # amplitude that the absorbers leave of each height over 1 m of range

    @property
    def height_m(self) -> Floats:
        return self.cell_m * np.arange(1, self.cells, dtype=np.float64)

    @property
    def wave_numbers(self) -> Floats:
        """Vertical wave numbers of the sine series, in rad/m."""
        return np.pi / self.cell_m * np.arange(1, self.cells) / self.cells


def _plane(
    profile: Profile,
    frequency_mhz: float,
    tx_height_m: float,
    dn: float | None,
    top_m: float,
    grid: ParabolicGrid,
) -> _Plane:
    """Return the plane of a path, as high as rays between the antennas and around its hills need."""
    wavelength_m = SPEED_OF_LIGHT_M_US / frequency_mhz
    length_m = 1000.0 * profile.length_km
    cell_m = grid.cell_wavelengths * wavelength_m
    range_m = np.linspace(0.0, length_m, max(2, int(np.ceil(length_m / grid.step_m))) + 1)
    ground_m = np.interp(range_m, 1000.0 * profile.distance_km, profile.ground_m)
    if dn is not None:
        radius_m = 1000.0 * EARTH_RADIUS_KM * 157.0 / (157.0 - checked_dn(dn))  # ITU-R P.1812-8 section 3.7
        ground_m = ground_m + range_m * (length_m - range_m) / (2.0 * radius_m)
    highest_m = max(ground_m.max(), ground_m[0] + tx_height_m, ground_m[-1] + top_m)
    margin_m = grid.margin_m or 100.0 + 3.0 * np.sqrt(wavelength_m * length_m / 4.0)
    needed_m = highest_m - ground_m.min() + margin_m + grid.absorber_m
    # A sine transform of cells - 1 heights is a Fourier transform of twice cells, which should have small
    # factors.
    cells = next_fast_len(2 * int(needed_m / cell_m) + 2) // 2
    height_m = cell_m * np.arange(1, cells)
    depth = np.clip((height_m - (cells * cell_m - grid.absorber_m)) / grid.absorber_m, 0.0, 1.0)
    kept = 0.5 * (1.0 + np.cos(np.pi * depth))
    if grid.bottom_absorber_m:
        depth = np.clip(1.0 - height_m / grid.bottom_absorber_m, 0.0, 1.0)
        kept *= 0.5 * (1.0 + np.cos(np.pi * depth))
    per_m = np.maximum(kept, 1e-3) ** (1.0 / min(LONGEST_ABSORBED_M, length_m / 40.0))
    return _Plane(grid, 2.0 * np.pi / wavelength_m, cell_m, cells, range_m, ground_m, per_m)


def _source(plane: _Plane, height_m: float) -> Field:
    """Return the field at the start: a line source over its image, alike in all directions up to a limit."""
    sine = plane.wave_numbers / plane.wave_number
    edge = min(WIDEST_SINE, np.pi / (plane.wave_number * plane.cell_m))
    taper = 0.5 * (1.0 + np.cos(np.pi * np.clip((sine / edge - 0.6) / 0.4, 0.0, 1.0)))
    amplitude = taper / np.sqrt(np.maximum(1.0 - sine**2, 0.05))
    spacing = plane.wave_numbers[0]
    waves = 4.0 * spacing * amplitude * np.sin(plane.wave_numbers * height_m)
    kind = np.complex64 if plane.grid.single else np.complex128
    return np.asarray(idst(waves, type=1) * plane.cells).astype(kind)


def _propagator(plane: _Plane, step_m: float, tilt: float) -> NDArray[np.complex128]:
    """Return what a step along tilted ground multiplies each wave of the series by.

    The even part of exp(j s (sqrt(k^2 - (q + k sin a)^2) - k cos a)), a the tilt's angle; waves beyond the
    horizontal die out, and the shortest are tapered.
    """
    q, k = plane.wave_numbers, plane.wave_number
    sine, cosine = tilt / np.hypot(1.0, tilt), 1.0 / np.hypot(1.0, tilt)
    up, down = k**2 - (q + k * sine) ** 2, k**2 - (q - k * sine) ** 2
    phase = 0.5 * (np.sqrt(np.maximum(up, 0.0)) + np.sqrt(np.maximum(down, 0.0))) - k * cosine
    decay = np.sqrt(np.maximum(np.maximum(-up, -down), 0.0))
    shortest = np.clip((np.arange(1, plane.cells) / plane.cells - 0.85) / 0.15, 0.0, 1.0)
    wave = np.exp(1j * step_m * phase - np.minimum(step_m * decay, 30.0))
    return np.asarray(wave * np.sqrt(1.0 - shortest**2))


def _march(
    plane: _Plane, field: Field, keep_from_m: float, edges: Sequence[tuple[float, float]]
) -> Iterator[tuple[float, float, Field]]:
    """Follow the field along the path; yield range, true ground over the frame's bottom, and field.

    Of ground steeper than the tilt allows, the excess is climbed in treads of the tilted frame; `level`
    counts them in whole cells, `climbed_m` exactly.
    """
    kept: dict[tuple[int, int], tuple[Field, Floats]] = {}
    sine_before, level, climbed_m = 0.0, 0, 0.0
    steps = zip(
        plane.range_m[:-1], plane.range_m[1:], np.diff(plane.ground_m), plane.ground_m[1:], strict=True
    )
    for from_m, to_m, rise_m, ground_m in steps:
        slope = rise_m / (to_m - from_m)
        tilt = float(np.clip(slope, -plane.grid.steepest_tilt, plane.grid.steepest_tilt))
        sine = tilt / np.hypot(1.0, tilt)
        if sine != sine_before:  # the phase screen where two pieces meet
            screen = np.exp(-1j * plane.wave_number * (sine - sine_before) * plane.height_m)
            field = field * screen.astype(field.dtype)
            sine_before = sine
        treads = 1 if slope == tilt else int(np.ceil((to_m - from_m) / plane.grid.tread_m))
        tread_m = (to_m - from_m) / treads
        key = (round(abs(tilt) * TILTS_PER_UNIT), treads)
        if key not in kept:
            each = _propagator(plane, tread_m, key[0] / TILTS_PER_UNIT)
            kept[key] = each.astype(field.dtype), (plane.kept_per_m**tread_m).astype(field.real.dtype)
        waves, left = kept[key]
        for _ in range(treads):
            tread = int(np.rint((climbed_m + 0.5 * (slope - tilt) * tread_m) / plane.cell_m))
            field = _moved(field, tread - level)
            level = tread
            climbed_m += (slope - tilt) * tread_m
            field = idst(dst(field, type=1, overwrite_x=True) * waves, type=1, overwrite_x=True) * left
        base_m = climbed_m - level * plane.cell_m
        for edge_m, top_m in edges:
            if from_m < edge_m <= to_m:
                _cut(field, (top_m - ground_m + base_m) / plane.cell_m)
        if to_m >= keep_from_m or to_m == plane.range_m[-1]:
            yield float(to_m), base_m, field


def _cut(field: Field, top_cells: float) -> None:
    """Blank the field under an edge; the cell that the edge splits keeps its open share."""
    below = int(np.floor(top_cells - 0.5))
    field[: max(below, 0)] = 0.0
    if 0 <= below < field.size:
        field[below] *= 1.0 - (top_cells - 0.5 - below)


def _moved(field: Field, up: int) -> Field:
    """Return the field over ground that is up cells higher; new heights are empty."""
    if up == 0:
        return field
    moved = np.zeros_like(field)
    if up > 0:
        moved[:-up] = field[up:]
    else:
        moved[-up:] = field[:up]
    return moved
