"""Plans at a point: as the map for the same fields; two antennas, filters, nights, high VHF, amplifiers."""

import re
from datetime import date
from types import SimpleNamespace

import numpy as np
import pytest
from sure_figures import SURE_TIERS

import covermap
from covermap.addresses.answer import answer_of, night_of
from covermap.addresses.changes import without_each
from covermap.addresses.compute_report import Asked, compute_report
from covermap.addresses.high_vhf import high_vhf_of
from covermap.addresses.plans import Place, question, tier_plans
from covermap.addresses.report import CellValue
from covermap.addresses.site import Site
from covermap.jobs.address_sheets import open_book
from covermap.reception import ReceptionOptions, StationFacts, aim_plan
from covermap.reports.address_sheet import address_record, sheet_html
from covermap.scenario.records import WantedList
from covermap.tables import read_external_noise
from tests.html_text import visible
from tests.test_commands import write_demo

EASY = (43.9475, -35.625)  # on the slope under Long Rigg
BEHIND = (43.98, -35.70)  # ridges on every side
TWO = (44.01234, -35.62729)  # two masts in reach, 90 degrees apart
FILTER = (44.0679, -35.69656)  # under a mast, the others behind ridges
NIGHT = (43.875, -35.70651)  # a far station on a wanted channel
HIGH_VHF = (44.0315, -35.47527)  # the service on high VHF is the weak one
REMARKABLE = (
    EASY, BEHIND, TWO, FILTER, NIGHT, HIGH_VHF, (44.13826, -35.72851), (43.94203, -35.76437),
    (44.11713, -35.70879), (43.92153, -35.71858), (44.10157, -35.71933), (44.11542, -35.70497),
    (43.99775, -35.69337), (44.09682, -35.71099),
)  # fmt: skip
DAY = date(2026, 12, 2)


@pytest.fixture(scope="module")
def book(tmp_path_factory):
    return open_book(covermap.read_scenario(write_demo(tmp_path_factory.mktemp("plans") / "demo")))


def _report(book, where):
    return compute_report(book.site, Asked(*where, on=DAY), CellValue("outside", "result"))


def test_remarks_of_a_point_are_those_of_its_plan(book):
    """Two antennas, a filter, nights, high VHF, an upright mount: all stand somewhere on the island."""
    seen = set()
    for where in REMARKABLE:
        asked = question(_place(book, where))
        answer = answer_of(asked)
        kept = tier_plans(asked, answer.plans)
        high_vhf, night = high_vhf_of(asked, answer), night_of(asked, answer, kept)
        plan = answer.plan
        remarks = {
            "needs_filter": answer.tier < 8 and plan.overloads,
            "may_overload": plan.may_overload and not plan.overloads,
            "lost_at_night": night is not None and night.tier_by_day is not None,
            "own_high_vhf": answer.tier < 8 and high_vhf is not None and high_vhf.needs_own,
        }
        assert set(answer.record.remarks) - {"smooth_earth"} == {name for name in remarks if remarks[name]}, (
            where
        )
        seen |= {name for name in remarks if remarks[name]} | {plan.joined, plan.polarization}
    assert {"needs_filter", "may_overload", "lost_at_night", "own_high_vhf", "vertical"} <= seen
    assert {"single", "combined"} <= seen


@pytest.fixture(scope="module")
def two(book):
    return _report(book, TWO)


def test_two_antennas_stand_in_answer_skyline_choices_and_json(two):
    assert (two.joined, len(two.aims_deg)) == ("combined", 2)
    html = sheet_html(two, 45.0, True)
    text = visible(html)
    first, second = (round(aim) for aim in two.aims_deg)
    assert re.search(rf"two antennas on one cable, aimed {first}° true .* and {second}° true", text)
    assert f"{first}° and {second}°" in text
    for number, (start, end) in enumerate(two.aim_ranges_deg, start=1):
        assert f"Antenna {number}: any aim from {start}° to {end}° true keeps all five" in text
    skyline_part = html[html.index("Skyline all around") : html.index("</svg>")]
    assert skyline_part.count('fill-opacity="0.2"') == 2  # one window an antenna, none across north here
    assert skyline_part.count("l-7 12h14z") == 2
    record = address_record(two)
    assert record["aims_deg_true"] == [first, second]
    assert [aim["azimuth_deg_true"] for aim in record["aims"]] == [first, second]
    assert [aim["range_deg_true"] for aim in record["aims"]] == [list(r) for r in two.aim_ranges_deg]


def test_each_window_of_two_antennas_ends_where_the_chance_is_missed(book, two):
    """Against the brute way: the plan tried at every whole degree of each antenna."""
    asked = question(_place(book, TWO))
    tier = asked.tiers[two.tier - 1]
    signals = asked.signals(tier)
    for number, (start, end) in enumerate(two.aim_ranges_deg):
        for aim_deg, keeps in ((start - 1, False), (start, True), (end, True), (end + 1, False)):
            aims = list(two.aims_deg)
            aims[number] = aim_deg % 360
            upright = two.stored_plan.polarizations
            found = aim_plan(
                signals, tier, aims[0], upright[0], second_azimuth_deg=aims[1],
                second_polarization=upright[1], joined=two.joined,
            )  # fmt: skip
            assert (found.chance >= 0.9) is keeps, (number, aim_deg)


def test_a_filter_is_named_with_port_and_station(book):
    report = _report(book, FILTER)
    assert report.needs_filter
    assert report.main_cause == "overload"
    text = visible(sheet_html(report, 45.0, True))
    assert "with a filter or attenuator in front." in text
    assert re.search(r"Coast TV( \(\w\))? would overload the amplifier output", text)
    record = address_record(report)
    assert record["needs_filter"] is True
    assert record["overload"]["port"] == "amplifier output"
    # the tier table's limit, 0 dBm at the output: excess is total power at the output above it
    ports = record["overload"]
    assert ports["excess_db"] == pytest.approx(ports["output_dbm"] - 0.0, abs=0.11)
    assert ports["output_dbm"] == pytest.approx(ports["input_dbm"] + 18.0, abs=0.11)  # 18 dB of gain


def test_fine_by_day_and_lost_on_some_nights_is_said(book):
    report = _report(book, NIGHT)
    lower = report.plans[report.night.tier_by_day - 1]
    assert lower.chance_percent < 90.0 <= lower.chance_by_day_percent
    text = visible(sheet_html(report, 45.0, True))
    assert f"{lower.tier} {lower.name} would do; on nights of good propagation it would not" in text
    weakened = next(s for s in report.stations if s.service == report.deciding_service and s.interferer)
    assert weakened.interference_db >= 1.0
    assert weakened.interferer.rf_channel == weakened.rf_channel  # on its own channel, in this scenario
    who, channel = weakened.interferer.service, weakened.rf_channel
    assert re.search(rf"{who}( \(\w+\))?, RF {channel}, from", text)
    assert address_record(report)["night"]["tier_by_day"] == lower.tier


def test_the_wrong_sale_on_high_vhf_is_warned_of_with_the_size_that_does(book):
    report = _report(book, HIGH_VHF)
    found = report.high_vhf
    assert found.needs_own
    assert found.services == ("Coast TV",)
    assert found.uhf_only_chance_percent < 90.0 <= report.chance_percent
    assert [size.gain_dbd for size in found.sizes] == sorted(size.gain_dbd for size in found.sizes)
    assert found.smallest == next(size for size in found.sizes if size.holds)
    text = visible(sheet_html(report, 45.0, True))
    assert "one for UHF only would be the wrong sale here" in text
    assert f"keeps the list is that of {found.smallest.tier} {found.smallest.name}" in text


def test_an_amplifier_adds_what_friis_formula_says(book):
    """By hand at 515 MHz: cable 4.06 dB, splitter 3.5, tuner 7: 14.56 dB, with 18 dB of gain (F 2.5) 3.45;

    with outside noise of 1 dB 14.60 and 3.93 dB, so 10.67 dB; at 605 MHz likewise 10.94 dB.
    """
    report = _report(book, HIGH_VHF)
    effect_db = report.amplifier.effect_db
    clear = [s for s in report.stations if s.band == "uhf" and s.interference_db < 0.01]
    clear = [s for s in clear if s.station_id in effect_db]
    assert clear
    for station in clear:
        assert effect_db[station.station_id] == pytest.approx(10.8, abs=0.3)
    assert report.amplifier.verdict == "helps"
    assert report.amplifier.chance_with_percent >= report.amplifier.chance_without_percent + 5.0


def _place(book, where):
    from covermap.addresses.compute_report import _place

    return _place(book.site, Asked(*where))


def test_worked_address_reaches_its_margins_and_chances():
    """Three stations, seven plans; margins and chances worked by hand in the project's own reckoning:

    C/N 15.2 dB, noise in 6 MHz -106.2 dBm, tuner 7 dB, residential noise, land cover of 10 m, cells of 100 m.
    """
    place = _worked_place(np.array([[58.8, 60.8], [49.9, 51.9], [61.6, 63.6]]))
    asked = question(place)
    answer = answer_of(asked)
    plan, plans = answer.plan, answer.plans
    assert (answer.tier, plan.azimuth_deg, answer.needs_filter) == (
        6,
        40.0,
        False,
    )  # rooftop with amplifier, at A and B: the lowest that passes
    assert plan.margins_db == pytest.approx([25.7, 17.4, 15.4], abs=0.1)
    assert 100.0 * plan.chance == pytest.approx(98.3, abs=0.5)
    rooftop = plans[4]
    assert rooftop.azimuth_deg == 40.0
    assert rooftop.margins_db == pytest.approx([14.8, 12.9, 4.7], abs=0.1)
    assert 100.0 * rooftop.chance == pytest.approx(75.5, abs=0.5)
    assert answer.record.aim_ranges_deg == ((357, 84),)
    assert answer.record.amplifier == "helps"
    gone = {one.service: one for one in without_each(asked, answer)}
    assert gone["C"].tier == 5
    # by hand in test_aim.test_address_without_its_third_station
    assert gone["C"].chance_percent == pytest.approx(96.8, abs=0.5)


def _worked_place(field_dbuvm):
    """Return a place at which three stations arrive with given fields at 10 and 15 m."""

    class Path:
        def __init__(self, index, bearing_deg):
            ten, fifteen = field_dbuvm[index]
            self.wanted_dbuvm = self.unwanted_dbuvm = self.by_day_dbuvm = {10.0: ten, 15.0: fifteen}
            self.profile = type("Profile", (), {"back_azimuth_deg": bearing_deg, "length_km": 60.0})
            self.status, self.path_class, self.obstacle_db = "ok", 0, {10.0: 0.0}
            self.departure_deg = self.pattern_db = 0.0

    facts = StationFacts(
        frequency_mhz=np.array([569.0, 189.0, 515.0]),
        bandwidth_mhz=np.full(3, 6.0),
        required_cn_db=np.full(3, 15.2),
        mast=np.array([0, 0, 1]),
        polarization=np.zeros(3, np.int64),
    )
    wanted = WantedList("all", ("A", "B", "C"), ((0,), (1,), (2,)), None)
    options = ReceptionOptions(external_noise=read_external_noise())
    site = Site(None, None, SURE_TIERS, facts, options, None, wanted)
    paths = (Path(0, 40.0), Path(1, 40.0), Path(2, 115.0))
    for path in paths:
        path.station = SimpleNamespace(station_id=str(path.profile.back_azimuth_deg))
    return Place(site, paths, 10.0, False)
