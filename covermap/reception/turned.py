"""Antennas turned to one azimuth for good: what that takes from each station, and from the search of aims.

Where an azimuth is given there is none to look for. What the antenna's pattern takes from a station there
goes off the station's fields, and reception sees an antenna that hears all directions alike.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from covermap.propagation.compiling import kernel
from covermap.reception.aim import AimPlan, plan_of
from covermap.reception.bands import band_of
from covermap.reception.budget import Wanted, mounts_to_try
from covermap.reception.pattern import (
    EITHER,
    cross_polar_loss_db,
    lobe_floor_db,
    lobe_rolloff,
    off_axis_deg,
    off_axis_loss_db,
)
from covermap.reception.plan_columns import (
    AIM_DEG,
    CHANCE,
    DIPLEXED,
    JOINED,
    MOUNT,
    PLAN_COLUMNS,
    SECOND_DEG,
    SECOND_MOUNT,
    SINGLE,
)
from covermap.reception.receiver_site import ReceiverSignals, receiver_site_with
from covermap.reception.signals import CellSignals, StationFacts
from covermap.reception.tiers import Tier

ALL_AROUND_DEG = np.arange(360.0)
VHF_BANDS = ("low_vhf", "high_vhf")


@dataclass(frozen=True, eq=False)
class Turned:
    """One way to mount an installation's turned antennas: each with a polarization.

    aim_deg, rolloff, floor_db, cross_db : one a station, (S,); an aim of NaN: its antenna is not turned
    facts : of the stations, as what hears them now meets them
    """

    aim_deg: NDArray[np.float64]
    rolloff: NDArray[np.float64]
    floor_db: NDArray[np.float64]
    cross_db: NDArray[np.float64]
    facts: StationFacts

    def applied(self, signals: CellSignals) -> CellSignals:
        """Return cells with what the antennas take off their fields."""
        bearing_deg = np.asarray(signals.bearing_deg, np.float64)[np.asarray(self.facts.mast, np.int64)]
        loss_db = np.zeros(bearing_deg.shape)
        _fill_losses(bearing_deg % 360.0, self.aim_deg, self.rolloff, self.floor_db, self.cross_db, loss_db)
        return signals.moved(-loss_db[:, None, :])


def ways_to_turn(tier: Tier, facts: StationFacts, wanted: Wanted) -> tuple[Turned, ...]:
    """Return every way to mount an installation's turned antennas that can be best for a list.

    Nothing where none is turned. Both polarizations are tried only where an antenna is to bring both.
    """
    if not tier.turned_deg:
        return ()
    groups = _bands_by_aim(tier)
    bands = [band_of(float(mhz)) for mhz in facts.frequency_mhz]
    listed = {index for group in wanted.transmitters for index in group}
    mounts = [
        mounts_to_try(np.asarray(facts.polarization)[[s for s in listed if bands[s] in group]]).tolist()
        for group in groups
    ]
    return tuple(_turned(tier, facts, bands, dict(zip(groups, way, strict=True))) for way in product(*mounts))


def hears_all_around(tier: Tier) -> Tier:
    """Return an installation whose turned antennas hear all directions alike and are no longer turned."""
    for band in tier.turned_deg:
        tier = tier.with_part(band, beamwidth_deg=math.nan, front_to_back_db=0.0)
    return replace(tier, turned_deg={})


def best_turned(signals: ReceiverSignals, tier: Tier) -> AimPlan:
    """Return what an installation with a turned antenna brings at a receiver, any other one at its best aim.

    Arguments and errors as covermap.reception.best_aim. Of a pair each antenna stands alone.
    """
    pair = tier.diplexer_loss_db > 0.0
    joined = DIPLEXED if pair else SINGLE
    site = receiver_site_with(signals, tier, joined)
    best = np.empty(PLAN_COLUMNS)
    best[CHANCE] = -1.0
    mounts = site.wanted.mounts.tolist()
    aims = [_aims_deg(tier, VHF_BANDS if pair else (*VHF_BANDS, "uhf"))]
    aims += [_aims_deg(tier, ("uhf",))] if pair else []
    for (mount, *second_mount), (aim_deg, *second_deg) in product(
        product(mounts, repeat=len(aims)), product(*aims)
    ):
        plan = np.zeros(PLAN_COLUMNS)
        plan[JOINED], plan[AIM_DEG], plan[MOUNT], plan[SECOND_DEG] = joined, aim_deg, mount, -1.0
        if pair:
            plan[SECOND_DEG], plan[SECOND_MOUNT] = second_deg[0], second_mount[0]
        plan[CHANCE] = site.chance(plan, signals.needed)
        best = plan if plan[CHANCE] > best[CHANCE] else best
    return plan_of(signals, tier, best)


def _aims_deg(tier: Tier, bands: Sequence[str]) -> NDArray[np.float64]:
    """Return the azimuths an antenna for some bands can have: the one it is turned to, else all."""
    turned = [tier.turned_deg[band] for band in bands if band in tier.turned_deg]
    return np.array(turned[:1]) if turned else ALL_AROUND_DEG


def _bands_by_aim(tier: Tier) -> list[tuple[str, ...]]:
    """Return the bands of each turned antenna."""
    by_aim: dict[float, list[str]] = {}
    for band, aim_deg in tier.turned_deg.items():
        by_aim.setdefault(aim_deg, []).append(band)
    return [tuple(bands) for bands in by_aim.values()]


def _turned(
    tier: Tier, facts: StationFacts, bands: Sequence[str], mount_of: dict[tuple[str, ...], int]
) -> Turned:
    mounts = {band: mount for group, mount in mount_of.items() for band in group}
    rows = np.zeros((4, len(bands)))
    rows[0] = math.nan
    polarization = np.array(facts.polarization, np.int64)
    for station, band in enumerate(bands):
        if band in mounts:
            figures = tier.at(float(facts.frequency_mhz[station]))
            rows[:, station] = (
                tier.turned_deg[band],
                lobe_rolloff(figures.beamwidth_deg),
                lobe_floor_db(figures.beamwidth_deg, figures.front_to_back_db),
                cross_polar_loss_db(mounts[band], int(polarization[station]), tier.cross_polar_db),
            )
    turned = ~np.isnan(rows[0])
    met = replace(facts, polarization=np.where(turned, EITHER, polarization))
    return Turned(rows[0], rows[1], rows[2], rows[3], met)


@kernel
def _fill_losses(bearing_deg, aim_deg, rolloff, floor_db, cross_db, loss_db):
    """Fill what a turned antenna takes from each station in each cell, (S, N); a bearing of NaN gives NaN."""
    for station in range(aim_deg.size):
        if math.isnan(aim_deg[station]):
            continue
        for cell in range(bearing_deg.shape[1]):
            bearing = bearing_deg[station, cell]
            angle_deg = off_axis_deg(aim_deg[station], bearing)
            lost_db = off_axis_loss_db(angle_deg, rolloff[station], floor_db[station], cross_db[station])
            loss_db[station, cell] = math.nan if math.isnan(bearing) else lost_db
