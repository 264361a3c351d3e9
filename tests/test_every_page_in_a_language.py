"""All that the commands write and say for a scenario in another language: no English is left in it."""

import csv
import re
import sqlite3
import xml.etree.ElementTree as ET
from contextlib import closing

import geopandas as gpd
import numpy as np
import pytest
from html_text import visible
from test_commands import run, write_demo
from test_second_language import OTHERS, english_words
from test_web_map_access import all_faults, axe_source
from web_map_browser import NARROW, WIDE, open_browser

import covermap

pytestmark = pytest.mark.slow
HERE = "--at=43.9475,-35.625"
HOMES = """id,name,latitude_deg,longitude_deg,cable_m,outlets,splits
a,Alm,43.9480,-35.6245,60,1,
b,Berg,43.9470,-35.6260,,2,
c,Damm,43.9300,-35.6400,2900,1,
"""


def readings(scenario, path):
    """Write readings of the demo, 5 dB under what is predicted of two stations."""
    rng = np.random.default_rng(2)
    spots = gpd.GeoSeries.from_xy(-35.75 + 0.2 * rng.random(9), 43.96 + 0.12 * rng.random(9), crs="EPSG:4326")
    lines = ["point_id,utc,latitude_deg,longitude_deg,height_m,station_id,level,unit"]
    for row in covermap.field_at(covermap.read_scenario(scenario), spots).itertuples():
        if row.station_id in ("SK1", "SK2", "RPUB") and row.status == "ok":
            level = row.field_dbuvm - 5.0 * (row.station_id != "RPUB") + rng.normal(0.0, 2.0)
            place = f"{row.geometry.y:.7f},{row.geometry.x:.7f},10"
            lines.append(f"P{row.point},2026-10-01T12:00Z,{place},{row.station_id},{level:.2f},dBuV/m")
    lines.append("P99,,43.98,-35.7,10,SK1,120,dBuV/m")
    path.write_text("\n".join(lines) + "\n", "utf-8")
    return path


REPORTS = (
    "report_id,latitude_deg,longitude_deg,mount,seen\n1,43.95,-35.62,window,all\n"
    "2,43.99,-35.70,shelf,all\n3,44.02,-35.66,tall mast,none\n4,43.95,-35.63,elsewhere,all\n"
)


@pytest.fixture(scope="module", params=OTHERS)
def told(request, tmp_path_factory):
    """The coarse demo in a language after every command that writes for people, and what each said."""
    folder = tmp_path_factory.mktemp("language") / "demo"
    scenario = write_demo(folder)
    with scenario.open("a", encoding="utf-8") as file:
        file.write(f'\n[display]\nlanguage = "{request.param}"\n')
    (folder / "homes.csv").write_text(HOMES, "utf-8")
    (folder / "reports.csv").write_text(REPORTS, "utf-8")
    before = folder.parent / "davor"
    said = {}

    def tell(name, *arguments):
        result = run(name, *arguments)
        assert result.exit_code == 0, result.output
        said[f"{name} {arguments[0]}"] = result.stdout

    tell("map", scenario, "--output", before, "--progress", "none")
    text = scenario.read_text("utf-8")
    scenario.write_text(text.replace('"North News", ', ""), "utf-8")
    tell("map", scenario, "--progress", "none")
    tell("changes", before, folder / "out", "--output", folder / "changes")
    tell("relays", scenario)
    tell("address", scenario, HERE, "--outlets", 2, "--cable", 20, "--progress", "none")
    said["address, shared"] = run(
        "address", scenario, HERE, "--shared", folder / "homes.csv", "--progress", "none"
    ).stdout
    (folder / "list.csv").write_text("name,latitude,longitude\nMühle,43.9480,-35.6245\n", "utf-8")
    tell("address", scenario, "--list", folder / "list.csv", "--output", folder / "day", "--progress", "none")
    tell("compare-antennas", scenario, "combo_long", "grid_four", "--progress", "none")
    tell("antenna-test", folder / "bench_log.csv", "--scenario", scenario)
    tell(
        "calibrate", scenario, readings(scenario, folder / "readings.csv"), "--output", folder / "calibrated"
    )
    tell("fieldwork", folder / "out", "--reports", folder / "reports.csv")
    return folder, said


def left_english(text, folder):
    """Return the English words of a text, apart from names of the inputs, paths and errors."""
    names = [row["name"] for row in csv.DictReader((folder / "antennas.csv").open(encoding="utf-8"))]
    text = re.sub(rf"{folder.parent}\S*|Weggelassen: .*", "", text)
    text = re.sub("|".join(map(re.escape, names)), "", text)
    return english_words(text.replace("homes: ", ""))  # a column


def test_no_command_ends_with_english(told):
    folder, said = told
    found = {name: left_english(text, folder) for name, text in said.items()}
    assert {name: words for name, words in found.items() if words} == {}


def read_in_gis(path):
    """Yield what a reader of a project or a style sees: names, labels, aliases, tips, descriptions."""
    root = ET.fromstring(path.read_text("utf-8").split("\n", 1)[1])  # after the doctype
    yield from (one.text or "" for tag in ("layername", "title", "abstract") for one in root.iter(tag))
    for tag, attribute in (("layer-tree-group", "name"), ("category", "label"), ("range", "label"),
                           ("paletteEntry", "label"), ("item", "label"), ("alias", "name"),
                           ("visibility-preset", "name"), ("map-layer-style", "name"),
                           ("LayoutItem", "labelText"), ("Bookmark", "group")):  # fmt: skip
        yield from (one.get(attribute) or "" for one in root.iter(tag))
    for tip in root.iter("mapTip"):
        yield from re.findall(r"'([^']*)'", tip.text or "")
        yield re.sub(r"\[%.*?%\]", "", tip.text or "")


def test_no_layer_of_a_gis_has_english(told):
    folder, _ = told
    project = folder / "out" / "coverage.qgs"
    found = {}
    for path in [project, *(folder / "out" / "rasters").rglob("*.qml")]:
        found[path.name] = {text for text in read_in_gis(path) if left_english(text, folder)}
    assert len(found) > 20
    for path in sorted(folder.rglob("*.gpkg")):
        if "out" not in path.parts and path.parent == folder:
            continue  # an input
        with closing(sqlite3.connect(path)) as database:
            told_of = database.execute("SELECT description FROM gpkg_contents").fetchall()
            columns = database.execute(
                "SELECT name FROM sqlite_master WHERE name = 'gpkg_data_columns'"
            ).fetchall()
            if columns:
                told_of += database.execute("SELECT title FROM gpkg_data_columns").fetchall()
                told_of += database.execute("SELECT description FROM gpkg_data_columns").fetchall()
        found[path.name] = {text for (text,) in told_of if text and left_english(text, folder)}
    assert {name: texts for name, texts in found.items() if texts} == {}


def test_no_page_has_english(told):
    folder, _ = told
    pages = sorted(page for page in folder.rglob("*.html") if page.name != "map.html")
    assert len(pages) >= 9
    found = {}
    for page in pages:
        text = re.sub(
            r"<h2>Weggelassene Zeilen</h2>\s*<ul>.*?</ul>", "", page.read_text("utf-8"), flags=re.DOTALL
        )
        found[page.name] = left_english(visible(text), folder)
    assert {name: words for name, words in found.items() if words} == {}


def test_no_number_of_a_page_has_a_decimal_point(told):
    folder, _ = told
    stations = (folder / "transmitters.csv").read_text("utf-8")
    shown = set(re.findall(r"\b\d+\.\d\b", stations))  # channels, as the set shows them
    found = {}
    for page in sorted(folder.rglob("*.html")):
        if page.name != "map.html":
            text = re.sub(r"-?\d+\.\d{5,}, -?\d+\.\d{5,}", "", visible(page.read_text("utf-8")))
            found[page.name] = set(re.findall(r"(?<![\w.,])\d+\.\d{1,2}(?![\w.,]\d|\w)", text)) - shown
    assert {name: numbers for name, numbers in found.items() if numbers} == {}


@pytest.mark.browser
@pytest.mark.parametrize("size", [NARROW, WIDE], ids=["phone", "laptop"])
def test_a_checker_finds_nothing_on_any_page_and_none_is_wider_than_the_screen(told, size, tmp_path):
    folder, _ = told
    source = axe_source()
    browser = open_browser(tmp_path / "profile", size)
    try:
        found = {}
        for page in sorted(folder.rglob("*.html")):
            if page.name != "map.html":
                browser.get(page.as_uri())
                too_wide = browser.execute_script("return document.documentElement.scrollWidth - innerWidth")
                found[page.name] = all_faults(browser, source) + (["too wide"] if too_wide > 0 else [])
    finally:
        browser.quit()
    assert len(found) > 10
    assert {page: faults for page, faults in found.items() if faults} == {}
