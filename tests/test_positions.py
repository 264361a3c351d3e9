"""One parser of positions: every spelling people use, and one clear error for the rest."""

import pytest

from covermap.addresses.list_file import read_addresses
from covermap.errors import InputError
from covermap.measurements.comparison_log import read_comparison_log
from covermap.measurements.readings import read_readings
from covermap.measurements.reports import read_reports
from covermap.scenario.coordinates import read_position
from covermap.scenario.point_table import read_point_table
from covermap.scenario.settings import AreasSettings, TransmitterSettings
from covermap.scenario.transmitters import read_stations
from covermap.tables.tiers import read_tiers

HERE = pytest.approx((44.01, -35.66), abs=1e-6)


@pytest.mark.parametrize(
    "text",
    [
        "44.01, -35.66", "44.01,-35.66", "44.01 -35.66", "44,01 -35,66", "44,01, -35,66", "44,01,-35,66",
        "44.01;-35.66", "44,01; -35,66", "N44.01 W35.66", "N 44.01, W 35.66", "44.01N 35.66W",
        "44.01 N, 35.66 W",
        "W35.66 N44.01", "44,01N 35,66W", "44 00 36 N 35 39 36 W", "44°00'36\"N 35°39'36\"W",
        "44-00-36 N, 35-39-36 W",
        "N44°00'36\" W35°39'36\"", "44°0.6'N 35°39.6'W", "44.01° N 35.66° W", "44.01/-35.66",
        "44.01 \u221235.66",
        "44 00 36, -35 39 36", "44:00:36N 35:39:36W",
    ],
)  # fmt: skip
def test_spellings_of_one_position(text):
    assert read_position(text, "--at") == HERE


@pytest.mark.parametrize(
    "text", ["", "44.01", "north", "91, 0", "44.01, 400", "44 70 00 N 35 39 36 W", "N44 S35"]
)
def test_no_position_is_one_clear_error(text):
    with pytest.raises(InputError, match="--at: found"):
        read_position(text, "--at")


def addresses(path):
    one = read_addresses(path).addresses[0]
    return one.latitude_deg, one.longitude_deg


def point_of_a_layer(path):
    point = read_point_table(path, "[homes] file", ["homes"])[0].geometry[0]
    return point.y, point.x


def station_of(path):
    values = {"file": str(path), "channel_plan": "us_6mhz", "default_system": "atsc1_8vsb"}
    settings = TransmitterSettings.model_validate(values, context={"folder": path.parent})
    one = read_stations(settings).stations[0]
    return one.latitude_deg, one.longitude_deg


def station_columns(place):
    return {"station_id": "A", "service": "A TV", **place, "rf_channel": "21", "erp_kw": "5",
            "antenna_height_m": "60", "polarization": "H"}  # fmt: skip


def reading(path):
    stations = path.parent / "stations.csv"
    columns = station_columns({"latitude_deg": "44.1", "longitude_deg": "-35.7"})
    stations.write_text(",".join(columns) + "\n" + ",".join(columns.values()) + "\n")
    values = {"file": str(stations), "channel_plan": "us_6mhz", "default_system": "atsc1_8vsb"}
    settings = TransmitterSettings.model_validate(values, context={"folder": path.parent})
    one = read_readings(path, read_stations(settings).stations, read_tiers(None)).readings[0]
    return one.latitude_deg, one.longitude_deg


def report(path):
    one = read_reports(path, ["Shelf", "Window", "Loft", "Gable", "Rooftop", "Amplified", "Mast"]).reports[0]
    return one.latitude_deg, one.longitude_deg


def log(path):
    one = read_comparison_log(path).readings[0]
    return one.latitude_deg, one.longitude_deg


INPUTS = {
    "addresses": (addresses, lambda place: {"id": "A", **place}),
    "homes and places": (point_of_a_layer, lambda place: {**place, "homes": "3"}),
    "stations": (station_of, station_columns),
    "readings": (
        reading,
        lambda place: {"point_id": "1", **place, "height_m": "10", "station_id": "A", "decoded": "yes",
                       "level": "60", "unit": "dBuV/m"},
    ),
    "reports": (report, lambda place: {"report_id": "1", **place, "mount": "2", "seen": "all"}),
    "comparison log": (
        log,
        lambda place: {"session_id": "1", "antenna_id": "a", "rf_channel": "21", "device_id": "d",
                       "scale": "dbuv", "value": "60", **place},
    ),
}  # fmt: skip
PLACES = (
    {"latitude_deg": "44.01", "longitude_deg": "-35.66"},
    {"latitude_deg": "44 00 36 N", "longitude_deg": "35°39'36\"W"},
    {"latitude_deg": "N44.01", "longitude_deg": "W35.66"},
    {"position": "44.01, -35.66"},
    {"position": "44,01 -35,66"},
    {"position": "N44°00'36\" W35°39'36\""},
)


@pytest.mark.parametrize("place", PLACES, ids=lambda place: " ".join(place.values()))
@pytest.mark.parametrize("name", INPUTS)
def test_every_table_takes_every_spelling(tmp_path, name, place):
    read, columns_of = INPUTS[name]
    columns = columns_of(place)
    path = tmp_path / "table.csv"
    cells = ['"' + cell.replace('"', '""') + '"' for cell in columns.values()]
    path.write_text(",".join(columns) + "\n" + ",".join(cells) + "\n", "utf-8")
    assert read(path) == HERE


@pytest.mark.parametrize("place", [{"latitude_deg": "0", "longitude_deg": "0.0"}, {"position": "0, 0"}])
@pytest.mark.parametrize("name", INPUTS)
def test_every_table_knows_the_place_that_stands_for_no_position(tmp_path, name, place):
    read, columns_of = INPUTS[name]
    columns = columns_of(place)
    path = tmp_path / "table.csv"
    path.write_text(
        ",".join(columns) + "\n" + ",".join(f'"{cell}"' for cell in columns.values()) + "\n", "utf-8"
    )
    with pytest.raises(InputError, match="unknown position"):
        read(path)


@pytest.mark.parametrize("name", sorted(INPUTS.keys() - {"comparison log"}))  # a log may do without positions
def test_an_empty_position_is_told_of_the_column_that_is_there(tmp_path, name):
    read, columns_of = INPUTS[name]
    columns = columns_of({"position": ""})
    path = tmp_path / "table.csv"
    path.write_text(
        ",".join(columns) + "\n" + ",".join(f'"{cell}"' for cell in columns.values()) + "\n", "utf-8"
    )
    with pytest.raises(InputError, match="column position") as error:
        read(path)
    assert "latitude_deg" not in str(error.value)


@pytest.mark.parametrize("depot", ["N44.01 W35.66", "44,01 -35,66", [-35.66, 44.01]])
def test_a_depot_is_written_as_any_position(depot):
    longitude_deg, latitude_deg = AreasSettings(depot=depot, radius_km=10.0).depot
    assert (latitude_deg, longitude_deg) == HERE
