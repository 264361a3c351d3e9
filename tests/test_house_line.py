"""Several outlets one after another on one line: taps and losses by hand, levels, what cannot be wired."""

import json
from dataclasses import replace

import pytest

import covermap
from covermap.addresses.compute_report import Asked, answer_at
from covermap.addresses.strong_signals import tuner_dbm
from covermap.addresses.wiring import LINE, wiring
from covermap.catalogue import Span, read_catalogue
from covermap.errors import InputError
from covermap.jobs.address_sheets import open_book
from covermap.propagation.free_space import dipole_factor_db
from covermap.reception import aim_plan
from covermap.reception.chain import cable_loss_db
from covermap.reports.address_sheet import address_record, sheet_html
from covermap.tables import read_tiers
from covermap.wording.language import speaking
from tests.html_text import visible
from tests.reference import reference_rows
from tests.test_commands import run, write_demo

EASY = (43.9475, -35.625)
DEVICES = tuple(read_catalogue().devices.values())
LENGTHS_M = (10.0, 30.0, 40.0, 100.0)
# by hand, at UHF and VHF alike: outlet 0.5 dB, connector pairs of 0.1 dB, three and two more a tap passed,
# taps of 16, 12, 12 and 8 dB that take 0.9, 1.2 and 1.2 dB on the way to the next
LOSSES_DB = (
    0.5 + 0.3 + 16.0,
    0.5 + 0.5 + 0.9 + 12.0,
    0.5 + 0.7 + 0.9 + 1.2 + 12.0,
    0.5 + 0.9 + 0.9 + 1.2 + 1.2 + 8.0,
)


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    return write_demo(tmp_path_factory.mktemp("line") / "demo")


@pytest.fixture(scope="module")
def book(demo):
    return open_book(covermap.read_scenario(demo))


def line(*cable_m, devices=DEVICES):
    return wiring(len(cable_m), cable_m, devices, LINE)


def ids(home):
    return [tap.device_id for tap in home.taps]


@pytest.mark.parametrize(
    ("lengths_m", "taps"),
    [
        # by hand at 47 MHz, where a cable takes 16 sqrt(47 / 500) = 4.905 dB per 100 m, from the last outlet
        # back: 8; 12 <= 1.2 + 11.14; 12 <= 1.2 + 13.03; 16 <= 0.9 + 15.42. No 16 dB earlier: 0.9 + 13.03
        (LENGTHS_M, ["tap_16", "tap_12", "tap_12", "tap_8"]),
        # 12 <= 1.2 + 8 + 0.2 + 0.04905 x metres between the two: from 53.0 m on
        ((5.0, 57.0), ["tap_8", "tap_8"]),
        ((5.0, 59.0), ["tap_12", "tap_8"]),
        # close together: 12 > 1.2 + 8.2, 12 > 1.2 + 10.4, 12 <= 1.2 + 12.6
        ((10.0, 10.0, 10.0), ["tap_8", "tap_8", "tap_8"]),
        ((10.0, 10.0, 10.0, 10.0), ["tap_12", "tap_8", "tap_8", "tap_8"]),
        ((12.0,), []),  # nothing to branch off
    ],
)
def test_each_tap_takes_what_leaves_its_outlet_no_less_than_the_last(lengths_m, taps):
    assert ids(line(*lengths_m)) == taps


@pytest.mark.parametrize("lengths_m", [LENGTHS_M, (3.0, 8.0, 15.0, 18.0, 26.0, 30.0, 90.0), (5.0, 5.0, 70.0)])
@pytest.mark.parametrize("mhz", [54.0, 195.0, 473.0, 600.0])
def test_the_last_outlet_of_a_line_gets_least(lengths_m, mhz):
    tiers = [line(*lengths_m).at(read_tiers()[5], n, amplified=False) for n in range(len(lengths_m))]
    losses_db = [tier.passive_db(mhz) + cable_loss_db(mhz, tier.cable_m) for tier in tiers]
    assert max(losses_db) == losses_db[-1]
    assert line(*lengths_m).worst == len(lengths_m) - 1


def test_losses_along_a_line_add_up():
    home = line(*LENGTHS_M)
    for number, loss_db in enumerate(LOSSES_DB):
        assert home.passive_loss_db(number) == pytest.approx(
            {"low_vhf": loss_db, "high_vhf": loss_db, "uhf": loss_db}, abs=1e-9
        )
    assert home.splitter is None
    # half of the shortest run of 10 m (our own choice)
    assert home.common_m == 5.0


def test_parts_of_a_line_are_the_reference_s():
    """Connector pair and outlet of the handbook's table; a tap cannot pass on more than it does not take."""
    typical = {
        row["item"]: float(row["loss_db_typical"]) for row in reference_rows("hardware/passive_losses.csv")
    }
    one = line(12.0).passive_loss_db(0)["uhf"]
    assert one == pytest.approx(
        typical["wall outlet plate, through"] + 3 * typical["connector pair F or IEC"]
    )
    for tap in line(*LENGTHS_M).taps:  # conservation of power
        assert 10 ** (-tap.loss_uhf_db.typical / 10) + 10 ** (-tap.through_db.typical / 10) < 1.0
    at_55 = next(
        float(row["loss_db_per_100m"])
        for row in reference_rows("hardware/coax_loss_points.csv")
        if (row["cable_type"], row["freq_mhz"]) == ("series_6", "55")
    )
    assert cable_loss_db(55.0, 100.0) == pytest.approx(at_55, abs=0.1)


@pytest.mark.parametrize(
    ("vhf_db", "uhf_db", "first"),
    [
        # by hand, 59 m of cable apart: behind the tap 8 + 0.2 dB and 2.89 dB of cable at 47 MHz, 9.15 at 470
        (12.0, 18.0, "tap_12"),  # 12 <= 1.2 + 11.09 and 18 <= 1.2 + 17.35
        (12.0, 19.0, "tap_8"),  # 19 > 18.55
        (13.0, 12.0, "tap_8"),  # 13 > 12.29
    ],
)
def test_a_tap_must_leave_enough_in_every_band(vhf_db, uhf_db, first):
    tap = next(one for one in DEVICES if one.device_id == "tap_12")
    tap = replace(tap, loss_vhf_db=Span(*[vhf_db] * 3), loss_uhf_db=Span(*[uhf_db] * 3))
    others = [one for one in DEVICES if one.kind != "tap" or one.device_id == "tap_8"]
    assert ids(line(5.0, 64.0, devices=[*others, tap])) == [first, "tap_8"]


@pytest.mark.parametrize(
    ("outlets", "cable_m", "said"),
    [
        (4, (35.0,), r"--cable was given 1 times for 4 outlets on one line\. Give one an outlet"),
        (3, (10.0, 20.0), r"--cable was given 2 times for 3 outlets on one line"),
        (3, (10.0, 30.0, 20.0), r"outlet 3 is 20 m, that of the one before it 30 m.*nearest first"),
    ],
)
def test_a_line_that_cannot_be_is_told(outlets, cable_m, said):
    with pytest.raises(InputError, match=said):
        wiring(outlets, cable_m, DEVICES, LINE)


@pytest.mark.parametrize(
    ("devices", "said"),
    [
        ([one for one in DEVICES if one.kind != "tap"], "no device of the kind tap. Add one to devices.csv"),
        ([replace(one, through_db=None) for one in DEVICES], r"\(tap_8\): found no through_db\. Fill it"),
    ],
)
def test_a_catalogue_that_lacks_taps_is_told(devices, said):
    with pytest.raises(InputError, match=said):
        line(10.0, 20.0, devices=devices)


@pytest.mark.parametrize("amplified", [False, True])
@pytest.mark.parametrize("number", range(4))
def test_level_at_an_outlet_of_a_line_is_the_sum_of_its_parts(book, number, amplified):
    """By hand: field + gain + factor of a dipole - cable - the losses above, and 14 dB of amplifier."""
    asked, _, _ = answer_at(book.site_at(*EASY), Asked(*EASY))
    path = next(one for one in asked.place.paths if one.station.service == "Skerra One")
    tier = line(*LENGTHS_M).at(read_tiers()[5], number, amplified=amplified)
    signals = asked.signals(tier)
    plan = aim_plan(signals, tier, path.profile.back_azimuth_deg)
    station = asked.order(asked.labels()).index(asked.place.paths.index(path))
    mhz = path.station.frequency_mhz
    by_hand_dbm = path.median_dbuvm[10.0] + tier.gain_dbd["uhf"] + dipole_factor_db(mhz)
    by_hand_dbm += 14.0 * amplified - LOSSES_DB[number] - cable_loss_db(mhz, LENGTHS_M[number])
    assert tuner_dbm(signals, tier, plan)[station] == pytest.approx(by_hand_dbm, abs=1e-3)


@pytest.mark.parametrize("language", ["en", "de"])
def test_sheet_and_record_say_which_tap_stands_where(book, language):
    with speaking(language):
        report = book.report(*EASY, home=line(*LENGTHS_M))
        text = visible(sheet_html(report, 45.0, True))
    said = {
        "en": ("4 outlets one after another on one line", "In front of the line", "16.8 dB", "12.7 dB"),
        "de": ("4 Dosen nacheinander an einer Leitung", "Vor der Leitung", "16,8 dB", "12,7 dB"),
    }
    for sentence in (*said[language], "Tap, 16 dB"):
        assert sentence in text
    record = json.loads(json.dumps(address_record(report)))["house"]
    assert record["wiring"] == "line"
    assert record["taps"] == ["Tap, 16 dB", "Tap, 12 dB", "Tap, 12 dB", "Tap, 8 dB"]
    # LOSSES_DB of the last outlet, 0.5 + 0.9 + 0.9 + 1.2 + 1.2 + 8.0; 16.8 dB above is the first one's
    assert record["passive_loss_db"]["uhf"] == pytest.approx(12.7)
    for plan in (report.house.plain, report.house.amplified):
        weakest = [outlet.weakest_spare_db for outlet in plan.outlets]
        assert min(weakest) == weakest[-1]


def test_command_takes_a_line_and_says_what_is_missing(demo):
    at = f"--at={EASY[0]},{EASY[1]}"
    lengths = [part for metres in (10, 30, 40) for part in ("--cable", str(metres))]
    result = run("address", demo, at, "--wiring", "line", *lengths, "--json", "--progress", "none")
    assert result.exit_code == 0, result.output
    assert json.loads(result.stdout)["house"]["taps"][-1] == "Tap, 8 dB"
    for wrong, said in (
        (["--outlets", "3", "--cable", "30"], "Give one an outlet"),
        ([], "--wiring line needs --cable, once an outlet"),
    ):
        result = run("address", demo, at, "--wiring", "line", *wrong, "--json")
        assert result.exit_code == 2
        assert said in result.output
