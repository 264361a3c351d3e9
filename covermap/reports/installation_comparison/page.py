"""What the page of a comparison of installations says, as plain values for its template."""

from __future__ import annotations

import base64
import math
from collections.abc import Sequence
from typing import Any

import pandas as pd

from covermap.planning.installation_comparison import (
    BOTH,
    ONLY_FIRST,
    ONLY_OTHER,
    InstallationComparison,
)
from covermap.reports.brief.picture import Label
from covermap.reports.installation_comparison.picture import difference_picture, painted
from covermap.reports.installation_comparison.words import (
    amplifier_words,
    difference_in_words,
    list_words,
    mount_words,
    number,
    price,
)
from covermap.wording.language import say
from covermap.wording.retold import retold
from covermap.wording.words import join

AREAS_FILE = "antennas_by_neighbourhood.csv"
MOST_AREAS = 12  # neighbourhoods on the page; all of them stand in the table
NOTES = ("own_aim", "one_aim", "most_aim", "filter")
WORDS = (
    "antenna", "mount", "price", "alone", "amplified", "not_held", "known_range", "gained", "lost",
    "neighbourhood",
)  # fmt: skip


def page_facts(
    found: InstallationComparison,
    title: str,
    cautions: Sequence[str],
    labels: Sequence[Label],
    notes: Sequence[str],
    distance_unit: str,
) -> dict[str, Any]:
    """Return the values of the template; arguments as write_installation_comparison()."""
    counted_words = say(f"antennas.{found.counted}_word")
    words = {key: say(f"antennas.{key}") for key in WORDS}
    words |= {
        key: say(f"antennas.{key}", counted=counted_words) for key in ("by_antenna", "by_service", "by_area")
    }
    return {
        "title": say("antennas.title", title=title),
        "over": say(
            "antennas.over", area=title, list=found.list_name, words=list_words(found),
            sure=f"{found.confidence_percent:g} %", first=found.installations[0].name,
        ),
        "words": words,
        "priced": any(not math.isnan(one.price) for one in found.installations),
        "ranged": any(count.low is not None for count in found.counts),
        "amplified": any(count.with_amplifier is not None for count in found.counts),
        "antennas": _antenna_rows(found),
        "services": [
            {"name": service, "counts": [number(count.services[service]) for count in found.counts]}
            for service in found.services
        ],
        "differences": [
            _difference_facts(found, place, labels, distance_unit) for place in range(len(found.differences))
        ],
        "notes": [*(say(f"antennas.{key}") for key in _notes(found)), *notes],
        "cautions": retold(cautions),
    }  # fmt: skip


def _notes(found: InstallationComparison) -> tuple[str, ...]:
    return (*NOTES, "turned") if any(one.turned for one in found.installations) else NOTES


def _antenna_rows(found: InstallationComparison) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = []
    for one, count in zip(found.installations, found.counts, strict=True):
        span = ""
        if count.low is not None and count.high is not None:
            low, high = number(count.low), number(count.high)
            span = low if low == high else say("number.range", low=low, high=high)
        amplified = [] if count.with_amplifier is None else [number(count.with_amplifier)]
        amplified += amplifier_words(one, count) if one.amplifiers else []
        rows.append(
            {
                "name": one.name,
                "short": one.key,
                "unserved": say("antennas.unserved", name=one.name, services=join(list(one.unserved)))
                if one.unserved
                else "",
                "mount": mount_words(one.mount),
                "price": price(one.price),
                "holds": number(count.holds),
                "range": span,
                "amplified": amplified,
                "not_held": number(count.not_held),
            }
        )
    return rows


def _difference_facts(
    found: InstallationComparison, place: int, labels: Sequence[Label], distance_unit: str
) -> dict[str, Any]:
    picture = difference_picture(found, found.differences[place].code, labels, distance_unit)
    names = {"first": found.installations[0].name, "other": found.installations[place + 1].name}
    sentences = difference_in_words(found, place)
    areas = [] if found.areas is None else _area_rows(found.areas[place])
    left = len(areas) - MOST_AREAS
    return {
        "base64": base64.b64encode(picture.png).decode("ascii"),
        "width": picture.width_px,
        "alt": say("antennas.picture", **names),
        "key": [
            {"fill": painted(ONLY_OTHER), "words": say("antennas.only_other", **names)},
            {"fill": painted(ONLY_FIRST), "words": say("antennas.only_first", **names)},
            {"fill": painted(BOTH), "words": say("antennas.both")},
        ],
        "first": sentences[0],
        "others": sentences[1:],
        "areas": areas[:MOST_AREAS],
        "more_areas": say("antennas.more_areas", count=left, file=AREAS_FILE) if left > 0 else "",
    }


def _area_rows(table: pd.DataFrame) -> list[dict[str, str]]:
    """Return the neighbourhoods where something changed, most gained first."""
    changed = table[(table["gained"] > 0) | (table["lost"] > 0)]
    ordered = changed.sort_values(["gained", "lost"], ascending=False)
    return [
        {"name": str(row["neighbourhood_name"]), "gained": number(row["gained"]), "lost": number(row["lost"])}
        for _, row in ordered.iterrows()
    ]
