"""The stock of a scenario's catalogue: by the run's own reception, from the store."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import product

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from covermap.catalogue import Installed, installed
from covermap.constants import TIER_COUNT, UNKNOWN_UINT8
from covermap.errors import InputError
from covermap.inputs.preparation import Preparation
from covermap.jobs.installation_reception import first_holding_question
from covermap.jobs.over_cells import Inquiry, cells_with_homes
from covermap.jobs.page_antennas import installations_on_page
from covermap.planning.antenna_stock import NONE_HOLDS, UNKNOWN, antenna_stock
from covermap.planning.installation_comparison import ComparedInstallation
from covermap.reception.tiers import Tier

MOST_PAIRS = 7  # the least costly ones of an antenna for UHF and one for VHF (judgement)


def catalogue_stock(prepared: Preparation) -> Inquiry[pd.DataFrame]:
    """Ask for homes by neighbourhood and the least costly installation of the catalogue, for every list.

    Raises InputError without homes.
    """
    counted, homes, lists = prepared.counted, prepared.homes, prepared.scenario.wanted
    if homes is None:
        raise InputError("The stock needs homes. Add [homes] to the scenario.")
    ordered = by_cost(prepared)
    ladders, cells = _ladders([tier for _, tier in ordered]), cells_with_homes(prepared)

    def tell(values: Sequence[NDArray[np.uint8]]) -> pd.DataFrame:
        tables = [
            antenna_stock(
                wanted.name,
                least_costly(variant, len(ordered)),
                [installation for installation, _ in ordered],
                homes,
                prepared.grid,
                counted.service_area,
                counted.neighbourhoods,
            )
            for wanted, variant in zip(lists, values, strict=True)
        ]
        return pd.concat(tables, ignore_index=True)

    return Inquiry(tuple(first_holding_question(prepared, ladders, one, cells) for one in lists), tell)


def by_cost(prepared: Preparation) -> list[tuple[ComparedInstallation, Tier]]:
    """Return what may be stocked, the least costly first: single antennas and a few pairs, without and with
    each amplifier that is worth trying.

    A mast counts with its price of the price list. Where a price is missing, the mount's place in the ladder
    of classes stands in for it, behind all that have one.
    """
    prices = prepared.counted.prices or {}
    mast = prices["mast"].price_each if "mast" in prices else 0.0
    found = []
    for one in (*installations_on_page(prepared), *_pairs(prepared)):
        for place, (tier, device) in enumerate(one.variants):
            price = one.price(device) + (mast if one.mount == "mast" else 0.0)
            beside = () if device is None else ((device.name, device.price),)
            told = ComparedInstallation(one.key, one.name, one.mount, beside, price)
            unknown = math.isnan(price)
            found.append(((unknown, tier.cost_order + place if unknown else price), told, tier))
    return [(told, tier) for _, told, tier in sorted(found, key=lambda item: item[0])]


def least_costly(variant: NDArray[np.uint8], count: int) -> NDArray[np.int16]:
    """Return the place of the first installation that holds, from the variants of ladders of up to 7.

    variant : (ladders, rows, cols) of first_holding_question(). count : installations in all
    """
    found = np.full(variant.shape[1:], NONE_HOLDS, dtype=np.int16)
    for number in range(len(variant) - 1, -1, -1):
        here = variant[number]
        holds = (here > 0) & (here != UNKNOWN_UINT8)
        found[holds] = np.minimum(number * TIER_COUNT + here[holds].astype(np.int16) - 1, count - 1)
    found[variant[0] == UNKNOWN_UINT8] = UNKNOWN
    return found


def _ladders(tiers: list[Tier]) -> list[list[Tier]]:
    return [tiers[start : start + TIER_COUNT] for start in range(0, len(tiers), TIER_COUNT)]


def _pairs(prepared: Preparation) -> list[Installed]:
    """Return the least costly pairs of an antenna for UHF and one for VHF."""
    catalogue = prepared.catalogue
    uhf = [one for one in catalogue.antennas.values() if one.kind == "uhf"]
    vhf = [one for one in catalogue.antennas.values() if one.kind in ("high_vhf", "low_vhf")]
    pairs = [(one, other) for one, other in product(uhf, vhf) if set(one.mounts) & set(other.mounts)]
    pairs.sort(key=lambda pair: sum(0.0 if math.isnan(one.price) else one.price for one in pair))
    keys = [f"{one.antenna_id}+{other.antenna_id}" for one, other in pairs[:MOST_PAIRS]]
    return [installed(key, catalogue, prepared.tiers) for key in keys]
