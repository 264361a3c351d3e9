"""The price list of a business: what an item costs and how long fitting it takes."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from covermap.errors import Faults, InputError
from covermap.scenario.csv_dialect import read_csv_table
from covermap.scenario.text_table import Row

ITEMS = (
    *(f"antenna_tier_{tier}" for tier in range(1, 8)),
    "amplifier",
    "mast",
    "high_vhf_antenna",
    "second_antenna",
)
COLUMNS = ("item", "price_each", "hours_each")
MOST = 1e12  # in any currency


@dataclass(frozen=True)
class Price:
    """Price of one item in the list's own currency, and hours to fit it; NaN where not given."""

    price_each: float
    hours_each: float


def price_of(items: Sequence[str], prices: Mapping[str, Price]) -> Price:
    """Return what items cost together and how long fitting them takes; NaN where one is not known."""
    found = [prices.get(item, Price(math.nan, math.nan)) for item in items]
    # NaN adds up to NaN: one missing price makes the sum unknown, not smaller
    return Price(sum(one.price_each for one in found), sum(one.hours_each for one in found))


def read_prices(path: Path) -> dict[str, Price]:
    """Return item -> Price from a CSV with the columns item, price_each and hours_each.

    high_vhf_antenna and second_antenna are what they cost on top of the antenna of the tier. An item that
    is not listed has no price. Rows that begin with # are remarks.

    Raises InputError, all faults of the list together, for a missing column, an unknown or repeated item, a
    number that is none or negative, and a list without items.
    """
    table = read_csv_table(path, lambda column: column in COLUMNS[1:])
    missing = [name for name in COLUMNS if name not in table.columns]
    if missing:
        raise InputError(
            f"{table.file} ([business] prices): there is no column {missing[0]!r}. Its columns are "
            f"{', '.join(table.columns[:20])}; it needs {', '.join(COLUMNS)}."
        )
    prices: dict[str, Price] = {}
    faults = Faults()
    for row in table.rows:
        item = row.text("item")
        if item.startswith("#"):
            continue
        if item in prices:
            faults.of(None, _refuse, row, "The item stands there twice. Keep one row.")
        elif item not in ITEMS:
            faults.of(
                None, _refuse, row, f"Items are {', '.join(ITEMS)}. Correct the cell or remove the row."
            )
        else:
            prices[item] = Price(*(faults.of(math.nan, _number, row, column) for column in COLUMNS[1:]))
    faults.tell()
    if not prices:
        raise InputError(f"{table.file} ([business] prices): it has no items. Items are {', '.join(ITEMS)}.")
    return prices


def _refuse(row: Row, right: str) -> None:
    raise row.wrong("item", right)


def _number(row: Row, column: str) -> float:
    """Return a number of at least 0, NaN for blank."""
    right = "Write a number of at least 0, or leave it blank."
    value = row.number(column, right)
    if value is not None and not 0.0 <= value <= MOST:
        raise row.wrong(column, right)
    return math.nan if value is None else value
