"""Any few installations as a table of tiers, so that reception rates them as it rates classes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from covermap.constants import BANDS, TIER_COUNT
from covermap.errors import InputError
from covermap.reception.installations import without_amplifier
from covermap.reception.tiers import Tier, TierTable

DEAF_DBD = -300.0  # as little gain as makes every chance 0
SECOND_AIM_ORDER = 0.5  # a pair with an aim for each antenna is tried behind the pair at one aim


def ladder(installations: Sequence[Tier]) -> TierTable:
    """Return installations as tiers 1, 2, ... in the order given; behind them stands what receives nothing.

    The answer for a list is then the first that holds it, 8 where none does. Only a pair behind a diplexer is
    tried with two aims; a single antenna stays single.

    Raises InputError for none, or more than there are tiers.
    """
    if not 1 <= len(installations) <= TIER_COUNT:
        raise InputError(f"a ladder holds 1 to {TIER_COUNT} installations, got {len(installations)}.")
    deaf = _deaf(installations[0])
    rungs = [*installations, *[deaf] * (TIER_COUNT - len(installations))]
    return TierTable(tuple(_rung(tier, number) for number, tier in enumerate(rungs, start=1)))


def _rung(tier: Tier, number: int) -> Tier:
    pair = tier.diplexer_loss_db > 0.0
    return replace(
        tier,
        tier=number,
        cost_order=float(number),
        second_antenna_cost_order=SECOND_AIM_ORDER if pair else math.nan,
    )


def _deaf(tier: Tier) -> Tier:
    """Return an installation at the same mount that receives nothing."""
    return replace(
        without_amplifier(tier),
        diplexer_loss_db=0.0,
        by_frequency=(),
        gain_dbd=dict.fromkeys(BANDS, DEAF_DBD),
        directivity_dbd=dict.fromkeys(BANDS, 0.0),
        beamwidth_deg=dict.fromkeys(BANDS, math.nan),
        front_to_back_db=dict.fromkeys(BANDS, 0.0),
    )


def deaf_in(tier: Tier, bands: Sequence[str]) -> Tier:
    """Return an installation that receives nothing in some bands."""
    for band in bands:
        tier = tier.with_part(band, gain_dbd=DEAF_DBD, directivity_dbd=0.0)
    return tier
