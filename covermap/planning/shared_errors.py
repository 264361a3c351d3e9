"""What the predictions of different cells have in common, and how far it moves a cell's chance."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr, ndtri

from covermap.constants import BANDS
from covermap.propagation.ridges import PATH_CLASSES
from covermap.reception.normal import POINT, WEIGHT, integral_points
from covermap.reception.options import HOME_CORRELATION
from covermap.reception.variability import OPEN_PATH

COMMON_ERROR_DB = 4.0  # judgement: error the cells of one site share on open paths (antenna, power as filed)
SHARE_OF_ADDED = 0.5  # judgement: of the variance an obstructed path adds; docs/decisions/sigma_by_path.md
GROUPS_A_CELL = 3  # the sites and bands a cell depends on most
EVERY_BYTE = 256
ROOT_OF_TWO_PI = float(np.sqrt(2.0 * np.pi))


@dataclass(frozen=True, eq=False)
class RangeSpread:
    """Standard deviations by band and number of the path's class, shape (bands, 256). [dB]

    total_db : of a prediction at a home; common_db : the part shared by cells of one site and band; cell_db :
    by the homes of one cell. home_correlation : between two paths to one home, of each part
    """

    total_db: NDArray[np.float64]
    common_db: NDArray[np.float64]
    cell_db: NDArray[np.float64]
    home_correlation: float


def spread_of(run: Mapping[str, Any]) -> RangeSpread | None:
    """Return the spread of a run's predictions; None where its record does not tell.

    A record that does not tell it by path has every path as open as the first.
    """
    sigma = run.get("sigma_db")
    if not sigma:
        return None
    open_db = float(sigma["prediction"])
    by_path: Mapping[str, Mapping[str, float]] = sigma.get("prediction_by_path", {})
    prediction_db = np.full((len(BANDS), EVERY_BYTE), open_db)
    for row, band in enumerate(BANDS):
        of_band = by_path.get(band, {})
        prediction_db[row] = of_band.get(OPEN_PATH, open_db)
        prediction_db[row, : len(PATH_CLASSES)] = [of_band.get(kind, open_db) for kind in PATH_CLASSES]
    # The record tells the total on open paths; what places add does not depend on the path.
    location_db2 = max(0.0, float(sigma["total"]) ** 2 - open_db**2)
    of_open_db2 = prediction_db[:, [PATH_CLASSES.index(OPEN_PATH)]] ** 2
    common_db2 = np.minimum(prediction_db, COMMON_ERROR_DB) ** 2
    common_db2 += SHARE_OF_ADDED * np.maximum(0.0, prediction_db**2 - of_open_db2)
    common_db2 = np.minimum(common_db2, prediction_db**2)
    return RangeSpread(
        np.sqrt(prediction_db**2 + location_db2),
        np.sqrt(common_db2),
        np.sqrt(prediction_db**2 - common_db2),
        float(sigma.get("home_correlation", HOME_CORRELATION)),
    )


@dataclass(frozen=True, eq=False)
class ServicePaths:
    """The paths that carry V services to N cells: site and band as a number, band, and class, each (V, N)."""

    group: NDArray[np.int64]
    band: NDArray[np.int64]
    path_class: NDArray[np.uint8]

    def at(self, cell: NDArray) -> ServicePaths:
        """Return the paths to some of the cells."""
        return ServicePaths(self.group[:, cell], self.band[:, cell], self.path_class[:, cell])


@dataclass(frozen=True, eq=False)
class SharedErrors:
    """The sites and bands a cell's chance depends on most, and what of their errors cells share.

    group : which, shape (3, N). common, cell : by how many deviations the chance moves when what is shared
    with other cells, or within the cell, is off by one of its own standard deviations; both (3, N)
    per_db : deviations by which the chance moves when every field moves by 1 dB, (N,)
    """

    group: NDArray[np.int64]
    common: NDArray[np.float64]
    cell: NDArray[np.float64]
    per_db: NDArray[np.float64]


def shared_errors(
    chance_percent: NDArray, paths: ServicePaths, groups: int, spread: RangeSpread, *, all_needed: bool
) -> SharedErrors:
    """Return which sites and bands the chance of all (or of any) services depends on, and how.

    chance_percent : of each service alone, shape (V, N), whole percent. groups : how many sites and bands
    all_needed : all services are needed: a group's worst counts; else any suffices: its best counts
    """
    sure = np.clip(np.asarray(chance_percent, dtype=np.float64), 0.25, 99.75)  # rounded to whole percent
    # That any arrives fails only if all fail: with signs turned it is the same question.
    z = ndtri(sure / 100.0) * (1.0 if all_needed else -1.0)
    deviations = np.full((max(groups, GROUPS_A_CELL), z.shape[1]), np.inf)
    decides = np.zeros(deviations.shape, dtype=np.int64)
    for number in range(groups):
        worst = np.where(paths.group == number, z, np.inf)
        decides[number] = worst.argmin(axis=0)
        deviations[number] = worst.min(axis=0)
    slope = slopes(deviations, spread.home_correlation)
    order = np.argsort(-slope, axis=0, kind="stable")[:GROUPS_A_CELL]
    share = np.take_along_axis(slope, order, axis=0)
    apart, together = (share**2).sum(axis=0), share.sum(axis=0) ** 2
    whole = (1.0 - spread.home_correlation) * apart + spread.home_correlation * together
    # Three sites together may not move a chance by more than its own deviation.
    share /= np.maximum(np.sqrt(whole), 1.0)
    service = np.take_along_axis(decides, order, axis=0)
    of_path = (
        np.take_along_axis(paths.band, service, axis=0),
        np.take_along_axis(paths.path_class, service, axis=0),
    )
    per_db = share / spread.total_db[of_path]
    return SharedErrors(
        # rows beyond the groups there are have slope 0: any valid number will do
        np.minimum(order, groups - 1),
        per_db * spread.common_db[of_path],
        per_db * spread.cell_db[of_path],
        per_db.sum(axis=0),
    )


def slopes(deviations: NDArray[np.float64], correlation: float) -> NDArray[np.float64]:
    """Return by how much the deviation of the chance that all hold moves with each one's, shape (G, N).

    deviations : of each alone, (G, N), inf where there is none; any two correlated alike.

    Source: derivative of the integral of phi(h) product of Phi((z + sqrt(r) h) / sqrt(1 - r)) dh by each z,
        over phi at the deviation of the whole; Gauss-Hermite quadrature. Accuracy: 0.01.
    """
    points = integral_points(16)
    chance = np.zeros(deviations.shape[1])
    slope = np.zeros(deviations.shape)
    for point, weight in zip(points[POINT], points[WEIGHT], strict=True):
        given = (deviations + np.sqrt(correlation) * point) / np.sqrt(1.0 - correlation)
        # Logarithms: a product of many small chances would come out as 0, and the quotient below as 0/0.
        log_each = log_ndtr(given)
        log_all = log_each.sum(axis=0)
        chance += weight * np.exp(log_all)
        slope += weight * np.exp(log_all - log_each - 0.5 * given**2)
    slope /= ROOT_OF_TWO_PI * np.sqrt(1.0 - correlation)
    whole = ndtri(np.clip(chance, 1e-12, 1.0 - 1e-12))
    return slope / (np.exp(-0.5 * whole**2) / ROOT_OF_TWO_PI)
