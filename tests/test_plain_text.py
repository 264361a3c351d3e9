"""Names hold only what XML can hold: tables of one's own are refused, in layers and lists a blank stands."""

from xml.etree import ElementTree

import geopandas
import pytest
import shapely
from fuzzed_inputs import write_everything
from scenario_files import ROWS, changed_row, station_csv, write_scenario
from shapely.geometry import Point

from covermap.addresses.list_file import read_addresses
from covermap.errors import InputError
from covermap.grid.frame import Grid
from covermap.planning.neighbourhoods import read_neighbourhoods
from covermap.planning.places import read_places
from covermap.scenario import read_scenario
from covermap.scenario.settings import AreasSettings
from covermap.scenario.vector_table import read_vector_table
from covermap.station_lists.tables import read_raw_table
from covermap.tables.plain_text import is_plain
from covermap.tables.tiers import read_tiers

TAB = "\x0b"  # vertical: the line break of word processors


def is_xml(letter):
    try:
        ElementTree.fromstring(f"<name>{letter}</name>".encode())
    except (ElementTree.ParseError, UnicodeEncodeError):
        return False
    return True


def test_a_letter_is_plain_where_xml_can_hold_it():
    asked = {*range(0x3000), *range(0xD7F0, 0x10010), 0x1F4FA, 0x10FFFF} - {ord("<"), ord("&")}
    assert [code for code in sorted(asked) if is_plain(chr(code)) != is_xml(chr(code))] == []


def refused(read, *arguments):
    with pytest.raises(InputError) as caught:
        read(*arguments)
    said = str(caught.value)
    assert TAB not in said
    assert "without control characters" in said
    assert "Remove them." in said
    return said


@pytest.mark.parametrize("column", ["service", "mast", "displayed_channel"])
def test_a_station_with_a_control_character_is_refused(tmp_path, column):
    stations = station_csv(ROWS[1], changed_row(**{column: f"One{TAB}Two"}))
    said = refused(read_scenario, write_scenario(tmp_path, stations=stations, wanted=""))
    assert f'transmitters.csv, line 3, column {column}: found "One\\u000bTwo"' in said


@pytest.mark.parametrize(
    ("changes", "where"),
    [
        ({"top": 'name = "Sker\\u000bra"\n'}, 'scenario.toml, name: found "Sker\\u000bra"'),
        (
            {"wanted": '[wanted.main]\nservices = ["First TV", "Se\\u0001cond"]\n'},
            'scenario.toml, [wanted.main], services: found "Se\\u0001cond"',
        ),
        (
            {"terrain": 'elevation = ["elevation.tif"]\ncredits = ["by \uffff"]\n'},
            'scenario.toml, [terrain], credits: found "by \\uffff"',
        ),
    ],
)
def test_a_scenario_with_a_control_character_is_refused(tmp_path, changes, where):
    assert where in refused(read_scenario, write_scenario(tmp_path, **changes))


def test_a_tier_with_a_control_character_is_refused(tmp_path):
    write_everything(tmp_path)
    path = tmp_path / "tiers.csv"
    name = read_tiers(path).tiers[0].name
    path.write_text(path.read_text("utf-8").replace(name, name[:3] + TAB + name[3:], 1), "utf-8")
    assert "tiers.csv, line 2, column name: found" in refused(read_tiers, path)


def test_a_folder_whose_name_cannot_be_written_gives_one_that_can(tmp_path):
    folder = tmp_path / f"Sker{TAB}ra"
    folder.mkdir()
    assert read_scenario(write_scenario(folder, top="")).name == "Sker ra"


@pytest.fixture
def layer(tmp_path):
    """Two squares, named with a control character."""
    path = tmp_path / "wards.gpkg"
    shapes = [shapely.box(0, 0, 900, 900), shapely.box(900, 0, 1900, 900)]
    names = [f"West{TAB}side", "East"]
    geopandas.GeoDataFrame({"name": names}, geometry=shapes, crs="EPSG:32625").to_file(path)
    return path


def test_neighbourhoods_and_places_of_a_layer_have_blanks_instead(layer):
    grid = Grid("EPSG:32625", 100.0, 0.0, 1000.0, 10, 20)
    settings = AreasSettings(neighbourhoods=layer, neighbourhood_key="name", neighbourhood_name="name")
    table, _ = read_neighbourhoods(settings, grid)
    assert list(table.neighbourhood_name) == ["West side", "East"]
    assert list(table.neighbourhood_id) == ["West side", "East"]
    assert [place.name for place in read_places(layer)[0]] == ["West side", "East"]


def test_places_and_addresses_of_a_table_have_blanks_instead(tmp_path):
    path = tmp_path / "places.csv"
    path.write_text(f"name,latitude_deg,longitude_deg\nWest{TAB}side,44.1,-36.1\n", "utf-8")
    assert [place.name for place in read_places(path)[0]] == ["West side"]
    assert [one.label for one in read_addresses(path).addresses] == ["West side"]


def test_stations_of_a_layer_have_blanks_instead(tmp_path):
    path = tmp_path / "stations.gpkg"
    geopandas.GeoDataFrame(
        {"service": [f"One{TAB}Two"]}, geometry=[Point(-36.1, 44.1)], crs="EPSG:4326"
    ).to_file(path)
    assert read_vector_table(path).rows[0].text("service") == "One Two"


def test_a_list_of_others_may_have_form_feeds_between_its_pages(tmp_path):
    path = tmp_path / "list.csv"
    path.write_text("Call,Channel\nAAA,21\n\x0cBBB,22\n", "utf-8")
    table = read_raw_table(path)
    assert table.column("Call") == ["AAA", "BBB"]
    assert table.places == ("line 2", "line 3")
