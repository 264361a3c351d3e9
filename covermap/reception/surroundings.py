"""Kinds of surroundings of homes: what stands around them, how noisy it is, and of what they are built."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from covermap.propagation.noise import ENVIRONMENTS
from covermap.propagation.terminal import REFERENCE_HEIGHT_M
from covermap.reception.entry import BUILDINGS
from covermap.reception.options import ReceptionOptions

HEIGHT_STEP_M = 0.1  # heights are told apart by this; under 0.2 dB of loss
ENVIRONMENT_NAMES = tuple(ENVIRONMENTS)
OF_OPTIONS = 255  # in environment and building: as the options say


@dataclass(frozen=True, eq=False)
class Surroundings:
    """What stands around homes and what they are, one value a home or a kind, all of shape (N,).

    clutter_height_m : of what stands on the ground there, 0 where nothing does; at least 10 m counts
    open_land : open land or water (form 2b of ITU-R P.2108-1 section 3.1)
    environment : uint8, index into ENVIRONMENT_NAMES; None, or 255: the options' noise_environment
    building : uint8, index into covermap.reception.entry.BUILDINGS; None, or 255: the options' building
    """

    clutter_height_m: NDArray[np.float32]
    open_land: NDArray[np.bool_]
    environment: NDArray[np.uint8] | None = None
    building: NDArray[np.uint8] | None = None

    def numbers(self, options: ReceptionOptions) -> NDArray[np.int64]:
        """Return one number a home, equal for those that receive alike."""
        heights_m = np.maximum(np.nan_to_num(self.clutter_height_m), REFERENCE_HEIGHT_M)
        steps = np.rint(heights_m / HEIGHT_STEP_M).astype(np.int64)
        environment = environment_of(self, options)
        building = _known(self.building, BUILDINGS.index(options.building), steps.size)
        around = 2 * steps + np.asarray(self.open_land, np.int64)
        return (around * len(ENVIRONMENT_NAMES) + environment) * len(BUILDINGS) + building


def surroundings_of(numbers: NDArray[np.int64]) -> Surroundings:
    """Return the surroundings that numbers() gave."""
    rest, building = np.divmod(numbers, len(BUILDINGS))
    rest, environment = np.divmod(rest, len(ENVIRONMENT_NAMES))
    steps, open_land = np.divmod(rest, 2)
    return Surroundings(
        (steps * HEIGHT_STEP_M).astype(np.float32),
        open_land.astype(bool),
        environment.astype(np.uint8),
        building.astype(np.uint8),
    )


# called with clutter_height_m, open_land and options, and by name with how antennas are joined
FiguresOf = Callable[..., NDArray[np.float64]]


def environment_of(around: Surroundings, options: ReceptionOptions) -> NDArray[np.int64]:
    """Return each home's noise environment, an index into ENVIRONMENT_NAMES."""
    of_options = ENVIRONMENT_NAMES.index(options.noise_environment)
    return _known(around.environment, of_options, np.asarray(around.open_land).size)


def by_kind(kinds: Surroundings, options: ReceptionOptions, figures_of: FiguresOf) -> NDArray[np.float64]:
    """Return figures of K kinds of surroundings, shape (K, ...).

    figures_of : called with (clutter_height_m, open_land, options) of the kinds of one noise environment and
        one building, returns their figures along the first axis
    """
    environment = environment_of(kinds, options)
    building = _known(kinds.building, BUILDINGS.index(options.building), kinds.open_land.size)
    found: NDArray[np.float64] | None = None
    for of_noise, of_building in sorted(set(zip(environment.tolist(), building.tolist(), strict=True))):
        here = (environment == of_noise) & (building == of_building)
        part = figures_of(
            np.asarray(kinds.clutter_height_m[here], np.float64),
            kinds.open_land[here],
            replace(options, noise_environment=ENVIRONMENT_NAMES[of_noise], building=BUILDINGS[of_building]),
        )
        if found is None:
            found = np.empty((here.size, *part.shape[1:]))
        found[here] = part
    if found is None:
        raise ValueError("no kind of surroundings is given")
    return found


def _known(index: NDArray[np.uint8] | None, of_options: int, size: int) -> NDArray[np.int64]:
    if index is None:
        return np.full(size, of_options, dtype=np.int64)
    return np.where(index == OF_OPTIONS, of_options, index).astype(np.int64)
