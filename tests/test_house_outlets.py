"""Several outlets behind one antenna: losses by hand, levels at every outlet, the class that still holds."""

import json
import math
from dataclasses import replace

import pytest

import covermap
from covermap.addresses.compute_report import Asked, answer_at
from covermap.addresses.house import outlet_level
from covermap.addresses.strong_signals import tuner_dbm
from covermap.addresses.wiring import splitter_of, wiring
from covermap.catalogue import Span, read_catalogue
from covermap.errors import InputError
from covermap.jobs.address_sheets import open_book
from covermap.propagation.free_space import dipole_factor_db, thermal_noise_dbm
from covermap.reception import aim_plan
from covermap.reception.chain import cable_loss_db
from covermap.reports.address_sheet import address_record, sheet_html
from covermap.tables import read_tiers
from tests.html_text import visible
from tests.reference import reference_rows
from tests.test_commands import run, write_demo

EASY = (43.9475, -35.625)
BEHIND = (43.98, -35.70)
DEVICES = tuple(read_catalogue().devices.values())


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    return write_demo(tmp_path_factory.mktemp("house") / "demo")


@pytest.fixture(scope="module")
def book(demo):
    return open_book(covermap.read_scenario(demo))


def house_at(book, where, outlets, *cable_m):
    return book.report(*where, home=wiring(outlets, cable_m, DEVICES))


@pytest.mark.parametrize(
    ("outlets", "ways", "uhf_db", "vhf_db"),
    [
        # by hand: outlet 0.5 and three connector pairs of 0.1 dB in both bands, and a splitter of 3.8, 7.5,
        # 9.6 or 15 dB at UHF, of 3.5, 7.0, 9.0 or 14.3 dB at VHF
        (1, 0, 0.8, 0.8),
        (2, 2, 4.6, 4.3),
        (4, 4, 8.3, 7.8),
        (5, 6, 10.4, 9.8),  # the next larger one: 6 ways
        (16, 16, 15.8, 15.1),
    ],
)
def test_loss_of_splitter_outlet_and_connectors_by_band(outlets, ways, uhf_db, vhf_db):
    home = wiring(outlets, (35.0,), DEVICES)
    expected = {"low_vhf": vhf_db, "high_vhf": vhf_db, "uhf": uhf_db}
    assert home.passive_loss_db(home.worst) == pytest.approx(expected, abs=0.01)
    assert home.cable_m == (35.0,) * outlets
    tier = home.at(read_tiers()[5], 0, amplified=False)
    assert [tier.passive_db(mhz) for mhz in (69.0, 195.0, 593.0)] == pytest.approx([vhf_db, vhf_db, uhf_db])
    rows = {int(row["ways"]): row for row in reference_rows("hardware/splitter_loss.csv")}
    if ways:  # the splitter's part is the reference's
        assert uhf_db - 0.8 == pytest.approx(float(rows[ways]["typical_loss_db_uhf"]))
        assert vhf_db - 0.8 == pytest.approx(float(rows[ways]["typical_loss_db_vhf"]))


def test_a_part_whose_loss_at_vhf_is_not_known_takes_that_at_uhf():
    devices = [replace(one, loss_vhf_db=None) if one.kind == "outlet" else one for one in DEVICES]
    devices = [
        replace(one, loss_uhf_db=Span(2.0, 2.0, 2.0)) if one.kind == "outlet" else one for one in devices
    ]
    # outlet 2.0 and three pairs of connectors of 0.1 dB
    assert wiring(1, (35.0,), devices).passive_loss_db(0)["high_vhf"] == pytest.approx(2.3)
    devices = [replace(one, loss_uhf_db=None) if one.kind == "outlet" else one for one in DEVICES]
    with pytest.raises(InputError, match=r"found no loss at UHF\. Fill loss_uhf_db"):
        _ = wiring(1, (35.0,), devices).passive_loss_db(0)


def test_common_run_ends_where_the_shortest_is_half_way():
    home = wiring(3, (20.0, 28.0, 35.0), DEVICES)
    # half of the shortest run of 20 m (our own choice); behind the amplifier 35 - 10 = 25 m are left
    assert home.common_m == 10.0
    wired = home.at(read_tiers()[5], 2, amplified=True)
    assert (wired.cable_m, wired.distribution.cable_m) == (10.0, 25.0)
    assert home.at(read_tiers()[5], 2, amplified=False).cable_m == 35.0


@pytest.mark.parametrize(
    ("outlets", "cable_m", "said"),
    [
        (4, (10.0, 12.0), r"--cable was given 2 times for 4 outlets"),
        (17, (10.0,), r"no splitter for 17 outlets; the largest of the catalogue has 16.*--shared"),
    ],
)
def test_wiring_that_cannot_be_is_told(outlets, cable_m, said):
    with pytest.raises(InputError, match=said):
        wiring(outlets, cable_m, DEVICES)


@pytest.mark.parametrize(
    ("ask", "words"),
    [
        (lambda: wiring(1, (10.0,), []), "no device of the kind outlet"),
        (lambda: splitter_of(2, []), "the largest of the catalogue has 0"),
    ],
    ids=["outlet", "splitter"],
)
def test_a_catalogue_without_parts_is_told(ask, words):
    with pytest.raises(InputError, match=words):
        ask()


@pytest.mark.parametrize(
    ("service", "amplified", "behind_db"),
    [
        ("Skerra One", False, -8.3),  # channel 21: splitter, outlet and connectors as above
        ("Skerra One", True, 14.0 - 8.3),  # and the gain of the amplifier of the table
        ("Coast TV", False, -7.8),  # channel 10
        ("Coast TV", True, 14.0 - 7.8),
    ],
)
def test_level_at_an_outlet_is_the_sum_of_its_parts(book, service, amplified, behind_db):
    """By hand: field + gain + factor of a dipole - cable - splitter and outlet, for a station on the aim."""
    asked, _, _ = answer_at(book.site_at(*EASY), Asked(*EASY))
    path = next(one for one in asked.place.paths if one.station.service == service)
    home = wiring(4, (35.0,), DEVICES)
    tier = home.at(read_tiers()[5], 3, amplified=amplified)
    signals = asked.signals(tier)
    plan = aim_plan(signals, tier, path.profile.back_azimuth_deg)
    station = asked.order(asked.labels()).index(asked.place.paths.index(path))
    frequency_mhz, band = path.station.frequency_mhz, path.station.band
    by_hand_dbm = path.median_dbuvm[10.0] + tier.gain_dbd[band] + dipole_factor_db(frequency_mhz)
    by_hand_dbm += behind_db - cable_loss_db(frequency_mhz, 35.0)
    assert tuner_dbm(signals, tier, plan)[station] == pytest.approx(by_hand_dbm, abs=1e-3)
    outlet = outlet_level(asked, tier, plan, 35.0)
    assert outlet.strongest_spare_db == pytest.approx(-8.0 - (outlet.strongest_dbuv - 108.75), abs=1e-9)


def test_what_the_set_needs_is_noise_and_carrier_to_noise(book):
    # 8-VSB: 15.19 dB of C/N (47 CFR 73.623) over kTB in 6 MHz -106.2 dBm and 7 dB: -84.0 dBm, 24.7 dBuV
    outlet = house_at(book, EASY, 2, 20.0).house.plain.outlets[0]
    assert outlet.weakest_dbuv - outlet.weakest_spare_db == pytest.approx(24.7, abs=0.3)
    assert thermal_noise_dbm(6e6) == pytest.approx(-106.2, abs=0.05)


def test_more_outlets_never_need_less(book):
    tiers, levels = [], []
    for outlets in (1, 2, 4, 8, 16):
        house = house_at(book, BEHIND, outlets, 30.0).house
        tiers.append(house.plain.tier)
        levels.append(house.plain.outlets[0].weakest_spare_db)
        assert house.amplified.tier <= house.plain.tier
    assert tiers == sorted(tiers)
    assert tiers[0] < 8


def test_an_amplifier_in_the_house_pays_where_the_splitter_costs_the_class(book):
    seen = set()
    for where in (EASY, BEHIND, (43.99983, -35.75708), (44.0679, -35.69656)):
        for outlets in (2, 8, 16):
            house = house_at(book, where, outlets, 40.0).house
            seen.add(house.amplifier_pays)
            assert house.one_set_tier <= house.plain.tier + 1  # a longer cable may even be shorter than 25 m
    assert seen == {True, False}


def test_outlets_nearer_to_the_antenna_get_more(book):
    outlets = house_at(book, EASY, 3, 10.0, 20.0, 40.0).house.plain.outlets
    levels = [outlet.weakest_dbuv for outlet in outlets]
    assert levels == sorted(levels, reverse=True)
    service = outlets[0].weakest
    assert {outlet.weakest for outlet in outlets} == {service}


def test_sheet_and_json_carry_the_house_and_only_where_it_was_asked_for(book):
    report = house_at(book, BEHIND, 4, 35.0)
    text = visible(sheet_html(report, 45.0, True))
    assert "The rest of the house" in text
    assert "4 outlets, 35 m of cable from the antenna. Splitter, 4 ways" in text
    record = json.loads(json.dumps(address_record(report)))["house"]
    assert record["without_amplifier"]["tier"] == report.house.plain.tier
    assert len(record["with_amplifier"]["outlets"]) == 4
    plain = replace(report, house=None)
    assert "The rest of the house" not in visible(sheet_html(plain, 45.0, True))
    assert address_record(plain)["house"] is None


def test_command_takes_outlets_and_says_what_is_missing(demo, tmp_path):
    at = f"--at={EASY[0]},{EASY[1]}"
    result = run("address", demo, at, "--outlets", "4", "--cable", "35", "--json", "--progress", "none")
    assert result.exit_code == 0, result.output
    assert json.loads(result.stdout)["house"]["splitter"] == "Splitter, 4 ways"
    result = run("address", demo, at, "--outlets", "4", "--json")
    assert result.exit_code == 2
    assert "--outlets 4 needs --cable" in result.output


def test_a_house_does_not_change_the_answer_of_the_address(book):
    """The receivers kept for a place tell installations apart that differ in cable alone."""
    before = book.report(*BEHIND)
    house_at(book, BEHIND, 16, 60.0)
    after = book.report(*BEHIND)
    assert (before.tier, before.chance_percent) == (after.tier, after.chance_percent)
    assert math.isfinite(before.chance_percent)
