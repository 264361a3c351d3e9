"""What a second opinion says, in words: beside the map's answer, never mixed into it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from covermap.wording.words import half_up, homes_number, percent_whole

MODELS = {"itm": "NTIA ITM, terrain alone", "curves": "the curves of 47 CFR 73.699"}


def more_or_less(difference_db: float) -> str:
    """Return a difference as people say it: '5 dB less', '3 dB more', 'the same within 1 dB'."""
    size = half_up(abs(difference_db))
    if size < 1:
        return "the same within 1 dB"
    return f"{size} dB {'less' if difference_db < 0.0 else 'more'}"


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
        of_homes = f" ({homes_number(count['homes_easier'])} and {homes_number(count['homes_harder'])} homes)"
    return [
        f"A second opinion by {MODELS[model]}: a lower class would do in {easier} of the squares, a higher "
        f"one is needed in {harder}{of_homes}; its weakest signals are {more_or_less(count['mean_db'])} on "
        "the average. The map is the first model's alone."
    ]
