"""What the surroundings of a home decide: noise by land-cover class, entry by building, C/N indoors."""

import csv
import dataclasses

import numpy as np
import pytest
from reception_places import facts_of
from reference import reference_path
from small_inputs import CELLS, square, write_inputs, write_layer, write_raster

from covermap.errors import InputError
from covermap.inputs.prepare import prepare, prepare_places
from covermap.jobs.check import check
from covermap.propagation.entry import entry_loss
from covermap.reception.budget import COMMON_DB, EXTERNAL_SHARE, NEED_DBUVM, tier_figures
from covermap.reception.entry import entry_db
from covermap.reception.external_noise import external_noise_db
from covermap.reception.installations import joined_each_way
from covermap.reception.options import ReceptionOptions
from covermap.reception.surroundings import (
    ENVIRONMENT_NAMES,
    OF_OPTIONS,
    Surroundings,
    by_kind,
    surroundings_of,
)
from covermap.scenario import read_scenario
from covermap.scenario.systems import systems
from covermap.tables import read_tiers
from covermap.tables.land_cover import read_land_cover_table

TIERS = read_tiers()
COVER = 'elevation = ["elevation.tif"]\nland_cover = "land_cover.tif"\n'


# --- building ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("frequency_mhz", "median_db", "decile_db"),
    [
        (195.0, 35.9, 49.7),  # ITU-R P.2109: thermally efficient, median and 90 %
        (600.0, 31.9, 46.8),
    ],
)
def test_shelf_in_an_efficient_building_has_the_published_entry(frequency_mhz, median_db, decile_db):
    found_db, sd_db = entry_db(TIERS[1], frequency_mhz, "thermally_efficient")
    assert found_db == pytest.approx(median_db, abs=0.1)
    assert found_db + 1.2816 * sd_db == pytest.approx(decile_db, abs=0.4)  # the table's 8 dB for 8.04


def test_the_table_stands_for_a_traditional_building():
    for tier in TIERS:
        for frequency_mhz in (69.0, 195.0, 600.0):
            own = tier.entry_loss_db, tier.entry_loss_sd_db
            assert entry_db(tier, frequency_mhz, "traditional") == own
    # ITU-R P.2109: traditional at 600 MHz 14.0 dB, 24.3 dB for 90 %: tier 1's 14 and 8
    assert entry_loss(600.0) == pytest.approx(TIERS[1].entry_loss_db, abs=0.1)
    assert (entry_loss(600.0, probability_percent=90) - entry_loss(600.0)) / 1.2816 == pytest.approx(
        TIERS[1].entry_loss_sd_db, abs=0.1
    )


@pytest.mark.parametrize("frequency_mhz", [55.0, 195.0, 600.0])
def test_windows_and_lofts_stay_better_than_the_room_and_roofs_do_not_move(frequency_mhz):
    efficient = [entry_db(TIERS[n], frequency_mhz, "thermally_efficient")[0] for n in (1, 2, 3, 4)]
    shelf, window, loft, gable = efficient
    assert shelf - window == pytest.approx(TIERS[1].entry_loss_db - TIERS[2].entry_loss_db)
    assert shelf - loft == pytest.approx(TIERS[1].entry_loss_db - TIERS[3].entry_loss_db)
    assert (
        shelf > TIERS[1].entry_loss_db + 15.0
    )  # foil and coated glass: 17.9 dB more at 600 MHz, 21.9 at 195
    assert gable == 0.0


def homes(*buildings):
    def write(folder):
        shapes = [square(5, 5), square(20, 20), square(30, 30)]
        write_layer(folder / "homes.gpkg", shapes, homes=[30.0, 70.0, 5.0], building=list(buildings))

    return write


WITH_COLUMN = '[homes]\nfile = "homes.gpkg"\ncount = "homes"\nbuilding = "building"\n'


def test_a_column_of_homes_says_of_what_each_squares_homes_are_built(tmp_path):
    path = write_inputs(tmp_path, extra=WITH_COLUMN)
    homes("Thermally efficient", "traditional", None)(tmp_path)
    prepared = prepare(read_scenario(path), tmp_path / "store")
    building = prepared.building(prepared.grid.whole).reshape(prepared.grid.shape)
    assert [building[5, 5], building[20, 20], building[30, 30], building[0, 0]] == [1, 0, 0, OF_OPTIONS]
    assert any("1 features do not say of what" in warning for warning in prepared.warnings)
    efficient_at = prepared.grid.centres_lonlat(
        dataclasses.replace(prepared.grid.whole, row=5, col=5, rows=1, cols=1)
    )
    longitude, latitude = (float(axis[0, 0]) for axis in efficient_at)
    for one in (
        prepared,
        prepare_places(prepared.scenario, [(latitude, longitude)]),
    ):  # map and address alike
        assert one.options_at(latitude, longitude).building == "thermally_efficient"


def test_a_building_that_is_none_is_refused(tmp_path):
    path = write_inputs(tmp_path, extra=WITH_COLUMN)
    homes("brick", "traditional", "traditional")(tmp_path)
    with pytest.raises(InputError, match='feature 1, column building: found "brick"'):
        check(read_scenario(path), store=tmp_path / "store")


# --- noise ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("environment", "noise_db"),
    # ITU-R P.372 man-made noise at 69 MHz: city 25.9, residential 21.6, rural 16.3 dB
    [("city", 25.9), ("residential", 21.6), ("rural", 16.3)],
)
def test_each_kind_of_surroundings_has_its_own_noise(environment, noise_db):
    kinds = Surroundings(
        np.zeros(4, np.float32), np.zeros(4, bool), np.array([0, 1, 2, OF_OPTIONS], np.uint8), None
    )
    facts, station = facts_of([69.0], [0]), np.array([0])
    options = ReceptionOptions(noise_environment="residential")
    rooftop = (TIERS[5],)
    figures = by_kind(kinds, options, lambda *around: tier_figures(rooftop, facts, station, *around))
    row = ENVIRONMENT_NAMES.index(environment)
    of_noise = figures[row, 0]
    assert external_noise_db(69.0, environment, False) == pytest.approx(noise_db, abs=0.05)
    alone = tier_figures(
        rooftop, facts, station, np.zeros(1), np.zeros(1, bool),
        dataclasses.replace(options, noise_environment=environment),
    )[0, 0]  # fmt: skip
    for figure in (NEED_DBUVM, COMMON_DB, EXTERNAL_SHARE):
        assert of_noise[figure] == alone[figure]
    assert figures[3, 0, NEED_DBUVM] == figures[1, 0, NEED_DBUVM]  # where no class is known: the options'


def test_kinds_are_told_apart_by_what_makes_a_difference():
    around = Surroundings(
        np.array([0.0, 4.0, 10.0, 10.0, 22.5], np.float32),
        np.array([False, False, False, True, False]),
        np.array([1, 1, 1, 1, 0], np.uint8),
        np.array([0, 0, 0, 0, 1], np.uint8),
    )
    numbers = around.numbers(ReceptionOptions())
    assert len(set(numbers[:3].tolist())) == 1  # at least 10 m counts
    assert len(set(numbers.tolist())) == 3
    back = surroundings_of(numbers)
    assert back.clutter_height_m.tolist() == pytest.approx([10.0, 10.0, 10.0, 10.0, 22.5])
    assert back.environment.tolist() == [1, 1, 1, 1, 0]
    assert back.building.tolist() == [0, 0, 0, 0, 1]


def test_ways_of_joining_stand_on_the_second_axis():
    calls = []

    def figures(clutter_m, open_land, options, joined):
        calls.append(joined)
        return np.zeros((clutter_m.size, 2))

    made = joined_each_way(figures)(np.zeros(3), np.zeros(3, bool), ReceptionOptions())
    assert made.shape == (3, 3, 2)
    assert calls == ["single", "combined", "diplexed"]


def write_classes(folder):
    classes = np.full((CELLS, CELLS), 2, dtype=np.uint8)  # open
    classes[:, 10:20], classes[:, 20:30], classes[:, 30:] = 3, 5, 255  # suburban, urban, unknown
    write_raster(folder / "land_cover.tif", classes, nodata=255)


@pytest.mark.parametrize(
    ("asked", "expected"),
    [
        (
            "",
            ["rural", "residential", "city", "residential"],
        ),  # by the class; residential where none is known
        ('[reception]\nnoise_environment = "quiet_rural"\n', ["quiet_rural"] * 4),
    ],
)
def test_noise_is_that_of_the_class_a_home_stands_in(tmp_path, asked, expected):
    path = write_inputs(tmp_path, terrain=COVER, extra=asked)
    write_classes(tmp_path)
    prepared = prepare(read_scenario(path), tmp_path / "store")
    longitude, latitude = prepared.grid.centres_lonlat(prepared.grid.whole)
    places = [(float(latitude[5, col]), float(longitude[5, col])) for col in (5, 15, 25, 35)]
    assert [prepared.options_at(*place).noise_environment for place in places] == expected
    of_map = prepared.environment(longitude, latitude)
    if of_map is None:
        of_map = np.full(longitude.shape, OF_OPTIONS, np.uint8)
    options = prepared.reception_options.noise_environment
    names = [
        options if of_map[5, col] == OF_OPTIONS else ENVIRONMENT_NAMES[of_map[5, col]]
        for col in (5, 15, 25, 35)
    ]
    assert names == expected


@pytest.mark.parametrize(
    ("row", "environment"),
    [
        ("9,huts,5,no,no,yes,", "residential"),
        ("9,blocks,20,no,no,yes,", "city"),
        ("9,heath,0,yes,no,no,", "rural"),
        ("9,huts,5,no,no,yes,quiet_rural", "quiet_rural"),
    ],
)
def test_a_class_that_names_no_noise_has_that_of_its_houses(tmp_path, row, environment):
    path = tmp_path / "classes.csv"
    header = "class,category,clutter_height_m,open_land,water,built_up,noise_environment"
    path.write_text(f"{header}\n{row}\n")
    assert ENVIRONMENT_NAMES[read_land_cover_table(path).environment[0]] == environment


def test_a_noise_that_is_none_is_refused(tmp_path):
    path = tmp_path / "classes.csv"
    header = "class,category,clutter_height_m,open_land,water,built_up,noise_environment"
    path.write_text(f"{header}\n9,huts,5,no,no,yes,loud\n")
    with pytest.raises(InputError, match='column noise_environment: found "loud"'):
        read_land_cover_table(path)


# --- C/N indoors ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("file", ["dvbt_cn.csv", "dvbt2_cn.csv"])
def test_indoors_the_published_rayleigh_figure_counts(file):
    family = file.split("_")[0]
    with open(reference_path(f"planning_factors/{file}"), encoding="utf-8") as handle:
        rows = list(csv.DictReader(handle))
    for row in rows:
        system = systems()[f"{family}_{row['modulation'].lower()}_{row['code_rate'].replace('/', '_')}"]
        rayleigh_db = system.required_cn_db + system.indoor_more_cn_db
        assert rayleigh_db == pytest.approx(float(row["cn_rayleigh_db"]))


def test_every_rayleigh_figure_is_above_the_one_outdoors_or_the_same():
    more_db = {name: system.indoor_more_cn_db for name, system in systems().items()}
    assert min(more_db.values()) >= 0.0
    assert max(more_db.values()) < 13.0
    assert more_db["atsc1_8vsb"] == 0.0  # none is published


def test_only_indoor_tiers_need_it():
    facts = dataclasses.replace(facts_of([600.0], [0]), indoor_cn_db=np.array([15.2 + 2.3]))
    plain, station = facts_of([600.0], [0]), np.array([0])
    around = np.zeros(1), np.zeros(1, bool), ReceptionOptions()
    more_db = [
        float(
            tier_figures((tier,), facts, station, *around)[0, 0, NEED_DBUVM, 0]
            - tier_figures((tier,), plain, station, *around)[0, 0, NEED_DBUVM, 0]
        )
        for tier in TIERS
    ]
    # tiers 1 to 3 are indoors: what the station needs more there, 2.3 dB, and nothing outdoors
    assert more_db == pytest.approx([2.3, 2.3, 2.3, 0.0, 0.0, 0.0, 0.0])
