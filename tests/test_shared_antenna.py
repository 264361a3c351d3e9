"""One antenna for several homes: losses of the network by hand, who is served, costs, bad lists."""

import csv
import json
import math

import pytest

import covermap
from covermap.addresses.compute_report import Asked, answer_at
from covermap.addresses.house import outlet_level
from covermap.addresses.list_file import ListedAddress
from covermap.addresses.shared import shared_antenna, star
from covermap.addresses.shared_homes import SharedHome, read_shared_homes
from covermap.catalogue import read_catalogue
from covermap.errors import InputError
from covermap.jobs.address_sheets import open_book
from covermap.planning.prices import Price
from covermap.planning.shared_cost import shared_cost
from covermap.reports.address_sheet.shared import shared_cautions
from tests.html_text import visible
from tests.test_commands import run, write_demo

SITE = (43.9475, -35.625)
DEVICES = tuple(read_catalogue().devices.values())
HEADER = "id,name,latitude_deg,longitude_deg,cable_m,outlets,splits\n"


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    return write_demo(tmp_path_factory.mktemp("shared") / "demo")


@pytest.fixture(scope="module")
def asked(demo):
    book = open_book(covermap.read_scenario(demo))
    question, answer, reason = answer_at(book.site_at(*SITE), Asked(*SITE))
    assert not reason
    assert answer.tier < 8
    return question


def home(cable_m, outlets=1, splits=()):
    return SharedHome(ListedAddress("", f"h{cable_m}", "", *SITE), cable_m, outlets, splits)


def shared(asked, homes, distance_m=None):
    return shared_antenna(asked, homes, distance_m or [0.0] * len(homes), [None] * len(homes), DEVICES)


@pytest.mark.parametrize(
    ("one", "loss_db"),
    [
        # by hand at 600 MHz: trunk cable 0.41076 sqrt(600) + 0.00091 * 600 = 10.61 dB per 100 m; outlet 0.5;
        # connector pairs of 0.1 dB, three and two more a splitter; splitters of 3.8, 7.5 and 11.3 dB at UHF
        (home(100.0, splits=(2,)), 10.61 + 3.8 + 0.5 + 0.5),
        (home(0.0, splits=(4, 8)), 7.5 + 11.3 + 0.5 + 0.7),
        (home(250.0, outlets=4, splits=(2,)), 26.52 + 3.8 + 7.5 + 0.5 + 0.5),
    ],
)
def test_loss_of_the_network_by_length_and_splits(asked, one, loss_db):
    assert shared(asked, [one]).homes[0].loss_db == pytest.approx(loss_db, abs=0.02)


def test_splitters_take_less_from_vhf(asked, monkeypatch):
    """By hand: 7.0 and 10.7 dB instead of 7.5 and 11.3 for 4 x 8; outlet and connectors are alike."""
    seen = []

    def level_and_note(question, tier, *rest):
        seen.append(tier)
        return outlet_level(question, tier, *rest)

    monkeypatch.setattr("covermap.addresses.shared.outlet_level", level_and_note)
    shared(asked, [home(0.0, splits=(4, 8))])
    losses = {mhz: seen[0].passive_db(mhz) for mhz in (195.0, 593.0)}
    assert losses == pytest.approx({195.0: 7.0 + 10.7 + 0.5 + 0.7, 593.0: 7.5 + 11.3 + 0.5 + 0.7})


@pytest.mark.parametrize(
    ("homes", "ways"),
    [(1, ()), (2, (2,)), (16, (16,)), (17, (2, 16)), (200, (13, 16)), (300, (2, 16, 16))],
)
def test_a_star_gives_every_home_an_output(homes, ways):
    assert star(homes, DEVICES) == ways
    assert math.prod(ways) >= homes


def test_far_homes_are_lost_first_and_the_nearer_ones_stay(asked):
    found = shared(asked, [home(float(cable_m)) for cable_m in (10, 200, 500, 900, 1500)])
    chances = [one.chance_percent for one in found.homes]
    assert chances == sorted(chances, reverse=True)
    assert found.homes[0].served
    assert found.homes[0].attenuator_db > 10.0  # 30 dB of gain in sight of a mast
    assert found.homes[-1].attenuator_db == 0.0
    assert not found.homes[-1].served  # 159 dB of cable behind an amplifier of 30 dB
    assert not found.promised
    assert found.served == sum(one.served for one in found.homes)


def test_length_that_is_not_given_is_taken_from_the_straight_distance(asked):
    found = shared(asked, [home(math.nan), home(20.0)], [100.0, 100.0])
    assert [one.estimated for one in found.homes] == [True, False]
    # 1.3 m of cable for each of 100 m straight (our own choice)
    assert [one.cable_m for one in found.homes] == [pytest.approx(130.0), 20.0]
    assert found.total_cable_m == pytest.approx(150.0)


def test_parts_are_counted_once_for_all_who_pass_them(asked):
    # twenty homes behind 4 x 8: one of 4, three of 8; two homes with 4 sets have a splitter of their own
    homes = [home(30.0, splits=(4, 8)) for _ in range(18)] + [home(30.0, 4, (4, 8))] * 2
    parts = shared(asked, homes).parts
    assert parts == {"launch": 1, "splitter_4": 1 + 2, "splitter_8": 3, "outlet": 18 + 8}


def test_nobody_shares_an_indoor_antenna(asked):
    assert not shared(asked, [home(5.0)]).tier.indoors


def test_cost_a_home_beside_single_antennas():
    # by hand: 110 + 2 x 30 + 100 m x 0.5 = 220 for 4 homes; alone 110 and 130 + 55
    prices = {
        "antenna_tier_5": Price(110.0, 2.5),
        "antenna_tier_6": Price(130.0, 2.5),
        "amplifier": Price(55.0, 0.5),
    }
    parts = [("Splitter", 2, 30.0), ("Cable", 100.0, 0.5)]
    alone = [["antenna_tier_5"], ["antenna_tier_6", "amplifier"]]
    cost = shared_cost(prices, ["antenna_tier_5"], parts, 4, alone)
    assert (cost.shared, cost.per_home, cost.single, cost.single_per_home) == (220.0, 55.0, 295.0, 147.5)
    assert (cost.hours, cost.single_hours, cost.missing) == (2.5, 5.5, ())
    cost = shared_cost({}, ["antenna_tier_5"], [("Cable", 10.0, math.nan)], 0, [])
    assert cost.missing == ("antenna_tier_5", "Cable")
    assert math.isnan(cost.per_home)


@pytest.mark.parametrize(
    ("cells", "said"),
    [
        ("1,A,43.9,-35.6,-3,1,", "line 2, column cable_m"),
        ("1,A,43.9,-35.6,10,1.5,", "line 2, column outlets.*whole number"),
        ("1,A,43.9,-35.6,10,1,4 y 8", "line 2, column splits.*such as 4 x 8"),
        ("1,A,43.9,-35.6,10,1,0", "line 2, column splits"),
        ("1,A,,,10,1,", "line 2"),
    ],
)
def test_a_row_that_cannot_be_used_is_told_and_the_others_stay(tmp_path, cells, said):
    path = tmp_path / "homes.csv"
    path.write_text(HEADER + cells + "\n2,B,43.9,-35.6,10,2,4x8\n")
    found = read_shared_homes(path)
    assert [one.address.point_id for one in found.homes] == ["2"]
    assert found.homes[0].splits == (4, 8)
    assert len(found.left_out) == 1
    path.write_text(HEADER + cells + "\n")
    with pytest.raises(InputError, match=f"(?s)none of its rows is readable.*{said}"):
        read_shared_homes(path)


def test_too_many_homes_are_refused(tmp_path):
    path = tmp_path / "homes.csv"
    path.write_text(HEADER + "".join(f"{n},A,43.9,-35.6,10,1,\n" for n in range(201)))
    with pytest.raises(InputError, match="at most 200"):
        read_shared_homes(path)


def test_command_writes_page_and_table_with_cautions(demo, tmp_path):
    homes = tmp_path / "homes.csv"
    homes.write_text(
        HEADER
        + "a,<Mill>,43.9480,-35.6245,60,1,\nb,Barn,43.9470,-35.6260,,2,\nc,Far,43.9300,-35.6400,2900,1,\n"
    )
    at = f"--at={SITE[0]},{SITE[1]}"
    output = tmp_path / "out"
    result = run("address", demo, at, "--shared", homes, "--output", output, "--progress", "none")
    assert result.exit_code == 0, result.output
    assert "brings all five to 2 of 3 homes" in result.output
    html = (output / "shared_antenna.html").read_text("utf-8")
    text = visible(html)
    assert "<Mill>" not in html
    for sentence in shared_cautions():
        assert sentence in text
    rows = list(csv.DictReader((output / "shared_homes.csv").open(encoding="utf-8")))
    assert [row["served"] for row in rows] == ["True", "True", "False"]
    assert [row["cable_estimated"] for row in rows] == ["False", "True", "False"]
    told = json.loads(run("address", demo, at, "--shared", homes, "--json", "--progress", "none").stdout)
    assert told["served"] == 2
    assert not told["cost"]["missing"]  # every part of the demo has a price
    result = run("address", demo, "--shared", homes)
    assert result.exit_code == 2
    assert "--shared needs --at" in result.output
