"""The mean of paired differences over stations and sessions, some of them known only by a bound."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, optimize, special, stats

FEWEST_STATIONS = 4  # common practice, no source: under this many a band has no mean
LOWEST_SD_DB, HIGHEST_SD_DB = 0.05, 30.0
DRAWS = 256  # fixed quasi-random points for the chance of bounds that share a station or session
CONFIDENCE = 0.95
STEP_DB = 0.1  # of the numerical curvature

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class BandMean:
    """A mean difference with its 95 % interval.

    station_sd_db : spread between stations, all that is not shared by a session; session_sd_db : between
        sessions, NaN where one session cannot tell
    censored : how many of the values are only bounds
    """

    mean_db: float
    low_db: float
    high_db: float
    standard_error_db: float
    freedom: float
    station_sd_db: float
    session_sd_db: float
    stations: int
    sessions: int
    values: int
    censored: int


class _Design(NamedTuple):
    """Values between low and high, and the parts their covariance is made of (each n x n)."""

    low: Floats
    high: Floats
    parts: list[Floats]
    freedoms: list[int]
    tells_sessions: bool
    draws: Floats

    @property
    def exact(self) -> NDArray[np.bool_]:
        return self.low == self.high


def band_mean(
    low_db: Sequence[float],
    high_db: Sequence[float],
    stations: Sequence[str],
    sessions: Sequence[str],
) -> BandMean | None:
    """Mean over stations and sessions with its 95 % interval.

    Parameters
    ----------
    low_db, high_db : sequence of float, shape (n,)
        Bounds of each difference; equal where it is known, one infinite where it is censored. [dB]
    stations, sessions : sequence of str, shape (n,)
        Where each belongs.

    Returns
    -------
    BandMean, or None with fewer than four stations or fewer than three known values.

    Notes
    -----
    difference = mean + station + session + error, each normal. Without censoring and with one value a
    station this is the t interval of the values. Otherwise the restricted likelihood is maximised (a
    censored value enters with the chance of its bound: the Tobit likelihood), and degrees of freedom are
    Satterthwaite's.
    """
    known = ~(np.isinf(low_db) & np.isinf(high_db))
    low, high = (np.asarray(side, dtype=np.float64)[known] for side in (low_db, high_db))
    station = np.unique(np.asarray(stations)[known], return_inverse=True)[1]
    session = np.unique(np.asarray(sessions)[known], return_inverse=True)[1]
    exact = low == high
    station_count = int(station.max(initial=-1)) + 1
    if station_count < FEWEST_STATIONS or exact.sum() < FEWEST_STATIONS - 1:
        return None
    design = _design(low, high, station, session)
    mean_db, sd_db = _most_likely(design)
    error_db = _standard_error(design, mean_db, sd_db)
    freedom = _freedom(design, sd_db)
    reach_db = float(stats.t.ppf((1.0 + CONFIDENCE) / 2.0, freedom)) * error_db
    return BandMean(
        mean_db, mean_db - reach_db, mean_db + reach_db, error_db, freedom,
        station_sd_db=float(sd_db[0]),
        session_sd_db=float(sd_db[1]) if design.tells_sessions else math.nan,
        stations=station_count, sessions=int(session.max()) + 1,
        values=low.size, censored=int((~exact).sum()),
    )  # fmt: skip


def _design(low: Floats, high: Floats, station: NDArray, session: NDArray) -> _Design:
    """Return which effects the values can tell apart: station always; session and error where repeated."""
    count = low.size
    same_station = (station[:, None] == station[None, :]).astype(float)
    same_session = (session[:, None] == session[None, :]).astype(float)
    stations, sessions = int(station.max()) + 1, int(session.max()) + 1
    parts, freedoms = [same_station], [stations - 1]
    tells_sessions = bool(sessions > 1 and same_session.sum() > count)
    if tells_sessions:
        parts.append(same_session)
        freedoms.append(sessions - 1)
    if same_station.sum() > count:
        parts.append(np.eye(count))
        freedoms.append(max(count - sum(freedoms) - 1, 1))
    draws = stats.norm.ppf(stats.qmc.Sobol(max(count, 1), scramble=True, rng=1).random(DRAWS))
    return _Design(low, high, parts, freedoms, tells_sessions, draws)


def _covariance(design: _Design, sd_db: Floats) -> Floats:
    return sum(sd**2 * part for sd, part in zip(sd_db, design.parts, strict=True))


def _log_likelihood(design: _Design, mean_db: float, sd_db: Floats) -> float:
    """Return the log likelihood: density of the known values times the chance of the bounds given them."""
    exact = design.exact
    covariance = _covariance(design, sd_db)
    known = covariance[np.ix_(exact, exact)]
    factor = linalg.cho_factor(known, lower=True)
    residual = design.low[exact] - mean_db
    solved = linalg.cho_solve(factor, residual)
    log_density = -0.5 * residual @ solved - np.log(np.diag(factor[0])).sum()
    if exact.all():
        return float(log_density)
    across = covariance[np.ix_(~exact, exact)]
    expected = mean_db + across @ solved
    spread = covariance[np.ix_(~exact, ~exact)] - across @ linalg.cho_solve(factor, across.T)
    return float(log_density + _log_chance(design, expected, spread))


def _log_chance(design: _Design, expected: Floats, spread: Floats) -> float:
    """Return the log chance that normal values with these means and covariance lie within their bounds.

    What they share is averaged over fixed quasi-random points; what is each value's own is exact.
    """
    values, vectors = np.linalg.eigh(spread)
    own = math.sqrt(max(float(values[0]), 1e-6))
    root = (vectors * np.sqrt(np.maximum(values - own**2, 0.0))) @ vectors.T
    shared = design.draws[:, : expected.size] @ root
    high = design.high[~design.exact] - expected
    low = design.low[~design.exact] - expected
    below = special.log_ndtr((high - shared) / own)
    above = special.log_ndtr((shared - low) / own)
    log_chance = np.where(np.isinf(low), below, np.where(np.isinf(high), above, 0.0))
    both = ~np.isinf(low) & ~np.isinf(high)
    if both.any():
        inside = special.ndtr((high - shared) / own) - special.ndtr((low - shared) / own)
        log_chance = np.where(both, np.log(np.maximum(inside, 1e-300)), log_chance)
    return float(special.logsumexp(log_chance.sum(axis=1)) - math.log(DRAWS))


def _precision(design: _Design, sd_db: Floats) -> tuple[Floats, float]:
    """Return the weights of the values in their mean, and one over the mean's variance, were all known."""
    solved = linalg.solve(_covariance(design, sd_db), np.ones(design.low.size), assume_a="pos")
    return solved / solved.sum(), float(solved.sum())


def _most_likely(design: _Design) -> tuple[float, Floats]:
    """Return mean and standard deviations of greatest restricted likelihood."""
    known = design.low[design.exact]
    start_sd = max(float(known.std(ddof=1)), 0.3)
    lowest, highest = math.log(LOWEST_SD_DB), math.log(HIGHEST_SD_DB)

    def cost(point: Floats) -> float:
        sd_db = np.exp(point[1:])
        log_likelihood = _log_likelihood(design, point[0], sd_db)
        return -log_likelihood + 0.5 * math.log(_precision(design, sd_db)[1])

    start = np.array([known.mean(), *[math.log(start_sd / math.sqrt(len(design.parts)))] * len(design.parts)])
    found = optimize.minimize(
        cost, start, method="L-BFGS-B", bounds=[(None, None)] + [(lowest, highest)] * len(design.parts)
    )
    return float(found.x[0]), np.exp(found.x[1:])


def _standard_error(design: _Design, mean_db: float, sd_db: Floats) -> float:
    """Return the standard error of the mean; with bounds from the curvature of the likelihood."""
    of_all_known = 1.0 / math.sqrt(_precision(design, sd_db)[1])
    if design.exact.all():
        return of_all_known
    below, here, above = (_log_likelihood(design, mean_db + step, sd_db) for step in (-STEP_DB, 0.0, STEP_DB))
    curvature = (2.0 * here - below - above) / STEP_DB**2
    return max(1.0 / math.sqrt(max(curvature, 1e-9)), of_all_known)


def _freedom(design: _Design, sd_db: Floats) -> float:
    """Return Satterthwaite's degrees of freedom of the mean's variance."""
    weights, _ = _precision(design, sd_db)
    shares = [sd**2 * weights @ part @ weights for sd, part in zip(sd_db, design.parts, strict=True)]
    whole = sum(shares)
    return float(whole**2 / sum(share**2 / df for share, df in zip(shares, design.freedoms, strict=True)))
