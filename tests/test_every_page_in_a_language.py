"""All that the commands write and say for a scenario in another language: no English is left in it."""

import csv
import re

import geopandas as gpd
import numpy as np
import pytest
from html_text import visible
from test_commands import run, write_demo
from test_second_language import OTHERS, english_words

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
    return english_words(re.sub("|".join(map(re.escape, names)), "", text))


def test_no_command_ends_with_english(told):
    folder, said = told
    found = {name: left_english(text, folder) for name, text in said.items()}
    assert {name: words for name, words in found.items() if words} == {}


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
