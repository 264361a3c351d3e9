"""Station files as other programs write them: encodings, delimiters, commas, layers."""

import contextlib
import csv
import math

import geopandas
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from shapely.geometry import LineString, Point

from covermap.errors import InputError
from covermap.scenario import read_scenario
from covermap.scenario.coordinates import read_latitude_deg, read_longitude_deg
from covermap.scenario.settings import TransmitterSettings
from covermap.scenario.text_table import Row, as_number
from covermap.scenario.transmitters import read_stations
from tests.scenario_files import HEADER, ROWS, changed_row, station_csv, write_scenario

ANY = "[wanted.any]\nat_least = 1\n"


def read(tmp_path, stations, **changes):
    return read_scenario(write_scenario(tmp_path, stations=stations, wanted=ANY, **changes))


def refusal(tmp_path, stations, **changes):
    with pytest.raises(InputError) as caught:
        read(tmp_path, stations, **changes)
    return str(caught.value)


PLAIN = station_csv(changed_row(service="Fjord TV é"), ROWS[2])


@pytest.mark.parametrize(
    "raw",
    [
        PLAIN.encode("utf-8"),
        PLAIN.encode("utf-8-sig"),
        PLAIN.encode("utf-16"),
        PLAIN.encode("utf-16-le"),
        PLAIN.encode("utf-16-be"),
        PLAIN.encode("cp1252"),
        PLAIN.replace("\n", "\r\n").encode("utf-8"),
        PLAIN.replace(",", "\t").encode("utf-8"),
        PLAIN.replace(",", ";").encode("utf-8"),
        PLAIN.replace(",", "|").encode("utf-8"),
        PLAIN.replace("Fjord TV é", '"Fjord TV é"').encode("utf-8"),
        PLAIN.replace("Fjord TV é", "“Fjord TV é”").encode("utf-8"),
        PLAIN.replace("\n", "\n\n").encode("utf-8"),
        PLAIN.replace(",", " , ").encode("utf-8"),
        PLAIN.replace("-36.1", "\u221236.1").encode("utf-8"),
        PLAIN.replace("erp_kw", " ERP_kW ").encode("utf-8"),
    ],
)
def test_every_dialect_gives_the_same_stations(tmp_path, raw):
    one, low = read(tmp_path, raw).stations
    assert (one.service, one.longitude_deg, one.erp_kw) == ("Fjord TV é", -36.1, 40.0)
    assert (low.station_id, low.antenna_height_m) == ("LOW", 80.0)


def test_windows_encoding_is_said(tmp_path):
    assert any("is not UTF-8" in text for text in read(tmp_path, PLAIN.encode("cp1252")).warnings)


def test_line_numbers_count_blank_lines_and_quoted_breaks(tmp_path):
    two_lines = changed_row(mast='"North\nMast"')
    stations = f"{HEADER}\n\n{two_lines}\n{changed_row(ROWS[1], erp_kw='x')}\n"
    assert "transmitters.csv, line 5, column erp_kw" in refusal(tmp_path, stations)


NO_LINE_ENDS = ["\u2028", "\u2029", "\x85"]  # Unicode breaks a line there; RFC 4180 does not end a record


@pytest.mark.parametrize("letter", NO_LINE_ENDS, ids=ascii)
def test_only_a_line_end_ends_a_row(tmp_path, letter):
    station, table = changed_row(service=f"Island{letter}Life"), changed_row(ROWS[1], erp_kw="x")
    assert read(tmp_path, station_csv(station)).stations[0].service == f"Island{letter}Life"
    assert "transmitters.csv, line 3, column erp_kw" in refusal(tmp_path, station_csv(station, table))


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"], ids=ascii)
def test_every_kind_of_line_end_counts_once(tmp_path, end):
    table = station_csv(changed_row(), changed_row(ROWS[1], erp_kw="x")).replace("\n", end)
    assert "transmitters.csv, line 3, column erp_kw" in refusal(tmp_path, table.encode())


def semicolon(**cells):
    """Return a semicolon file of one station; cells may hold commas."""
    values = dict(zip(HEADER.split(","), ROWS[0].split(","), strict=True)) | cells
    return ";".join(values) + "\n" + ";".join(values.values()) + "\n"


def test_decimal_comma_is_read_and_said(tmp_path):
    scenario = read(
        tmp_path,
        semicolon(latitude_deg="44,10", longitude_deg="-36,10", erp_kw="1,5", antenna_height_m="120"),
    )
    station = scenario.stations[0]
    assert (station.latitude_deg, station.longitude_deg, station.erp_kw) == (44.1, -36.1, 1.5)
    assert any("read as a decimal comma" in text for text in scenario.warnings)


@pytest.mark.parametrize(
    ("cells", "erp_kw"),
    [
        # beside an unmistakable decimal comma 1,500 is one and a half
        ({"latitude_deg": "44,1", "longitude_deg": "-36,1"}, 1.5),
        # beside decimal points it is fifteen hundred
        ({}, 1500.0),
    ],
)
def test_one_meaning_of_the_comma_a_file(tmp_path, cells, erp_kw):
    assert read(tmp_path, semicolon(erp_kw="1,500", **cells)).stations[0].erp_kw == erp_kw


@pytest.mark.parametrize(
    ("stations", "parts"),
    [
        (
            semicolon(erp_kw="1,5"),  # latitude has a point
            [
                'decimal comma (line 2, column erp_kw, "1,5")',
                'decimal point (line 2, column latitude_deg, "44.10")',
                "Change the numbers to one form",
            ],
        ),
        (
            semicolon(latitude_deg="44", longitude_deg="-36", erp_kw="1,500", antenna_height_m="120"),
            ['line 2, column erp_kw, "1,500"', "Write the number with a decimal point"],
        ),
        (
            station_csv(changed_row(erp_kw="1,5")),
            ["transmitters.csv, line 2: found 15 cells under 14 columns", "Quote the cell"],
        ),
    ],
    ids=["both meanings", "either meaning", "not quoted in a comma file"],
)
def test_a_comma_that_cannot_be_told_is_refused(tmp_path, stations, parts):
    message = refusal(tmp_path, stations)
    for part in parts:
        assert part in message


@pytest.mark.parametrize(
    ("text", "comma", "number"),
    [
        ("1e3", (), 1000.0),
        (" .5 ", (), 0.5),
        ("1,500", ("thousands",), 1500.0),
        *((text, (), math.nan) for text in ("", "1 000 kW", "0x10", "1_000", "nan", "inf", "1.2.3")),
    ],
)
def test_number_grammar(text, comma, number):
    assert as_number(text, *comma) == pytest.approx(number, nan_ok=True)


@pytest.mark.parametrize(
    ("text", "latitude_deg"),
    [
        ("40.5", 40.5),
        ("-40.5", -40.5),
        ("40.5 N", 40.5),
        ("S 40.5", -40.5),
        ("40-30-15 N", 40.0 + 30.0 / 60.0 + 15.0 / 3600.0),
        ("40 30 15 S", -(40.0 + 30.0 / 60.0 + 15.0 / 3600.0)),
        ("-40 30 15", -(40.0 + 30.0 / 60.0 + 15.0 / 3600.0)),
        ("40°30'15\"N", 40.0 + 30.0 / 60.0 + 15.0 / 3600.0),
        ("40° 30′ 15.5″ S", -(40.0 + 30.0 / 60.0 + 15.5 / 3600.0)),
        ("40:30:15", 40.0 + 30.0 / 60.0 + 15.0 / 3600.0),
        ("40 30.25 N", 40.0 + 30.25 / 60.0),
        ("40d30m15s N", 40.0 + 30.0 / 60.0 + 15.0 / 3600.0),
        ("403015", 40.0 + 30.0 / 60.0 + 15.0 / 3600.0),
        ("403015 N", 40.0 + 30.0 / 60.0 + 15.0 / 3600.0),
    ],
)
def test_latitude_is_read_as_people_write_it(text, latitude_deg):
    row = Row("stations.csv", "line 2", {"latitude_deg": text})
    assert read_latitude_deg(row, []) == pytest.approx(latitude_deg, abs=1e-9)


@pytest.mark.parametrize(("text", "longitude_deg"), [("324", -36.0), ("180", 180.0), ("-36", -36.0)])
def test_longitude_up_to_360_is_brought_to_180(text, longitude_deg):
    row = Row("stations.csv", "line 2", {"longitude_deg": text})
    assert read_longitude_deg(row, []) == pytest.approx(longitude_deg)


@pytest.mark.parametrize("text", ["forty", "40 30 60 N", "40-30-15 X", "N 40 S", "-40 S", "40 30 15 20"])
def test_position_that_is_none_shows_what_was_found(text):
    row = Row("stations.csv", "line 2", {"latitude_deg": text})
    with pytest.raises(InputError, match=r"stations.csv, line 2, column latitude_deg: found ."):
        read_latitude_deg(row, [])


def layer(points, crs="EPSG:32625", **columns):
    """Return a layer of stations; its geometry gives the position."""
    values = {
        "station_id": "ONE",
        "service": "First TV",
        "rf_channel": 21,
        "erp_kw": 40.0,
        "antenna_height_m": 120,
        "polarization": "H",
        "displayed_channel": 5.1,
    } | columns
    return geopandas.GeoDataFrame(
        {name: [value] * len(points) for name, value in values.items()}, geometry=points, crs=crs
    )


def test_layer_gives_positions_in_any_crs(tmp_path):
    # UTM zone 25 has its central meridian at 33 W, where easting is 500 km; 4 982 950.4 m is the WGS 84
    # meridian arc to 45 N (4 984 944.4 m) times the scale factor 0.9996
    layer([Point(500_000.0, 4_982_950.4)]).to_file(tmp_path / "stations.gpkg")
    path = write_scenario(tmp_path, wanted=ANY)
    path.write_text(path.read_text().replace("transmitters.csv", "stations.gpkg"))
    station = read_scenario(path).stations[0]
    assert station.longitude_deg == pytest.approx(-33.0, abs=1e-6)
    assert station.latitude_deg == pytest.approx(45.0, abs=1e-5)
    assert (station.rf_channel, station.displayed_channel) == (21, "5.1")
    assert station.source == "stations.gpkg, feature 1"


@pytest.mark.parametrize(
    ("frame", "parts"),
    [
        (layer([Point(0, 0)], crs=None), ["no CRS is declared", "Declare it in the file"]),
        (
            layer([LineString([(0, 0), (1, 1)])]),
            ["feature 1: found LineString", "A station is a point", "Correct"],
        ),
        (layer([None]), ["feature 1: found no geometry", "A station is a point", "Correct"]),
        (
            layer([Point(500_000, 4_983_000)], rf_channel=5.1),
            ['feature 1, column rf_channel: found "5.1"', "shown on the set"],
        ),
        (
            layer([Point(500_000, 4_983_000)]).drop(columns="erp_kw"),
            ["stations.gpkg, header", "no column erp_kw"],
        ),
    ],
)
def test_wrong_layer_is_refused(tmp_path, frame, parts):
    frame.to_file(tmp_path / "stations.gpkg")
    path = write_scenario(tmp_path, wanted=ANY)
    path.write_text(path.read_text().replace("transmitters.csv", "stations.gpkg"))
    with pytest.raises(InputError) as caught:
        read_scenario(path)
    for part in parts:
        assert part in str(caught.value)


def test_file_that_is_neither_csv_nor_layer_is_refused(tmp_path):
    message = refusal(tmp_path, "no layer", stations_name="stations.docx")
    assert message.startswith("stations.docx ([transmitters] file): not readable as a vector layer")
    assert "a .csv table" in message


CELLS = st.sampled_from(
    ["", "-", "0", "-1", "1e999", "-1e308", "nan", "٣", "²", "5.1", "1,5", "1,234,567", '"', "“x”", "=cmd",
     "44 60 0", "4-4-4", "x" * 300, "\0", "a\nb", "📺", "E5", "9A", "RF 21", "+21", "FM", "NAD27",
     "-999", "1e5"]
)  # fmt: skip


@settings(max_examples=100, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(
    column=st.sampled_from(HEADER.split(",")),
    cell=st.one_of(CELLS, st.text(max_size=12)),
    delimiter=st.sampled_from(",;\t"),
)
def test_any_cell_is_read_or_refused_as_wrong_input(tmp_path, column, cell, delimiter):
    path = tmp_path / "any.csv"
    with open(path, "w", newline="", encoding="utf-8", errors="replace") as handle:
        writer = csv.writer(handle, delimiter=delimiter)
        writer.writerow(HEADER.split(","))
        values = dict(zip(HEADER.split(","), ROWS[0].split(","), strict=True))
        writer.writerow((values | {column: cell}).values())
        writer.writerow(ROWS[1].split(","))
    stations = ()
    with contextlib.suppress(InputError):  # any other error fails the test
        stations = read_stations(TransmitterSettings(file=path, channel_plan="us_6mhz")).stations
    assert all(station.erp_kw > 0 and station.antenna_height_m > 0 for station in stations)
    assert all(abs(station.latitude_deg) <= 85 for station in stations)
    assert all(abs(station.longitude_deg) <= 180 for station in stations)
