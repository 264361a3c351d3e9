"""Public tables: what is published gives no count under five, however it is added and subtracted."""

import itertools

import numpy as np
import pandas as pd
import pytest
from scipy.optimize import LinearConstraint, milp

from covermap.planning.areas import WholeSummary
from covermap.planning.suppression import (
    hidden_parts,
    round_summary,
    rounded,
    suppress_areas,
    suppress_counts,
)
from covermap.wording.words import homes_number

ATOMS = 9  # unknown and tiers 1 to 8
SUBSETS = np.array(list(itertools.product([0, 1], repeat=ATOMS)), dtype=float)


def reveals(published, values):
    """Return the counts of homes under 5 that the published sums give: subsets of the parts in their span.

    published : vectors (K, 9) whose sums are told; values : the true parts. A subset of the parts can be
    worked out exactly when its indicator is a linear combination of what is published.
    """
    basis = np.linalg.svd(np.array(published))[2][: np.linalg.matrix_rank(np.array(published))]
    left = SUBSETS - SUBSETS @ basis.T @ basis
    told = (np.abs(left).max(axis=1) < 1e-9) & SUBSETS.any(axis=1)
    counts = SUBSETS[told] @ values
    return counts[counts < 5.0 - 1e-9]


def published_of(row, kind):
    vectors = []
    names = ["homes_unknown", *(f"homes_{kind}tier_{tier}" for tier in range(1, 9))]
    for index, name in enumerate(names):
        if not pd.isna(row[name]):
            vectors.append(np.eye(ATOMS)[index])
    if not pd.isna(row["homes_total"]):
        vectors.append(np.ones(ATOMS))
    if not pd.isna(row[f"homes_{kind}rooftop_or_more"]):
        vectors.append(np.r_[np.zeros(5), np.ones(4)])
    return vectors


def areas(rng, rows, real):
    scale = rng.choice([0.6, 4.0, 30.0], (rows, ATOMS)) * rng.integers(0, 2, (rows, ATOMS))
    parts = rng.poisson(scale).astype(float)
    table = pd.DataFrame({"neighbourhood_id": [f"n{n // 2}" for n in range(rows)]})
    table["homes_unknown"] = parts[:, 0]
    shares = rng.dirichlet(np.ones(8), rows) * parts[:, 1:].sum(axis=1, keepdims=True)
    for tier in range(1, 9):
        table[f"homes_tier_{tier}"] = parts[:, tier]
        table[f"homes_expected_tier_{tier}"] = shares[:, tier - 1] if real else parts[:, tier]
    table["homes_total"] = parts.sum(axis=1)
    table["homes_rooftop_or_more"] = parts[:, 5:].sum(axis=1)
    table["homes_expected_rooftop_or_more"] = table[[f"homes_expected_tier_{t}" for t in (5, 6, 7, 8)]].sum(
        axis=1
    )
    table["homes_rooftop_or_more_3db_weaker"] = table["homes_rooftop_or_more"] + rng.integers(0, 9, rows)
    table["homes_without"] = rng.uniform(0, 12, rows)
    table["deciding_share_percent"] = rng.uniform(0, 100, rows)
    return table


@pytest.mark.parametrize("real", [False, True])
def test_no_sum_or_difference_of_published_columns_reveals_a_count_under_5(real):
    table = areas(np.random.default_rng(4), 300, real)
    found = suppress_areas(table)
    told = 0
    for (_, row), (_, true) in zip(found.iterrows(), table.iterrows(), strict=True):
        for kind in ("", "expected_"):
            published = published_of(row, kind)
            if not published:
                continue
            names = ["homes_unknown", *(f"homes_{kind}tier_{tier}" for tier in range(1, 9))]
            values = true[names].to_numpy(dtype=float)
            assert reveals(published, values).size == 0, (row.to_dict(), true.to_dict())
            told += len(published)
    assert told > 300  # it is not safe by saying nothing


def test_two_lists_of_one_neighbourhood_together_reveal_no_count_under_5():
    rng = np.random.default_rng(99)
    for trial in range(120):
        unknown, total = int(rng.choice([0, 0, 2, 7, 40])), int(rng.choice([3, 8, 20, 60, 300]))
        tiers = [rng.multinomial(total, rng.dirichlet(np.full(8, rng.choice([0.2, 1, 5])))) for _ in range(2)]
        rows = []
        for parts in tiers:
            row = {"neighbourhood_id": "n", "homes_total": total + unknown, "homes_unknown": unknown}
            row |= {f"homes_{kind}tier_{n + 1}": parts[n] for n in range(8) for kind in ("", "expected_")}
            row |= {f"homes_{kind}rooftop_or_more": parts[4:].sum() for kind in ("", "expected_")}
            rows.append(row)
        found = suppress_areas(pd.DataFrame(rows))
        # 17 parts: unknown, then tiers 1 to 8 of each list; both lists are of the same homes
        known = [np.r_[0.0, np.ones(8), -np.ones(8)]]
        for place, (_, row) in enumerate(found.iterrows()):
            for vector in published_of(row, ""):
                whole = np.zeros(17)
                whole[0], whole[1 + 8 * place : 9 + 8 * place] = vector[0], vector[1:]
                known.append(whole)
        basis = np.linalg.svd(np.array(known))[2][: np.linalg.matrix_rank(np.array(known))]
        for place, parts in enumerate(tiers):
            asked = np.zeros((len(SUBSETS), 17))
            asked[:, 0], asked[:, 1 + 8 * place : 9 + 8 * place] = SUBSETS[:, 0], SUBSETS[:, 1:]
            told = (np.abs(asked - asked @ basis.T @ basis).max(axis=1) < 1e-9) & SUBSETS.any(axis=1)
            assert (SUBSETS[told] @ np.r_[unknown, parts] >= 5).all(), trial


def test_single_counts_leave_at_least_5_of_the_total_and_of_each_other():
    table = areas(np.random.default_rng(6), 200, False)
    found = suppress_areas(table)
    for name in ("homes_rooftop_or_more", "homes_rooftop_or_more_3db_weaker", "homes_without"):
        shown = found[name].notna()
        assert (found[name][shown] >= 5).all()
        assert (found.homes_total[shown] - found[name][shown] >= 5).all()
    both = found.homes_rooftop_or_more.notna() & found.homes_rooftop_or_more_3db_weaker.notna()
    moved = found.homes_rooftop_or_more_3db_weaker[both] - found.homes_rooftop_or_more[both]
    assert (moved >= 5).all()
    shown = found.deciding_share_percent.notna()
    homes = (table.homes_total - table.homes_unknown)[shown] * found.deciding_share_percent[shown] / 100.0
    assert (homes >= 5).all()


def test_unknown_is_hidden_in_all_lists_of_a_neighbourhood_or_in_none():
    found = suppress_areas(areas(np.random.default_rng(8), 200, False))
    hidden = found.assign(hidden=found.homes_unknown.isna()).groupby("neighbourhood_id").hidden.nunique()
    assert (hidden == 1).all()


def test_a_hidden_part_never_stands_alone():
    # 3 must go; alone it would be the total less the others, so the next smallest goes with it
    hidden, hide_sum = hidden_parts(np.array([50.0, 60, 70, 80, 90, 3, 20, 30, 40]))
    assert hidden.tolist() == [False, False, False, False, False, True, True, False, False]
    assert not hide_sum


def test_zones_lose_small_counts_with_their_ranges():
    zones = pd.DataFrame(
        {"homes": [3.0, 12.0, None], "homes_low": [1.0, 6.0, None], "homes_high": [9.0, 20.0, None]}
    )
    found = suppress_counts(zones, ["homes", "homes_low", "homes_high"])
    assert found.isna().all(axis=1).tolist() == [True, False, True]


@pytest.mark.parametrize("count", [4849.0, 4850.0, 12_449.0, 994.9, 104.9, 105.0])
def test_a_total_reads_in_public_as_it_does_elsewhere(count):
    assert homes_number(rounded(count)) == homes_number(count)
    assert rounded(rounded(count)) == rounded(count)


def test_totals_are_rounded_to_two_figures_and_at_least_to_tens():
    columns = pd.Series({"homes_total": 4849.0, "homes_without": 3.0, "deciding_service": "Alpha"})
    found = round_summary(WholeSummary(columns, {"Alpha": 47.0}, {"predicted": [5.0, 14.9]}))
    assert found.columns.homes_total == 4800
    assert found.columns.homes_without == 1  # reads 'under 5', never 'none'
    assert found.decided == {"Alpha": 50.0}
    assert found.bars == {"predicted": [10.0, 10.0]}


PARTS = ["homes_unknown", *(f"homes_tier_{tier}" for tier in range(1, 9))]
REACHED = {"tier_half_of_homes": 0.5, "tier_ninety_percent_of_homes": 0.9}


def reached(parts, share):
    """Return the tier in which the running sum of the known homes comes to a share of them."""
    running = np.cumsum(parts[1:])
    return int(np.argmax(running >= share * running[-1])) + 1 if running[-1] else None


def fixed_by_an_integer_programme(row):
    """Return the hidden parts of a published row that can have one value only, place -> value.

    What an attacker knows: whole numbers from 0, the published parts and sums, and that a tier which a
    share of the known homes manage with is the first whose running sum comes to that share.
    """
    rules = [LinearConstraint(np.eye(ATOMS)[place], row[name], row[name])
             for place, name in enumerate(PARTS) if not pd.isna(row[name])]  # fmt: skip
    rules.append(LinearConstraint(np.ones(ATOMS), row.homes_total, row.homes_total))
    if not pd.isna(row.homes_rooftop_or_more):
        upper = np.r_[np.zeros(5), np.ones(4)]
        rules.append(LinearConstraint(upper, row.homes_rooftop_or_more, row.homes_rooftop_or_more))
    known = np.r_[0.0, np.ones(8)]
    for name, share in REACHED.items():
        if not pd.isna(row[name]):
            so_far = np.r_[0.0, np.arange(1, 9) <= row[name]]
            before = np.r_[0.0, np.arange(1, 9) < row[name]]
            rules.append(LinearConstraint(so_far - share * known, 0.0, np.inf))
            rules.append(LinearConstraint(before - share * known, -np.inf, -0.05))  # tenths of whole numbers
    fixed = {}
    for place, name in enumerate(PARTS):
        if pd.isna(row[name]):
            ends = [
                milp(sign * np.eye(ATOMS)[place], integrality=np.ones(ATOMS), constraints=rules)
                for sign in (1.0, -1.0)
            ]
            assert all(end.success for end in ends)  # the truth is one way to fill the row
            low, high = round(ends[0].fun), round(-ends[1].fun)
            if low == high:
                fixed[place] = low
    return fixed


@pytest.mark.slow
def test_an_integer_programme_fixes_no_hidden_count():
    table = areas(np.random.default_rng(15), 120, False)
    for name, share in REACHED.items():
        table[name] = pd.array([reached(row[PARTS].to_numpy(float), share) for _, row in table.iterrows()],
                               dtype="Int64")  # fmt: skip
    found = suppress_areas(table)
    as_it_was = found.assign(**{name: table[name] for name in REACHED})
    told = {"before": 0, "now": 0}
    for when, rows in (("before", as_it_was), ("now", found)):
        for _, row in rows[rows.homes_total.notna()].iterrows():
            told[when] += len(fixed_by_an_integer_programme(row))
    assert told["before"] > 0  # the attack works on a table that tells them all
    assert told["now"] == 0
    shown = found.tier_half_of_homes.notna()
    assert shown.sum() > 10  # it is not safe by saying nothing
    assert (found.tier_half_of_homes[shown] == table.tier_half_of_homes[shown]).all()
