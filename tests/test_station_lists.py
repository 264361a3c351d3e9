"""Lists of stations as they are published: what is understood, what is asked, and what `check` then reads."""

import csv
import math
from pathlib import Path

import pytest
from click.testing import CliRunner

from covermap.cli.main import main
from covermap.scenario.settings import TransmitterSettings
from covermap.scenario.transmitters import read_stations
from covermap.station_lists.fields import guess, unit_in, words_of
from covermap.station_lists.tables import RawTable

HEADINGS = (
    "Call Sign|Network|Virtual Ch|RF Channel|Status|Lat DMS|Lon DMS|ERP (kW)|Antenna height AGL (m)|"
    "HAAT (m)|Site elevation AMSL (m)|Pol|Service Type"
)
ROWS = (
    "WAAA|First TV|5.1|21|LIC|44-03-10 N|36-01-40 W|40|120|300|212|H|DTV",
    "WBBB|Second TV|8.1|29|LIC|44 03 10 N|36 01 40 W|12.5|120|300|212|V|DTV",
    "WCCC|Third TV|9.1|30|CP|44°03'10\"N|36°01'40\"W|40|120|300|212|H|DTV",
    "WDDD|Fourth TV|11.1|31|LIC|||40|120|300|212|V|DTV",
    "WEEE|Fifth FM|||LIC|44 03 10 N|36 01 40 W|40|120|300|212|V|FM",
    "WFFF|Sixth TV|12.1|35|LIC|44 03 10 N|36 01 40 W||120|300|212|V|DTV",
    "WBBB|Second TV|8.1|29|LIC|44 03 10 N|36 01 40 W|12.5|120|300|212|V|DTV",
)
PLAN = ("--plan", "us_6mhz")


def run(*words):
    return CliRunner().invoke(main, ["stations", *map(str, words)])


def published(folder, headings=HEADINGS, rows=ROWS, name="list.txt"):
    path = folder / name
    path.write_text("\n".join([headings, *rows]) + "\n", "utf-8")
    return path


def written(folder, *words):
    output = folder / "out" / "transmitters.csv"
    result = run(*words, *PLAN, "--accept", "--output", output)
    assert result.exit_code == 0, result.output
    return result.output, list(csv.DictReader(output.open(encoding="utf-8")))


def test_a_regulators_list_becomes_our_table_and_says_what_was_dropped(tmp_path):
    said, rows = written(tmp_path, published(tmp_path))
    assert [(row["station_id"], row["service"], row["rf_channel"], row["erp_kw"]) for row in rows] == [
        ("WAAA", "First TV", "21", "40"),
        ("WBBB", "Second TV", "29", "12.5"),
    ]
    # 44 deg 3 min 10 s = 44 + 3/60 + 10/3600
    assert float(rows[0]["latitude_deg"]) == pytest.approx(44.052778, abs=1e-6)
    assert float(rows[0]["longitude_deg"]) == pytest.approx(-36.027778, abs=1e-6)
    assert "Rows: 2 of 7 kept" in said
    for reason in ("filed only", "no position", "radio", "no power", "repeated"):
        assert f"1 left out: {reason}" in said
    settings = TransmitterSettings.model_validate(
        {"file": str(tmp_path / "out" / "transmitters.csv"), "channel_plan": "us_6mhz"}
    )
    assert [station.antenna_height_m for station in read_stations(settings).stations] == [120.0, 120.0]


def test_nothing_is_written_without_accept(tmp_path):
    output = tmp_path / "transmitters.csv"
    result = run(published(tmp_path), *PLAN, "--output", output)
    assert result.exit_code == 0
    assert "Nothing is written yet" in result.output
    assert "'Antenna height AGL (m)', in m" in result.output
    assert not output.exists()


@pytest.mark.parametrize(
    ("heading", "field", "unit"),
    [
        ("ERP (kW)", "erp", "kw"),
        ("ERP_W", "erp", "w"),
        ("ERP dBk", "erp", "dbk"),
        ("Max ERP", "erp", ""),
        ("EIRP (dBm)", "eirp", "dbm"),
        ("Antenna height AGL (m)", "height", "m"),
        ("Height above ground level [ft]", "height", "ft"),
        ("Antenna Height", None, ""),
        ("HAAT (m)", None, ""),
        ("Antenna height AMSL (m)", "height_above_sea", "m"),
        ("Overall Tower Height Above Ground (m)", None, ""),
        ("Site elevation AMSL (m)", "ground", "m"),
        ("Virtual Ch", "displayed_channel", ""),
        ("RF Ch", "channel", ""),
        ("Channel", None, ""),
        ("Frequency (kHz)", "frequency", "khz"),
        ("Lat DMS", "latitude", ""),
        ("Longitude", "longitude", ""),
        ("lat_deg", "latitude", ""),
        ("lat_min", "latitude_min", ""),
        ("Transmitter output power (W)", None, ""),
    ],
)
def test_headings_say_their_kind_and_unit_or_nothing(heading, field, unit):
    table = RawTable("t", (heading,), ({heading: "1"},), ("line 2",))
    found = guess(table, heading)
    assert (None if found is None else found.field) == field
    assert (unit_in(heading, field) if field else "") == unit
    assert "k" not in words_of("ERP (kW)")  # kW stays one word: W would be a thousandth


def test_our_own_table_is_understood_and_comes_out_as_it_went_in(tmp_path):
    demo = Path(__file__).resolve().parents[1] / "data_demo" / "transmitters.csv"
    _, again = written(tmp_path, demo)
    with demo.open(encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if row["status"] == "on_air"]
    assert again == [{name: row[name] for name in again[0]} | {"status": "on_air"} for row in rows]
    of_other_tables = {"azimuth_pattern", "elevation_pattern"}  # not given with it
    assert set(again[0]) == set(rows[0]) - of_other_tables


def test_what_only_our_own_table_holds_comes_out_as_it_went_in(tmp_path):
    ours = (
        "station_id,service,latitude_deg,longitude_deg,rf_channel,erp_kw,antenna_height_m,polarization,azimuth_pattern,"
        "elevation_pattern,electrical_tilt_deg,mechanical_tilt_deg,mechanical_tilt_azimuth_deg,system,required_cn_db,"
        "sfn_group,sfn_delay_us"
    )
    row = (
        "one,One TV,44.050000,-36.020000,21,40,120,horizontal,beam,"
        "beam,0.75,1.5,210,dvbt2_256qam_2_3,19.5,"
        "north,12.5"
    )
    beam = ["pattern,plane,angle_deg,relative_field"]
    beam += [f"beam,azimuth,{angle},{0.5 if angle == 90 else 1}" for angle in range(0, 360, 10)]
    beam += [f"beam,elevation,{angle},{1 if angle == 0 else 0.25}" for angle in (-10, 0, 90)]
    lists = published(tmp_path, ours, [row], "ours.csv"), published(tmp_path, beam[0], beam[1:], "beams.csv")
    _, rows = written(tmp_path, *lists)
    assert {name: rows[0][name] for name in ours.split(",")} == dict(
        zip(ours.split(","), row.split(","), strict=True)
    )
    settings = TransmitterSettings.model_validate(
        {
            "file": str(tmp_path / "out" / "transmitters.csv"),
            "patterns": str(tmp_path / "out" / "patterns.csv"),
            "channel_plan": "us_6mhz",
        }
    )
    station = read_stations(settings).stations[0]
    down = [float(station.elevation_pattern.relative_db_at(angle)) for angle in (0.0, 90.0)]
    assert down == pytest.approx([0.0, 20.0 * math.log10(0.25)], abs=0.01)
    assert float(station.azimuth_pattern.relative_db_at(90.0)) == pytest.approx(
        20.0 * math.log10(0.5), abs=0.01
    )
    tilts = station.electrical_tilt_deg, station.mechanical_tilt_deg, station.mechanical_tilt_azimuth_deg
    assert tilts == (0.75, 1.5, 210.0)


def test_all_that_is_open_is_asked_at_once_with_what_settles_it(tmp_path):
    headings = HEADINGS.replace("Antenna height AGL (m)", "Antenna Height").replace("ERP (kW)", "ERP")
    path = published(tmp_path, headings.replace("RF Channel", "Channel"))
    result = run(path)
    assert result.exit_code == 0
    for option in (
        '--column height="Antenna Height"', '--column channel="Channel"', "--unit erp=", "--plan us_6mhz",
    ):  # fmt: skip
        assert option in result.output
    refused = run(path, "--accept", "--output", tmp_path / "t.csv")
    assert refused.exit_code == 2
    assert "Nothing was written" in refused.output
    settled = ("--column", "height=Antenna Height", "--column", "channel=Channel")
    _, rows = written(tmp_path, path, *settled, "--unit", "height=ft", "--unit", "erp=w")
    assert (rows[0]["antenna_height_ft"], rows[0]["erp_w"]) == ("120", "40")
    # what was settled is kept: the same list again needs no option but the mapping
    again = run(path, "--mapping", tmp_path / "out" / "stations_mapping.toml", *PLAN)
    assert "Still open" not in again.output


@pytest.mark.parametrize("text", ["columns = 3", "[words]\nstatus = 3", 'units = "kW"'])
def test_a_mapping_of_another_shape_is_refused(tmp_path, text):
    (tmp_path / "mapping.toml").write_text(text)
    result = run(published(tmp_path), "--mapping", tmp_path / "mapping.toml", *PLAN)
    assert result.exit_code == 2
    assert "mapping.toml cannot be read as a mapping file" in result.output


def test_another_kind_of_height_is_never_offered(tmp_path):
    headings = HEADINGS.replace("Antenna height AGL (m)", "Antenna height AMSL (m)")
    result = run(published(tmp_path, headings.replace("Site elevation AMSL (m)", "Region")), *PLAN)
    assert "No column is the antenna height above ground" in result.output
    assert '--column height="HAAT' not in result.output
    assert '--column height="Antenna height AMSL' not in result.output


def test_a_height_above_average_terrain_is_called_one(tmp_path):
    headings = HEADINGS.replace("Antenna height AGL (m)", "Antenna height AMSL (m)")
    path = published(tmp_path, headings.replace("Site elevation AMSL (m)", "Region"))
    assert '"HAAT (m)" is a height above average terrain' in run(path, *PLAN).output
    taken = run(path, *PLAN, "--column", "height=HAAT (m)").output
    assert (
        "antenna height above ground: 'HAAT (m)', in m. But that is a height above average terrain" in taken
    )


@pytest.mark.parametrize(
    ("cell", "column", "number"),
    [
        ("500 W", "erp_w", 500.0),
        ("0.5 kW", "erp_kw", 0.5),
        ("57 dBm", "erp_dbw", 27.0),
        ("0,5", "erp_kw", 0.5),
    ],
)
def test_a_cell_that_names_its_unit_is_read_in_it(tmp_path, cell, column, number):
    row = ROWS[0].replace("|40|120|", f"|{cell}|394 ft|")
    _, rows = written(tmp_path, published(tmp_path, rows=[row]))
    assert float(rows[0][column]) == pytest.approx(number)
    assert rows[0]["antenna_height_ft"] == "394"
    _, rows = written(
        tmp_path,
        published(tmp_path, HEADINGS.replace("ERP (kW)", "ERP"), [ROWS[0].replace("|40|", "|40 kW|")]),
    )
    assert rows[0]["erp_kw"] == "40"  # no unit is asked for where every cell says its own
    odd = run(published(tmp_path, rows=[ROWS[0], ROWS[1].replace("12.5", "12.5 hp")]), *PLAN)
    assert "1 left out: power in hp" in odd.output


def test_an_unknown_word_is_asked(tmp_path):
    path = published(tmp_path, rows=(ROWS[0].replace("LIC", "STA"), ROWS[1]))
    asked = run(path, *PLAN)
    assert '--word status:"STA"=' in asked.output
    _, rows = written(tmp_path, path, "--word", "status:STA=on_air")
    assert len(rows) == 2


def test_a_spreadsheet_with_a_title_and_degrees_in_parts(tmp_path):
    openpyxl = pytest.importorskip("openpyxl")
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.append(["Stations of the region"])
    parts = [f"{name}_{part}" for name in ("lat", "lon") for part in ("deg", "min", "sec", "dir")]
    sheet.append(["Station", "RF Ch", "ERP kW", "Height AGL m", *parts])
    sheet.append(["Hill", 21, 40, 120.5, 44, 3, 10, "N", 36, 1, 40, "W"])
    sheet.append(["Dale", 22, 0.25, 30, 44, 30, 0, "N", 36, 30, 0, "W"])
    book.save(tmp_path / "list.xlsx")
    _, rows = written(tmp_path, tmp_path / "list.xlsx")
    assert [(row["service"], row["latitude_deg"], row["antenna_height_m"]) for row in rows] == [
        ("Hill", "44.052778", "120.5"),
        ("Dale", "44.500000", "30"),
    ]


def test_a_layer_of_points(tmp_path):
    geopandas = pytest.importorskip("geopandas")
    frame = geopandas.GeoDataFrame(
        {
            "Station": ["Hill", "Dale"],
            "RF Ch": [21, 22],
            "ERP kW": [40.0, 5.0],
            "Height AGL m": [120.0, 30.0],
        },
        geometry=geopandas.points_from_xy([-36.0, -36.5], [44.0, 44.5]),
        crs="EPSG:4326",
    )
    frame.to_file(tmp_path / "list.gpkg")
    _, rows = written(tmp_path, tmp_path / "list.gpkg")
    assert [(row["service"], row["longitude_deg"]) for row in rows] == [
        ("Hill", "-36.000000"),
        ("Dale", "-36.500000"),
    ]


@pytest.mark.parametrize(("heading", "cell"), [("Relative Field", "0.5"), ("Attenuation dB", "6.0206")])
def test_patterns_of_a_table_of_their_own(tmp_path, heading, cell):
    headings = HEADINGS + "|Pattern"
    rows = (ROWS[0] + "|P1", ROWS[1] + "|")
    path = published(tmp_path, headings, rows)
    full = "1" if "Field" in heading else "0"
    lines = [f"P1,{angle},{cell if angle == 90 else full}" for angle in range(0, 360, 10)]
    table = published(tmp_path, f"Pattern ID,Azimuth,{heading}", lines, "patterns_list.csv")
    _, rows = written(tmp_path, path, table)
    assert rows[0]["azimuth_pattern"] == "P1"
    found = list(csv.DictReader((tmp_path / "out" / "patterns.csv").open(encoding="utf-8")))
    by_angle = {float(row["angle_deg"]): float(row["relative_field"]) for row in found}
    assert by_angle[90.0] == pytest.approx(0.5, abs=1e-4)  # -6.0206 dB is half the field: 20 log10(0.5)
    assert by_angle[0.0] == 1.0


def test_ten_thousand_rows_are_all_told(tmp_path):
    rows = [
        f"W{n}|TV {n}|5.1|{14 + n % 20}|LIC|{30 + n % 150 / 10:.1f}|{-120 + n // 150}|40|120|300|212|H|DTV"
        for n in range(10_000)
    ]
    result = run(published(tmp_path, rows=rows), *PLAN)
    assert "Rows: 10,000 of 10,000 kept" in result.output
