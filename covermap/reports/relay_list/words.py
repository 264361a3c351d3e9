"""A shortlist of hilltops in sentences."""

from __future__ import annotations

from covermap.planning.relay_shortlist import RelayShortlist
from covermap.wording.language import ENGLISH, messages, say
from covermap.wording.words import decimal, homes_number, join, two_figures

_CAUTIONS = tuple(key for key in messages(ENGLISH) if key.startswith("relay_caution."))
LAND_IN_TENTHS_KM2 = 10.0  # less land than this is told to 0.1 km2


def relay_cautions() -> list[str]:
    """Return what must be known before a hilltop is visited."""
    return [say(key) for key in _CAUTIONS]


def count_words(count: float, of_homes: bool) -> str:
    """Return homes, or land in km2, as a number: '4,800', '3.2'."""
    if of_homes:
        return homes_number(count)
    return decimal(count, 1) if count < LAND_IN_TENTHS_KM2 else decimal(two_figures(count))


def relays_in_words(found: RelayShortlist) -> list[str]:
    """Return the shortlist in sentences."""
    sites, of_homes = found.sites, found.of_homes
    need = say(
        "relay.need_homes" if of_homes else "relay.need_land", count=count_words(found.sought, of_homes)
    )
    first = [say("relay.tried", count=decimal(found.candidates), list=found.list_name, sought=need)]
    if not of_homes:
        first.append(say("relay.by_land"))
    chosen = sites[sites["chosen"]] if len(sites) else sites
    if len(chosen) == 0:
        return [*first, say("relay.nothing")]
    best = chosen.iloc[0]
    key = ("relay.one_site" if len(chosen) == 1 else "relay.sites") + ("" if of_homes else "_land")
    return [
        *first,
        say(
            key,
            count=len(chosen),
            total=count_words(float(chosen[found.column("added")].sum()), of_homes),
            place=f"{best.latitude_deg:.5f}, {best.longitude_deg:.5f}",
            alone=count_words(float(best[found.column("reached")]), of_homes),
        ),
        say("relay.assumed", channels=", ".join(found.channels), others=_others(found)),
    ]


def _others(found: RelayShortlist) -> str:
    """Return what the station list says of the assumed channels."""
    parts = [
        say(f"relay.{key}", count=count)
        for key, count in (("on_them", found.same_channel), ("beside", found.beside))
        if count
    ]
    if not parts:
        return say("relay.free")
    return say("relay.harmed" if found.same_channel else "relay.free_but", others=join(parts))
