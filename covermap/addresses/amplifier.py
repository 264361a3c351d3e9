"""What an amplifier at the antenna changes at a point."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from covermap.addresses.report import Amplifier, StationAtPlace
from covermap.reception import Tier
from covermap.reception.options import ReceptionOptions
from covermap.reception.required_field import chain_of
from covermap.scenario.records import Station

LEAST_HELP_DB = 1.0  # judgement: under this nobody sees a difference
NOISE_LIMITED_SHARE = 0.8  # judgement: of the system noise from outside; an amplifier cannot better that


def amplifier_effect(
    tiers: Sequence[Tier],
    stored: int,
    stations: Sequence[StationAtPlace],
    facts: dict[str, Station],
    options: ReceptionOptions,
) -> Amplifier | None:
    """Return what the amplifier does to each station of the list, None where no tier has one.

    stored : the tier needed. Tried at the mount of the first tier with an amplifier, or at the stored tier's
    own where that has one; the same installation with and without it.
    """
    amplified = [tier for tier in tiers if tier.has_amplifier]
    if not amplified:
        return None
    with_it = next((tier for tier in amplified if tier.tier == stored), amplified[0])
    without = replace(with_it, amplifier_gain_db=math.nan, amplifier_noise_figure_db=math.nan)
    effect_db, limited = {}, []
    for one in stations:
        if not one.on_list:
            continue
        station = facts[one.station_id]
        pair = [
            chain_of(tier, station.frequency_mhz, station.bandwidth_mhz, options)
            for tier in (with_it, without)
        ]
        effect_db[one.station_id] = pair[0].cn_minus_field_db - pair[1].cn_minus_field_db
        if pair[1].external_noise_share >= NOISE_LIMITED_SHARE:
            limited.append(one.station_id)
    helps = any(effect >= LEAST_HELP_DB for effect in effect_db.values())
    needed = stored >= with_it.tier
    return Amplifier(
        verdict="helps" if helps and needed else "not_needed" if helps else "does_nothing",
        mount=with_it.name,
        effect_db=effect_db,
        noise_limited=tuple(limited),
        input_dbm=math.nan,
        output_dbm=math.nan,
        headroom_db=math.nan,
        overload_counted=False,
    )
