"""Everything a run will read is read and checked before the first path: one table of what may be wrong."""

import re

import numpy as np
import pytest
import shapely
from affine import Affine
from scenario_files import changed_row, station_csv
from small_inputs import (
    CELL_M,
    CELLS,
    EXTRA,
    GRID,
    NORTH,
    WEST,
    bow_tie,
    square,
    write_inputs,
    write_layer,
    write_raster,
)

from covermap.addresses.list_file import read_addresses
from covermap.cli.errors import errors_as_exit_status
from covermap.errors import InputError
from covermap.inputs.prepare import prepare
from covermap.jobs.check import check
from covermap.scenario import read_scenario
from covermap.tables import table_text
from covermap.wording.run_facts import outside_in_words

NO_PLACE = [None, square(20, 20)]


def checked(path):
    return check(read_scenario(path), store=path.parent / "store")


def layer(file, shapes, **columns):
    return lambda folder: write_layer(folder / file, shapes, **columns)


def text(name, content):
    return lambda folder: (folder / name).write_text(content)


def cut_off(name, size=300):
    return lambda folder: (folder / name).write_bytes((folder / name).read_bytes()[:size])


def setting(old, new):
    def change(folder):
        path = folder / "scenario.toml"
        assert old in path.read_text()
        path.write_text(path.read_text().replace(old, new))

    return change


def homes_raster(values, **profile):
    def change(folder):
        write_raster(folder / "homes.tif", np.full((CELLS, CELLS), values, dtype=np.float32), **profile)
        setting('file = "homes.gpkg"\ncount = "homes"', 'file = "homes.tif"')(folder)

    return change


# what is wrong, and what `check` must say, in order
REFUSED = {
    "key that is no column": (setting('"code"', '"cod"'), "neighbourhood_key = 'cod'.*no such column.*code"),
    "keys twice": (
        layer("wards.gpkg", NO_PLACE[1:] * 2, code=["a", "a"], name=["A", "B"]),
        "'a' stands in feat",
    ),
    "only bow ties": (
        layer("wards.gpkg", [bow_tie()], code=["a"], name=["A"]),
        "no polygon in it can be used",
    ),
    "wards elsewhere": (layer("wards.gpkg", [square(900, 0)], code=["a"], name=["A"]), "outside the map"),
    "wards cut off": (cut_off("wards.gpkg"), r"wards.gpkg \(\[areas\] neighbourhoods\): not readable"),
    "negative price": (
        text("prices.csv", "item,price_each,hours_each\nmast,-3,1\n"),
        'found "-3".*at least 0',
    ),
    "price in words": (text("prices.csv", "item,price_each,hours_each\nmast,dear,1\n"), 'found "dear"'),
    "unknown item": (
        text("prices.csv", "item,price_each,hours_each\nmust,3,1\n"),
        "Items are antenna_tier_1",
    ),
    "item twice": (text("prices.csv", "item,price_each,hours_each\nmast,3,1\nmast,4,1\n"), "line 3.*twice"),
    "no such column": (text("prices.csv", "item,price_each\nmast,3\n"), "no column 'hours_each'"),
    "empty prices": (text("prices.csv", ""), "prices.csv is empty"),
    "places cut off": (cut_off("places.gpkg"), r"places.gpkg \(\[areas\] places\): not readable"),
    "places nowhere": (layer("places.gpkg", [None], name=["Ay"]), "not one of 1 features has a name"),
    "list named field": (setting("[wanted.main]", "[wanted.field]"), "Give the list another name"),
    "lists alike": (
        setting("[wanted.main]", '[wanted.Main]\nservices = ["First TV"]\n[wanted.main]'),
        r"\[wanted.main\]: there is also \[wanted.Main\]",
    ),
    "homes elsewhere": (
        layer("homes.gpkg", [square(900, 0)], homes=[30.0]),
        "all 30 homes lie outside the map",
    ),
    "all homes below zero": (
        layer("homes.gpkg", [square(5, 5)], homes=[-4]),
        "not one of 1 features has a count",
    ),
    "absurd homes": (layer("homes.gpkg", [square(5, 5)], homes=[1e300]), 'not one of .* the first says "1e'),
    "raster below zero": (homes_raster(-1.0), "not one cell has a count of 0 or more; 1600 are negative"),
    "raster elsewhere": (
        homes_raster(1.0, transform=Affine(500, 0, WEST + 9e5, 0, -500, NORTH)),
        "all 1,600 homes lie outside",
    ),
    "depot elsewhere": (
        setting("[-36.1, 44.1]", "[44.1, -36.1]"),
        "no part of the service area lies on the map",
    ),
    "calibration of none": (
        setting("[homes]", '[prediction]\ncalibration = "prices.csv"\n[homes]'),
        "prices.csv is not valid TOML",
    ),
}

# what cannot be used row by row: left out, counted and said
LEFT_OUT = {
    "bow tie": (
        layer("wards.gpkg", [square(15, 15, 20), bow_tie()], code=["a", "b"], name=["A", "B"]),
        "wards.gpkg: 1 of 2 features cannot be used and are left out.*Self-intersection",
    ),
    "ward without geometry": (
        layer("wards.gpkg", NO_PLACE, code=["a", "b"], name=["A", "B"]),
        "wards.gpkg: 1 of 2 features cannot be used.*feature 1: it has no geometry",
    ),
    "ward without a key": (
        layer("wards.gpkg", [square(0, 0), square(9, 9)], code=["", "b"], name=["A", "B"]),
        "wards.gpkg: 1 of 2 features have no key in column code",
    ),
    "place without geometry": (
        layer("places.gpkg", [None, square(5, 5).centroid], name=["Ay", "Bee"]),
        "places.gpkg: 1 of 2 places have no name in column name or no geometry",
    ),
    "home without geometry": (
        layer("homes.gpkg", NO_PLACE, homes=[30.0, 70.0]),
        "homes.gpkg: 1 features have no place on the map; their 30 homes are left out",
    ),
    "bow tie of homes": (
        layer("homes.gpkg", [bow_tie(), square(20, 20)], homes=[30.0, 70.0]),
        "homes.gpkg: 1 of 2 features cannot be used.*Self-intersection",
    ),
    "some homes below zero": (
        layer("homes.gpkg", [square(5, 5), square(9, 9)], homes=[-1, 7]),
        "homes.gpkg: 1 of 2 features have no count .1 of them negative",
    ),
    "absurd count": (
        layer("homes.gpkg", [square(5, 5), square(9, 9)], homes=[1e300, 7]),
        "1 of 2 features have no count .1 of them say over 1,000,000,000",
    ),
    "most homes outside": (
        layer("homes.gpkg", [square(5, 5), square(900, 9)], homes=[1, 9]),
        r"homes.gpkg: 9 of 10 homes \(90 %\) lie outside the map",
    ),
    "no home at all": (layer("homes.gpkg", [square(5, 5)], homes=[0]), "it holds no home at all"),
}


@pytest.mark.parametrize("name", REFUSED)
def test_check_refuses_what_a_run_could_not_use(tmp_path, name):
    change, said = REFUSED[name]
    path = write_inputs(tmp_path)
    change(tmp_path)
    with pytest.raises(InputError, match=re.compile(said, re.DOTALL)):
        checked(path)


@pytest.mark.parametrize("name", LEFT_OUT)
def test_rows_that_cannot_be_used_are_left_out_and_counted(tmp_path, name):
    change, said = LEFT_OUT[name]
    path = write_inputs(tmp_path)
    change(tmp_path)
    found = [warning for warning in checked(path).warnings if re.search(said, warning, re.DOTALL)]
    assert len(found) == 1


def test_faults_of_several_files_are_told_together(tmp_path):
    path = write_inputs(tmp_path)
    for name in ("key that is no column", "negative price", "places nowhere", "homes elsewhere"):
        REFUSED[name][0](tmp_path)
    with pytest.raises(InputError) as caught:
        checked(path)
    for part in ("neighbourhood_key", '"-3"', "places.gpkg", "homes.gpkg"):
        assert part in str(caught.value)


def test_what_a_run_reads_is_there_when_it_is_prepared(tmp_path):
    counted = prepare(read_scenario(write_inputs(tmp_path)), tmp_path / "store").counted
    assert counted.homes.total == 100.0
    assert counted.neighbourhoods.neighbourhood_id.tolist() == ["a", "b"]
    assert counted.prices["mast"].price_each == 60.0
    assert [place.name for place in counted.places] == ["Ay", "Bee"]
    assert counted.service_area.area == pytest.approx(np.pi * 3000.0**2, rel=0.01)  # a circle of 3 km


# homes as a CSV: what stands in it, how many homes that are on the map, what is said
TABLES = [
    ("longitude_deg,latitude_deg,homes\n-36.1,44.1,4\n-36.09,44.1,5\n", 9, None),
    ("lon;lat;Homes\n-36,1;44,1;4\n-36,09;44,1;5,5\n", 9.5, "decimal comma"),
    ("latitude_deg,longitude_deg,homes\n44 06 00 N,36 06 00 W,4\nN44.1,W36.09,5\n", 9, None),
    ("latitude_deg,longitude_deg,homes\n44.1,-36.1,4\n,,5\nx,y,6\n0,0,1\n", 4, "3 of 4 rows are left out"),
    ("latitude_deg,longitude_deg,homes\n44.1,-36.1,4\n44.1,-36.1,5,6\n", 4, "1 of 2 rows are left out"),
    ("latitude_deg,longitude_deg,homes\n44.1,-36.1,many\n44.1,-36.1,5\n", 5, "1 of 2 features have no count"),
]


@pytest.mark.parametrize(("content", "homes", "said"), TABLES)
def test_homes_may_be_a_table_with_positions(tmp_path, content, homes, said):
    path = write_inputs(tmp_path)
    setting("homes.gpkg", "homes.csv")(tmp_path)
    (tmp_path / "homes.csv").write_text(content)
    prepared = prepare(read_scenario(path), tmp_path / "store")
    assert prepared.homes.total == homes
    assert sum(prepared.homes.window(tile).sum() for tile in prepared.grid.tiles()) == homes
    assert said is None or any(said in warning for warning in prepared.warnings)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("homes\n4\n", "no column latitude_deg"),
        ("lat,latitude_deg,lon,homes\n44,44,-36,1\n", "both lat and latitude_deg"),
        ("latitude_deg,longitude_deg,homes\nx,y,4\n", "none of its 1 rows has a position"),
        ("latitude_deg,longitude_deg,n\n44.1,-36.1,4\n", "count = 'homes'.*no such column.*n"),
    ],
)
def test_a_table_of_homes_without_positions_or_counts_is_refused(tmp_path, content, said):
    path = write_inputs(tmp_path)
    setting("homes.gpkg", "homes.csv")(tmp_path)
    (tmp_path / "homes.csv").write_text(content)
    with pytest.raises(InputError, match=said):
        checked(path)


def test_places_may_be_a_table_with_positions(tmp_path):
    path = write_inputs(tmp_path)
    setting("places.gpkg", "places.csv")(tmp_path)
    (tmp_path / "places.csv").write_text("name,lat,lon\nAy,44.1,-36.1\n,44.1,-36.1\n")
    places = prepare(read_scenario(path), tmp_path / "store").counted.places
    assert [(place.name, place.latitude_deg, place.longitude_deg) for place in places] == [
        ("Ay", 44.1, -36.1)
    ]


def test_the_blank_table_of_homes_that_a_new_scenario_has_is_read_as_none_yet(tmp_path):
    path = write_inputs(tmp_path)
    setting("homes.gpkg", "homes.csv")(tmp_path)
    from covermap.scenario.template import HOME_COLUMNS

    (tmp_path / "homes.csv").write_text(HOME_COLUMNS + "\n")
    report = checked(path)
    assert "Homes      none given; results are shares of land" in report.in_words()
    assert any("homes.csv has no rows yet" in warning for warning in report.warnings)


def test_check_says_how_many_homes_lie_outside_the_map(tmp_path):
    path = write_inputs(tmp_path)
    write_layer(tmp_path / "homes.gpkg", [square(5, 5), square(-1, 9)], homes=[90, 10])
    assert "Homes      100 in 2 neighbourhoods; 10 (10 %) outside the map" in checked(path).in_words()


@pytest.mark.parametrize("kind", ["points", "polygons", "raster"])
def test_homes_in_squares_outside_the_asked_area_are_outside_the_map(tmp_path, kind):
    # the area is the left half of the grid; 1 home in each of the 1600 cells: 800 are on the map
    path = write_inputs(tmp_path, grid=GRID + 'area = "area.gpkg"\n')
    write_layer(
        tmp_path / "area.gpkg", [shapely.box(WEST, NORTH - CELLS * CELL_M, WEST + 20 * CELL_M, NORTH)]
    )
    squares = [square(col, row) for col in range(CELLS) for row in range(CELLS)]
    if kind == "raster":
        homes_raster(1.0)(tmp_path)
    else:
        shapes = squares if kind == "polygons" else [one.centroid for one in squares]
        write_layer(tmp_path / "homes.gpkg", shapes, homes=[1] * len(shapes))
    prepared = prepare(read_scenario(path), tmp_path / "store")
    assert prepared.homes.total == 1600
    assert prepared.homes.outside == pytest.approx(800)
    on_map = sum(float(prepared.homes.window(tile).sum()) for tile in prepared.grid.tiles())
    assert on_map == pytest.approx(800)


def test_homes_on_a_shore_stay_on_the_map_whose_outline_holds_them(tmp_path):
    # a strip of 200 m along the area's edge, which no cell's middle lies in, belongs to a polygon inside it
    path = write_inputs(tmp_path, grid=GRID + 'area = "area.gpkg"\n')
    land = shapely.box(WEST, NORTH - CELLS * CELL_M, WEST + 20 * CELL_M + 200, NORTH)
    write_layer(tmp_path / "area.gpkg", [land])
    write_layer(tmp_path / "homes.gpkg", [shapely.intersection(square(18, 5, 5), land)], homes=[60])
    prepared = prepare(read_scenario(path), tmp_path / "store")
    assert prepared.homes.outside == pytest.approx(0.0, abs=1e-6)
    on_map = sum(float(prepared.homes.window(tile).sum()) for tile in prepared.grid.tiles())
    assert on_map == pytest.approx(60, rel=1e-5)


def test_check_ends_with_the_next_command(tmp_path, monkeypatch):
    folder = tmp_path / "my island"
    folder.mkdir()
    path = write_inputs(folder)
    monkeypatch.chdir(tmp_path)
    assert checked(path).in_words().splitlines()[-1] == "Next: covermap map 'my island/scenario.toml'"


def test_all_that_is_wrong_in_the_station_file_is_told_at_once(tmp_path):
    rows = [
        changed_row(station_id="A", latitude_deg="north", erp_kw="-4", polarization="X", as_of="May"),
        changed_row(station_id="B", rf_channel="2.1", antenna_height_m="0", use="maybe"),
        changed_row(station_id="C D", status="gone"),
        *(changed_row(station_id=f"E{number}", erp_kw="") for number in range(30)),
    ]
    path = write_inputs(tmp_path, stations=station_csv(*rows))
    with pytest.raises(InputError) as caught:
        checked(path)
    message = str(caught.value)
    for part in ('latitude_deg: found "north"', 'erp_kw: found "-4"', 'polarization: found "X"',
                 'as_of: found "May"', 'rf_channel: found "2.1"', 'antenna_height_m: found "0"',
                 'use: found "maybe"',
                 'station_id: found "C D"', 'status: found "gone"', 'line 5, column erp_kw: found ""',
                 "(29 more of this kind: line 6, line 7, line 8 and so on.)"):  # fmt: skip
        assert part in message
    assert len(message.splitlines()) < 25


def test_all_that_is_wrong_in_the_header_is_told_at_once(tmp_path):
    header = "call sign,lat dms,lon dms,ch,erp,haat"
    path = write_inputs(tmp_path, stations=station_csv("W,44,-36,21,4,100", header=header))
    with pytest.raises(InputError) as caught:
        checked(path)
    for part in ("found call_sign, lat_dms, lon_dms, ch, erp, haat; no column service", 'found "ch"',
                 "no column latitude_deg", "no column longitude_deg", 'found "erp"',
                 "no column antenna_height_m"):  # fmt: skip
        assert part in str(caught.value)


def test_all_that_is_wrong_in_a_table_of_tiers_is_told_at_once(tmp_path):
    rows = table_text("tiers").splitlines()
    header = rows[0].split(",")
    cells = rows[1].split(",")
    cells[header.index("height_m")], cells[header.index("indoors")] = "-3", "perhaps"
    rows[1] = ",".join(cells)
    rows[3] = rows[3].replace(rows[3].split(",")[header.index("cable_m")], "long", 1)
    path = write_inputs(tmp_path, extra=EXTRA + '[reception]\nantenna_tiers = "tiers.csv"\n')
    (tmp_path / "tiers.csv").write_text("\n".join(rows))
    with pytest.raises(InputError) as caught:
        checked(path)
    for part in ('line 2, column height_m: found "-3"', 'column indoors: found "perhaps"'):
        assert part in str(caught.value)


def test_warnings_of_one_kind_are_told_once(tmp_path):
    # every station says a mast of 700 m: doubted one by one, told together
    rows = [changed_row(station_id=f"S{n}", antenna_height_m=str(700 + n)) for n in range(40)]
    path = write_inputs(tmp_path, stations=station_csv(*rows))
    found = [warning for warning in checked(path).warnings if "Is it feet" in warning]
    assert len(found) == 1
    assert "(39 more of this kind: line 3, line 4, line 5 and so on.)" in found[0]


# customers: the same spellings of a position as homes and places
@pytest.mark.parametrize(
    "content",
    [
        "id,latitude_deg,longitude_deg\nA,44.1,-36.1\nB,,\n",
        "id;lat;lon\nA;44,1;-36,1\nB;x;y\n",
        "id,Latitude,Longitude\nA,44 06 00 N,36 06 00 W\nB,0,0\n",
    ],
)
def test_customers_may_be_a_table_with_positions(tmp_path, content):
    (tmp_path / "customers.csv").write_text(content)
    found = read_addresses(tmp_path / "customers.csv")
    (only,) = found.addresses
    assert (only.point_id, only.latitude_deg, only.longitude_deg) == ("A", 44.1, pytest.approx(-36.1))
    assert len(found.left_out) == 1


def test_two_thousand_far_stations_are_told_in_a_few_lines(tmp_path):
    near = changed_row(station_id="NEAR")
    far = [
        changed_row(station_id=f"F{n}", mast=f"Mast {n}", latitude_deg=f"{44.5 + n / 5000}", use="interferer")
        for n in range(2000)
    ]
    path = write_inputs(tmp_path, stations=station_csv(near, *far))
    assert len(checked(path).in_words().splitlines()) < 40


def test_all_that_is_wrong_in_a_table_of_patterns_is_told_at_once(tmp_path):
    rows = [
        "P,azimuth,0,2",
        "P,azimuth,x,1",
        "Q,elevation,-95,1",
        "Q,elevation,0,1",
        ",azimuth,0,1",
        "R,up,0,1",
    ]
    path = write_inputs(tmp_path, patterns="pattern,plane,angle_deg,relative_field\n" + "\n".join(rows[:4]))
    with pytest.raises(InputError) as caught:
        checked(path)
    for part in ('relative_field: found "2"', 'angle_deg: found "x"', 'angle_deg: found "-95"'):
        assert part in str(caught.value)
    (tmp_path / "patterns.csv").write_text("pattern,plane,angle_deg,relative_field\n" + "\n".join(rows[4:]))
    with pytest.raises(InputError) as caught:
        checked(path)
    for part in ('column pattern: found ""', 'column plane: found "up"'):
        assert part in str(caught.value)


@pytest.mark.parametrize(
    ("homes", "said"),
    [
        ({"total": 110.0, "outside_map": 10.0}, "10 of the file's 110 homes lie outside the map"),
        ({"total": 110.0, "outside_map": 0.2}, ""),
        ({"total": 110.0, "outside_neighbourhoods": 20.0}, "20 homes stand in no neighbourhood"),
        ({}, ""),
    ],
)
def test_summary_and_brief_say_what_lies_outside(homes, said):
    sentence = outside_in_words({"homes": homes})
    assert sentence.startswith(said)
    assert bool(sentence) == bool(said)


def test_a_lack_of_memory_is_told_with_what_to_do(capsys):
    with pytest.raises(SystemExit) as left, errors_as_exit_status():
        raise MemoryError
    assert left.value.code == 1
    assert (
        "not enough memory. Use larger squares, a smaller area or fewer --workers." in capsys.readouterr().err
    )


def test_a_scenario_without_a_list_is_checked(tmp_path):
    path = write_inputs(tmp_path)
    setting('[wanted.main]\nservices = ["First TV"]\n', "")(tmp_path)
    assert 'list "any_service": 1 of 1' in checked(path).in_words()
