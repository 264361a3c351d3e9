"""Readings against the prediction: offsets, whether to trust them, and where not."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from covermap.inputs.assumed_clutter import read_terrain_of
from covermap.inputs.calibration import Calibration, TrustedOffset, prediction_fingerprint
from covermap.measurements.mixed_model import MixedModel, fit_mixed
from covermap.measurements.offsets import (
    FEWEST_POINTS,
    Judgement,
    Offset,
    fit_offsets,
    judge,
    point_count,
)
from covermap.measurements.readings import Readings, read_readings
from covermap.measurements.reports import FEWEST_SHOWN
from covermap.measurements.residuals import PointResidual, Residual, by_point, compare
from covermap.measurements.trusted_area import hull_lonlat, public_area_lonlat, worst_path
from covermap.reception.options import ReceptionOptions
from covermap.reception.variability import prediction_by_path, sigma_summary
from covermap.scenario import Scenario
from covermap.tables import read_prediction_spread, read_tiers
from covermap.terrain import Terrain
from covermap.wording.language import say
from covermap.wording.lists import band_words
from covermap.wording.words import decimal, row_place, signed

NORMAL_95 = 1.96  # normal distribution: 95 % lie within
PUBLIC_STEP_DB = 5.0  # judgement: a loss over free space this coarse tells no path
FAR_OFF = 2.0  # standard deviations from which a reading is listed as a disagreement


@dataclass(frozen=True)
class Disagreement:
    """A reading that the prediction, offsets in it, does not explain.

    apart_db : measured minus predicted, or how far beyond its bound the prediction lies
    """

    residual: Residual
    apart_db: float

    @property
    def words(self) -> str:
        """Return one sentence for people, with point and row."""
        reading = self.residual.reading
        return f"{reading.point} ({row_place(reading.where)}), {self.words_without_place}"

    @property
    def words_without_place(self) -> str:
        """Return one sentence that names no point."""
        reading = self.residual.reading
        station = reading.station
        what = say("calibration.was_read")
        if reading.kind == "lost":
            what = say("calibration.was_lost")
        elif reading.kind == "decoded":
            decoded = say(f"calibration.decoded_{reading.decoded}")
            what = say("calibration.was_decoded", decoded=decoded)
        key = "calibration.apart_more" if self.apart_db > 0 else "calibration.apart_less"
        return say(key, service=station.service, what=what, db=decimal(abs(self.apart_db)))


@dataclass(frozen=True)
class CalibrationReport:
    """What readings say about a scenario's prediction.

    spread_db : spread of readings around their mast's mean, that of the prediction and of places together
    calibration : None when refused; judgement says why
    cautions : where offsets must not be trusted, a sentence each
    masts : of the scenario's wanted stations, read or not
    """

    readings: Readings
    residuals: tuple[Residual, ...]
    points: tuple[PointResidual, ...]
    offsets: tuple[Offset, ...]
    spread_db: float
    judgement: Judgement
    calibration: Calibration | None
    disagreements: tuple[Disagreement, ...]
    cautions: tuple[str, ...]
    warnings: tuple[str, ...]
    masts: tuple[str, ...] = ()

    @property
    def refused(self) -> str:
        """Return why no calibration is given, or an empty text."""
        return self.judgement.refused

    @property
    def unreadable(self) -> tuple[str, ...]:
        """Return a sentence for each row that was left out."""
        return self.readings.unreadable

    def in_words(self) -> str:
        """Return the answer for people."""
        judgement = self.judgement
        counts = {"readings": len(self.residuals), "points": point_count(self.points)}
        lines = [say("calibration.spread", db=decimal(self.spread_db, 1), **counts)]
        if not math.isnan(judgement.before_db):
            before, after = decimal(judgement.before_db, 1), decimal(judgement.after_db, 1)
            lines.append(say("calibration.left_out", before=before, after=after))
        lines += [_offset_words(offset) for offset in self.offsets]
        refused = say("calibration.refused", why=self.refused)
        return "\n".join([*lines, refused if self.refused else say("calibration.usable")])


def _offset_words(offset: Offset) -> str:
    figures = {"offset": signed(offset.offset_db, 1), "reach": decimal(NORMAL_95 * offset.sd_db, 1)}
    names = {"mast": offset.mast, "band": band_words(offset.band)}
    return say("calibration.of_mast", points=offset.points, **figures, **names)


def calibrate(
    scenario: Scenario, readings: str | Path | Readings, percent_scales: str | Path | None = None
) -> CalibrationReport:
    """Compare readings with the exact path to each, and say which offsets they support.

    Parameters
    ----------
    scenario : Scenario
        From read_scenario; a calibration it names is not applied here.
    readings : path or Readings
        A CSV with a row a reading; docs/fieldwork.md lists the columns.
    percent_scales : path, optional
        percent_scales.csv of an antenna test with the same sets.

    Returns
    -------
    CalibrationReport
        .offsets per mast and band, .judgement with the errors where neighbourhoods are left out, .refused,
        .calibration.

    Raises
    ------
    InputError
        If the readings cannot be read, none is usable, or the terrain cannot be opened.
    """
    if not isinstance(readings, Readings):
        tiers = read_tiers(scenario.settings.reception.antenna_tiers)
        readings = read_readings(readings, scenario.stations, tiers, percent_scales)
    terrain = read_terrain_of(scenario)
    residuals, without = compare(readings.readings, scenario, terrain)
    return report(scenario, readings, residuals, without, *default_spreads(scenario, terrain))


def default_spreads(scenario: Scenario, terrain: Terrain) -> tuple[float, dict[tuple[str, str], float]]:
    """Return the spread of a reading around the prediction, where readings are too few to tell: on an open
    path, and by class of path and band. [dB]
    """
    reception, model = scenario.settings.reception, scenario.settings.prediction.model
    options = ReceptionOptions(
        prediction_error_db=reception.prediction_error_db,
        path_spread_db=read_prediction_spread(reception.prediction_spread, model),
        # as the map does it: assumed heights are not known ones
        has_land_cover=terrain.knows_clutter,
    )
    summary = sigma_summary(options)
    by_path_db = {
        (kind, band): math.hypot(of_path_db, summary.location_db)
        for band, of_band in prediction_by_path(options).items()
        for kind, of_path_db in of_band.items()
    }
    return summary.total_db, by_path_db


def report(
    scenario: Scenario,
    readings: Readings,
    residuals: Sequence[Residual],
    without: Sequence[str],
    default_db: float,
    by_path_db: Mapping[tuple[str, str], float] | None = None,
) -> CalibrationReport:
    """Return the report of residuals already worked out; see calibrate and, for the spreads, fit_mixed."""
    points = by_point(residuals)
    model = fit_mixed(points, default_db, by_path_db)
    offsets = fit_offsets(model)
    judgement = judge(model)
    calibration = None
    if not judgement.refused:
        calibration = _calibration(scenario, readings, model, offsets, judgement)
    used = {} if calibration is None else {(o.mast, o.band): o.offset_db for o in offsets}
    return CalibrationReport(
        readings, tuple(residuals), tuple(points), tuple(offsets), model.typical_db, judgement, calibration,
        _disagreements(residuals, used, _spreads_db(model)), _cautions(points),
        (*readings.warnings, *without),
        tuple(dict.fromkeys(one.mast for one in scenario.stations if one.use == "wanted")),
    )  # fmt: skip


def _calibration(
    scenario: Scenario,
    readings: Readings,
    model: MixedModel,
    offsets: Sequence[Offset],
    judgement: Judgement,
) -> Calibration:
    return Calibration(
        file="calibration.toml",
        readings_file=readings.file,
        readings_as_of=readings.as_of,
        points=point_count(model.points),
        before_db=judgement.before_db,
        after_db=judgement.after_db,
        fingerprint=prediction_fingerprint(scenario),
        offsets=tuple(_trusted(o, model) for o in offsets if o.points >= FEWEST_POINTS),
    )


def public_calibration(report: CalibrationReport) -> Calibration | None:
    """Return the calibration in a form that tells of no point, None where it was refused.

    It says nothing of the places around single points, the area is made of whole squares, least and greatest
    loss are rounded outwards to 5 dB, and offsets that stand on under five points are left out.
    """
    found = report.calibration
    if found is None:
        return None
    offsets = [
        replace(
            offset,
            excess_low_db=PUBLIC_STEP_DB * math.floor(offset.excess_low_db / PUBLIC_STEP_DB),
            excess_high_db=PUBLIC_STEP_DB * math.ceil(offset.excess_high_db / PUBLIC_STEP_DB),
            local=None,
            area_lonlat=public_area_lonlat(
                [
                    (p.latitude_deg, p.longitude_deg)
                    for p in report.points
                    if (p.mast, p.band) == (offset.mast, offset.band)
                ]
            ),
        )
        for offset in found.offsets
        if offset.points >= FEWEST_SHOWN
    ]
    # the file's name may tell of a place
    return replace(found, readings_file="", offsets=tuple(offsets))


def _trusted(offset: Offset, model: MixedModel) -> TrustedOffset:
    """Return an offset with the area and paths of the points it stands on, and what they say around them."""
    mine = [p for p in model.points if (p.mast, p.band) == (offset.mast, offset.band)]
    return TrustedOffset(
        offset.mast, offset.band, offset.offset_db, offset.sd_db, offset.points,
        min(p.excess_db[0] for p in mine), max(p.excess_db[1] for p in mine),
        hull_lonlat([(p.latitude_deg, p.longitude_deg) for p in mine]),
        worst_path([p.path_class for p in mine]),
        model.local_effect(offset.mast),
    )  # fmt: skip


def _spreads_db(model: MixedModel) -> dict[tuple[str, str, str], float]:
    """Return the spread of each residual: by point, mast and band."""
    return {
        (p.point, p.mast, p.band): model.spread.total_db * float(scale)
        for p, scale in zip(model.points, model.scale, strict=True)
    }


def _disagreements(
    residuals: Sequence[Residual],
    offsets: dict[tuple[str, str], float],
    spreads_db: dict[tuple[str, str, str], float],
) -> tuple[Disagreement, ...]:
    """Return readings over two standard deviations from the prediction, the furthest first."""
    found = []
    for residual in residuals:
        station = residual.reading.station
        offset = offsets.get((station.mast, station.band), 0.0)
        low, high = residual.low_db - offset, residual.high_db - offset
        apart_db = low if low > 0.0 else high if high < 0.0 else 0.0
        spread_db = spreads_db[residual.reading.point, station.mast, station.band]
        if abs(apart_db) > FAR_OFF * math.hypot(spread_db, residual.sd_db):
            found.append(Disagreement(residual, apart_db))
    return tuple(sorted(found, key=lambda one: -abs(one.apart_db)))


def _cautions(points: Sequence[PointResidual]) -> tuple[str, ...]:
    """Return where offsets must not be trusted, one sentence a mast."""
    sentences = [say("calibration.inside"), say("calibration.whole_mast")]
    for mast in dict.fromkeys(p.mast for p in points):
        mine = [p for p in points if p.mast == mast]
        most = max(p.ridge_count for p in mine)
        if point_count(mine) < FEWEST_POINTS:
            sentences.append(say("calibration.few_points", mast=mast, points=point_count(mine)))
        elif most == 0:
            sentences.append(say("calibration.no_ridge", mast=mast))
        else:
            sentences.append(say("calibration.ridges", mast=mast, count=most))
    return tuple(sentences)
