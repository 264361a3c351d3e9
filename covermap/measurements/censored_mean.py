"""The mean of paired differences over masts, stations and sessions, some of them known only by a bound."""

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
SESSION_SD_DB = 0.6  # judgement: what another day with the antennas as they are mounted would change
REMOUNTED_SD_DB = 1.0  # judgement: the same where they are mounted anew
MAST_SD_DB = 1.0  # judgement: what the stations of one mast, on one bearing, share
SITE_SD_DB = 1.0  # judgement: what another place would change: other echoes, other heights of arrival
CHANNEL_SD_DB = 1.0  # judgement: how an antenna's gain differs from channel to channel of a band
PRIOR_FREEDOM = 4.0  # judgement: these count as if so many degrees of freedom had shown them
STEP_DB = 0.1  # of the numerical curvature

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class BandMean:
    """A mean difference with its 95 % interval.

    station_sd_db : spread between stations, all that is not shared by a session or mast; session_sd_db :
        between sessions, NaN where one session cannot tell; mast_sd_db : between masts, NaN with one
    assumed_session_sd_db : what one session leaves open and the interval holds all the same; else 0
    site_sd_db, channel_sd_db : between sites, and between channels that several sites share; NaN not told
    sites : how many; 0 where the mean is of the place alone
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
    mast_sd_db: float = math.nan
    masts: int = 1
    assumed_session_sd_db: float = 0.0
    site_sd_db: float = math.nan
    channel_sd_db: float = math.nan
    sites: int = 0

    @property
    def reach_db(self) -> float:
        """Return half the interval. [dB]"""
        return 0.5 * (self.high_db - self.low_db)


class _Part(NamedTuple):
    """One random effect: which values share it (n x n), its degrees of freedom, its prior sd (NaN none)."""

    name: str
    shared: Floats
    freedom: float
    prior_sd_db: float


class _Effect(NamedTuple):
    """What some values may share: which group each belongs to, as numbers from 0, and the prior sd."""

    name: str
    of: NDArray[np.int64]
    prior_sd_db: float

    @property
    def groups(self) -> int:
        return int(self.of.max(initial=-1)) + 1


class _Design(NamedTuple):
    """Values between low and high, and the parts their covariance is made of (each n x n)."""

    low: Floats
    high: Floats
    parts: list[_Part]
    draws: Floats

    @property
    def exact(self) -> NDArray[np.bool_]:
        return self.low == self.high


def band_mean(
    low_db: Sequence[float],
    high_db: Sequence[float],
    stations: Sequence[str],
    sessions: Sequence[str],
    masts: Sequence[str] | None = None,
    session_sd_db: float = SESSION_SD_DB,
    sites: Sequence[str] | None = None,
    channels: Sequence[str] | None = None,
) -> BandMean | None:
    """Mean over masts, stations and sessions with its 95 % interval, which another session should keep to.

    Parameters
    ----------
    low_db, high_db : sequence of float, shape (n,)
        Bounds of each difference; equal where it is known, one infinite where it is censored. [dB]
    stations, sessions, masts : sequence of str, shape (n,)
        Where each belongs; without masts, or with one, no effect of masts is looked for.
    session_sd_db : float
        What another session would change, used whole where there is one session, and as a prior worth
        PRIOR_FREEDOM degrees of freedom where there are several; 0 for this session alone. [dB]
    sites, channels : sequence of str, shape (n,)
        Given, the mean is that of any place: what another site would change is in the interval, SITE_SD_DB
        whole where there is one. Stations of two sites are then two stations; what a channel has at several
        sites is the antenna's own.

    Returns
    -------
    BandMean, or None with fewer than four stations or fewer than three known values.

    Notes
    -----
    difference = mean + mast + station + session (+ site + channel) + error, each normal. Without censoring,
    with one value a station, one mast and session_sd_db 0, this is the t interval of the values. Otherwise
    the restricted likelihood is maximised (a censored value enters with the chance of its bound: the Tobit
    likelihood), and degrees of freedom are Satterthwaite's.
    """
    known = ~(np.isinf(low_db) & np.isinf(high_db))
    low, high = (np.asarray(side, dtype=np.float64)[known] for side in (low_db, high_db))

    def effect(name: str, labels: Sequence[str] | None, prior_sd_db: float) -> _Effect:
        named = np.zeros(low.size, int) if labels is None else np.asarray(labels)[known]
        return _Effect(name, np.unique(named, return_inverse=True)[1], prior_sd_db)

    station = effect("station", _at_sites(stations, sites), math.nan)
    session = effect("session", sessions, session_sd_db or math.nan)
    mast = effect("mast", None if masts is None else _at_sites(masts, sites), MAST_SD_DB)
    site = effect("site", sites, SITE_SD_DB)
    channel = effect("channel", channels, CHANNEL_SD_DB)
    exact = low == high
    if station.groups < FEWEST_STATIONS or exact.sum() < FEWEST_STATIONS - 1:
        return None
    design = _design(low, high, [station, session, mast, site, channel])
    mean_db, sd_db = _most_likely(design)
    shown_db = _standard_error(design, mean_db, sd_db)
    assumed_db = session_sd_db if session.groups == 1 else 0.0
    of_site_db = SITE_SD_DB if sites is not None and site.groups == 1 else 0.0
    error_db = math.hypot(shown_db, assumed_db, of_site_db)
    freedom = _freedom(design, sd_db) * (error_db / shown_db) ** 4  # Satterthwaite: what is assumed is known
    of = {part.name: float(sd) for part, sd in zip(design.parts, sd_db, strict=True)}
    reach_db = float(stats.t.ppf((1.0 + CONFIDENCE) / 2.0, freedom)) * error_db
    return BandMean(
        mean_db, mean_db - reach_db, mean_db + reach_db, error_db, freedom,
        station_sd_db=of["station"], session_sd_db=of.get("session", math.nan),
        stations=station.groups, sessions=session.groups,
        values=low.size, censored=int((~exact).sum()),
        mast_sd_db=of.get("mast", math.nan), masts=mast.groups, assumed_session_sd_db=assumed_db,
        site_sd_db=of.get("site", math.nan), channel_sd_db=of.get("channel", math.nan),
        sites=0 if sites is None else site.groups,
    )  # fmt: skip


def _at_sites(labels: Sequence[str], sites: Sequence[str] | None) -> Sequence[str]:
    """Return labels that differ from site to site, where sites are given."""
    return labels if sites is None else [f"{site}: {one}" for one, site in zip(labels, sites, strict=True)]


def _design(low: Floats, high: Floats, effects: Sequence[_Effect]) -> _Design:
    """Return which effects the values can tell apart: the first always; others and error where shared."""
    count = low.size
    parts = []
    for number, effect in enumerate(effects):
        same = (effect.of[:, None] == effect.of[None, :]).astype(float)
        # An effect whose groups hold a value each cannot be told from the error, and one group cannot vary.
        if number == 0 or (effect.groups > 1 and same.sum() > count):
            freedom = effect.groups - 1 + (0.0 if math.isnan(effect.prior_sd_db) else PRIOR_FREEDOM)
            parts.append(_Part(effect.name, same, freedom, effect.prior_sd_db))
    if parts[0].shared.sum() > count:
        left = count - sum(effect.groups - 1 for effect in effects) - 1
        parts.append(_Part("error", np.eye(count), float(max(left, 1)), math.nan))
    # A fixed seed: a likelihood that wobbled from call to call could not be maximised, nor an answer
    # repeated.
    draws = stats.norm.ppf(stats.qmc.Sobol(max(count, 1), scramble=True, rng=1).random(DRAWS))
    return _Design(low, high, parts, draws)


def _covariance(design: _Design, sd_db: Floats) -> Floats:
    total = np.zeros((design.low.size, design.low.size))
    for sd, part in zip(sd_db, design.parts, strict=True):
        total += sd**2 * part.shared
    return total


def _surprise_of_prior(design: _Design, sd_db: Floats) -> float:
    """Return minus the log of the priors: of variances, scaled inverse chi-square."""
    total = 0.0
    for sd, part in zip(sd_db, design.parts, strict=True):
        if not math.isnan(part.prior_sd_db):
            ratio = (part.prior_sd_db / sd) ** 2
            total += 0.5 * PRIOR_FREEDOM * (ratio - math.log(ratio))
    return total


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
    # The smallest eigenvalue is what each value certainly has of its own; what is left is positive, and
    # shared.
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
        # logarithms, so that the search needs no wall at 0 and works in ratios
        sd_db = np.exp(point[1:])
        log_likelihood = _log_likelihood(design, point[0], sd_db)
        # The restricted part of the likelihood: the mean is estimated too, and costs its own determinant.
        spread = 0.5 * math.log(_precision(design, sd_db)[1])
        return -log_likelihood + spread + _surprise_of_prior(design, sd_db)

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
    # Bounds cannot make a mean surer than the same values known exactly.
    return max(1.0 / math.sqrt(max(curvature, 1e-9)), of_all_known)


def _freedom(design: _Design, sd_db: Floats) -> float:
    """Return Satterthwaite's degrees of freedom of the mean's variance."""
    weights, _ = _precision(design, sd_db)
    shares = [sd**2 * weights @ part.shared @ weights for sd, part in zip(sd_db, design.parts, strict=True)]
    spent = sum(share**2 / part.freedom for share, part in zip(shares, design.parts, strict=True))
    return float(sum(shares) ** 2 / spent)
