"""Sites: stations within 1 km of each other rise and fall together, whatever their masts are called."""

from dataclasses import replace
from itertools import permutations

import numpy as np
import pytest
from reception_places import ADDRESS, TIERS, facts_of, one_cell, wanted_of
from scenario_files import HEADER, changed_row, station_csv, write_scenario

from covermap.inputs.station_facts import station_facts
from covermap.jobs.check import stations_in_words
from covermap.reception import ReceptionOptions, best_aim, receive
from covermap.result.run_json import carriers_record
from covermap.scenario import read_scenario
from covermap.scenario.sites import site_names, site_numbers

DEGREE_KM = 111.19  # of latitude, on a sphere of 6371 km


def scenario_of(folder, *places, masts=None):
    """Return a scenario with a station at each (latitude, longitude); all on one channel apart."""
    masts = [f"Mast {number}" for number in range(len(places))] if masts is None else masts
    rows = [
        changed_row(
            station_id=f"S{number}", service=f"Service {number}", mast=mast, rf_channel=str(14 + 2 * number),
            latitude_deg=f"{latitude:.6f}", longitude_deg=f"{longitude:.6f}",
        )
        for number, ((latitude, longitude), mast) in enumerate(zip(places, masts, strict=True))
    ]  # fmt: skip
    services = ", ".join(f'"Service {number}"' for number in range(len(places)))
    wanted = f"[wanted.all]\nservices = [{services}]\n"
    stations = station_csv(*rows, header=HEADER)
    return read_scenario(write_scenario(folder, stations=stations, wanted=wanted))


def north(*kilometres):
    return [(44.0 + km / DEGREE_KM, -36.0) for km in kilometres]


@pytest.mark.parametrize(
    ("places", "sites"),
    [
        (north(0.0, 0.9), [0, 0]),
        (north(0.0, 1.1), [0, 1]),
        (north(0.0, 0.9, 1.8), [0, 0, 0]),  # a chain
        (north(0.0, 5.0, 0.9, 5.9, 1.8), [0, 1, 0, 1, 0]),
        # 0.0124 degrees of longitude at 44 degrees north are 0.99 km, 0.0127 are 1.02 km
        ([(44.0, -36.0), (44.0, -36.0124)], [0, 0]),
        ([(44.0, -36.0), (44.0, -36.0127)], [0, 1]),
        ([(44.0, 179.996), (44.0, -179.996)], [0, 0]),  # 0.64 km across the date line
    ],
)
def test_sites_by_distance(tmp_path, places, sites):
    assert site_numbers(scenario_of(tmp_path, *places).stations).tolist() == sites


def test_order_of_the_file_does_not_matter(tmp_path):
    stations = scenario_of(tmp_path, *north(0.0, 0.9, 1.8, 4.0, 4.5)).stations
    for order in permutations(range(5)):
        sites = site_numbers([stations[index] for index in order])
        together = {index: sites[place] for place, index in enumerate(order)}
        assert together[0] == together[1] == together[2] != together[3] == together[4]


def test_labels_only_name(tmp_path):
    # one label at two places 9 km apart, two labels at one place
    scenario = scenario_of(tmp_path, *north(0.0, 9.0, 0.0), masts=["Hill", "Hill", "Tower"])
    facts = station_facts(scenario.stations)
    assert facts.site.tolist() == [0, 1, 0]
    assert facts.mast.tolist() == [0, 1, 0]
    assert site_names(scenario.stations) == ("Hill", "Hill", "Hill")
    assert [row["site"] for rows in carriers_record(scenario).values() for row in rows] == ["Hill"] * 3


def test_a_position_rounded_in_the_file_is_the_same_site(tmp_path):
    # no label in the file: 0.001 degrees made two masts of one
    scenario = scenario_of(tmp_path, (44.0004, -36.0), (44.0006, -36.0), masts=["", ""])
    assert scenario.stations[0].mast != scenario.stations[1].mast
    facts = station_facts(scenario.stations)
    assert facts.site.tolist() == [0, 0]
    assert facts.mast.tolist() == [0, 1]  # each with its own bearing


@pytest.mark.parametrize(
    ("places", "words"),
    [
        (north(0.0, 5.0), "2 at 2 masts"),
        (north(0.0, 0.5), "2 at 2 masts, 1 site (masts within 1 km are one)"),
    ],
)
def test_check_tells_masts_that_count_as_one_site(tmp_path, places, words):
    assert (
        stations_in_words(scenario_of(tmp_path, *places)).replace(", as of 2026-09-01", "").startswith(words)
    )


UHF_MHZ = [569.0, 599.0, 515.0]
ONE_MAST = replace(ADDRESS, field_dbuvm=np.array([58.8, 57.9, 61.6]), facts=facts_of(UHF_MHZ, [0, 0, 1]))
ONE_SITE = replace(ONE_MAST, facts=replace(facts_of(UHF_MHZ, [0, 1, 2]), site=np.array([4, 4, 7])))
STRANGERS = replace(ONE_MAST, facts=facts_of(UHF_MHZ, [0, 1, 2]))


@pytest.mark.parametrize("tier", [4, 5])
def test_masts_of_one_site_count_as_one_mast(tier):
    one_mast, one_site, strangers = (
        best_aim(signals, TIERS[tier]).chance for signals in (ONE_MAST, ONE_SITE, STRANGERS)
    )
    assert one_site == pytest.approx(one_mast, abs=1e-9)
    assert strangers < one_site - 0.001


def test_a_map_counts_sites_too():
    one_mast, one_site = (
        receive(one_cell(signals, 2.0), signals.facts, TIERS, wanted_of(0, 1, 2), ReceptionOptions())
        for signals in (ONE_MAST, ONE_SITE)
    )
    assert one_site.tier[0] == one_mast.tier[0]
    assert np.array_equal(one_site.tier_chance_percent, one_mast.tier_chance_percent)
