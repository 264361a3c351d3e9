"""The sheet of an address: the exact path's numbers, the map's cell, and bad places said so."""

import base64
import csv
import json
import math
import re
import sys
from dataclasses import replace
from datetime import date

import geopandas as gpd
import numpy as np
import pytest
import rasterio
from rasterio import warp
from rasterio.windows import Window
from shapely.geometry import Point
from test_second_language import english_words

import covermap
from covermap.addresses.list_file import read_addresses
from covermap.addresses.report import Note
from covermap.addresses.skyline import skyline
from covermap.jobs.address_sheets import open_book
from covermap.measurements.readings import read_readings
from covermap.reports.address_sheet import address_record, sheet_html
from covermap.reports.address_sheet.day_sheet import day_sheet_html
from covermap.reports.address_sheet.files import sheet_names
from covermap.reports.address_sheet.map_square import cell_sentence
from covermap.reports.address_sheet.sections import answer_section
from covermap.reports.address_sheet.table import address_table
from covermap.scenario.letters import station_letters
from covermap.scenario.settings import DisplaySettings
from covermap.wording.cautions import CAUTIONS
from covermap.wording.language import speaking
from covermap.wording.words import half_up
from tests.html_text import visible
from tests.test_commands import run, write_demo

EASY = (43.9475, -35.625)  # on the slope under Long Rigg
BEHIND = (43.98, -35.70)  # ridges on every side
DAY = date(2026, 12, 2)
SECTIONS = (
    "1 Answer", "2 Choices", "3 Aim", "4 Check on the day", "5 Stations by aim", "6 Why", "7 Amplifier",
    "8 What would change this", "9 Basis and cautions",
)  # fmt: skip


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    """A coarse demo with its map finished."""
    path = write_demo(tmp_path_factory.mktemp("address") / "demo")
    result = run("map", path, "--progress", "none")
    assert result.exit_code == 0, result.output
    return path


@pytest.fixture(scope="module")
def book(demo):
    return open_book(covermap.read_scenario(demo))


@pytest.fixture(scope="module")
def behind(book):
    return book.report(*BEHIND, point_id="b1", label="Behind <two> & 'ridges'", on=DAY)


def test_fields_are_those_of_the_exact_path(demo, behind):
    points = gpd.GeoSeries([Point(BEHIND[1], BEHIND[0])], crs="EPSG:4326")
    table = covermap.field_at(covermap.read_scenario(demo), points).set_index("station_id")
    assert len(behind.stations) >= 8
    for station in behind.stations:
        row = table.loc[station.station_id]
        assert station.field_dbuvm == pytest.approx(row["field_dbuvm"], abs=1e-6)
        assert station.azimuth_deg == pytest.approx(row["azimuth_deg"], abs=1e-9)
        assert station.distance_km == pytest.approx(row["distance_km"], abs=1e-9)


def test_the_cell_beside_is_the_maps_cell(demo, book, behind):
    assert book.coverage is not None  # the result of this very scenario is found and read
    said = covermap.open_coverage(demo.parent / "out").at(*BEHIND)["main"]
    assert behind.cell.source == "result"
    assert (behind.cell.tier, behind.cell.chance_percent) == (said["tier"], said["chance_percent"])
    assert behind.cell.aim_deg == said["aim_deg_true"]


def far_from_the_middle(report, field_db, service):
    """Return a report whose square has the given field less here, of one service, and all others alike."""
    stations = [
        replace(one, cell_field_dbuvm=one.field_dbuvm + (field_db if one.service == service else 1.0))
        for one in report.stations
    ]
    return replace(report, stations=tuple(stations))


def test_a_sheet_says_where_the_square_s_middle_is_far_from_it(behind):
    listed = [one for one in behind.stations if one.on_list]
    spread_db = listed[0].prediction_sd_db
    assert 5.0 < spread_db < 20.0
    assert "answers for its middle" not in cell_sentence(far_from_the_middle(behind, 1.0, ""))
    within = far_from_the_middle(behind, spread_db - 0.1, listed[0].service)
    assert "answers for its middle" not in cell_sentence(within)
    said = cell_sentence(far_from_the_middle(behind, 37.0, listed[0].service))
    assert f"here {listed[0].service} (" in said
    assert "arrives 37 dB weaker than there" in said
    assert f"usually out ({half_up(spread_db)} dB)" in said
    other_way = far_from_the_middle(behind, -37.0, listed[0].service)
    assert "arrives 37 dB stronger than there" in cell_sentence(other_way)
    assert "arrives 37 dB stronger" in visible(answer_section(other_way))


def test_a_computed_cell_equals_the_raster(demo, book):
    scenario = covermap.read_scenario(demo)
    coverage, book.coverage = book.coverage, None
    try:
        computed = book.cell(*BEHIND)
    finally:
        book.coverage = coverage
    said = coverage.at(*BEHIND)["main"]
    assert computed.source == "computed"
    assert list(computed.tier_chance_percent) == said["tier_chance_percent"]
    assert (computed.tier, computed.aim_deg) == (said["tier"], said["aim_deg_true"])
    row, col = coverage.cell_at(*BEHIND)
    for station in scenario.stations:
        raster = coverage.read(f"field/{station.station_id}")[row, col]
        in_steps = pytest.approx(float(raster), abs=1.0 / 256.0 + 1e-4)  # rasters keep steps of 1/128 dB
        assert computed.field_dbuvm[station.station_id] == in_steps


def test_a_result_of_other_inputs_is_not_read(demo):
    stations = demo.parent / "transmitters.csv"
    original = stations.read_text("utf-8")
    stations.write_text(original.replace(",24,15.0,", ",24,30.0,"), "utf-8")
    try:
        assert open_book(covermap.read_scenario(demo)).coverage is None
    finally:
        stations.write_text(original, "utf-8")


def test_sheet_has_its_sections_in_order_cautions_no_script_and_escaped_names(behind):
    html = sheet_html(behind, 45.0, True)
    positions = [html.index(f"<h2>{title}</h2>") for title in SECTIONS]
    assert positions == sorted(positions)
    assert "<script" not in html
    assert "default-src 'none'" in html
    assert "<two>" not in html
    assert "Behind &lt;two&gt; &amp; &#x27;ridges&#x27;" in html
    text = visible(html)
    for sentence in (CAUTIONS[0], *CAUTIONS[4:]):
        assert sentence in text
    assert "Stations as of 2026-09-01." in text
    assert not re.search(r"\d\.\d dB\b", text.replace(_basis(text), ""))  # decibels are whole
    form = "Picture: yes, breaking or no."  # what the installer writes down
    assert not re.search(r"\byes\b", text.replace(form, ""))  # never a yes


def test_letters_are_those_of_the_scenario_wherever_the_aim_is(demo, book, behind):
    letters = station_letters(covermap.read_scenario(demo))
    for report in (behind, book.report(*EASY, on=DAY)):
        assert {s.station_id: s.letter for s in report.stations}.items() <= letters.items()


@pytest.mark.parametrize(("distance", "height"), [("km", "m"), ("mi", "ft")])
def test_sheet_is_in_the_units_of_the_scenario(behind, distance, height):
    shown = replace(behind, display=DisplaySettings(distance=distance, height=height))
    told = visible(sheet_html(shown, 45.0, True)).split("Basis and cautions")[0]
    foreign = {"km", "m", "mi", "ft"} - {distance, height}
    assert not re.findall(rf".{{0,40}}\d (?:{'|'.join(foreign)})\b", told)
    nearest_km = behind.stations[0].distance_km
    number = nearest_km if distance == "km" else nearest_km / 1.609344  # the international mile
    assert f"{number:.1f} {distance}" in told


def test_paths_are_titled_by_their_facts(behind):
    text = visible(sheet_html(behind, 45.0, True))
    for path in behind.masts:
        if not any(station.on_list for station in path.stations):
            continue
        ridges = path.stations[0].ridges
        if len(ridges) > 1:
            highest = max(ridges, key=lambda ridge: ridge.height_above_line_m)
            assert f"{path.mast}: {len(ridges)} hills; the high" in text
            assert f"{highest.height_above_line_m:.0f} m above the line" in text
    assert "ridge" not in text.lower().replace("behind <two> & 'ridges'", "")


@pytest.mark.browser
def test_sheet_prints_on_two_pages(browser, behind, tmp_path):
    path = tmp_path / "sheet.html"
    path.write_text(sheet_html(behind, 45.0, True), "utf-8")
    browser.get(path.as_uri())
    asked = {"preferCSSPageSize": True, "printBackground": True}
    pdf = base64.b64decode(browser.execute_cdp_cmd("Page.printToPDF", asked)["data"])
    assert len(re.findall(rb"/Type\s*/Page\b", pdf)) == 2


def test_names_in_pictures_are_escaped(demo, book):
    rows = (demo.parent / "transmitters.csv").read_text("utf-8").replace("High Corrin", "High <Corrin>")
    other = demo.parent.parent / "escaped"
    path = write_demo(other, files={"transmitters.csv": lambda text: rows})
    report = covermap.address(covermap.read_scenario(path), *BEHIND, on=DAY)
    html = sheet_html(report, 45.0, True)
    assert "High <Corrin>" not in html
    assert "Path from High &lt;Corrin&gt;" in html


def _basis(text):
    return text[text.index("9 Basis and cautions") :]


def test_json_has_the_promised_keys(behind):
    record = json.loads(json.dumps(address_record(behind), allow_nan=False))
    promised = {
        "location", "list", "tier", "chance_percent", "aims_deg_true", "aim_range_deg", "stations", "plans",
        "amplifier", "cell", "cautions", "aims", "joined", "needs_filter", "may_overload", "night",
        "high_vhf", "services_by_class", "little_gained_after_tier", "tier_without_deciding",
    }  # fmt: skip
    assert promised <= set(record)
    of_station = {
        "station_id", "service", "field_dbuvm", "margin_db", "chance_percent", "azimuth_deg", "distance_km",
        "ridges", "cause",
    }  # fmt: skip
    for station in record["stations"]:
        assert of_station <= set(station)
    assert {"tier", "chance_percent"} <= set(record["cell"])
    assert [plan["tier"] for plan in record["plans"]] == [1, 2, 3, 4, 5, 6, 7]
    assert 1 <= record["tier"] <= 8
    first, last = record["aim_range_deg"]
    aim = record["aims_deg_true"][0]
    assert (aim - first) % 360 <= (last - first) % 360


def test_command_writes_json_alone_and_exits_0(demo, tmp_path):
    found = run("address", demo, "--at", f"{EASY[0]},{EASY[1]}", "--json", "--day", "2026-12-02")
    assert found.exit_code == 0, found.output
    record = json.loads(found.stdout)
    assert record["tier"] == 2  # a shelf just misses 90 % by what its figures can be off by
    assert record["location"]["latitude_deg"] == EASY[0]
    assert not (demo.parent / "addresses").exists()


@pytest.mark.parametrize(
    ("header", "rows", "names"),
    [
        ("id,latitude_deg,longitude_deg,label", ["7,43.95,-35.62,Mill", "8,43.96,-35.6,"], ["7", "8"]),
        ("latitude_deg,longitude_deg,address", ['43.95,-35.62,"Mühle, 4/2"', "43.96,-35.6,Mill"],
         ["Muhle-4-2", "Mill"]),
        ("latitude_deg,longitude_deg,name", ["43.95,-35.62,Mill", "43.96,-35.6,mill", "43.97,-35.6,Mill"],
         ["Mill", "mill_2", "Mill-2"]),
        ("latitude_deg,longitude_deg", ["43.95,-35.62"], ["43p95000_-35p62000"]),
        ("latitude_deg,longitude_deg,label", ["43.95,-35.62,../..", "43.95,-35.62,"],
         ["43p95000_-35p62000", "43p95000_-35p62000_2"]),
    ],
)  # fmt: skip
def test_files_of_a_list_are_named_by_id_address_or_place_and_none_alike(tmp_path, header, rows, names):
    path = tmp_path / "addresses.csv"
    path.write_text("\n".join([header, *rows]) + "\n", "utf-8")
    listed = read_addresses(path).addresses
    assert sheet_names(listed) == [f"address_{name}" for name in names]
    given = [one.point_id for one in listed if one.point_id]
    assert len(set(given)) == len(given)


def test_list_gives_a_sheet_each_a_day_sheet_and_names_bad_rows(demo, tmp_path):
    rows = tmp_path / "addresses.csv"
    rows.write_text(
        "id,latitude_deg,longitude_deg,label\n"
        f"a,{EASY[0]},{EASY[1]},=Easy <place>\nb,95,3,Nowhere\n"
        f"c,{BEHIND[0]},{BEHIND[1]},\nA,43.99,-35.0,Far\n",
        "utf-8",
    )
    out = tmp_path / "sheets"
    found = run("address", demo, "--list", rows, "--output", out, "--day", "2026-12-02")
    assert found.exit_code == 0, found.output
    assert 'Left out: addresses.csv, line 3, column latitude_deg: found "95".' in found.stderr
    # ids that differ only by case must not overwrite each other on disks that do not tell them apart
    assert sorted(path.name for path in out.iterdir()) == [
        "address_A_2.html", "address_a.html", "address_c.html", "address_table.csv", "addresses.gpkg",
        "day_sheet.html", "readings.csv",
    ]  # fmt: skip
    table = {
        row["point_id"]: row for row in csv.DictReader((out / "address_table.csv").open(encoding="utf-8"))
    }
    assert table["A"]["status"] == "unknown"
    assert table["A"]["tier"] == table["A"]["cost"] == ""
    prices = {row["item"]: row for row in csv.DictReader((demo.parent / "prices.csv").open(encoding="utf-8"))}
    tier = int(table["a"]["tier"])
    assert tier < 6  # one antenna, no amplifier: the price list's own figure
    assert float(table["a"]["cost"]) == float(prices[f"antenna_tier_{tier}"]["price_each"])
    layer = gpd.read_file(out / "addresses.gpkg")
    assert layer.crs.to_epsg() == 4326
    assert list(layer["point_id"]) == ["a", "c", "A"]
    day = (out / "day_sheet.html").read_text("utf-8")
    assert "<script" not in day
    assert "=Easy &lt;place&gt;" in day
    take, nothing = (
        re.search(f"{words}: ([^<]*)", day)[1] for words in ("Take with you", "can be promised for")
    )
    assert "1 × unknown" in nothing
    assert not re.search("unknown|Not promised", take)
    assert "addresses.csv, line 3" in day
    assert 'href="address_c.html"' in day
    assert "Weak reception here is no proof of a fault at a station." in day


@pytest.mark.parametrize(
    ("chance", "whole"), [(89.6, 89), (90.2, 90), (89.2, 89), (96.7, 97), (None, math.nan)]
)
def test_a_table_never_rounds_a_chance_across_the_confidence(book, behind, chance, whole):
    table = address_table([replace(behind, chance_percent=chance)], book.prepared.tiers, None)
    np.testing.assert_equal(table["chance_percent"][0], whole)


def test_the_answer_names_no_aim_where_the_list_holds_in_every_direction(book):
    report = book.report(*BEHIND, on=DAY)
    assert report.stored_plan.directional
    assert f"aimed {half_up(report.aims_deg[0])}°" in visible(answer_section(report))
    told = visible(answer_section(replace(report, aim_ranges_deg=((0, 359),))))
    assert "no aim needed, the list holds in every direction" in told
    assert "aimed" not in told


def test_blank_readings_filled_in_are_read_back(demo, book, tmp_path):
    out = tmp_path / "sheets"
    at = f"{BEHIND[0]},{BEHIND[1]}"
    found = run("address", demo, "--at", at, "--label", "Behind", "--output", out)
    assert found.exit_code == 0, found.output
    with open(out / "readings.csv", newline="", encoding="utf-8") as handle:
        rows = list(csv.DictReader(handle))
    for row in rows:
        row |= {"level": "50", "unit": "dBuV/m", "height_m": "10", "utc": "2026-12-02T10:00Z"}
    filled = tmp_path / "filled.csv"
    with open(filled, "w", newline="", encoding="utf-8") as handle:
        writer = csv.DictWriter(handle, rows[0].keys())
        writer.writeheader()
        writer.writerows(rows)
    read = read_readings(filled, book.site.scenario.stations, book.site.tiers)
    assert not read.unreadable
    assert {r.station.station_id for r in read.readings} == {
        "SK1", "SK2", "CTV", "SK1R", "SK2R", "CTVR", "NEWS", "RPUB",
    }  # fmt: skip


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["--at", "44.0"], '--at: found "44.0"'),
        (["--at", "95,3"], "A latitude lies between -90 and 90"),
        (["--at", "44,-200"], "A longitude lies between -180 and 180"),
        ([], "Give either --at LAT,LON or --list"),
        (["--at", "44,-35.66", "--wanted", "none"], "no wanted list 'none'; it has main"),
    ],
)
def test_wrong_input_is_one_message_and_status_2(demo, arguments, message):
    found = run("address", demo, *arguments)
    assert found.exit_code == 2
    assert message in found.stderr
    assert "Traceback" not in found.stderr


def test_a_list_without_a_good_row_is_status_2(demo, tmp_path):
    rows = tmp_path / "addresses.csv"
    rows.write_text("id,latitude_deg,longitude_deg,label\nb,95,3,Nowhere\n", "utf-8")
    found = run("address", demo, "--list", rows, "--output", tmp_path / "sheets")
    assert found.exit_code == 2
    assert "none of its rows is readable" in found.stderr
    assert not (tmp_path / "sheets").exists()


@pytest.mark.parametrize(
    ("latitude_deg", "longitude_deg", "code"),
    [
        (43.99, 35.66, "outside_sign"),
        (-43.99, -35.66, "outside_sign"),
        (-35.66, 43.99, "outside_order"),
        (10.0, 10.0, "outside"),
        (80.0, 170.0, "outside"),
    ],
)
def test_a_place_beyond_the_elevation_by_a_slip_is_told_of_it(book, latitude_deg, longitude_deg, code):
    assert book.report(latitude_deg, longitude_deg, on=DAY).reason.code == code


def test_outside_the_elevation_is_unknown_and_says_so(book):
    report = book.report(43.99, -35.0, on=DAY)
    assert (report.status, report.tier, report.chance_percent) == ("unknown", None, None)
    assert report.reason == Note("outside")
    assert "outside the elevation" in address_record(report)["reason"]
    assert "Unknown." in answer_section(report)
    assert report.cell.status == "outside"
    assert address_record(report)["stations"][0]["field_dbuvm"] is None


def test_in_the_sea_is_noted(book):
    west, south, east, north = book.site.terrain.bounds_deg
    longitude, latitude = (
        values.ravel() for values in np.meshgrid(np.linspace(west, east, 21), np.linspace(south, north, 21))
    )
    terrain = book.site.terrain
    sea = np.flatnonzero(
        terrain.water(longitude, latitude) & ~np.isnan(terrain.ground_m(longitude, latitude))
    )[0]
    report = book.report(float(latitude[sea]), float(longitude[sea]), on=DAY)
    assert Note("water") in report.notes
    assert "This point lies on water." in " ".join(address_record(report)["notes"])


def test_on_a_void_of_the_elevation_is_unknown_and_says_so(demo):
    path = write_demo(
        demo.parent.parent / "void",
        changes={"cell_m = 100": "cell_m = 1000", "n0 = 325": "n0 = 325\nreach_km = 2"},
    )
    with rasterio.open(path.parent / "elevation.tif", "r+") as raster:
        x, y = warp.transform("EPSG:4326", raster.crs, [BEHIND[1]], [BEHIND[0]])
        row, col = raster.index(x[0], y[0])
        raster.write(
            np.full((1, 21, 21), raster.nodata, raster.dtypes[0]), window=Window(col - 10, row - 10, 21, 21)
        )
    report = covermap.address(covermap.read_scenario(path), *BEHIND, on=DAY)
    assert (report.status, report.tier, report.joined) == ("unknown", None, "")
    assert report.reason == Note("no_ground")
    assert address_record(report)["aims"] == []
    assert "Unknown." in visible(sheet_html(report, 45.0, True))


def test_out_of_reach_says_the_reach(demo):
    path = write_demo(
        demo.parent.parent / "short",
        changes={"cell_m = 100": "cell_m = 1000", "n0 = 325": "n0 = 325\nreach_km = 2"},
    )
    report = covermap.address(covermap.read_scenario(path), *BEHIND, on=DAY)
    assert report.status == "unknown"
    assert "more than 2.0 km away, the reach of this prediction" in address_record(report)["reason"]


def test_weaker_signals_never_need_less_and_more_noise_never_helps(behind):
    by_key = {change.key: change for change in behind.changes}
    assert by_key["weaker_3db"].tier >= behind.tier
    assert by_key["in_leaf"].tier >= behind.tier
    assert by_key["in_leaf"].wood_m is not None  # the demo has land cover: no rough loss
    assert by_key["denser"].tops_m > by_key["more_open"].tops_m
    assert by_key["noisier"].tier >= behind.tier
    for one in behind.without:
        assert one.tier <= behind.tier


class Cone:
    """Flat ground at 100 m with one cone-shaped hill, 200 m higher, 5 km east of the middle."""

    def elevation_m(self, longitude_deg, latitude_deg):
        from covermap.grid.exact_path import GEODESIC

        longitude_deg, latitude_deg = np.broadcast_arrays(longitude_deg, latitude_deg)
        middle = GEODESIC.fwd(10.0, 45.0, 90.0, 5000.0)
        east = np.full(longitude_deg.shape, middle[0]), np.full(longitude_deg.shape, middle[1])
        distance_m = GEODESIC.inv(*east, longitude_deg, latitude_deg)[2]
        return 100.0 + np.maximum(0.0, 200.0 - 0.2 * distance_m)

    ground_m = elevation_m


def test_skyline_of_a_cone_is_where_geometry_puts_it():
    seen = skyline(Cone(), 45.0, 10.0, 10.0, 1e9)
    east = int(np.argmax(seen.elevation_deg))
    assert seen.azimuth_deg[east] == pytest.approx(90.0)
    # 190 m over the eye at 5 km: atan(190 / 5000) = 2.176 degrees; sampled each 50 m or less of slope 0.2
    assert seen.elevation_deg[east] == pytest.approx(2.176, abs=0.12)
    # flat ground to 40 km: the farthest point is 10 m under the eye, atan(10 / 40000) = 0.0143 degrees down
    west = int(np.flatnonzero(seen.azimuth_deg == 270.0)[0])
    assert seen.elevation_deg[west] == pytest.approx(-0.0143, abs=0.001)


PRINTED = {  # name -> where: one behind ridges, one in each dead zone of the demo, one that needs little
    "Behind": BEHIND, "Shared channel": (43.92153, -35.71858), "Glen": (43.9405, -35.8025), "Easy": EASY,
}  # fmt: skip


def test_pdf_has_two_pages_an_address_and_one_for_the_day(demo, tmp_path):
    weasyprint = pytest.importorskip("weasyprint", reason="the report extra is not installed")
    listed = tmp_path / "list.csv"
    rows = [f"{name},{lat},{lon}" for name, (lat, lon) in PRINTED.items()]
    listed.write_text("\n".join(["id,latitude_deg,longitude_deg", *rows]) + "\n", "utf-8")
    found = run("address", demo, "--list", listed, "--output", tmp_path / "day", "--pdf")
    assert found.exit_code == 0, found.output
    sheets = sorted(path.stem for path in (tmp_path / "day").glob("address_*.html"))
    assert len(sheets) == len(PRINTED)
    for stem, pages in {"day_sheet": 1, **dict.fromkeys(sheets, 2)}.items():
        page = tmp_path / "day" / f"{stem}.html"
        assert len(weasyprint.HTML(filename=page).render().pages) == pages, stem
        assert page.with_suffix(".pdf").read_bytes().startswith(b"%PDF-")


def test_pdf_without_its_library_says_what_to_install(demo, tmp_path, monkeypatch):
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    at = f"{BEHIND[0]},{BEHIND[1]}"
    found = run("address", demo, "--at", at, "--label", "Behind", "--output", tmp_path / "one", "--pdf")
    assert found.exit_code == 0
    assert "pip install 'covermap[report]'" in found.stderr
    assert [path.name for path in (tmp_path / "one").glob("address_*")] == ["address_Behind.html"]


def test_sheet_and_day_sheet_are_in_another_language_throughout(book):
    with speaking("de"):
        report = book.report(*BEHIND, point_id="b1", label="Hof", on=DAY)
        sheet = sheet_html(report, dn=45.0, with_clutter=True)
        day = day_sheet_html([(report, "b1.html")], [], report.cautions)
    for page in (sheet, day):
        assert '<html lang="de">' in page
        assert english_words(visible(page)) == []
    assert "Sender nach Richtung" in sheet
    assert "rechtweisend" in day
