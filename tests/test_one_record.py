"""One record for one place: a cell of a tile and an address with the same fields are told the same."""

from dataclasses import fields
from types import SimpleNamespace

import numpy as np
import pytest
from reference import reference_path
from test_commands import write_demo

import covermap
from covermap.addresses.answer import answer_of
from covermap.addresses.compute_report import Asked, compute_report
from covermap.addresses.paths import mount_heights_m, station_paths
from covermap.addresses.plans import Place, question, tier_plans
from covermap.addresses.report import CellValue
from covermap.grid.fields import STEEP_RAY_DEG
from covermap.jobs.address_sheets import open_book
from covermap.reception import CellSignals, ListReceiver, ReceiverRecord, explained
from covermap.reception.causes import Obstructions
from covermap.reception.surroundings import Surroundings

PLACES = 300
DEMO = (43.87, 44.15, -35.80, -35.55)  # latitudes and longitudes over the island
LOGAN = (41.70, 42.08, -111.79, -111.48)
REAL_STATIONS = """\
station_id,service,mast,latitude_deg,longitude_deg,antenna_height_m,rf_channel,erp_kw,polarization,as_of
A1,One,Ridge,41.9109,-111.6758,40,21,100,H,2026-09-01
A2,Two,Ridge,41.9109,-111.6758,40,10,30,H,2026-09-01
B1,Three,Valley,41.7400,-111.7800,60,30,100,H,2026-09-01
B2,Four,Valley,41.7400,-111.7800,60,17,100,V,2026-09-01
C1,One,Relay,42.0500,-111.7000,20,35,0.1,V,2026-09-01
D1,Far,Edge,41.6800,-111.5000,50,30,0.05,H,2026-09-01
"""
REAL_SCENARIO = """\
name = "Real ground"
output = "out"
[grid]
cell_m = 100
[terrain]
elevation = ["{elevation}"]
[transmitters]
file = "transmitters.csv"
channel_plan = "us_6mhz"
default_system = "atsc1_8vsb"
[wanted.main]
services = ["One", "Two", "Three", "Four"]
[wanted.some]
services = ["One", "Two", "Three", "Four", "Far"]
at_least = 3
"""


def places_of(site, box, count, seed):
    """Return places at random of which every service has a known station, and where they are."""
    random, heights_m = np.random.default_rng(seed), mount_heights_m([t.height_m for t in site.tiers])
    found, at = [], []
    while len(found) < count:
        latitude_deg, longitude_deg = random.uniform(*box[:2]), random.uniform(*box[2:])
        where = np.array([longitude_deg]), np.array([latitude_deg])
        if bool(site.terrain.water(*where)[0]) or np.isnan(site.terrain.ground_m(*where)[0]):
            continue
        place = Place(
            site,
            station_paths(site, latitude_deg, longitude_deg, heights_m),
            float(site.terrain.clutter_height_m(*where)[0]),
            bool(site.terrain.open_land(*where)[0]),
        )
        if not place.missing_services(site.wanted):
            found.append(place)
            at.append((latitude_deg, longitude_deg))
    return found, at


def as_tile(site, places):
    """Return what arrives at the places, and what stands in the way, as a tile of cells."""
    heights_m, stations = mount_heights_m([t.height_m for t in site.tiers]), range(len(site.facts.mast))

    def of_heights(name):
        return np.array(
            [[[getattr(place.paths[s], name)[h] for place in places] for h in heights_m] for s in stations],
            np.float32,
        )

    def of_stations(value, kind=np.float32):
        return np.array([[value(place.paths[s]) for place in places] for s in stations], kind)

    def of_masts(value):
        found = np.full((int(site.facts.mast.max()) + 1, len(places)), np.nan, np.float32)
        found[site.facts.mast] = of_stations(value)
        return found

    signals = CellSignals(
        heights_m=np.array(heights_m),
        field_dbuvm=of_heights("wanted_dbuvm"),
        bearing_deg=of_masts(lambda path: path.profile.back_azimuth_deg),
        clutter_height_m=np.array([place.clutter_height_m for place in places], np.float32),
        open_land=np.array([place.open_land for place in places]),
        unwanted_field_dbuvm=of_heights("unwanted_dbuvm"),
        median_field_dbuvm=of_heights("by_day_dbuvm"),
        distance_km=of_masts(lambda path: path.profile.length_km),
        path_class=of_stations(lambda path: path.path_class, np.uint8),
    )
    obstructions = Obstructions(
        of_stations(lambda path: path.obstacle_db[10.0]),
        of_stations(lambda path: path.path_class, np.uint8),
        of_stations(lambda path: -path.pattern_db if path.departure_deg < STEEP_RAY_DEG else 0.0),
        site.terrain.has_land_cover,
    )
    smooth = np.array([any(path.status == "smooth_earth" for path in place.paths) for place in places])
    return signals, obstructions, smooth


def records_of_cells(site, places):
    """Return the records of a tile: one call for all, its receiver made for every kind of surroundings."""
    signals, obstructions, smooth = as_tile(site, places)
    receiver = ListReceiver(
        site.facts,
        site.tiers,
        site.wanted,
        site.options,
        signals.heights_m,
        Surroundings(*site.terrain.surroundings()),
    )
    reception = receiver.receive(signals, np.ones(len(places), bool))
    return explained(receiver, reception, obstructions, smooth)


@pytest.fixture(scope="module", params=["demo", "main", "some"])
def scene(request, tmp_path_factory):
    """The demo's list, and two lists on real ground: the site and 300 places, with both kinds of record."""
    folder = tmp_path_factory.mktemp("records")
    if request.param == "demo":
        book, box = open_book(covermap.read_scenario(write_demo(folder / "demo"))), DEMO
    else:
        elevation = reference_path("terrain/logan_ut/logan_dem_100m.tif")
        (folder / "transmitters.csv").write_text(REAL_STATIONS, "utf-8")
        scenario = folder / "scenario.toml"
        scenario.write_text(REAL_SCENARIO.format(elevation=elevation), "utf-8")
        book, box = open_book(covermap.read_scenario(scenario), wanted=request.param), LOGAN
    places, at = places_of(book.site, box, PLACES, seed=9 if request.param == "demo" else 8)
    cells = records_of_cells(book.site, places)
    return SimpleNamespace(
        site=book.site, places=places, at=at, cells=[cells.at(cell) for cell in range(PLACES)]
    )


def test_every_member_is_the_same_by_cell_and_by_address(scene):
    for place, by_cell in zip(scene.places, scene.cells, strict=True):
        by_address = answer_of(question(place)).record
        for member in fields(ReceiverRecord):
            told = getattr(by_cell, member.name), getattr(by_address, member.name)
            assert told[0] == told[1], (member.name, *told)


def test_the_places_have_something_of_everything(scene):
    cells = scene.cells
    demo = scene.site.scenario.name == "Skerra"
    assert len({record.tier for record in cells}) >= (6 if demo else 4)
    assert len({record.amplifier for record in cells}) >= 3
    assert len({record.main_cause for record in cells}) >= (4 if demo else 2)
    if demo:
        assert any(record.joined != "single" for record in cells)
        assert {remark for record in cells for remark in record.remarks} >= {"needs_filter", "lost_at_night"}


def test_plans_that_the_sheet_shows_are_the_record_s(scene):
    """The numbers beside the answer are worked out a place at a time; they may not say anything else."""
    site = scene.site
    for place, record in list(zip(scene.places, scene.cells, strict=True))[:60]:
        asked = question(place)
        answer = answer_of(asked)
        stored = tier_plans(asked, answer.plans)[answer.installation.tier - 1]
        assert stored.joined == record.joined
        assert stored.aims_deg == record.aims_deg
        assert stored.polarizations == record.polarizations
        assert stored.chance_percent == pytest.approx(record.chance_percent, abs=1.0)
        assert (stored.chance_percent >= site.options.confidence_percent) is (record.tier < 8)
        for service, chance in record.service_chance_percent.items():
            assert stored.service_chance_percent[service] == pytest.approx(chance, abs=0.51), service
        assert stored.overloads == ("needs_filter" in record.remarks) or record.tier == 8
        if record.tier < 8:
            assert stored.may_overload == ("may_overload" in record.remarks)


def test_the_report_repeats_the_record(scene):
    site = scene.site
    if site.scenario.name == "Real ground":
        pytest.skip("reports are made for the demo")
    rng = np.random.default_rng(1)
    for number in rng.choice(PLACES, 6, replace=False):
        record = scene.cells[number]
        report = compute_report(site, Asked(*scene.at[number]), CellValue("outside", "result"))
        assert report.record == record
        assert (report.tier, report.joined, report.main_cause) == (
            record.tier,
            record.joined,
            record.main_cause,
        )
        assert report.amplifier.verdict == record.amplifier
        assert report.needs_filter == ("needs_filter" in record.remarks)
        assert (report.deciding_service, report.limiting_service) == (
            record.deciding_service,
            record.limiting_service,
        )
        assert report.kept_one_lower == record.kept_one_lower
        gone = {one.service: one.tier for one in report.without}
        if record.deciding_service is not None:
            assert gone[record.deciding_service] == record.tier_without_deciding
        shifted = {change.key: change.tier for change in report.changes}
        assert (shifted["weaker_3db"], shifted["stronger_3db"]) == (record.tier_weaker, record.tier_stronger)
