"""Other stations on a channel and beside it."""

from dataclasses import replace
from statistics import NormalDist

import numpy as np
import pytest
from reception_places import ADDRESS, CROWD, TIERS, crowded, facts_of, one_cell, wanted_of, with_more
from reference import reference_rows

from covermap.reception import (
    CellSignals,
    ReceiverSignals,
    ReceptionOptions,
    StationFacts,
    aim_plan,
    best_aim,
    chance_by_azimuth,
    receive,
)
from covermap.reception.channels import protection_ratio_db
from covermap.reception.signals import LOST_AT_NIGHT

OPTIONS = ReceptionOptions()
REQUIRED_CN_DB = 15.19  # printed by 47 CFR 73.623(c)(3)


def alone(field_dbuvm=60.0, frequency_mhz=569.0, required_cn_db=15.2):
    return ReceiverSignals(
        facts=facts_of([frequency_mhz], [0], required_cn_db=required_cn_db),
        field_dbuvm=np.array([field_dbuvm]),
        bearing_deg=np.array([0.0]),
        clutter_height_m=10.0,
        distance_km=np.array([30.0]),
    )


def field_for(margin_db, tier=5, **station):
    """Return the field that leaves a margin at a tier, without interference and aimed."""
    at_60 = aim_plan(alone(60.0, **station), TIERS[tier], 0.0).margins_db[0]
    return 60.0 + margin_db - at_60


def interfered(signals, over_db, bearing_deg=0.0, apart_mhz=0.0, mast=1, **columns):
    """Return a place with a station over_db stronger than the first one."""
    more = with_more(
        replace(signals, distance_km=None),
        field_dbuvm=signals.field_dbuvm[0] + over_db,
        bearing_deg=bearing_deg,
        frequency_mhz=signals.facts.frequency_mhz[0] + apart_mhz,
        mast=mast,
        **columns,
    )
    return replace(more, distance_km=np.array([30.0, 30.0]))


def needed_ratio_db(snr_db):
    """Return the desired over the undesired field at which the margin is 0, by halving."""
    signals = alone(field_for(snr_db - REQUIRED_CN_DB, required_cn_db=REQUIRED_CN_DB), 569.0, REQUIRED_CN_DB)
    low, high = 0.0, 60.0
    while high - low > 1e-3:
        ratio_db = 0.5 * (low + high)
        holds = aim_plan(interfered(signals, -ratio_db), TIERS[5], 0.0).margins_db[0] >= 0.0
        low, high = (low, ratio_db) if holds else (ratio_db, high)
    return high


@pytest.mark.parametrize(("snr_db", "ratio_db"), [(16.0, 22.9), (20.0, 16.9), (28.0, 15.4)])
def test_ratio_on_one_channel(snr_db, ratio_db):
    # powers of noise and interference added, by hand: 1 / (10^-1.519 - 10^(-snr / 10))
    assert needed_ratio_db(snr_db) == pytest.approx(ratio_db, abs=0.05)


def test_ratio_on_one_channel_follows_the_published_formula():
    # 47 CFR 73.623(c)(3), digital into digital: 15 + 10 log10(1 / (1 - 10^(-x / 10))), x = S/N - 15.19
    rows = reference_rows("planning_factors/us_cochannel_du_vs_snr_dtv_into_dtv.csv")
    assert len(rows) >= 7
    for row in rows:
        assert needed_ratio_db(float(row["snr_db"])) == pytest.approx(
            float(row["du_db_from_formula"]), abs=0.3
        ), row


@pytest.mark.parametrize(("apart_mhz", "ratio_db"), [(-6.0, -28.0), (6.0, -26.0)])
def test_ratio_beside_the_channel(apart_mhz, ratio_db):
    # 47 CFR 73.620 (before 2024 73.623(c)(2)), digital into digital; a strong signal needs no more for noise.
    # The ratio is one of powers: an antenna of one gain gathers 20 log(575 / 569) = 0.09 dB less at 575 MHz.
    signals = alone(95.0)
    margin_db = aim_plan(interfered(signals, -ratio_db, apart_mhz=apart_mhz), TIERS[5], 0.0).margins_db[0]
    assert margin_db == pytest.approx(20.0 * np.log10((569.0 + apart_mhz) / 569.0), abs=0.01)


def test_adjacent_ratios_are_those_published():
    rows = reference_rows("planning_factors/us_du_ratios.csv")
    listed = {row["relation"]: float(row["du_db"]) for row in rows if row["undesired"] == row["desired"]}
    assert protection_ratio_db(569.0, 563.0, 6.0, 15.2) == listed["lower_adjacent"]
    assert protection_ratio_db(569.0, 575.0, 6.0, 15.2) == listed["upper_adjacent"]
    assert np.isnan(protection_ratio_db(569.0, 581.0, 6.0, 15.2))


@pytest.mark.parametrize(
    ("wanted", "unwanted", "ratio_db"),
    [
        # centre and width in MHz; required C/N 20 dB and 10 log of the unwanted power that falls in
        ((177.5, 7.0), (177.5, 7.0), 20.0),
        ((177.5, 7.0), (181.5, 7.0), 20.0 + 10.0 * np.log10(3.0 / 7.0)),  # 174-181 and 178-185: 3 of 7 MHz
        ((177.5, 7.0), (173.5, 7.0), 20.0 + 10.0 * np.log10(3.0 / 7.0)),  # 170-177
        ((177.5, 7.0), (182.0, 8.0), 20.0 + 10.0 * np.log10(3.0 / 8.0)),  # 178-186: 3 of its 8 MHz
        ((178.0, 8.0), (177.5, 7.0), 20.0),  # 174-182 holds 174-181
        ((177.5, 7.0), (178.0, 8.0), 20.0 + 10.0 * np.log10(7.0 / 8.0)),
        ((177.5, 7.0), (185.0, 8.0), -26.0),  # 181-189 begins where 174-181 ends
        ((177.5, 7.0), (170.0, 8.0), -28.0),
        ((177.5, 7.0), (184.3, 7.0), -26.0),  # 0.2 MHz over the edge, as a filed centre may lie
        ((177.5, 7.0), (187.5, 7.0), -26.0),  # 3 MHz of free channel between them, under half of one
        ((177.5, 7.0), (188.5, 7.0), np.nan),
        ((177.5, 7.0), (192.0, 8.0), np.nan),
    ],
)
def test_ratio_in_rasters_of_7_and_8_mhz(wanted, unwanted, ratio_db):
    found_db = protection_ratio_db(wanted[0], unwanted[0], wanted[1], 20.0, unwanted[1])
    assert found_db == pytest.approx(ratio_db, abs=1e-9, nan_ok=True)


def test_a_channel_that_partly_overlaps_interferes_as_on_the_channel():
    # 3 of 6 MHz: half of the power, 3.01 dB less than on the channel itself
    signals = alone(95.0)
    beside = aim_plan(interfered(signals, -20.0, apart_mhz=3.0), TIERS[5], 0.0).margins_db[0]
    assert beside == pytest.approx(20.0 - 15.2 + 3.01 + 20.0 * np.log10(572.0 / 569.0), abs=0.02)


def test_two_channels_away_nothing_happens():
    signals = alone()
    plan = aim_plan(interfered(signals, 20.0, apart_mhz=12.0), TIERS[5], 0.0)
    assert plan.margins_db[0] == pytest.approx(aim_plan(signals, TIERS[5], 0.0).margins_db[0], abs=1e-9)
    assert plan.interference_db[0] == 0.0


@pytest.mark.parametrize("over_noise_db", [-6.0, 0.0, 6.0, 12.0])
def test_interference_widens_the_spread_and_pushes_noise_aside(over_noise_db):
    # rooftop with amplifier, 189 MHz, residential: w 0.891, external noise of ITU-R P.372-17 with a
    # deviation of 4.53 dB; s_i of ITU-R P.1812-8 section 4.7 at 100 m: 6 dB and
    # (0.52 + 0.024 x 0.189) 100^0.28 = 1.905 dB. Another site: correlation 0.25, so that C - share I has the
    # variance s_i^2 (1 + share^2 - 2 x 0.25 share)
    own_db, noise_db = np.hypot(6.0, 1.905), 0.891 * 4.53
    signals = alone(field_for(20.0, 6, frequency_mhz=189.0), 189.0)
    # of the interference over the noise: 20 dB of margin and 15.2 dB of C/N between signal and noise
    plan = aim_plan(interfered(signals, over_noise_db - 35.2), TIERS[6], 0.0)
    ratio = 10.0 ** (over_noise_db / 10.0)
    margin_db, share = 20.0 - 10.0 * np.log10(1.0 + ratio), ratio / (1.0 + ratio)
    assert plan.margins_db[0] == pytest.approx(margin_db, abs=0.01)
    path_db = own_db * np.sqrt(1.0 + share**2 - 0.5 * share)
    spread_db = np.hypot(path_db, noise_db * (1.0 - share))
    assert plan.chance == pytest.approx(NormalDist().cdf(margin_db / spread_db), abs=0.002)


@pytest.mark.parametrize(
    ("mast", "correlation"),
    [(0, 0.85), (1, 0.25)],  # a neighbour channel of the wanted one's mast, and of another mast
)
def test_what_wanted_and_interfering_signals_share_cancels(mast, correlation):
    # strong signals, so that the margin is one of C / I: variance 2 s_i^2 (1 - correlation), s_i of ITU-R
    # P.1812-8 section 4.7 at 569 MHz and 100 m: 6 and (0.52 + 0.024 x 0.569) 100^0.28 = 1.938 dB
    spread_db = np.hypot(6.0, 1.938) * np.sqrt(2.0 * (1.0 - correlation))
    chances = []
    for margin_db in np.arange(2.0, 30.0, 1.0):
        signals = interfered(alone(105.0), 26.0 - margin_db, apart_mhz=6.0, mast=mast)
        plan = aim_plan(signals, TIERS[5], 0.0)
        if plan.interference_db[0] > 20.0:  # by then noise is under 1 % of the interference
            expected = NormalDist().cdf(plan.margins_db[0] / spread_db)
            assert plan.chance == pytest.approx(expected, abs=0.004), margin_db
        chances.append(plan.chance)
    steps = np.diff(chances)
    assert steps.min() > -0.001
    assert steps.max() < 0.13  # no jump: 1 dB of 3.5 dB, at most 0.4 / 3.5
    assert chances[-1] > 0.998 - 0.003


@pytest.mark.parametrize(("over_db", "chance"), [(-1.0, 0.0), (1.0, 1.0)])
def test_signals_that_have_all_in_common_are_received_or_not(over_db, chance):
    # a neighbour channel of the same mast, 26 dB over the wanted one less or more: only the ratio counts
    signals = interfered(alone(105.0), 26.0 - over_db, apart_mhz=6.0, mast=0)
    together = replace(signals, options=ReceptionOptions(home_correlation=0.0, site_correlation=1.0))
    assert aim_plan(together, TIERS[5], 0.0).chance == pytest.approx(chance, abs=1e-3)
    assert best_aim(together, TIERS[5]).chance == pytest.approx(chance, abs=1e-3)


def test_interference_in_decibels_is_what_it_takes_from_the_margin():
    signals = alone(field_for(20.0))
    clear_db = aim_plan(signals, TIERS[5], 0.0).margins_db[0]
    plan = aim_plan(interfered(signals, -35.2), TIERS[5], 0.0)  # as strong as the noise: 3.01 dB
    assert plan.interference_db[0] == pytest.approx(3.01, abs=0.01)
    assert clear_db - plan.margins_db[0] == pytest.approx(plan.interference_db[0], abs=1e-9)


@pytest.mark.parametrize("aim_deg", [0.0, 340.0, 20.0])
def test_interferer_stands_behind_the_tier_s_own_pattern(aim_deg):
    clear_db = 40.0
    signals = interfered(alone(field_for(clear_db)), -25.0, bearing_deg=30.0)
    # the lobe by hand: 12 (angle / 35)^2, floor 14 dB
    wanted_db = min(14.0, 12.0 * (min(aim_deg, 360.0 - aim_deg) / 35.0) ** 2)
    apart = abs(aim_deg - 30.0)
    other_db = min(14.0, 12.0 * (min(apart, 360.0 - apart) / 35.0) ** 2)
    over_noise_db = clear_db + 15.2 - 25.0 - other_db
    expected_db = clear_db - wanted_db - 10.0 * np.log10(1.0 + 10.0 ** (over_noise_db / 10.0))
    assert aim_plan(signals, TIERS[5], aim_deg).margins_db[0] == pytest.approx(expected_db, abs=0.05)


def test_turning_away_from_an_interferer_helps():
    signals = interfered(alone(field_for(40.0)), -21.0, bearing_deg=30.0)
    plan = best_aim(signals, TIERS[5])
    assert 300.0 < plan.azimuth_deg < 360.0  # away from 30 degrees
    assert plan.chance > aim_plan(signals, TIERS[5], 0.0).chance + 0.01
    assert plan.chance == chance_by_azimuth(signals, TIERS[5]).max()


def test_cross_polarization_stands_against_an_interferer():
    signals = alone(field_for(40.0))
    margins_db = [
        aim_plan(interfered(signals, -10.0, polarization=[p]), TIERS[5], 0.0).margins_db[0] for p in (0, 1)
    ]
    # strong interference: the margin is the ratio of the two, and ITU-R BT.419-3 gives 16 dB
    assert margins_db[1] - margins_db[0] == pytest.approx(16.0, abs=0.05)


def test_services_of_a_list_disturb_each_other():
    # two wanted services of one channel, 20 dB apart at one azimuth: margins -20 - 15.2 and 20 - 15.2
    signals = interfered(alone(90.0), -20.0, service="Other")
    plan = aim_plan(signals, TIERS[5], 0.0)
    assert plan.services == ("0", "Other")
    assert plan.margins_db == pytest.approx((4.8, -35.2), abs=0.05)


@pytest.mark.parametrize("aim_deg", [0.0, 20.0, 180.0])
def test_a_station_on_the_same_mast_disturbs_whatever_the_aim(aim_deg):
    # 20 dB over it less the 15.2 dB that it needs: one azimuth, so the antenna changes nothing
    signals = interfered(alone(90.0), -20.0, mast=0)
    assert aim_plan(signals, TIERS[5], aim_deg).margins_db[0] == pytest.approx(4.8, abs=0.05)


def test_lost_on_nights_of_good_propagation():
    signals = interfered(alone(field_for(20.0)), -50.0, bearing_deg=10.0)
    by_day = np.array(signals.field_dbuvm)
    at_night = by_day + np.array([0.0, 40.0])
    wanted = wanted_of(0)
    found = [
        receive(
            one_cell(signals, unwanted_field_dbuvm=unwanted, median_field_dbuvm=by_day),
            signals.facts,
            TIERS,
            wanted,
            OPTIONS,
        )
        for unwanted in (by_day, at_night)
    ]
    assert found[0].tier[0] <= 5
    assert not found[0].plan_flags[0] & LOST_AT_NIGHT
    assert found[1].tier[0] > found[0].tier[0]
    assert found[1].plan_flags[0] & LOST_AT_NIGHT


def test_unwanted_time_percentage_counts():
    signals = interfered(alone(field_for(20.0)), -60.0)
    quiet = aim_plan(signals, TIERS[5], 0.0)
    night = aim_plan(
        replace(signals, unwanted_dbuvm=signals.field_dbuvm + np.array([0.0, 24.8])), TIERS[5], 0.0
    )
    assert quiet.interference_db[0] < 0.05
    assert night.interference_db[0] == pytest.approx(3.01, abs=0.01)  # -35.2 dB: as strong as the noise


# --- what must hold for any stations


def test_one_more_station_on_a_channel_never_raises_a_chance():
    signals = crowded(300)
    extra = facts_of([569.0], [4])
    facts = StationFacts(
        *(np.append(a, b) for a, b in zip(vars(CROWD).values(), vars(extra).values(), strict=True))
    )
    random = np.random.default_rng(8)

    def wider(values, new):
        return None if values is None else np.concatenate([values, new.astype(np.float32)])

    level = np.repeat(random.normal(55.0, 12.0, (1, 1, 300)), 2, axis=1)
    more = replace(
        signals,
        field_dbuvm=wider(signals.field_dbuvm, level),
        unwanted_field_dbuvm=wider(signals.unwanted_field_dbuvm, level + 5.0),
        median_field_dbuvm=wider(signals.median_field_dbuvm, level),
        bearing_deg=wider(signals.bearing_deg, random.uniform(0, 360, (1, 300))),
        distance_km=wider(signals.distance_km, np.full((1, 300), 40.0)),
    )
    wanted = wanted_of(0, 1, 2)
    before = receive(signals, CROWD, TIERS, wanted, OPTIONS)
    after = receive(more, facts, TIERS, wanted, OPTIONS)
    gain = after.tier_chance_percent.astype(int) - before.tier_chance_percent.astype(int)
    # one antenna that reaches the confidence is kept; where it no longer does, two may do better than it did
    enough = (after.tier_chance_percent >= 90) & (before.tier_chance_percent >= 90)
    assert gain[~enough].max() <= 1  # a search may miss the best aim by a little
    assert np.mean(gain > 0) < 0.01
    assert np.mean(gain < -5) > 0.03  # the station does disturb
    assert np.all(after.tier >= before.tier)


def test_order_of_stations_and_tiles_do_not_matter():
    signals = crowded(120)
    wanted = wanted_of(0, 1, 2, (4, 6))
    whole = receive(signals, CROWD, TIERS, wanted, OPTIONS)
    part = receive(signals.some(slice(50, None)), CROWD, TIERS, wanted, OPTIONS)
    for name, values in vars(part).items():
        assert np.array_equal(values, getattr(whole, name)[..., 50:], equal_nan=values.dtype.kind == "f"), (
            name
        )
    order = np.array([5, 0, 7, 2, 6, 1, 4, 3])
    where = np.argsort(order)
    turned = receive(
        CellSignals(
            signals.heights_m, signals.field_dbuvm[order], signals.bearing_deg, signals.clutter_height_m,
            signals.open_land, signals.unwanted_field_dbuvm[order], signals.median_field_dbuvm[order],
            signals.distance_km,
        ),
        StationFacts(*(values[order] for values in vars(CROWD).values())),
        TIERS,
        wanted_of(int(where[0]), int(where[1]), int(where[2]), (int(where[4]), int(where[6]))),
        OPTIONS,
    )  # fmt: skip
    assert np.array_equal(turned.tier, whole.tier)
    assert np.array_equal(turned.tier_chance_percent, whole.tier_chance_percent)
    assert np.array_equal(turned.plan_flags, whole.plan_flags)
    back = np.where(turned.service_station >= 0, order[turned.service_station], -1)
    assert np.array_equal(back, whole.service_station)


def test_the_worked_address_has_no_interference():
    assert np.all(best_aim(ADDRESS, TIERS[6]).interference_db == 0.0)
