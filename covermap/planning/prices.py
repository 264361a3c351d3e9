"""The price list of a business: what an item costs and how long fitting it takes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import pandas as pd

from covermap.errors import InputError

ITEMS = (
    *(f"antenna_tier_{tier}" for tier in range(1, 8)),
    "amplifier",
    "mast",
    "high_vhf_antenna",
    "second_antenna",
)
COLUMNS = ("item", "price_each", "hours_each")


@dataclass(frozen=True)
class Price:
    """Price of one item in the list's own currency, and hours to fit it; NaN where not given."""

    price_each: float
    hours_each: float


def read_prices(path: Path) -> dict[str, Price]:
    """Return item -> Price from a CSV with the columns item, price_each and hours_each.

    high_vhf_antenna and second_antenna are what they cost on top of the antenna of the tier. An item that
    is not listed has no price. Raises InputError for a missing column, an unknown or repeated item, or a
    number that is none or negative.
    """
    try:
        table = pd.read_csv(path, dtype=str, keep_default_na=False, encoding="utf-8-sig", comment="#")
    except (OSError, ValueError) as error:
        raise InputError(
            f"{path.name} ([business] prices): not readable ({error}). Give a CSV file."
        ) from error
    missing = [name for name in COLUMNS if name not in table.columns]
    if missing:
        raise InputError(
            f"{path.name}: there is no column {missing[0]!r}. Its columns are {', '.join(table.columns)}; "
            f"it needs {', '.join(COLUMNS)}."
        )
    prices: dict[str, Price] = {}
    for line, row in enumerate(table.itertuples(index=False), start=2):
        item = str(row.item).strip()
        where = f"{path.name}, line {line}"
        if item not in ITEMS:
            raise InputError(f"{where}: found item {item!r}. Items are {', '.join(ITEMS)}.")
        if item in prices:
            raise InputError(f"{where}: item {item!r} stands there twice. Keep one row.")
        prices[item] = Price(
            _number(row.price_each, f"{where}, column price_each"),
            _number(row.hours_each, f"{where}, column hours_each"),
        )
    return prices


def _number(text: object, where: str) -> float:
    """Return a number of at least 0, NaN for blank."""
    if not str(text).strip():
        return math.nan
    try:
        value = float(str(text))
    except ValueError:
        value = -1.0
    if not (math.isfinite(value) and value >= 0.0):
        raise InputError(f"{where}: found {text!r}. Write a number of at least 0, or leave it blank.")
    return value
