"""Readings against the exact path at the same height: measured minus predicted."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from covermap.grid.point_field import PATH_HEIGHT_M, PointField, point_field
from covermap.inputs.noise_at import environment_at
from covermap.measurements.reading_doubts import aim_and_leaf_words, leaf_sd_db, off_aim
from covermap.measurements.readings import Reading
from covermap.measurements.trusted_area import worst_path
from covermap.propagation import Profile, path_class, ridges
from covermap.propagation.sweep.taut_string import CLASS_MHZ
from covermap.reception.chain import receiving_chain
from covermap.reception.entry import entry_db
from covermap.reception.external_noise import external_noise_db
from covermap.reception.tiers import Tier
from covermap.scenario.records import Scenario
from covermap.tables import read_external_noise
from covermap.terrain import Terrain
from covermap.wording.language import say
from covermap.wording.words import row_place

MER_SD_DB = 3.0  # judgement: how far C/N from a MER reading is off
MER_CEILING_DB = 30.0  # judgement: above it echoes and the meter decide, not the signal
THRESHOLD_SD_DB = 2.0  # judgement: how far a tuner's own threshold is off


@dataclass(frozen=True)
class Residual:
    """Measured minus predicted field of one reading; the truth lies between low_db and high_db.

    sd_db : what the reading itself adds to the spread (building entry, MER, threshold)
    predicted_dbuvm : at the reading's height, outdoors, 50 % of time; excess_db : of the path over free space
    path_class : one of covermap.propagation.ridges.PATH_CLASSES
    """

    reading: Reading
    low_db: float
    high_db: float
    sd_db: float
    predicted_dbuvm: float
    excess_db: float
    distance_km: float
    ridge_count: int
    path_class: str

    @property
    def is_exact(self) -> bool:
        """Return whether the residual itself is known."""
        return self.low_db == self.high_db


def compare(
    readings: Sequence[Reading], scenario: Scenario, terrain: Terrain
) -> tuple[list[Residual], list[str]]:
    """Return the residual of each reading, and sentences on those without a prediction or doubtful by aim
    and leaves."""
    residuals, without = [], []
    offs = []
    noise = read_external_noise()
    for reading in readings:
        station = reading.station
        field = point_field(
            scenario, terrain, station, reading.latitude_deg, reading.longitude_deg, reading.height_m
        )
        if math.isnan(field.field_dbuvm):
            place = {"where": row_place(reading.where), "service": station.service}
            without.append(say("calibration.doubt.off_elevation", **place))
            continue
        if field.near:
            without.append(say("calibration.doubt.near", where=row_place(reading.where)))
            continue
        off = off_aim(reading, field.profile)
        offs.append(off)
        environment = environment_at(
            scenario.settings.reception, terrain, reading.latitude_deg, reading.longitude_deg
        )
        low, high, sd_db = measured_field(reading, scenario, noise, environment)
        sd_db = math.hypot(sd_db, reading.value_sd_db, off.sd_db, leaf_sd_db(reading, terrain))
        shift_db = off.loss_db - field.field_dbuvm
        residuals.append(
            Residual(
                reading,
                low + shift_db,
                high + shift_db,
                sd_db,
                field.field_dbuvm,
                field.excess_db,
                field.profile.length_km,
                *_in_the_way(reading, field, scenario),
            )
        )  # fmt: skip
    without += aim_and_leaf_words([r.reading for r in residuals], offs, terrain)
    return residuals, without


def _in_the_way(reading: Reading, field: PointField, scenario: Scenario) -> tuple[int, str]:
    """Return how many ridges the path crosses, and its class as a map has it (600 MHz, 10 m)."""
    profile = Profile(field.profile.distance_km, np.asarray(field.profile.ground_m))
    station, prediction = reading.station, scenario.settings.prediction
    # Lower antennas take the path to 10 m less the terminal's loss, so it is that path's ridges that count.
    heights_m = station.antenna_height_m, max(reading.height_m, 10.0)
    common = {"frequency_mhz": station.frequency_mhz, "dn": prediction.dn}
    crossed = ridges(profile, tx_height_m=heights_m[0], rx_height_m=heights_m[1], **common)
    found = path_class(
        profile, frequency_mhz=CLASS_MHZ, tx_height_m=heights_m[0], rx_height_m=PATH_HEIGHT_M,
        dn=prediction.dn, n0=prediction.n0,
    )  # fmt: skip
    return len(crossed), found


def measured_field(
    reading: Reading, scenario: Scenario, noise: dict, environment: str
) -> tuple[float, float, float]:
    """Return the bounds of the outdoor field at the antenna's height, in dB(uV/m), and the reading's own sd.

    A level gives the field; MER gives C/N up to 30 dB and a lower bound above; yes and no are bounds at the
    field the installation needs. Indoors the tier's building entry is added.
    Source: as receiving_chain; the spreads are judgement.
    """
    tier = reading.tier
    building, mhz = scenario.settings.reception.building, reading.station.frequency_mhz
    of_entry_db, entry_sd_db = (0.0, 0.0) if tier is None else entry_db(tier, mhz, building)
    if reading.kind == "field":
        return reading.value_db + of_entry_db, reading.value_db + of_entry_db, entry_sd_db
    installed = _as_installed(reading)
    station = reading.station
    options = scenario.settings.reception
    chain = receiving_chain(
        installed,
        station.frequency_mhz,
        external_noise_db=external_noise_db(station.frequency_mhz, environment, installed.indoors, noise),
        tuner_noise_figure_db=options.tuner_noise_figure_db,
        bandwidth_mhz=station.bandwidth_mhz,
    )
    if reading.kind == "mer":
        level = min(reading.value_db, MER_CEILING_DB) - chain.cn_minus_field_db + of_entry_db
        sd_db = math.hypot(entry_sd_db, MER_SD_DB)
        return level, (level if reading.value_db < MER_CEILING_DB else math.inf), sd_db
    required_cn_db = station.indoor_cn_db if installed.indoors else station.required_cn_db
    needed = required_cn_db - chain.cn_minus_field_db + of_entry_db
    sd_db = math.hypot(entry_sd_db, THRESHOLD_SD_DB)
    if reading.decoded == "breaking":
        return needed, needed, sd_db
    return (-math.inf, needed, sd_db) if reading.kind == "lost" else (needed, math.inf, sd_db)


def _as_installed(reading: Reading) -> Tier:
    """Return the reading's tier with the gain that the row gives."""
    tier = reading.tier
    if tier is None:
        raise ValueError(f"{reading.where} names no mount")  # readings.py lists such rows as unreadable
    if math.isnan(reading.gain_dbd):
        return tier
    gain_dbd = reading.gain_dbd
    return tier.with_part(reading.station.band, gain_dbd=gain_dbd, directivity_dbd=max(gain_dbd, 0.0))


@dataclass(frozen=True)
class PointResidual:
    """What one point says about one mast in one band: its readings there are not independent.

    sd_db : the readings' own spread, smallest of them
    """

    point: str
    mast: str
    band: str
    low_db: float
    high_db: float
    sd_db: float
    latitude_deg: float
    longitude_deg: float
    excess_db: tuple[float, float]
    ridge_count: int
    path_class: str


def by_point(residuals: Sequence[Residual]) -> list[PointResidual]:
    """Return one value a point, mast and band: the mean of the exact ones, else the tightest bounds."""
    groups: dict[tuple[str, str, str], list[Residual]] = defaultdict(list)
    for residual in residuals:
        station = residual.reading.station
        groups[residual.reading.point, station.mast, station.band].append(residual)
    return [_at_point(*key, group) for key, group in groups.items()]


def _at_point(point: str, mast: str, band: str, group: list[Residual]) -> PointResidual:
    exact = [r.low_db for r in group if r.is_exact]
    low = float(np.mean(exact)) if exact else max(r.low_db for r in group)
    high = low if exact else min(r.high_db for r in group)
    if low > high:  # one service seen, another of the mast not, against the prediction's order
        low = high = 0.5 * (low + high)
    used = [r for r in group if r.is_exact] or group
    first = group[0].reading
    excess = [r.excess_db for r in group]
    return PointResidual(
        point, mast, band, low, high, min(r.sd_db for r in used), first.latitude_deg, first.longitude_deg,
        (min(excess), max(excess)), max(r.ridge_count for r in group),
        worst_path([r.path_class for r in group]),
    )  # fmt: skip
