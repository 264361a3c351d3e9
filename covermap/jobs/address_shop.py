"""What of the catalogue an address is asked with: installations at heights, or the few worth buying."""

from __future__ import annotations

from collections.abc import Sequence

from covermap.addresses.installed import Shop
from covermap.catalogue import installed
from covermap.errors import InputError
from covermap.inputs.preparation import Preparation
from covermap.jobs.installation_comparison import amplifier_of
from covermap.planning.prices import read_prices

MOST_ROWS = 60  # of the table: installations times heights


def shop_of(
    prepared: Preparation, antennas: Sequence[str], heights_m: Sequence[float], amplifier: str | None
) -> Shop | None:
    """Return what is asked of the catalogue; None where nothing is, and the scenario names no catalogue.

    antennas : ID, ID+ID, an azimuth behind either (ID:135) or @mount, several behind commas
    heights_m : at which each is tried; none: its mount's own

    Raises InputError for an id that is not there, too many rows, and heights without antennas.
    """
    words = [word.strip() for given in antennas for word in given.split(",") if word.strip()]
    if heights_m and not words:
        raise InputError(
            f"--height {heights_m[0]:g} needs --antenna: ids of the catalogue, "
            f"{', '.join(prepared.catalogue.antennas)}."
        )
    if len(words) * max(1, len(heights_m)) > MOST_ROWS:
        raise InputError(
            f"found {len(words)} antennas at {len(heights_m)} heights. A table has up to {MOST_ROWS} rows. "
            "Ask for fewer."
        )
    named = prepared.scenario.settings.reception.antennas is not None
    if not words and not named and amplifier is None:
        return None
    used = amplifier_of(amplifier, prepared.catalogue)
    put_up = tuple(
        installed(word, prepared.catalogue, prepared.tiers, amplifier=used, height_m=height_m)
        for height_m in (heights_m or [float("nan")])
        for word in words
    )
    return Shop(
        tiers=prepared.tiers,
        put_up=put_up,
        catalogue=prepared.catalogue if named and not words else None,
        amplifier=used,
        mast_price=_mast_price(prepared),
        heights_m=tuple(heights_m),
    )


def _mast_price(prepared: Preparation) -> float:
    business = prepared.scenario.settings.business
    if business is None or business.prices is None:
        return 0.0
    prices = read_prices(business.prices)
    return prices["mast"].price_each if "mast" in prices else 0.0
