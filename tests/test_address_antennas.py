"""Antennas of the catalogue at an address: a table by height, what to buy and why, what to load."""

import json
from dataclasses import replace

import pytest
from small_catalogue import ANTENNAS, CATALOGUE

import covermap
from covermap.addresses.compute_report import Asked, answer_at
from covermap.addresses.installed import Shop, best_amplified, installations_at, recommended
from covermap.addresses.wiring import wiring
from covermap.catalogue import installed
from covermap.jobs.address_sheets import open_book
from covermap.jobs.address_shop import shop_of
from covermap.reception import best_aim
from covermap.reports.address_sheet import address_record, sheet_html
from covermap.reports.address_sheet.day_sheet import day_sheet_html
from covermap.tables import read_tiers
from tests.html_text import visible
from tests.test_commands import run, write_demo

EASY, BEHIND = (43.9475, -35.625), (43.98, -35.70)
BETWEEN = (44.0075, -35.595)  # antennas of the catalogue have their best aim a degree beside the answer's
TIERS = read_tiers()
LOW_GAIN = replace(CATALOGUE.devices["masthead_low"], price=30.0)
PRICED = replace(
    CATALOGUE,
    devices={
        **CATALOGUE.devices,
        "masthead_low": LOW_GAIN,
        "diplexer": replace(CATALOGUE.devices["diplexer"], price=10.0),
    },
)
SHOP = Shop(TIERS, catalogue=PRICED, amplifier=LOW_GAIN, mast_price=300.0)


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    return write_demo(tmp_path_factory.mktemp("antennas") / "demo")


@pytest.fixture(scope="module")
def book(demo):
    return open_book(covermap.read_scenario(demo))


@pytest.fixture(scope="module", params=[EASY, BEHIND], ids=["easy", "behind"])
def asked(book, request):
    question, _, reason = answer_at(book.site_at(*request.param), Asked(*request.param), (7.5, 12.0))
    assert not reason
    return question


def put_up(*specs, **more):
    return [installed(spec, PRICED, TIERS, amplifier=LOW_GAIN, **more) for spec in specs]


def test_a_row_is_the_best_aim_of_the_antenna_at_that_height(asked):
    rows = installations_at(asked, put_up("both", height_m=12.0))
    assert [(row.height_m, row.amplifier) for row in rows] == [(12.0, ""), (12.0, LOW_GAIN.name)]
    one = put_up("both", height_m=12.0)[0]
    for row, tier in zip(rows, one.tiers, strict=True):
        plan = best_aim(asked.signals(tier), tier)
        assert row.chance_percent == pytest.approx(100.0 * plan.chance)
        assert row.aims_deg == plan.azimuths_deg
        assert row.holds == (plan.chance >= 0.9)
        assert row.weakest_percent == pytest.approx(100.0 * min(plan.chances))
    assert [row.price for row in rows] == [90.0, 120.0]


def test_a_pair_costs_its_parts_and_brings_what_both_bring(asked):
    pair, uhf, vhf = installations_at(asked, put_up("uhf_20+vhf_6", "uhf_20", "vhf_6"))[::2]
    assert pair.price == 70.0 + 60.0 + 10.0
    most = len(uhf.services) + len(vhf.services)  # which, where two aims bring as many, may differ
    assert max(len(uhf.services), len(vhf.services)) <= len(pair.services) <= most


def test_the_first_recommendation_is_the_cheapest_that_holds(asked):
    found = recommended(asked, SHOP)
    everything = []
    for antenna in ANTENNAS:
        for mount in antenna.mounts:
            spec = f"{antenna.antenna_id}@{mount}"
            mast = 300.0 if mount == "mast" else 0.0
            for row in installations_at(asked, put_up(spec)):
                if row.holds:
                    everything.append(row.price + mast)
    if found[0].reason == "surest":
        assert not everything
        assert not found[0].at.holds
        return
    first = found[0].at
    assert found[0].reason == "cheapest"
    assert first.holds
    cost = first.price + (300.0 if first.mount == "mast" else 0.0)
    assert cost <= min(everything, default=cost)
    costs = [one.at.price + (300.0 if one.at.mount == "mast" else 0.0) for one in found]
    assert costs == sorted(costs)
    assert len({one.at.key for one in found}) == len(found)
    assert all(one.at.holds for one in found)


@pytest.mark.parametrize(
    ("amplified", "expected"),
    [
        # name, whether it holds the list, whether it needs a filter, chance; in order of price
        ([("a", True, False, 95.0), ("b", True, False, 99.0)], ["a"]),
        (
            [("a", True, True, 95.0), ("b", True, False, 92.0)],
            ["b"],
        ),  # one that strong signals do not overload
        ([("a", True, True, 95.0), ("b", True, True, 99.0)], ["a"]),
        ([("a", True, True, 95.0), ("b", False, False, 80.0)], ["a"]),
        ([("a", False, False, 40.0), ("b", False, False, 60.0)], ["b"]),
        ([], []),
    ],
)
def test_of_several_amplifiers_one_is_told(asked, amplified, expected):
    row = installations_at(asked, put_up("both"))[1]
    rows = [
        replace(row, amplifier=name, holds=holds, needs_filter=overloads, chance_percent=chance)
        for name, holds, overloads, chance in amplified
    ]
    assert [one.amplifier for one in best_amplified(rows)] == expected


def test_every_amplifier_of_the_catalogue_that_suits_is_tried(asked):
    one = installed("both", CATALOGUE, TIERS)
    assert [device.device_id for device in one.amplifiers] == ["masthead_low", "masthead_high"]
    plain, told = installations_at(asked, [one])
    chances = [100.0 * best_aim(asked.signals(tier), tier).chance for tier in one.tiers]
    assert plain.chance_percent == pytest.approx(chances[0])
    assert told.chance_percent in [pytest.approx(chance) for chance in chances[1:]]
    assert told.holds == (max(chances[1:]) >= 90.0)


def test_a_turned_antenna_is_told_with_its_bearing(asked):
    bearings = [path.profile.back_azimuth_deg for path in asked.place.paths]
    rows = installations_at(asked, put_up("both", f"both:{bearings[0]:.0f}", "uhf_20+vhf_6:200"))
    free, turned, pair = rows[::2]
    assert turned.aims_deg == (float(f"{bearings[0]:.0f}"),)
    assert turned.chance_percent <= free.chance_percent + 1e-6
    assert pair.aims_deg[0] == 200.0
    assert len(pair.aims_deg) == 2


def test_a_service_without_gain_is_marked(asked):
    vhf, uhf = installations_at(asked, put_up("vhf_6", "uhf_20"))[::2]
    assert set(vhf.unserved) == set(asked.wanted.services) - {"Coast TV"}  # the only one on VHF
    assert set(vhf.unserved) <= set(vhf.lost)
    assert uhf.unserved == ()  # a relay has Coast TV on UHF


def test_without_prices_an_easier_mount_goes_first(book):
    question, _, _ = answer_at(book.site_at(*EASY), Asked(*EASY))
    found = recommended(
        question, replace(SHOP, catalogue=CATALOGUE, amplifier=CATALOGUE.devices["masthead_low"])
    )
    order = ["shelf", "window", "loft", "gable", "rooftop", "mast"]
    assert order.index(found[0].at.mount) <= order.index(found[-1].at.mount)


def test_nothing_is_recommended_without_a_catalogue(asked):
    assert recommended(asked, Shop(TIERS)) == ()


def test_sheet_and_day_sheet_name_what_to_buy_and_to_load(book):
    reports = [book.report(*where, point_id=name, shop=SHOP) for name, where in (("a", EASY), ("b", BEHIND))]
    html = sheet_html(reports[0], 45.0, True)
    text = visible(html)
    assert "From the catalogue" in text
    assert "the least costly that holds the list" in text
    assert "its weakness:" in text
    first = reports[0].recommended[0].at
    assert first.name in text
    record = json.loads(json.dumps(address_record(reports[0])))["recommended"]
    assert record[0]["antenna"] == first.key
    assert record[0]["reason"] == "cheapest"
    day = visible(day_sheet_html([(report, "x.html") for report in reports], [], ["Caution."]))
    assert "From the catalogue:" in day
    assert first.name.split(" + ")[0] in day
    plain = book.report(*EASY)
    assert "From the catalogue" not in visible(sheet_html(plain, 45.0, True))


def test_what_to_buy_has_the_aim_of_the_answer_where_that_holds_the_list(book):
    asked, answer, _ = answer_at(book.site_at(*BETWEEN), Asked(*BETWEEN))
    alone, beside = recommended(asked, SHOP), recommended(asked, SHOP, answer)
    assert any(one.at.aims_deg != answer.plan.azimuths_deg for one in alone)  # else the place shows nothing
    assert [one.at.key for one in beside] == [one.at.key for one in alone]
    for one in beside:
        assert one.at.aims_deg == answer.plan.azimuths_deg
        assert one.at.holds
        # what the same antennas bring when they are put up turned that way for good
        name, mount = one.at.key.split("@")
        spec = "+".join(f"{part}:{answer.plan.azimuth_deg:.0f}" for part in name.split("+"))
        turned = installations_at(asked, put_up(f"{spec}@{mount}"))
        chances = [row.chance_percent for row in turned if row.amplifier == one.at.amplifier]
        assert chances == [pytest.approx(one.at.chance_percent, abs=0.1)]


def test_what_to_buy_keeps_its_own_aim_where_the_answers_would_not_hold_the_list(book):
    asked, answer, _ = answer_at(book.site_at(*BETWEEN), Asked(*BETWEEN))
    turned_away = tuple(
        replace(plan, azimuth_deg=(plan.azimuth_deg + 180.0) % 360.0) for plan in answer.plans
    )
    own = recommended(asked, SHOP)
    assert own[0].at.holds
    assert recommended(asked, SHOP, replace(answer, plans=turned_away)) == own


def test_command_tables_heights_and_says_what_is_missing(demo):
    at = f"--at={EASY[0]},{EASY[1]}"
    words = ("--antenna", "combo_long,boom_long", "--height", "7.5", "--height", "12", "--json")
    result = run("address", demo, at, *words, "--progress", "none")
    assert result.exit_code == 0, result.output
    rows = json.loads(result.stdout)["installations"]
    assert [row["height_m"] for row in rows] == [7.5] * 4 + [12.0] * 4
    assert {row["antenna"] for row in rows} == {"combo_long", "boom_long"}
    for given, said in (
        (("--height", "7.5"), "--height 7.5 needs --antenna"),
        (("--antenna", "combo_logn"), "Did you mean combo_long?"),
        (("--antenna", "combo_long", "--amplifier", "outlet"), 'no amplifier "outlet"'),
    ):
        result = run("address", demo, at, *given, "--json")
        assert result.exit_code == 2, result.output
        assert said in " ".join(result.output.split())


def test_a_scenario_that_names_a_catalogue_is_recommended_from_it(demo):
    result = run("address", demo, f"--at={EASY[0]},{EASY[1]}", "--json", "--progress", "none")
    assert result.exit_code == 0, result.output
    assert 1 <= len(json.loads(result.stdout)["recommended"]) <= 3


def test_a_sheet_behind_ridges_prints_on_two_pages(book):
    weasyprint = pytest.importorskip("weasyprint", reason="the report extra is not installed")
    report = book.report(*BEHIND, label="Behind the ridge", shop=SHOP)
    pages = weasyprint.HTML(string=sheet_html(report, 45.0, True)).render().pages
    assert len(pages) == 2
    first = " ".join(box.text for box in pages[0]._page_box.descendants() if hasattr(box, "text"))
    for title in ("1 Answer", "2 Choices", "3 Aim", "4 Check on the day", "Date and time"):
        assert title in first  # what is decided and done on the day


def test_outlets_behind_ridges_still_print_on_two_pages(book):
    weasyprint = pytest.importorskip("weasyprint", reason="the report extra is not installed")
    home = wiring(4, (35.0,), book.prepared.catalogue.devices.values())
    report = book.report(*BEHIND, shop=shop_of(book.prepared, (), (), None), home=home)
    html = sheet_html(report, 45.0, True)
    assert "The rest of the house" in visible(html)
    assert len(weasyprint.HTML(string=html).render().pages) == 2


def test_an_amplifier_is_tabled_only_where_it_is_needed(book):
    shop = Shop(TIERS, put_up=tuple(put_up("both", "panel")))
    report = book.report(*EASY, shop=shop)
    plain, amplified, _ = report.installations
    assert plain.holds
    text = visible(sheet_html(report, 45.0, True))
    assert "no amplifier" in text
    assert amplified.amplifier not in text.split("Antennas at heights", 1)[1]
