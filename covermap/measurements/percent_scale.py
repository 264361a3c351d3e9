"""What a point of a percent scale is in decibels, from readings behind known attenuators."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from scipy import stats

from covermap.measurements.band_result import kind_words
from covermap.measurements.comparison_log import LogReading
from covermap.wording.language import say
from covermap.wording.words import as_given, decimal

FEWEST_STEPS = 3
WORST_FIT_DB = 1.0  # judgement: a step further off the line than this makes the scale ordinal
EDGE_PERCENT = 3.0  # judgement: how far beyond the calibrated steps the line is still used


class Stepped(Protocol):
    """A percent reading behind a known attenuator: a row of a comparison log or of readings."""

    @property
    def session(self) -> str:
        """When and where."""

    @property
    def station(self) -> str:
        """What was read."""

    @property
    def antenna(self) -> str:
        """With what."""

    @property
    def state(self) -> str:
        """exact, lost or saturated."""

    @property
    def value(self) -> float:
        """What the bar showed. [%]"""

    @property
    def attenuator_db(self) -> float:
        """Known attenuator in the line. [dB]"""


@dataclass(frozen=True)
class PercentScale:
    """A straight stretch of one set's percent scale.

    db_per_point : decibels of one point; lowest, highest : the calibrated stretch in percent
    worst_db : the step furthest from the line
    """

    device: str
    kind: str
    db_per_point: float
    lowest: float
    highest: float
    worst_db: float
    steps: int

    def in_words(self) -> str:
        """Return one sentence for people."""
        return say(
            "percent.scale",
            device=self.device,
            kind=kind_words(self.kind),
            db=decimal(10 * self.db_per_point, 1),
            lowest=as_given(self.lowest),
            highest=as_given(self.highest),
            steps=self.steps,
        )


def fit_percent_scale(attenuator_db: Sequence[float], percent: Sequence[float]) -> tuple[float, float] | None:
    """Return decibels of one point and the largest distance of a step from the line, in dB.

    None if the steps are too few, not monotone or not straight: the scale is then only ordinal.
    Source: least squares of attenuation on the reading.
    """
    steps = np.unique(np.asarray(attenuator_db, dtype=float))
    shown = np.array(
        [np.mean([p for a, p in zip(attenuator_db, percent, strict=True) if a == s]) for s in steps]
    )
    # More attenuation must show less; a bar that stays or rises is at its end, or follows something else.
    if steps.size < FEWEST_STEPS or np.any(np.diff(shown) >= 0.0):
        return None
    # Attenuation on the reading, not the reading on it: the line is used from per cent to decibels.
    line = stats.linregress(shown, -steps)
    worst_db = float(np.abs(line.intercept + line.slope * shown + steps).max())
    return (float(line.slope), worst_db) if worst_db <= WORST_FIT_DB else None


def percent_scales(
    readings: Sequence[LogReading],
) -> tuple[dict[tuple[str, str], PercentScale], list[str]]:
    """Return the scale of each set and bar that attenuator readings calibrate, and a sentence on each bar."""
    groups: dict[tuple[str, str], list[LogReading]] = defaultdict(list)
    for reading in readings:
        if reading.scale.is_percent:
            groups[reading.device, reading.scale.kind].append(reading)
    scales, sentences = {}, []
    for (device, kind), group in groups.items():
        scale = attenuator_scale(device, kind, group)
        if scale is None:
            of = {"device": device, "kind": kind_words(kind)}
            sentences.append(say("percent.no_steps", needed=FEWEST_STEPS, **of))
        else:
            scales[device, kind] = scale
            sentences.append(scale.in_words())
    return scales, sentences


def attenuator_scale(device: str, kind: str, group: Sequence[Stepped]) -> PercentScale | None:
    """Return the mean scale of the stations and antennas that were read behind attenuators, None without."""
    steps: dict[tuple[str, str, str], list[Stepped]] = defaultdict(list)
    for reading in group:
        if reading.state == "exact":
            steps[reading.session, reading.station, reading.antenna].append(reading)
    used: list[Stepped] = []
    fits = []
    for rows in steps.values():
        fitted = fit_percent_scale([r.attenuator_db for r in rows], [r.value for r in rows])
        if fitted is not None:
            used += rows
            fits.append(fitted)
    if not fits:
        return None
    values = [r.value for r in used]
    return PercentScale(
        device,
        kind,
        float(np.mean([slope for slope, _ in fits])),
        min(values),
        max(values),
        max(worst_db for _, worst_db in fits),
        len({r.attenuator_db for r in used}),
    )
