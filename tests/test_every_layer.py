"""Every layer of a tile against plain searches, cell by cell, with all that disturbs and overloads."""

from dataclasses import replace

import numpy as np
import pytest
from plain_search import CHEAP_SECOND_ORDER, answer_of
from reception_places import CROWD, TIERS, crowded, facts_of, one_cell, place_of, wanted_of

from covermap.reception import ReceiverSignals, ReceptionOptions, TierTable, aim_range, best_aim, receive
from covermap.reception.installations import with_amplifier, without_amplifier
from covermap.reception.signals import (
    AMPLIFIER_CODES,
    DIPLEXED,
    MAY_OVERLOAD,
    NEEDS_FILTER,
    OWN_HIGH_VHF,
    VERTICAL_MOUNT,
)

OPTIONS = ReceptionOptions()
CELLS = 70
WANTED = wanted_of(0, 1, 2, 6)
# A second antenna for so little that many cells have two.
CHEAP_SECOND = TierTable(tuple(replace(tier, second_antenna_cost_order=0.5) for tier in TIERS))
NEAR = 0.002  # of the confidence: there two searches may fall on either side


@pytest.fixture(scope="module")
def scene():
    # four masts, in half of the cells to one side; from near the masts to far away; stations 3 and 5 share
    # channels with wanted ones, 4 stands beside one
    signals = crowded(CELLS, seed=5, mean_dbuvm=66.0, spread_db=9.0)
    half = CELLS // 2
    signals.bearing_deg[:, :half] = 40.0 + signals.bearing_deg[:, :half] / 6.0
    nearer_db = np.linspace(-15.0, 45.0, CELLS)[np.random.default_rng(2).permutation(CELLS)]
    for levels in (signals.field_dbuvm, signals.unwanted_field_dbuvm, signals.median_field_dbuvm):
        levels += nearer_db.astype(np.float32)
        levels[[3, 5]] -= np.float32(34.0)
    found = receive(signals, CROWD, CHEAP_SECOND, WANTED, OPTIONS, np.ones(CELLS, bool))
    return signals, found, [plain(signals, cell, WANTED) for cell in range(CELLS)]


def plain(signals, cell, wanted):
    """Return the best plan of one antenna of each tier, and tier and plan of the answer."""

    def of_tier(tier):
        return place_of(signals, cell, tier, wanted)

    singles = [best_aim(of_tier(tier), TIERS[tier]) for tier in range(1, 8)]
    return singles, *answer_of(of_tier, TIERS, singles, CHEAP_SECOND_ORDER)


def clear_cells(plans):
    """Return the cells where no tier's chance is at the confidence."""
    return [
        cell
        for cell, (singles, _, answer) in enumerate(plans)
        if min(abs(plan.chance - 0.9) for plan in (*singles, answer)) > NEAR
    ]


def test_the_scene_has_everything(scene):
    _, found, _ = scene
    assert len(set(found.tier.tolist())) >= 5
    assert (found.second_aim_deg >= 0).sum() >= 3
    assert (found.plan_flags & NEEDS_FILTER > 0).sum() >= 1
    assert (found.plan_flags & VERTICAL_MOUNT > 0).sum() >= 1
    codes = {AMPLIFIER_CODES[code] for code in found.amplifier}
    assert {"not_needed", "helps", "no_use_interference", "harms"} <= codes
    assert (found.service_interference_db > 2).mean() > 0.05


def test_tier_and_chances(scene):
    _, found, plans = scene
    cells = clear_cells(plans)
    assert len(cells) > 0.9 * CELLS
    wrong = [cell for cell in cells if found.tier[cell] != plans[cell][1]]
    assert len(wrong) <= 0.01 * CELLS, wrong
    for cell in set(cells) - set(wrong):
        singles, _, answer = plans[cell]
        two = found.two_antennas_chance_percent[cell]
        assert two == 255 if answer.second_azimuth_deg is None else abs(two - 100.0 * answer.chance) <= 1.0
        stored = min(int(found.tier[cell]), 7)
        expected = 100.0 * np.array([plan.chance for plan in singles[:stored]])
        assert found.tier_chance_percent[:stored, cell] == pytest.approx(expected, abs=3.0)
        # above the stored tier whatever is 90 % or more will do, and a search may stop there
        higher = found.tier_chance_percent[stored:, cell].astype(float)
        best = 100.0 * np.array([plan.chance for plan in singles[stored:]])
        assert np.all(higher <= np.maximum(best, 90.0) + 3.0)


def test_stored_plan(scene):
    _, found, plans = scene
    for cell in clear_cells(plans):
        plan = plans[cell][2]
        flags = int(found.plan_flags[cell])
        if round(plan.azimuth_deg) != found.aim_deg[cell]:
            continue  # another aim as good
        assert found.second_aim_deg[cell] == (
            -1 if plan.second_azimuth_deg is None else round(plan.second_azimuth_deg)
        )
        assert bool(flags & DIPLEXED) == (plan.joined == "diplexed")
        assert bool(flags & VERTICAL_MOUNT) == (plan.polarization == "vertical")
        assert found.service_chance_percent[:, cell] == pytest.approx(100.0 * plan.chances, abs=1.0)
        assert found.service_interference_db[:, cell] == pytest.approx(plan.interference_db, abs=0.6)
        assert found.service_station[:, cell].tolist() == plan.station.tolist()
        assert found.stored_margin_db[cell] == pytest.approx(plan.margins_db.min(), abs=0.05)
    same = [round(plans[c][2].azimuth_deg) == found.aim_deg[c] for c in clear_cells(plans)]
    assert np.mean(same) > 0.85


def test_overload_flags(scene):
    _, found, plans = scene
    for cell in clear_cells(plans):
        tier = int(found.tier[cell])
        plan = plans[cell][2]
        if round(plan.azimuth_deg) != found.aim_deg[cell] or abs(plan.overload_db) < 0.1:
            continue
        flags = int(found.plan_flags[cell])
        assert bool(flags & NEEDS_FILTER) == (plan.overloads and tier < 8)
        if not plan.overloads:
            assert bool(flags & MAY_OVERLOAD) == plan.may_overload


def test_aim_range(scene):
    signals, found, plans = scene
    compared = wrong = 0
    for cell in clear_cells(plans):
        tier = int(found.tier[cell])
        if tier == 8:
            assert (found.aim_from_deg[cell], found.aim_to_deg[cell]) == (-1, -1)
            continue
        plan = plans[cell][2]
        if round(plan.azimuth_deg) != found.aim_deg[cell]:
            continue
        expected = aim_range(place_of(signals, cell, tier, WANTED), plan, TIERS[tier], 0.9)
        compared += 1
        wrong += expected != (found.aim_from_deg[cell], found.aim_to_deg[cell])
    assert compared > 0.3 * CELLS
    assert wrong <= 0.05 * compared  # a gap between two sides of a lobe may be stepped over


def test_deciding_service_and_the_tier_without_it(scene):
    signals, found, plans = scene
    compared = wrong = 0
    for cell in clear_cells(plans):
        tier = int(found.tier[cell])
        if tier == 1:
            assert found.deciding_service[cell] == 255
            assert found.tier_without_deciding[cell] == 1
            continue
        deciding = int(found.deciding_service[cell])
        rest = wanted_of(*(group for n, group in enumerate(WANTED.transmitters) if n != deciding))
        compared += 1
        wrong += plain(signals, cell, rest)[1] != found.tier_without_deciding[cell]
    assert compared > 0.5 * CELLS
    assert wrong <= 0.03 * compared


def plain_code(signals, cell, tier, plan):
    """Return what an amplifier does at the mount of an answer of one antenna, by plain searches."""
    own = TIERS[min(tier, 7)]
    place = place_of(signals, cell, own.tier, WANTED)
    other = without_amplifier(own) if own.has_amplifier else with_amplifier(own, TIERS[6])
    both = {own.has_amplifier: plan, other.has_amplifier: best_aim(place, other)}
    with_it, without = both[True], both[False]
    only_with = with_it.overloads and not without.overloads
    if without.chance >= 0.9:
        return "harms" if only_with else "not_needed"
    if with_it.chance - without.chance >= 0.05:
        return "helps_with_filter" if with_it.overloads else "helps"
    if only_with:
        return "harms"
    lowest = int(np.argmin(with_it.chances))
    if with_it.interference_db[lowest] > 3.01:  # over half of noise and interference
        return "no_use_interference"
    return "no_use_signal"  # no service of this list meets over half of its noise from outside


def test_amplifier_code(scene):
    signals, found, plans = scene
    compared = wrong = 0
    for cell in clear_cells(plans):
        _, tier, plan = plans[cell]
        if plan.second_azimuth_deg is not None or tier != found.tier[cell]:
            continue
        compared += 1
        wrong += plain_code(signals, cell, tier, plan) != AMPLIFIER_CODES[found.amplifier[cell]]
    assert compared > 0.5 * CELLS
    assert wrong <= 0.05 * compared  # another aim as good may overload


def test_fields_three_decibels_weaker_and_stronger(scene):
    signals, found, _ = scene
    for shift_db, shifted in ((-3.0, found.tier_weaker), (3.0, found.tier_stronger)):
        step = np.float32(shift_db)
        again = receive(
            replace(
                signals,
                field_dbuvm=signals.field_dbuvm + step,
                unwanted_field_dbuvm=signals.unwanted_field_dbuvm + step,
                median_field_dbuvm=signals.median_field_dbuvm + step,
            ),
            CROWD,
            CHEAP_SECOND,
            WANTED,
            OPTIONS,
        )
        assert np.all(shifted >= again.tier)  # aims stay as they are, so nothing can be better
        assert np.mean(shifted != again.tier) <= 0.10
        assert np.all(shifted >= found.tier if shift_db < 0 else shifted <= found.tier)


# --- an antenna of its own for high VHF


def one_mast(frequency_mhz, field_dbuvm):
    count = len(frequency_mhz)
    facts = facts_of(frequency_mhz, [0] * count)
    signals = ReceiverSignals(facts, np.array(field_dbuvm), np.zeros(count), clutter_height_m=10.0)
    wanted = wanted_of(*range(count))
    return receive(one_cell(signals), signals.facts, TIERS, wanted, OPTIONS)


def test_a_list_near_its_edge_on_high_vhf_needs_an_antenna_for_it():
    # 195 MHz, rooftop: 45 dBuV/m give 90 % with 7 dBd; the shelf antenna's -4 dBd would need 11 dB more at
    # least
    edge, strong = one_mast([195.0], [47.0]), one_mast([195.0], [66.0])
    assert edge.tier[0] in (5, 6)
    assert edge.plan_flags[0] & OWN_HIGH_VHF
    assert strong.tier[0] < edge.tier[0]
    near_mast = one_mast([195.0], [95.0])
    assert near_mast.tier[0] == 1
    assert not near_mast.plan_flags[0] & OWN_HIGH_VHF


@pytest.mark.parametrize("frequencies", [[569.0], [569.0, 515.0], [69.0]])
@pytest.mark.parametrize("level", [40.0, 50.0, 60.0, 80.0])
def test_other_lists_never_ask_for_one(frequencies, level):
    assert not one_mast(frequencies, [level] * len(frequencies)).plan_flags[0] & OWN_HIGH_VHF
