"""`covermap antenna-test`: the antennas of a log compared, and what is written of it."""

from __future__ import annotations

from pathlib import Path


def compare_antennas(
    log: Path,
    output: Path | None = None,
    *,
    channel_plan: str = "us_6mhz",
    remounted: bool = False,
    tier_table: Path | None = None,
    known_gain: dict[str, tuple[float, float]] | None = None,
    candidate: str | None = None,
    like_tier: int = 5,
) -> str:
    """Compare the antennas of a log, write its page and tables, and return the answer in words.

    output : default, a folder antenna_test beside the log
    remounted : whether the answer must hold for antennas mounted anew
    tier_table : where to write a tier table in which like_tier has the candidate's measured gains, from
        known_gain: band -> the reference's gain and its standard uncertainty. [dBd, dB]

    Raises InputError when the log or a choice is wrong; nothing is written then.
    """
    from covermap.measurements.antenna_test import antenna_test
    from covermap.reports.fieldwork.antenna_page import in_words, write_antenna_test, write_tier_table

    test = antenna_test(log, channel_plan, remounted=remounted)
    if tier_table is not None:
        write_tier_table(test, tier_table, known_gain or {}, candidate, like_tier)
    files = write_antenna_test(test, output or log.parent / "antenna_test")
    return in_words(test, files[0])
