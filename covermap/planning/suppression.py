"""Hides small counts in public tables, with whatever else would reveal them by a sum or a difference."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from covermap.planning.areas import WholeSummary
from covermap.planning.list_tally import HOMES_PREFIX, TIER_NUMBERS
from covermap.planning.tally import FIRST_ROOFTOP_TIER, HALF, NINETY_PERCENT

SMALLEST = 5.0  # counts below are hidden; common practice, no source
UNDER_SMALLEST = 1.0  # stands for all of them where a number must stand
ROUNDED_TO = 10.0  # totals over everything are published so or coarser: less a row, they give no count
FIGURES = 2  # of larger totals, as pages tell homes: rounded once, they read alike everywhere
_REACHED = {"tier_half_of_homes": HALF, "tier_ninety_percent_of_homes": NINETY_PERCENT}
LOW, HIGH = range(FIRST_ROOFTOP_TIER), range(FIRST_ROOFTOP_TIER, len(TIER_NUMBERS) + 1)  # 0 is unknown


def suppress_areas(areas: pd.DataFrame) -> pd.DataFrame:
    """Return the neighbourhoods with small counts missing; frames without homes stay as they are.

    Counts under 5, 0 included, become missing. In each row further ones go, the smallest first, until what
    the published ones leave of homes_total (and of homes_rooftop_or_more) is at least 5 homes in two or
    more columns. A count that leaves under 5 of the total, or moves by under 5 when signals change by 3 dB,
    goes too, and a percentage that stands for under 5 homes. homes_unknown goes in all lists or in none.
    The tiers that half and nine tenths of homes manage with stand only where the published counts imply them.
    """
    if "homes_total" not in areas.columns:
        return areas
    hidden_unknown = set(areas.loc[areas["homes_unknown"].fillna(0.0) < SMALLEST, "neighbourhood_id"])
    # Hiding homes_unknown in one list hides it in all, and that may call for more in those. The set only
    # grows, so this ends.
    while True:
        rows = [_row(row, row["neighbourhood_id"] in hidden_unknown) for _, row in areas.iterrows()]
        table = areas.copy()
        for name in _counted(areas):
            table[name] = pd.array([row[name] for row in rows], dtype="Float64")
        for name, share in _REACHED.items():
            if name in table.columns:
                implied = np.array([_implied_by_published(row, share) is not None for row in rows])
                table[name] = table[name].where(implied)
        now = set(table.loc[table["homes_unknown"].isna(), "neighbourhood_id"])
        if now <= hidden_unknown:
            return table
        hidden_unknown |= now


def suppress_counts(frame: pd.DataFrame, columns: Sequence[str]) -> pd.DataFrame:
    """Return a frame with counts under 5 missing; a range goes with the first of the columns."""
    found = frame.copy()
    for name in columns:
        values = pd.to_numeric(frame[name], errors="coerce").astype("Float64")
        found[name] = values.mask(values < SMALLEST)
    for name in columns[1:]:
        found[name] = found[name].mask(found[columns[0]].isna())
    return found


def round_summary(summary: WholeSummary) -> WholeSummary:
    """Return a whole summary with its homes rounded as rounded() does."""
    columns = summary.columns.copy()
    for name in columns.index:
        value = columns[name]
        if name.startswith(HOMES_PREFIX) and not pd.isna(value):
            columns[name] = rounded(float(value))
    decided = {service: rounded(count) for service, count in summary.decided.items()}
    bars = {shift: [rounded(count) for count in counts] for shift, counts in summary.bars.items()}
    return WholeSummary(columns, decided, bars)


def rounded(count: float) -> float:
    """Return a count rounded to two figures and at least to tens, halves upwards; under 5 becomes 1.

    That 1 reads "under 5"; 0 stays 0.
    """
    if 0.0 < count < SMALLEST:
        return UNDER_SMALLEST
    # not round(), which goes to even tens: 25 would be published as 20, 35 as 40
    step = max(ROUNDED_TO, 10.0 ** (math.floor(math.log10(max(count, 1.0))) + 1 - FIGURES))
    return float(np.floor(count / step + 0.5) * step)


def _counted(areas: pd.DataFrame) -> list[str]:
    """Return the columns that tell a number of homes, directly or as a share."""
    counts = [name for name in areas.columns if name.startswith(HOMES_PREFIX) and name != "homes_year"]
    shares = ["deciding_share_percent", "two_antennas_percent", "high_vhf_percent", "amplifier_helps_percent"]
    shares += ["amplifier_harms_percent", "features_without_count"]
    return counts + [name for name in shares if name in areas.columns]


def _row(row: pd.Series, hide_unknown: bool) -> dict[str, float | None]:
    """Return the counts of one row with what must be hidden as None."""
    counts = {name: row[name] for name in _counted(row.to_frame().T)}
    total = row["homes_total"]
    if pd.isna(total) or total < SMALLEST:
        return dict.fromkeys(counts)
    values: dict[str, float | None] = {
        name: None if pd.isna(value) else float(value) for name, value in counts.items()
    }
    hide_unknown = hide_unknown or row["homes_unknown"] < SMALLEST
    for kind in ("homes_tier_", "homes_expected_tier_"):
        names = ["homes_unknown", *(f"{kind}{tier}" for tier in TIER_NUMBERS)]
        rooftop = "homes_rooftop_or_more" if kind == "homes_tier_" else "homes_expected_rooftop_or_more"
        hidden, hide_rooftop = hidden_parts(np.array([float(row[name]) for name in names]), hide_unknown)
        for name in np.array(names)[hidden]:
            values[name] = None
        if hide_rooftop:
            values[rooftop] = None
    _hide_near_edges(values, float(total))
    _hide_shares(values, row)
    return values


def _implied_by_published(values: dict[str, float | None], share: float) -> int | None:
    """Return the tier that `share` of the known homes manage with if the counts left in a row imply it.

    It is implied where no way to put the hidden homes into the hidden columns gives another one; told
    anywhere else it would narrow them down, with other sums to single counts.
    """
    total, unknown = values["homes_total"], values["homes_unknown"]
    if total is None:
        return None
    parts = [values[f"homes_tier_{tier}"] for tier in TIER_NUMBERS]
    published = np.array([part or 0.0 for part in parts])
    hidden = total - (unknown or 0.0) - published.sum()
    most_known = total - (unknown or 0.0)
    least_known = most_known - (hidden if unknown is None else 0.0)
    for tier, surely in zip(TIER_NUMBERS, np.cumsum(published), strict=True):
        if surely + hidden >= share * least_known:  # it may be this tier; is it no later one?
            return tier if surely >= share * most_known else None
    return None


def hidden_parts(parts: NDArray[np.float64], hide_first: bool = False) -> tuple[NDArray[np.bool_], bool]:
    """Return which of the parts of a total to hide, and whether the sum of the upper ones too.

    parts : unknown and tiers 1 to 8, which add up to a published total; the sum of tiers 5 to 8 is
        published where the second answer is False
    """
    hidden = parts < SMALLEST
    hidden[0] |= hide_first
    upper = parts[list(HIGH)].sum()
    hide_sum = upper < SMALLEST or parts.sum() - upper < SMALLEST
    groups = [list(LOW), list(HIGH)]
    if not hide_sum and all(_can_hide(parts[group]) or not hidden[group].any() for group in groups):
        for group in groups:
            hidden[group] = _enough(parts[group], hidden[group])
        return hidden, False
    return _enough(parts, hidden), True


def _can_hide(parts: NDArray[np.float64]) -> bool:
    return len(parts) > 1 and parts.sum() >= SMALLEST


def _enough(parts: NDArray[np.float64], hidden: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Return hidden parts with the smallest further ones, until 5 homes or more hide in two or more."""
    hidden = hidden.copy()
    while hidden.any() and not hidden.all() and (hidden.sum() < 2 or parts[hidden].sum() < SMALLEST):
        # the smallest goes first: least is lost to the reader
        further = np.flatnonzero(~hidden)
        hidden[further[np.argmin(parts[further])]] = True
    return hidden


def _hide_near_edges(values: dict[str, float | None], total: float) -> None:
    """Hide single counts that are small, leave little of the total, or differ little from one another."""
    kept: dict[str, list[float]] = {"rooftop_or_more": [], "without": []}
    order = ("rooftop_or_more", "without", "expected_rooftop_or_more")
    endings = ("", "_3db_weaker", "_3db_stronger", "_low", "_high")
    for stem in order:
        for ending in endings:
            name = f"{HOMES_PREFIX}{stem}{ending}"
            value = values.get(name)
            if value is None:
                continue
            near = ending.startswith("_3db") and any(abs(value - one) < SMALLEST for one in kept[stem])
            if value < SMALLEST or total - value < SMALLEST or near:
                values[name] = None
            elif stem in kept and ending in ("", "_3db_weaker", "_3db_stronger"):
                kept[stem].append(value)
        if (
            values.get(f"{HOMES_PREFIX}{stem}_low") is None
            or values.get(f"{HOMES_PREFIX}{stem}_high") is None
        ):
            for ending in ("_low", "_high"):
                if f"{HOMES_PREFIX}{stem}{ending}" in values:
                    values[f"{HOMES_PREFIX}{stem}{ending}"] = None


def _hide_shares(values: dict[str, float | None], row: pd.Series) -> None:
    """Hide percentages that stand for, or leave, under 5 homes, and small numbers of features."""
    known = float(row["homes_total"]) - float(row["homes_unknown"])
    for name in values:
        value = values[name]
        if value is None:
            continue
        small = value < SMALLEST and name == "features_without_count" and value > 0
        if name.endswith("_percent"):
            homes = known * value / 100.0
            small = homes < SMALLEST or known - homes < SMALLEST
        if small:
            values[name] = None
