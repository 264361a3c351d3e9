"""What a second opinion says, in words: beside the map's answer, never mixed into it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from covermap.wording.language import say
from covermap.wording.words import half_up, homes_number, percent_whole

MODELS = ("itm", "curves")


def other_model(model: str) -> str:
    """Return a model of the second opinion in words: 'NTIA ITM, terrain alone'."""
    return say(f"second_opinion.{model}")


def more_or_less(difference_db: float) -> str:
    """Return a difference as people say it: '5 dB less', '3 dB more', 'the same within 1 dB'."""
    size = half_up(abs(difference_db))
    if size < 1:
        return say("second_opinion.same")
    return say("second_opinion.less" if difference_db < 0.0 else "second_opinion.more", size=size)


def second_opinion_in_words(run: Mapping[str, Any], list_name: str) -> list[str]:
    """Return the sentence on a list's second opinion; none where the run asked for none."""
    count = (run.get("second_opinion") or {}).get(list_name)
    model = run.get("options", {}).get("prediction", {}).get("second_opinion")
    if not count or not count["squares"] or model not in MODELS:
        return []
    squares = count["squares"]
    easier, harder = (percent_whole(100.0 * count[name] / squares) for name in ("easier", "harder"))
    of_homes = ""
    if count.get("homes"):
        fewer, more = homes_number(count["homes_easier"]), homes_number(count["homes_harder"])
        of_homes = say("second_opinion.of_homes", easier=fewer, harder=more)
    return [
        say(
            "second_opinion.words", model=other_model(model), easier=easier, harder=harder, homes=of_homes,
            difference=more_or_less(count["mean_db"]),
        )
    ]  # fmt: skip
