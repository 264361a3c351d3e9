"""From the bench to the catalogue: pooled differences, rows written and replaced, antennas side by side."""

import csv
import math

import numpy as np
import pytest
from click.testing import CliRunner
from log_files import UHF_CHANNELS, abba, simulated_log, write_log
from scipy import stats
from test_catalogue import ANTENNAS, GAINS, write_catalogue

from covermap import InputError, antenna_test
from covermap.catalogue import Span, read_catalogue
from covermap.cli.main import main
from covermap.measurements.antenna_matrix import every_pair, matrices
from covermap.measurements.bench_catalogue import catalogue_update
from covermap.measurements.bench_gains import bench_gains
from covermap.measurements.bench_rows import gain_rows
from covermap.measurements.censored_mean import band_mean
from covermap.measurements.comparison_log import read_comparison_logs
from covermap.reports.fieldwork.antenna_matrix import sentences

UHF_MHZ = {"14": 473.0, "15": 479.0, "16": 485.0, "17": 491.0, "18": 497.0, "19": 503.0}  # 47 CFR 73.603(a)


def readings(more_db, stations=6, antennas=("wide", "long"), start_dbm=-60.0, **cells):
    """A-B-B-A on six UHF stations; more_db : what the second antenna brings more, by station or for all."""
    each_db = more_db if isinstance(more_db, list) else [more_db] * stations
    return [
        row
        for index, db in enumerate(each_db)
        for row in abba(
            f"S{index}",
            [start_dbm, start_dbm + db, start_dbm + db, start_dbm],
            12 * index,
            antennas=antennas,
            **({"rf_channel": UHF_CHANNELS[index]} | cells),
        )
    ]


def compared(tmp_path, rows, **how):
    return antenna_test(write_log(tmp_path / "log.csv", rows), **how)


def rows_of(text):
    return list(csv.DictReader(text.splitlines()))


def gains_text(update):
    return next(text for path, text in update.texts.items() if path.name == "antenna_gains.csv")


# --- the pooled figure ---


def test_one_site_holds_what_another_place_and_mounting_would_change():
    # by hand as in test_antenna_test: standard error 0.274; with 1.0 dB for another mounting and 1.0 for
    # another place sqrt(0.274^2 + 1 + 1) = 1.44
    values = [2.1, 1.4, 2.8, 0.9, 1.9, 2.3]
    mean = band_mean(values, values, list("abcdef"), ["one"] * 6, session_sd_db=1.0, sites=["hill"] * 6)
    assert mean.standard_error_db == pytest.approx(1.440, abs=0.005)
    assert mean.sites == 1
    assert mean.mean_db == pytest.approx(1.9, abs=0.005)


def test_a_station_at_two_sites_is_two_stations():
    # three stations at two sites suffice, where three at one are too few (FEWEST_STATIONS is 4)
    values, stations = [2.0, 2.2, 1.8, 2.1, 2.3, 1.9], list("abcabc")
    sessions = ["1"] * 3 + ["2"] * 3
    assert band_mean(values[:3], values[:3], stations[:3], sessions[:3]) is None
    mean = band_mean(values, values, stations, sessions, sites=["hill"] * 3 + ["quay"] * 3)
    assert (mean.stations, mean.sites) == (6, 2)


def test_pooled_intervals_hold_the_truth_at_other_sites(tmp_path):
    # 40 benches of three sites and days; a site changes 1.0 dB, a day 0.6, a station 1.2: the 95 % interval
    # of the pool holds the antenna's own 3 dB in 36 to 40 of 40
    hits = 0
    for run in range(40):
        rng = np.random.default_rng(7000 + run)
        rows = []
        for site in ("hill", "quay", "mill"):
            day = simulated_log(rng, mean_db=3.0 + rng.normal(0.0, 1.0), stations=6)
            shift = rng.normal(0.0, 0.6)
            for row in day:
                moved = float(row["value"]) + (shift if row["antenna_id"] == "array" else 0.0)
                rows.append(row | {"site_id": site, "session_id": site, "value": f"{moved:.3f}"})
        (whole, *_), refused = bench_gains(compared(tmp_path, rows))
        assert not refused
        assert whole.sites == ("hill", "quay", "mill")
        hits += whole.difference_db.low <= 3.0 <= whole.difference_db.high
    assert 36 <= hits


def test_a_channel_is_drawn_towards_its_band_by_half_of_what_its_one_station_says(tmp_path):
    # one site cannot tell an antenna's own from a path's: half of the stations' variance is each, so that one
    # station moves its channel's figure half way (OWN_SHARE)
    values = [1.0, 2.0, 3.0, 4.0, 5.0, 3.0]
    (whole, *channels), _ = bench_gains(compared(tmp_path, readings(values)))
    assert whole.difference_db.typical == pytest.approx(3.0, abs=0.01)
    assert [one.frequency_mhz for one in channels] == list(UHF_MHZ.values())
    for one, value in zip(channels, values, strict=True):
        assert one.difference_db.typical == pytest.approx(3.0 + 0.5 * (value - 3.0), abs=0.01)
        assert one.difference_db.high > one.difference_db.typical > one.difference_db.low


def test_sessions_of_two_files_with_one_name_stay_two(tmp_path):
    first = write_log(tmp_path / "may.csv", readings(3.0))
    second = write_log(tmp_path / "june.csv", readings(1.0, day="2026-06-01"))
    log = read_comparison_logs([first, second])
    assert {reading.session for reading in log.readings} == {"may.csv: day1", "june.csv: day1"}
    (whole, *_), _ = bench_gains(antenna_test(log))
    assert whole.sessions == 2
    # the mean of 3 and 1 dB, as many stations in each session
    assert whole.difference_db.typical == pytest.approx(2.0, abs=0.05)
    assert whole.days == ("2026-06-01", "2026-09-01")


UNFIT = {
    "MER": ([row | {"scale": "MER_dB", "value": "25"} for row in readings(3.0)], "MER says how clean"),
    "three stations": (readings(3.0, stations=3), "3 stations; a gain needs 4 or more"),
    "per cent without steps": (
        [row | {"scale": "pct_strength", "value": "60"} for row in readings(3.0)],
        "per cent without attenuator steps is no decibel",
    ),
    "lost with one of them": (
        [
            row | ({"value": "", "decoded": "no"} if row["antenna_id"] == "long" else {})
            for row in readings(3.0)
        ],
        "lost or saturated on nearly all 6 stations",
    ),
}


@pytest.mark.parametrize("name", UNFIT)
def test_what_is_unfit_writes_nothing(tmp_path, name):
    rows, said = UNFIT[name]
    path = write_catalogue(tmp_path)
    before = {file.name: file.read_bytes() for file in tmp_path.glob("*.csv")}
    log = write_log(tmp_path / "log.csv", rows)
    result = CliRunner().invoke(main, ["antenna-test", str(log), "--catalogue", str(path)])
    assert result.exit_code == 2
    assert said in " ".join(result.output.split())
    assert {file.name: file.read_bytes() for file in tmp_path.glob("*.csv") if file != log} == before
    assert not (tmp_path / "antenna_test").exists()


# --- rows of a catalogue ---


def test_a_known_reference_gives_an_absolute_gain_with_its_interval(tmp_path):
    # by hand: the reference has 10 dBd, 9.4 to 10.6; all stations say 3 dB: 13 dBd. The interval of the
    # difference is t(0.975) of its freedom times hypot(about 0, 1.0, 1.0) = 1.414; 0.6 joins it in squares
    path = write_catalogue(tmp_path, gains=GAINS.replace("uhf,,,10,,35", "uhf,,9.4,10,10.6,35"))
    test = compared(tmp_path, readings(3.0))
    row = rows_of(gains_text(catalogue_update(test, path)))[-7]
    assert (row["antenna_id"], row["band"], row["frequency_mhz"]) == ("long", "uhf", "")
    assert float(row["gain_dbd"]) == pytest.approx(13.0, abs=0.05)
    (whole, *_), _ = bench_gains(test)
    reach_db = whole.difference_db.high - whole.difference_db.typical
    assert reach_db == pytest.approx(stats.norm.ppf(0.975) * math.sqrt(2.0), abs=0.1)  # freedom is large
    assert float(row["gain_high_dbd"]) == pytest.approx(13.0 + math.hypot(0.6, reach_db), abs=0.06)
    assert (row["as_of"], row["site"], row["relative_to"]) == ("2026-09-01", "Hill", "wide")
    assert row["source"].startswith("measured 2026-09-01 at Hill against wide: 6 stations, 1 session, 95 %")
    assert (row["beamwidth_deg"], row["front_to_back_db"]) == ("50", "14")  # as it was in the catalogue


def test_losses_of_the_match_are_taken_off_and_put_on(tmp_path):
    # wide delivers 10 - 1 dBd, long so 9 + 3; with 2 dB of its own loss its gain is 14 dBd
    antennas = ANTENNAS.replace("amplifier,", "amplifier,impedance_loss_db,").replace(",,20,,", ",,20,,,")
    antennas = antennas.replace("2.5,90,,", "2.5,90,,1,").replace("1.8,70,,", "1.8,70,,2,")
    path = write_catalogue(tmp_path, antennas=antennas.replace("booster,", "booster,,"))
    catalogue = read_catalogue(path)
    (whole, *_), _ = bench_gains(compared(tmp_path, readings(3.0)))
    assert float(gain_rows([whole], catalogue)[0]["gain_dbd"]) == pytest.approx(14.0, abs=0.05)


def test_rows_of_other_antennas_and_bands_stay_as_they_were(tmp_path):
    gains = GAINS.replace("flat,uhf", "# a remark\nflat,uhf", 1)
    path = write_catalogue(tmp_path, gains=gains)
    update = catalogue_update(compared(tmp_path, readings(3.0)), path)
    lines = gains_text(update).splitlines()
    kept = [line for line in gains.splitlines()[1:] if not line.startswith("long")]
    width = len(lines[0].split(","))
    assert lines[1 : 1 + len(kept)] == [line + "," * (width - len(line.split(","))) for line in kept]
    assert sum(line.startswith("long,") for line in lines) == 7  # the band and six channels
    assert [file.name for file in update.texts] == ["antenna_gains.csv"]


def test_a_reference_without_a_gain_gives_a_relative_row_that_becomes_one(tmp_path):
    path = write_catalogue(tmp_path)
    rows = readings(3.0, antennas=("pole", "long"))
    update = catalogue_update(compared(tmp_path, rows), path)
    assert any(
        "relative to pole, whose gain there the catalogue does not know" in said for said in update.sentences
    )
    for file, text in update.texts.items():
        file.write_text(text)
    relative = read_catalogue(path)
    assert not relative.antennas["long"].serves("uhf")
    assert any("known only relative to pole" in warning for warning in relative.warnings)
    # the day pole is measured: 4 dBd, 3 to 5. long then has 4 + 3
    with path.open("a") as handle:
        handle.write("pole,Pole,uhf,rooftop,,,,x\n")
    with (tmp_path / "antenna_gains.csv").open("a") as handle:
        handle.write("pole,uhf,,3,4,5,60,12,x\n".replace("\n", "," * 6 + "\n"))
    known = read_catalogue(path)
    assert known.antennas["long"].gain_at(UHF_MHZ["16"]).gain_dbd.typical == pytest.approx(7.0, abs=0.1)
    assert not [warning for warning in known.warnings if "relative" in warning]


def test_an_antenna_that_is_new_gets_a_row_to_fill_in(tmp_path):
    path = write_catalogue(tmp_path)
    update = catalogue_update(compared(tmp_path, readings(-2.0, antennas=("wide", "mine"))), path)
    new = rows_of(update.texts[path])[-1]
    assert (new["antenna_id"], new["kind"], new["mounts"]) == ("mine", "uhf", "gable rooftop mast")
    assert any("New in antennas.csv: mine" in said for said in update.sentences)


@pytest.mark.parametrize(
    ("gains", "said"),
    [
        (GAINS.replace(",", ";").encode(), "not written with commas"),
        (GAINS.replace("judgement", "geschätzt").encode("cp1252"), "is not UTF-8 text"),
        (GAINS.encode("utf-16"), "is not UTF-8 text"),
    ],
    ids=["semicolons", "Windows-1252", "UTF-16"],
)
def test_a_catalogue_that_cannot_be_written_back_is_refused_and_stays(tmp_path, gains, said):
    path = write_catalogue(tmp_path)
    (tmp_path / "antenna_gains.csv").write_bytes(gains)
    with pytest.raises(InputError, match=said):
        catalogue_update(compared(tmp_path, readings(3.0)), path)
    assert (tmp_path / "antenna_gains.csv").read_bytes() == gains


def test_a_reference_that_the_log_lacks_is_named(tmp_path):
    with pytest.raises(InputError, match=r"found wide, long, not the reference 'wid'. Did you mean"):
        compared(tmp_path, readings(3.0), reference="wid")


def test_the_command_writes_the_catalogue_and_says_so(tmp_path):
    path = write_catalogue(tmp_path)
    log = write_log(tmp_path / "log.csv", readings(3.0))
    asked = ["antenna-test", str(log), "--reference", "wide", "--catalogue", str(path)]
    result = CliRunner().invoke(main, asked)
    assert result.exit_code == 0, result.output
    assert "long, UHF: 13.0 dBd" in result.output
    # 10 dBd of wide at UHF and 3 dB more
    assert read_catalogue(path).antennas["long"].in_band("uhf").typical == pytest.approx(13.0, abs=0.05)
    again = CliRunner().invoke(main, asked)  # a second time replaces, it does not add
    assert again.exit_code == 0, again.output
    assert len(rows_of((tmp_path / "antenna_gains.csv").read_text())) == 5 + 7


# --- several antennas side by side ---


def three_antennas():
    """wide and long and flat: long 3 dB over wide, flat 6 under it and lost on the last station."""
    rows = readings(3.0) + readings(-6.0, antennas=("wide", "flat"))
    return [
        row
        | ({"value": "", "decoded": "no"} if (row["antenna_id"], row["station_id"]) == ("flat", "S5") else {})
        for row in rows
    ]


def test_matrix_shows_levels_and_lost_pictures(tmp_path):
    (matrix,) = matrices(compared(tmp_path, three_antennas()))
    assert matrix.antennas == ("wide", "long", "flat")
    assert [row.frequency_mhz for row in matrix.rows] == list(UHF_MHZ.values())
    first, last = matrix.rows[0].cells, matrix.rows[-1].cells
    # 4 dB of cable are added back: -60 + 4, + 3, - 6
    assert [first[name].value for name in matrix.antennas] == pytest.approx([-56.0, -53.0, -62.0])
    assert (last["flat"].lost, last["flat"].readings) == (2, 2)
    assert math.isnan(last["flat"].value)


def test_every_two_antennas_have_a_difference(tmp_path):
    pairs = every_pair(compared(tmp_path, three_antennas()))
    found = {(one.candidate, one.reference): one.mean.mean_db for one in pairs}
    assert set(found) == {("long", "wide"), ("flat", "wide"), ("flat", "long")}
    # flat is 6 dB under wide and long 3 dB over it: -6 - 3
    assert found["flat", "long"] == pytest.approx(-9.0, abs=0.3)


@pytest.mark.parametrize(
    ("more_db", "said"),
    [
        (3.0, "long brings 2 to 4 dB more at UHF than wide at this place."),
        (-3.0, "long brings 2 to 4 dB less at UHF than wide at this place."),
        ([2.0, -2.0, 1.0, -1.0, 3.0, -3.0], "Between long and wide nothing is certain at UHF at this place."),
    ],
)
def test_sentences_say_what_is_certain(tmp_path, more_db, said):
    assert sentences(every_pair(compared(tmp_path, readings(more_db))), 1) == [said]


def test_sentence_names_what_is_certain_and_what_is_not(tmp_path):
    vhf = [
        row
        for index, channel in enumerate(("7", "8", "9", "10"))
        for row in abba(
            f"V{index}", [-60, -57, -57, -60], 12 * index, antennas=("wide", "long"), rf_channel=channel
        )
    ]
    rows = vhf + readings([2.0, -2.0, 1.0, -1.0, 3.0, -3.0])
    assert sentences(every_pair(compared(tmp_path, rows)), 1) == [
        "long brings 2 to 4 dB more at high VHF than wide at this place. Nothing certain at UHF."
    ]


def test_span_sums_in_squares():
    # by hand: 0.6 and 0.8 make 1.0
    assert Span(9.4, 10.0, 10.6).plus(Span(2.2, 3.0, 3.8)) == pytest.approx((12.0, 13.0, 14.0))
