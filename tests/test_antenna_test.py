"""Comparison logs: known truths are found, lost pictures are not dropped, every fault has its sentence."""

import math
from types import SimpleNamespace

import numpy as np
import pytest
from log_files import PLAIN, UHF_CHANNELS, abba, simulated_log, write_log
from scipy import stats

from covermap import InputError, antenna_test
from covermap.measurements.antenna_test import _figure_warnings
from covermap.measurements.censored_mean import band_mean
from covermap.measurements.paired import Level, antenna_level, masts_by_bearing
from covermap.measurements.percent_scale import fit_percent_scale
from covermap.measurements.tier_row import KnownGain, measured_gains, tier_table_csv
from covermap.tables import read_tiers


def test_mean_of_six_stations_is_the_t_interval():
    # By hand: mean 1.90, sd 0.672, t(5) 2.571: 2.571 x 0.672 / sqrt(6) = 0.705
    values = [2.1, 1.4, 2.8, 0.9, 1.9, 2.3]
    mean = band_mean(values, values, list("abcdef"), ["one"] * 6, session_sd_db=0.0)
    assert mean.mean_db == pytest.approx(1.90, abs=0.005)
    assert mean.high_db - mean.mean_db == pytest.approx(0.705, abs=0.005)
    assert mean.station_sd_db == pytest.approx(0.672, abs=0.002)
    assert (mean.stations, mean.freedom) == (6, pytest.approx(5.0))


def test_one_session_holds_what_another_would_change():
    # by hand: standard error 0.672 / sqrt(6) = 0.274; with 0.6 for another day sqrt(0.274^2 + 0.6^2) = 0.660;
    # freedom by Satterthwaite 5 (0.660 / 0.274)^4 = 167, t = 1.974: 1.302
    values = [2.1, 1.4, 2.8, 0.9, 1.9, 2.3]
    mean = band_mean(values, values, list("abcdef"), ["one"] * 6)
    assert mean.standard_error_db == pytest.approx(0.660, abs=0.002)
    assert mean.reach_db == pytest.approx(1.302, abs=0.005)
    assert mean.assumed_session_sd_db == 0.6
    assert math.isnan(mean.session_sd_db)


def test_stations_of_two_masts_share_what_their_mast_does():
    # four stations at +1 and four at -1 by mast: what they share counts as two values, not as eight
    values = [1.1, 0.9, 1.0, 1.0, -1.1, -0.9, -1.0, -1.0]
    apart = band_mean(values, values, list("abcdefgh"), ["one"] * 8, session_sd_db=0.0)
    shared = band_mean(
        values, values, list("abcdefgh"), ["one"] * 8, ["east"] * 4 + ["west"] * 4, session_sd_db=0.0
    )
    assert apart.reach_db < 1.0  # t(7) 2.36 x 1.07 / sqrt(8) = 0.89
    assert shared.reach_db > 1.5  # sd 1 of a mast over two of them, t(5) 2.57 x 0.71 = 1.8
    assert shared.mast_sd_db == pytest.approx(1.0, abs=0.3)
    assert shared.masts == 2


def test_percent_steps_behind_attenuators_give_decibels_a_point():
    # Least squares by hand: Sxy / Sxx = 130.5 / 378.75 = 0.345 dB a point
    slope, worst_db = fit_percent_scale([0, 3, 6, 9], [92, 84, 75, 66])
    assert slope == pytest.approx(0.345, abs=0.001)
    # the line is off by 0.11, 0.14, 0.04 and 0.07 dB
    assert worst_db < 0.2


@pytest.mark.parametrize(
    ("steps_db", "percent"),
    [([0, 3, 6], [92, 95, 80]), ([0, 3], [92, 80]), ([0, 3, 6, 9], [92, 91, 90, 50])],
    ids=["not monotone", "too few", "not straight"],
)
def test_steps_that_make_no_line_are_no_scale(steps_db, percent):
    assert fit_percent_scale(steps_db, percent) is None


UNLIMITED = {"threshold_dbm": -200.0, "ceiling_dbm": 200.0}


def difference_of_all(rows):
    """The plain mean difference of rows in which nothing is lost; A-B-B-A on every station is balanced."""
    means = [
        np.mean([float(r["value"]) for r in rows if r["antenna_id"] == name]) for name in ("array", "dipole")
    ]
    return float(means[0] - means[1])


def covered(tmp_path, runs, **how):
    """Return of how many logs the interval holds the truth, and the mean error of ours and of dropping.

    Errors are told against the same logs with nothing lost or clipped, so that chance does not blur them.
    """
    hits, ours, dropped = 0, [], []
    for run in range(runs):
        rows = simulated_log(np.random.default_rng(1000 + run), **how)
        test = antenna_test(write_log(tmp_path / "log.csv", rows))
        mean = test.bands[0].mean
        hits += mean.low_db <= how["mean_db"] <= mean.high_db
        whole = difference_of_all(simulated_log(np.random.default_rng(1000 + run), **how | UNLIMITED))
        ours.append(mean.mean_db - whole)
        dropped.append(float(np.mean([p.low_db for p in test.pairs.differences if p.is_exact])) - whole)
    return hits, float(np.mean(ours)), float(np.mean(dropped))


LONG_WALK = {"stations": 12, "station_sd": 3.0, "span_db": 15.0}
SESSIONS = {"stations": 6, "sessions": 2}


@pytest.mark.parametrize(
    ("runs", "how", "dropped_db", "ours_within_db"),
    [
        (100, {"mean_db": 3.0}, None, None),
        (50, SESSIONS | {"mean_db": 3.0}, None, None),
        pytest.param(  # lost pictures: the worst differences are the ones that vanish
            100, LONG_WALK | {"mean_db": -6.0, "threshold_dbm": -80.0, "weakest_dbm": -80.0},
            (0.5, 99.0), 0.25, marks=pytest.mark.slow,
        ),
        pytest.param(
            60, LONG_WALK | {"mean_db": 6.0, "ceiling_dbm": -55.0}, (-99.0, -0.4), 0.2, marks=pytest.mark.slow
        ),
        pytest.param(
            40, SESSIONS | {"mean_db": -4.0, "threshold_dbm": -80.0, "weakest_dbm": -79.0, "span_db": 20.0},
            None, None, marks=pytest.mark.slow,
        ),
    ],
    ids=["stations", "sessions", "lost pictures", "saturated", "lost pictures and sessions"],
)  # fmt: skip
def test_intervals_cover_the_truth_and_what_is_lost_biases_only_a_mean_that_drops_it(
    tmp_path, runs, how, dropped_db, ours_within_db
):
    hits, ours, dropped = covered(tmp_path, runs, **how)
    assert 0.9 * runs <= hits < 0.99 * runs
    if dropped_db is not None:
        assert dropped_db[0] < dropped < dropped_db[1]
        assert abs(ours) < ours_within_db


def test_words_for_not_received_make_a_bound(tmp_path):
    rows = change(change(good_rows(), 21, value="NR", decoded="no"), 22, value="not received", decoded="")
    mean = antenna_test(write_log(tmp_path / "log.csv", rows)).bands[0].mean
    assert (mean.values, mean.censored) == (6, 1)


def test_one_lost_repeat_pulls_the_level_down():
    exact = antenna_level([Level(-79.0, -79.0)], 1.0).low_db
    pulled = antenna_level([Level(-79.0, -79.0), Level(-math.inf, -80.0)], 1.0).low_db
    # By hand: the most likely mean m of one reading at -79 and one at -80 or less, sd 1 dB, solves m + 79 =
    # -phi(z) / Phi(z) with z = -80 - m: z = -0.12, 0.396 / 0.452 = 0.88, so m = -79.88 dB.
    assert exact == -79.0
    assert -80.5 < pulled < -79.0


def good_rows(count=6, difference=3.0, **cells):
    return [
        row
        for index in range(count)
        for row in abba(
            f"S{index}",
            [-60 - index, -60 - index + difference, -60.2 - index + difference, -60.4 - index],
            12 * index,
            **({"rf_channel": UHF_CHANNELS[index]} | cells),
        )
    ]


def sentences(tmp_path, rows):
    try:
        test = antenna_test(write_log(tmp_path / "log.csv", rows))
    except InputError as error:
        return str(error)
    return " ".join([*test.warnings, *test.unreadable, *test.notes, *test.next_steps, test.verdict])


def test_a_good_log_has_a_verdict_and_no_doubt_but_its_one_session(tmp_path):
    test = antenna_test(write_log(tmp_path / "log.csv", good_rows()))
    # 3 dB with hardly any spread; another day, 0.6 dB, makes it +- 1.2
    assert test.verdict == "array against dipole: better at UHF, likely 2 to 4 dB; at this site."
    assert len(test.warnings) == 1
    assert "one session; that another day would differ by 0.6 dB" in test.warnings[0]
    assert test.unreadable == ()
    assert test.noise_db < 0.5


def change(rows, index, **cells):
    rows = [dict(row) for row in rows]
    rows[index] |= cells
    return rows


def for_antenna(rows, antenna, **cells):
    return [row | cells if row["antenna_id"] == antenna else row for row in rows]


FAULTS = {
    "unit missing": (lambda r: change(r, 1, scale=""), ["without its unit"]),
    "per cent without its bar": (lambda r: change(r, 1, scale="%"), ["strength or the quality bar"]),
    "percent mixed with dB": (
        lambda r: r + [row | {"scale": "pct_strength", "value": "60", "device_id": "set"} for row in r],
        ["never put into one figure"],
    ),
    "height missing": (lambda r: change(r, 1, mount_height_m=""), ["mount_height_m is missing"]),
    "heights differ": (lambda r: for_antenna(r, "array", mount_height_m="14"), ["different heights"]),
    "zero means not received": (
        lambda r: change(r, 1, scale="pct_strength", value="0", decoded=""),
        ['"0" is taken as not received'],
    ),
    "time without zone": (lambda r: change(r, 0, utc="2026-09-01 08:00"), ["has no zone"]),
    "kit changed": (
        lambda r: for_antenna(r, "array", device_id="other"),
        ["another set or on another scale"],
    ),
    "cable changed": (lambda r: for_antenna(r, "array", cable_loss_db="6"), ["the cable changed"]),
    "cable unknown": (lambda r: for_antenna(r, "array", cable_loss_db=""), ["kit may have changed"]),
    "different days": (
        lambda r: for_antenna(r, "array", utc="2026-09-05T08:00Z"),
        ["different days", "left out of the default estimate"],
    ),
    "one amplified": (
        lambda r: for_antenna(r, "array", amp_gain_db="18"),
        ["one is amplified", "left out of the default estimate"],
    ),
    "misaim": (lambda r: change(r, 1, aim_deg_true="130"), ["30 degrees off the bearing"]),
    "overload": (lambda r: change(r, 1, value="-3"), ["tuner may be overloaded"]),
    "saturated": (lambda r: change(r, 1, note="overload"), ["saturated"]),
    "too few stations": (lambda r: r[:12], ["not enough at UHF (3 stations"]),
    "too slow": (lambda r: change(r, 3, utc="2026-09-01T08:45Z"), ["read over 45 minutes"]),
    "wrong order": (lambda r: change(r, 3, utc="2026-09-01T08:01Z"), ["not in the order A-B-B-A"]),
    "percent over 100": (
        lambda r: change(r, 1, scale="pct_quality", value="140"),
        ["lies between 0 and 100"],
    ),
    "a level in the wrong unit": (lambda r: change(r, 1, value="61"), ["lies between -120 and 20"]),
    "displayed channel": (lambda r: change(r, 1, rf_channel="5.1"), ["one shown on the set"]),
    "polarization differs": (lambda r: for_antenna(r, "array", polarization="V"), ["polarizations differ"]),
    "no number": (lambda r: change(r, 1, value="good"), ['write "NR"']),
    "no reference marked": (
        lambda r: [row | {"is_reference": ""} for row in r],
        ["No row is marked is_reference"],
    ),
}


@pytest.mark.parametrize("name", FAULTS)
def test_each_fault_of_a_log_has_its_sentence(tmp_path, name):
    damage, words = FAULTS[name]
    text = sentences(tmp_path, damage(good_rows()))
    for word in words:
        assert word in text


@pytest.mark.parametrize("name", ["different days", "one amplified", "heights differ"])
def test_pairs_that_do_not_compare_stay_out_of_the_estimate(tmp_path, name):
    test = antenna_test(write_log(tmp_path / "log.csv", FAULTS[name][0](good_rows())))
    assert all(pair.left_out for pair in test.pairs.differences)
    assert test.bands[0].mean is None


def test_unreadable_rows_are_listed_and_the_rest_goes_on(tmp_path):
    path = write_log(tmp_path / "log.csv", change(good_rows(), 1, scale="furlongs"))
    with open(path, "a", encoding="utf-8") as handle:
        handle.write("a,b" * 40 + "\n")
    test = antenna_test(path)
    assert len(test.unreadable) == 2
    assert 'log.csv, line 3, column scale: found "furlongs"' in " ".join(test.unreadable)
    assert test.bands[0].stations == 6


def test_a_log_without_a_readable_row_is_refused(tmp_path):
    with pytest.raises(InputError, match="none of its rows is readable"):
        antenna_test(write_log(tmp_path / "log.csv", [PLAIN | {"scale": "?", "antenna_id": "a"}]))


def test_a_log_with_one_antenna_is_refused(tmp_path):
    rows = [row for row in good_rows() if row["antenna_id"] == "dipole"]
    with pytest.raises(InputError, match="needs a second antenna"):
        antenna_test(write_log(tmp_path / "log.csv", rows))


def percent_rows(step_rows=True):
    rows = [
        row | {"value": f"{60 + 2 * index + (6 if row['antenna_id'] == 'array' else 0)}"}
        for index in range(6)
        for row in abba(f"S{index}", [0, 0, 0, 0], 12 * index, rf_channel=UHF_CHANNELS[index])
    ]
    steps = [
        abba("S0", [v, v, v, v], 0)[0] | {"value": str(v), "attenuator_db": str(a), "rf_channel": "14"}
        for a, v in ((0, 92), (3, 84), (6, 75), (9, 57))
    ]
    steps[3]["value"] = "66"
    rows = rows[4:] + (steps if step_rows else [])
    return [row | {"scale": "pct_strength", "device_id": "set"} for row in rows]


def test_a_calibrated_percent_scale_gives_decibels(tmp_path):
    test = antenna_test(write_log(tmp_path / "log.csv", percent_rows()))
    mean = test.bands[0].mean
    # 6 points of 0.345 dB; every reading lies between 62 and 76 %, the steps reach from 66 to 92
    exact = [p.low_db for p in test.pairs.differences if p.is_exact]
    assert exact
    np.testing.assert_allclose(exact, 2.07, atol=0.01)
    assert mean is None or mean.low_db < 2.2
    assert any("10 points of percent strength are 3.4 dB" in note for note in test.notes)


def test_an_uncalibrated_percent_scale_only_says_which_is_better(tmp_path):
    test = antenna_test(write_log(tmp_path / "log.csv", percent_rows(step_rows=False)))
    assert test.bands[0].mean is None
    # five of five: sign test 2 x 0.5^5 = 0.0625, not under 0.05
    assert test.bands[0].ordinal == (5, 0, pytest.approx(0.0625))
    assert "no difference shown" in test.verdict


def test_two_sets_have_two_figures(tmp_path):
    rows = good_rows() + good_rows(5, 1.0, device_id="second", session_id="day2")
    test = antenna_test(write_log(tmp_path / "log.csv", rows))
    assert {(b.device, round(b.mean.mean_db)) for b in test.bands} == {("meter", 3), ("second", 1)}


def test_level_units_of_one_set_are_one_scale(tmp_path):
    rows = good_rows()
    changed = [  # dBuV(75 ohm) = dBm + 108.75
        row | {"scale": "dBuV", "value": f"{float(row['value']) + 108.75:.3f}"} if i % 2 else row
        for i, row in enumerate(rows)
    ]
    same = antenna_test(write_log(tmp_path / "log.csv", rows)).bands[0].mean.mean_db
    assert antenna_test(write_log(tmp_path / "b.csv", changed)).bands[0].mean.mean_db == pytest.approx(same)


def test_a_trend_with_level_is_told(tmp_path):
    rows = []
    for index in range(10):
        base = -70 + 4 * index
        rows += abba(f"S{index}", [base, base + 6 - 0.5 * index, base + 6 - 0.5 * index, base], 12 * index,
                     rf_channel=UHF_CHANNELS[index])  # fmt: skip
    assert "changes with the level" in sentences(tmp_path, rows)


def test_bands_at_different_levels_are_no_trend_with_level(tmp_path):
    rng = np.random.default_rng(8)
    rows = []
    for channel, level, gain in [(c, -50.0, 7.0) for c in ("7", "8", "9", "10")] + [
        (c, -70.0, -4.0) for c in UHF_CHANNELS[:4]
    ]:
        shown = [level + (gain if which else 0.0) + rng.normal(0.0, 0.8) for which in (0, 1, 1, 0)]
        rows += abba(f"S{channel}", shown, rf_channel=channel)
    test = antenna_test(write_log(tmp_path / "log.csv", rows))
    assert any("the bands differ" in words for words in test.warnings)
    assert not any("changes with the level" in words for words in test.warnings)


def test_a_known_reference_makes_a_tier_row_with_its_uncertainty(tmp_path):
    test = antenna_test(write_log(tmp_path / "log.csv", good_rows()))
    gains = measured_gains(test, "array", {"uhf": KnownGain(7.5, 1.0)})
    mean = test.bands[0].mean
    assert gains["uhf"].gain_dbd == pytest.approx(7.5 + mean.mean_db)
    # Student's t of the difference's freedom in the place of 1.96
    widened_db = mean.standard_error_db * stats.t.ppf(0.975, mean.freedom) / 1.96
    assert gains["uhf"].uncertainty_db == pytest.approx(math.hypot(1.0, widened_db), rel=1e-4)
    path = tmp_path / "tiers.csv"
    path.write_text(tier_table_csv(test, "array", 5, gains), "utf-8")
    table = read_tiers(path)
    assert table[5].gain_dbd["uhf"] == pytest.approx(gains["uhf"].gain_dbd, abs=0.05)
    assert table[5].gain_dbd["high_vhf"] == read_tiers()[5].gain_dbd["high_vhf"]
    assert "±" in table[5].source
    assert "not measured, as built in: low_vhf, high_vhf" in table[5].source
    with pytest.raises(InputError, match="reference-gain"):
        measured_gains(test, "array", {"low_vhf": KnownGain(2.0, 1.0)})


def test_pairs_that_say_nothing_are_counted(tmp_path):
    rows = good_rows() + abba("S9", [None] * 4, 100, rf_channel="30")
    test = antenna_test(write_log(tmp_path / "log.csv", rows))
    assert test.bands[0].unknown == 1
    assert any(
        "1 pair in which both antennas were lost" in sentence
        for sentence in _figure_warnings(test.pairs, test.bands)
    )


def test_mer_says_which_is_better_and_never_a_gain(tmp_path):
    rows = [
        row | {"scale": "MER_dB", "value": str(32 if row["antenna_id"] == "array" else 20)}
        for row in good_rows(8)
    ]
    test = antenna_test(write_log(tmp_path / "log.csv", rows))
    (figure,) = test.bands
    assert figure.mean is None
    assert figure.ordinal[:2] == (8, 0)
    assert "MER says how clean a signal is, not how strong" in test.verdict
    with pytest.raises(InputError, match="no band with a figure"):
        measured_gains(test, "array", {"uhf": KnownGain(7.5, 1.0)})


@pytest.mark.parametrize(
    ("how", "sd_db"),
    # our own choice: 0.6 dB for another day, 1.0 dB for another mounting
    [({}, 0.6), ({"remounted": True}, 1.0), ({"note": "remounted after lunch"}, 1.0)],
)
def test_another_mounting_changes_more_than_another_day(tmp_path, how, sd_db):
    rows = good_rows(note=how.pop("note", ""))
    test = antenna_test(write_log(tmp_path / "log.csv", rows), **how)
    assert test.bands[0].mean.assumed_session_sd_db == sd_db


def test_bearings_that_follow_each_other_are_one_mast():
    def reading(station, bearing_deg):
        return SimpleNamespace(station=station, bearing_deg=bearing_deg)

    found = masts_by_bearing(
        [reading("a", 359.0), reading("b", 1.0), reading("c", 3.5), reading("d", 90.0), reading("e", None)]
    )
    assert found["a"] == found["b"] == found["c"] != found["d"]
    assert "e" not in found


def unsettled_rows():
    rng = np.random.default_rng(4)
    return [
        row
        for index in range(6)
        for row in abba(
            f"S{index}",
            [-60.0 + (rng.normal(0.0, 2.5) if which else 0.0) for which in (0, 1, 1, 0)],
            12 * index,
            rf_channel=UHF_CHANNELS[index],
        )
    ]


def test_a_figure_that_is_not_settled_says_what_to_read_next(tmp_path):
    alone = [row for row in abba("S9", [-60.0] * 4, 90, rf_channel="30") if row["antenna_id"] == "dipole"]
    lost = abba("S8", [None] * 4, 100, rf_channel="31")
    text = " ".join(antenna_test(write_log(tmp_path / "log.csv", unsettled_rows() + alone + lost)).next_steps)
    assert "To settle array, UHF: read S9 with both antennas" in text
    assert "read S8 again with an attenuator less or more" in text
    assert "another day, the same stations would narrow" in text or "more stations" in text
    assert antenna_test(write_log(tmp_path / "log.csv", good_rows())).next_steps == ()


def test_a_band_with_too_few_stations_says_how_many_more(tmp_path):
    text = " ".join(antenna_test(write_log(tmp_path / "log.csv", good_rows(3))).next_steps)
    assert "To settle array, UHF: read 1 more station of the band with both antennas" in text


def test_a_verdict_of_several_sites_says_how_many(tmp_path):
    rows = [*good_rows(), *good_rows(session_id="day2", site_id="Vale")]
    verdict = antenna_test(write_log(tmp_path / "log.csv", rows)).verdict
    assert verdict.endswith("; at these 2 sites.")
