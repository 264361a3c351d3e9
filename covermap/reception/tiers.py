"""The seven receiving installations, as plain records. They are read by covermap.tables.tiers."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Any, NamedTuple

import numpy as np

from covermap.reception.bands import band_of


class AntennaFigures(NamedTuple):
    """An antenna at one frequency.

    gain_dbd : delivered to the cable. directivity_dbd : the same without losses of the antenna
    beamwidth_deg : between the half-power points; NaN receives from all directions alike
    gain_sd_db : how far the gain of one antenna of the kind can be off
    """

    gain_dbd: float
    directivity_dbd: float
    beamwidth_deg: float
    front_to_back_db: float
    gain_sd_db: float = 0.0


@dataclass(frozen=True)
class Distribution:
    """An amplifier inside the house, between the antenna's cable and the splitter.

    gain_db, noise_figure_db : of the amplifier
    in_max_dbm, out_max_dbm : greatest total power at its ports
    cable_m : from it to the receiver; the tier's own cable then ends at it
    """

    gain_db: float
    noise_figure_db: float
    in_max_dbm: float
    out_max_dbm: float
    cable_m: float


@dataclass(frozen=True)
class Tier:
    """One class of receiving installation, easiest first (tier 1).

    indoors : True where building entry and indoor noise count
    height_m : antenna above ground
    entry_loss_db, entry_loss_sd_db : building entry, median and standard deviation; 0 outdoors
    cable_m : antenna (or amplifier) to receiver; passive_loss_db : splitter and outlets behind it
    amplifier_gain_db, amplifier_noise_figure_db : NaN where there is no amplifier
    amp_in_max_dbm, amp_out_max_dbm : greatest total power at the amplifier's ports; inf without one
    cross_polar_db : rejection of a signal of the other polarization
    cost_order : price relative to the cheapest indoor antenna
    second_antenna_cost_order : of a second antenna and its combiner, on the same scale; NaN: none is put up
    source : where the row's figures come from; "judgement" where nobody published them
    distribution : an amplifier inside the house behind the cable, None without
    gain_dbd, directivity_dbd, beamwidth_deg, front_to_back_db : band (low_vhf, high_vhf, uhf) ->
        value; a beamwidth of NaN receives from all directions alike
    by_frequency : (frequency_mhz, figures) in order of frequency; within a band that has some they count
        instead of the band's values
    diplexer_loss_db : of the diplexer of an installation whose bands come from two antennas; 0 for one
    gain_sd_db : band -> how far the gain of one antenna of the kind can be off; a band without has 0
    receiver_sd_db : how far the noise of cable, outlets and set can be off; amplifier_sd_db : the amplifier's
    antennas : ids of the catalogue's antennas that the tier stands for
    turned_deg : band -> azimuth to which its antenna is turned for good; one without is aimed at each home
    passive_loss_by_band : band -> what counts there instead of passive_loss_db
    """

    tier: int
    name: str
    indoors: bool
    height_m: float
    entry_loss_db: float
    entry_loss_sd_db: float
    cable_m: float
    passive_loss_db: float
    amplifier_gain_db: float
    amplifier_noise_figure_db: float
    amp_in_max_dbm: float
    amp_out_max_dbm: float
    cross_polar_db: float
    cost_order: float
    source: str
    gain_dbd: dict[str, float]
    directivity_dbd: dict[str, float]
    beamwidth_deg: dict[str, float]
    front_to_back_db: dict[str, float]
    second_antenna_cost_order: float = math.nan
    distribution: Distribution | None = None
    by_frequency: tuple[tuple[float, AntennaFigures], ...] = ()
    diplexer_loss_db: float = 0.0
    gain_sd_db: dict[str, float] = field(default_factory=dict)
    receiver_sd_db: float = 0.0
    amplifier_sd_db: float = 0.0
    antennas: tuple[str, ...] = ()
    turned_deg: dict[str, float] = field(default_factory=dict)
    passive_loss_by_band: dict[str, float] = field(default_factory=dict)

    def passive_db(self, frequency_mhz: float) -> float:
        """Return the loss of splitter and outlets behind the cable at a frequency. [dB]"""
        return self.passive_loss_by_band.get(band_of(frequency_mhz), self.passive_loss_db)

    def at(self, frequency_mhz: float) -> AntennaFigures:
        """Return the antenna at a frequency: linear between two of its own, beyond them the nearest's."""
        band = band_of(frequency_mhz)
        points = [point for point in self.by_frequency if band_of(point[0]) == band]
        if not points:
            return AntennaFigures(
                self.gain_dbd[band],
                self.directivity_dbd[band],
                self.beamwidth_deg[band],
                self.front_to_back_db[band],
                self.gain_sd_db.get(band, 0.0),
            )
        mhz = [point[0] for point in points]
        columns = zip(*(figures for _, figures in points), strict=True)
        return AntennaFigures._make(float(np.interp(frequency_mhz, mhz, column)) for column in columns)

    def with_part(self, band: str, **figures: float) -> Tier:
        """Return the installation with other figures in a band; names as in AntennaFigures."""
        changed: dict[str, Any] = {
            name: {**getattr(self, name), band: value} for name, value in figures.items()
        }
        points = tuple(
            (mhz, of_mhz._replace(**figures) if band_of(mhz) == band else of_mhz)
            for mhz, of_mhz in self.by_frequency
        )
        return replace(self, by_frequency=points, **changed)

    @property
    def has_amplifier(self) -> bool:
        """Return True where a masthead amplifier is part of the installation."""
        return self.amplifier_gain_db == self.amplifier_gain_db  # NaN is not equal to itself


@dataclass(frozen=True)
class TierTable:
    """Tiers 1 to 7 in order; table[5] is tier 5."""

    tiers: tuple[Tier, ...]

    def __getitem__(self, tier: int) -> Tier:
        """Return a tier by its number, 1 to 7."""
        if not 1 <= tier <= len(self.tiers):
            raise KeyError(tier)
        return self.tiers[tier - 1]

    def __len__(self) -> int:
        """Return the number of tiers."""
        return len(self.tiers)

    def __iter__(self):
        """Iterate over the tiers, easiest first."""
        return iter(self.tiers)
