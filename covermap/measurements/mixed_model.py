"""One linear mixed model of all residuals: a mast and band's offset, what places nearby share, and noise."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, optimize, special

from covermap.inputs.local_effect import KM_PER_DEG, LocalEffect, shared_share
from covermap.measurements.residuals import PointResidual

MAST_SD_DB = 4.0  # judgement: how far masts differ from their prediction as a whole
BAND_SD_DB = 2.0  # judgement: how far the bands of one mast differ
ACROSS_MASTS = 0.25  # judgement: share of a neighbourhood's effect that paths from all masts have in common
RANGE_KM = (0.3, 1.0, 3.0)  # judgement: distance at which a neighbourhood's effect ends: least, likely, most
LOG_RANGE_SD = 0.6  # of the range's prior: 95 % within RANGE_KM
PRIOR_FREEDOM = 4.0  # judgement: the default spread, half shared nearby, counts as so many degrees of freedom
FEWEST_FOR_SPREAD = 5  # known residuals beyond one a mast, from which the spreads are fitted
LEAST_SD_DB, MOST_SD_DB = 0.5, 40.0
ROUNDS = 30  # of Newton's method for bounds
Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Spread:
    """How residuals spread around a mast's offset: what places nearby share, how far, and each one's own.

    On open paths; behind ridges both are greater by the point's scale.
    """

    local_db: float
    own_db: float
    range_km: float

    @property
    def total_db(self) -> float:
        """Return the spread of one residual on an open path. [dB]"""
        return math.hypot(self.local_db, self.own_db)


@dataclass(frozen=True)
class Estimate:
    """An offset and its standard deviation. [dB]"""

    offset_db: float
    sd_db: float


@dataclass(frozen=True, eq=False)
class MixedModel:
    """Residuals of n points under one spread, bounds turned into values of greater doubt.

    scale : shape (n,), by how many times each point's path is harder to predict than an open one
    value_db, variance_db2 : shape (n,), of each point; a bound's are Laplace's
    local : what neighbourhoods share, shape (n, n); solved : inverse of the whole covariance
    """

    points: tuple[PointResidual, ...]
    scale: Floats
    spread: Spread
    value_db: Floats
    variance_db2: Floats
    local: Floats
    solved: Floats

    @property
    def typical_db(self) -> float:
        """Return the spread of these residuals, whatever their paths. [dB]"""
        return self.spread.total_db * math.sqrt(float(np.mean(self.scale**2)))

    def offset(self, mast: str, band: str | None = None) -> Estimate:
        """Return the offset of a mast in a band, or of the mast as a whole; shrunk towards 0."""
        same_mast = np.array([p.mast == mast for p in self.points])
        across = MAST_SD_DB**2 * same_mast.astype(float)
        prior = MAST_SD_DB**2
        if band is not None and has_bands(self.points, mast):
            across += BAND_SD_DB**2 * (same_mast & np.array([p.band == band for p in self.points]))
            prior += BAND_SD_DB**2
        weights = across @ self.solved
        return Estimate(float(weights @ self.value_db), math.sqrt(max(prior - float(weights @ across), 1e-9)))

    def mean_of_mast(self, mast: str) -> tuple[float, float, float]:
        """Return a mast's mean, not shrunk, its standard error, and how many places apart it is worth."""
        mine = np.flatnonzero([p.mast == mast for p in self.points])
        covariance = self.local[np.ix_(mine, mine)] + np.diag(self.variance_db2[mine])
        weights = linalg.solve(covariance, np.ones(mine.size), assume_a="pos")
        precision = float(weights.sum())
        mean_db = float(weights @ self.value_db[mine]) / precision
        typical = float(np.median(np.diag(covariance)))
        return mean_db, 1.0 / math.sqrt(precision), typical * precision

    def local_effect(self, mast: str) -> LocalEffect:
        """Return what the readings say of the places around them, on open paths of a mast."""
        shares = np.where([p.mast == mast for p in self.points], 1.0, ACROSS_MASTS)
        weights_db = self.spread.local_db**2 * shares * self.scale * (self.solved @ self.value_db)
        own = np.diag(self.local)
        told = np.einsum("ij,jk,ki->i", self.local, self.solved, self.local) / np.maximum(own, 1e-12)
        return LocalEffect(
            self.spread.range_km,
            tuple(
                (p.longitude_deg, p.latitude_deg, float(weight), float(min(known * share**2, 1.0)))
                for p, weight, known, share in zip(self.points, weights_db, told, shares, strict=True)
            ),
        )

    def without(self, left_out: NDArray[np.bool_]) -> MixedModel:
        """Return the model of the other points, under the same spread."""
        kept = tuple(p for p, out in zip(self.points, left_out, strict=True) if not out)
        return _with_spread(kept, self.scale[~left_out], self.spread)


def fit_mixed(
    points: Sequence[PointResidual],
    default_db: float,
    by_path_db: Mapping[tuple[str, str], float] | None = None,
) -> MixedModel:
    """Return the model of residuals, its spreads fitted where enough are known.

    default_db : spread of a reading around the prediction on an open path, the prior of the fitted one
    by_path_db : the same by class of path and band; where it is missing, as on an open path

    Source: Gaussian process with spherical covariance (textbook): marginal likelihood, with priors on both
    spreads (scaled inverse chi-square) and on the range (log-normal).
    """
    points = tuple(points)
    # A reading behind ridges says less of its mast than one in the open: its spread, and so its weight, are
    # its path's.
    expected_db = [(by_path_db or {}).get((p.path_class, p.band), default_db) for p in points]
    scale = np.array(expected_db) / default_db
    masts = {p.mast for p in points}
    exact = np.array([p.low_db == p.high_db for p in points], dtype=bool)
    known = [p for p, told in zip(points, exact, strict=True) if told]
    half_db = default_db / math.sqrt(2.0)
    spread = Spread(half_db, half_db, RANGE_KM[1])
    if len(known) - len(masts) >= FEWEST_FOR_SPREAD:
        spread = _fitted_spread(tuple(known), scale[exact], half_db)
    return _with_spread(points, scale, spread)


def has_bands(points: Sequence[PointResidual], mast: str) -> bool:
    """Return whether a mast was read in more than one band."""
    return len({p.band for p in points if p.mast == mast}) > 1


def distances_km(points: Sequence[PointResidual]) -> Floats:
    """Return the distances between points, shape (n, n), as on a plane."""
    latitude = np.array([p.latitude_deg for p in points])
    longitude = np.array([p.longitude_deg for p in points])
    middle = math.cos(math.radians(float(latitude.mean())))
    turn = np.mod(longitude[:, None] - longitude[None, :] + 180.0, 360.0) - 180.0
    return KM_PER_DEG * np.hypot(latitude[:, None] - latitude[None, :], middle * turn)


def _parts(points: Sequence[PointResidual]) -> tuple[Floats, Floats, Floats, Floats]:
    """Return offsets' covariance, share of local effects by mast, distances, and the readings' variances."""
    mast = np.array([p.mast for p in points])
    band = np.array([p.band for p in points])
    # A mast read in one band has no band effect: it could not be told from the mast's own.
    several = np.array([has_bands(points, p.mast) for p in points])
    same = mast[:, None] == mast[None, :]
    offsets = MAST_SD_DB**2 * same + BAND_SD_DB**2 * (same & (band[:, None] == band[None, :]) & several)
    shares = np.where(same, 1.0, ACROSS_MASTS)
    return offsets, shares, distances_km(points), np.array([p.sd_db**2 for p in points])


def _fitted_spread(points: tuple[PointResidual, ...], scale: Floats, half_db: float) -> Spread:
    """Return the spreads of greatest posterior density, of known residuals."""
    offsets, shares, apart_km, own_db2 = _parts(points)
    shares = shares * np.outer(scale, scale)
    value_db = np.array([p.low_db for p in points])

    def surprise(at: Floats) -> float:
        local, own = math.exp(2.0 * at[0]), math.exp(2.0 * at[1])
        covariance = offsets + local * shares * shared_share(apart_km, math.exp(at[2]))
        covariance[np.diag_indices(value_db.size)] += own * scale**2 + own_db2
        factor = linalg.cho_factor(covariance, lower=True)
        total = 0.5 * float(value_db @ linalg.cho_solve(factor, value_db))
        total += float(np.log(np.diag(factor[0])).sum())
        for variance in (local, own):
            ratio = half_db**2 / variance
            total += 0.5 * PRIOR_FREEDOM * (ratio - math.log(ratio))
        return total + 0.5 * ((at[2] - math.log(RANGE_KM[1])) / LOG_RANGE_SD) ** 2

    sd_limits = (math.log(LEAST_SD_DB), math.log(MOST_SD_DB))
    limits = [sd_limits, sd_limits, (math.log(RANGE_KM[0]), math.log(RANGE_KM[2]))]
    start = np.array([math.log(half_db), math.log(half_db), math.log(RANGE_KM[1])])
    found = optimize.minimize(surprise, start, method="L-BFGS-B", bounds=limits).x
    return Spread(*(math.exp(float(value)) for value in found))


def _with_spread(points: tuple[PointResidual, ...], scale: Floats, spread: Spread) -> MixedModel:
    """Return the model of points under a spread."""
    offsets, shares, apart_km, own_db2 = _parts(points)
    local = spread.local_db**2 * np.outer(scale, scale) * shares * shared_share(apart_km, spread.range_km)
    value_db, variance_db2 = _as_values(points, offsets + local, own_db2 + (spread.own_db * scale) ** 2)
    # The inverse itself, once: offsets, their errors and what neighbours tell all ask for it.
    solved = np.asarray(np.linalg.inv(offsets + local + np.diag(variance_db2)), dtype=np.float64)
    return MixedModel(points, scale, spread, value_db, variance_db2, local, solved)


def _as_values(points: Sequence[PointResidual], prior: Floats, noise_db2: Floats) -> tuple[Floats, Floats]:
    """Return a value and its variance for each residual: its own where known, Laplace's for a bound.

    prior : covariance of what lies under the residuals; noise_db2 : variance of each around that.
    Source: Laplace's approximation of a probit likelihood, by Newton's method (textbook).
    """
    low, high = np.array([p.low_db for p in points]), np.array([p.high_db for p in points])
    exact = low == high
    value, variance = np.where(exact, low, 0.0), noise_db2.copy()
    if exact.all():
        return value, variance
    below = np.isinf(low)  # known only to lie under a bound
    bound, sd = np.where(below, high, low), np.sqrt(noise_db2)
    side = np.where(below, -1.0, 1.0)
    under = np.zeros(low.size)
    for _ in range(ROUNDS):
        z = side * (under - bound) / sd
        # phi/Phi from logarithms: far beyond a bound both are 0 and their quotient is not
        hazard = np.exp(-0.5 * z**2 - 0.5 * math.log(2.0 * math.pi) - special.log_ndtr(z))
        slope = side * hazard / sd
        # the curvature vanishes where a bound is met for certain; such a reading then weighs nothing
        bend = np.maximum(hazard * (hazard + z), 1e-9) / noise_db2
        variance = np.where(exact, noise_db2, 1.0 / bend)
        value = np.where(exact, low, under + slope / bend)
        settled = prior @ linalg.solve(prior + np.diag(variance), value, assume_a="pos")
        if np.abs(settled - under).max() < 1e-6:
            break
        under = settled
    return value, variance
