"""What a shared antenna costs a home, beside single antennas for all."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from covermap.planning.prices import Price, price_of


@dataclass(frozen=True)
class SharedCost:
    """Costs in the currency of the price list; NaN where a price is missing.

    shared : of the network with its antenna; per_home : of that, a home that is served
    single : of one antenna each for the homes that it can serve; single_per_home : of that, a home
    hours : of the antenna's items; single_hours : of those of the single antennas
    missing : what has no price
    """

    shared: float
    per_home: float
    single: float
    single_per_home: float
    hours: float
    single_hours: float
    missing: tuple[str, ...]


def shared_cost(
    prices: Mapping[str, Price],
    antenna: Sequence[str],
    parts: Iterable[tuple[str, float, float]],
    served: int,
    singles: Sequence[Sequence[str]],
) -> SharedCost:
    """Return what a shared antenna costs.

    prices : of the price list. antenna : items of the shared antenna; singles : those of each home that an
    antenna of its own serves. parts : name, number and price of each part of the network, NaN unknown
    served : homes that the shared antenna serves
    """
    parts = tuple(parts)
    own = price_of(antenna, prices)
    network = sum(number * price for _, number, price in parts if number)
    alone = [price_of(items, prices) for items in singles]
    named = {item for items in (antenna, *singles) for item in items}
    no_price = [item for item in named if math.isnan(prices.get(item, Price(math.nan, math.nan)).price_each)]
    missing = sorted(no_price) + [name for name, number, price in parts if number and math.isnan(price)]
    shared, single = own.price_each + network, sum(one.price_each for one in alone)
    return SharedCost(
        shared=shared,
        per_home=shared / served if served else math.nan,
        single=single if alone else math.nan,
        single_per_home=single / len(alone) if alone else math.nan,
        hours=own.hours_each,
        single_hours=sum(one.hours_each for one in alone),
        missing=tuple(missing),
    )
