"""What stands right before a home: woods in leaf, and one class of land cover more or less."""

import dataclasses
import math
from types import SimpleNamespace

import numpy as np
import pyproj
import pytest
from affine import Affine
from scenario_files import station_csv
from small_inputs import CELLS, square, write_inputs, write_layer, write_raster
from terrain_files import NORTH_M, UTM, WEST_M, land_cover_table, settings
from terrain_files import write_raster as write_terrain

import covermap
from covermap import jobs
from covermap.errors import InputError
from covermap.grid.cover_change import DENSER, MORE_OPEN, cover_change_db, one_class
from covermap.grid.woodland import last_wood_m
from covermap.inputs.prepare import prepare
from covermap.jobs.cost import Crew, estimate
from covermap.planning.local_doubts import cover_doubt, in_leaf
from covermap.planning.tier_totals import tier_totals
from covermap.propagation import Profile, p1812_loss
from covermap.propagation.foliage import leaf_loss_db, woodland_loss_db
from covermap.scenario import read_scenario
from covermap.scenario.settings import PredictionSettings
from covermap.tables.foliage import read_foliage
from covermap.terrain import read_terrain
from covermap.terrain.woods import woods_around

FOLIAGE = read_foliage()
TO_WGS84 = pyproj.Transformer.from_crs(UTM, "EPSG:4326", always_xy=True)
FINE = Affine(20.0, 0.0, WEST_M, 0.0, -20.0, NORTH_M)
COARSE = Affine(500.0, 0.0, WEST_M, 0.0, -500.0, NORTH_M)


# --- leaves -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("length_m", "loss_db"),
    # ITU-R P.833 woodland at 466 MHz, gamma 0.12 dB/m, Am 18 dB (from memory): 30 m 3.3 dB, 100 m 8.8 dB
    [(0.0, 0.0), (30.0, 3.3), (100.0, 8.8), (1e6, 18.0)],
)
def test_woodland_takes_what_the_recommendation_says(length_m, loss_db):
    assert float(woodland_loss_db(FOLIAGE, 466.475, length_m)) == pytest.approx(loss_db, abs=0.05)


@pytest.mark.parametrize("frequency_mhz", [69.0, 105.9, 195.0, 466.475, 600.0, 949.0])
def test_leaves_make_about_a_sixth_of_it(frequency_mhz):
    # ITU-R P.833: about 20 % more dB a metre in leaf than without, near 1 GHz (from memory)
    whole_db = float(woodland_loss_db(FOLIAGE, frequency_mhz, 100.0))
    leaves_db = float(leaf_loss_db(FOLIAGE, frequency_mhz, 100.0))
    assert whole_db / (whole_db - leaves_db) == pytest.approx(1.2, abs=0.01)


def test_woods_take_more_at_higher_frequencies_and_over_longer_ways():
    lengths_m = np.linspace(0.0, 400.0, 41)
    by_frequency = np.array([woodland_loss_db(FOLIAGE, mhz, lengths_m) for mhz in (60, 150, 300, 600, 900)])
    assert (np.diff(by_frequency, axis=0)[:, 1:] > 0.0).all()
    assert (np.diff(by_frequency, axis=1) > 0.0).all()
    with pytest.raises(InputError, match="length_m must be 0 or more, got -1"):
        woodland_loss_db(FOLIAGE, 600.0, -1.0)


def wooded(tmp_path, wood, tall=15.0, **more):
    """Return terrain of 100 x 100 cells of 20 m: class 3 (trees of 15 m) where wood says, else open."""
    classes = np.full((100, 100), 2, dtype=np.uint8)
    classes[wood] = 3
    elevation = write_terrain(tmp_path / "e.tif", np.full((100, 100), 50.0, np.float32), transform=FINE)
    cover = write_terrain(tmp_path / "c.tif", classes, transform=FINE)
    return read_terrain(settings(elevation, land_cover=cover, **more), land_cover_table())


@pytest.mark.parametrize(
    ("cells", "height_m", "bearing_deg", "wood_m"),
    [
        (slice(51, 56), 10.0, 90.0, 100.0),  # from 20 to 120 m before the antenna
        (slice(51, 56), 10.0, 270.0, 0.0),  # the other way
        (slice(51, 56), 15.0, 90.0, 0.0),  # an antenna at its tops
        (slice(50, 100), 10.0, 90.0, 200.0),  # within the wood: no more than 200 m count
        (slice(57, 70), 10.0, 90.0, 0.0),  # begins farther than 100 m away
    ],
)
def test_the_last_wood_is_measured_towards_the_mast(tmp_path, cells, height_m, bearing_deg, wood_m):
    wood = np.zeros((100, 100), dtype=bool)
    wood[:, cells] = True
    terrain = wooded(tmp_path, wood)
    longitude, latitude = TO_WGS84.transform(WEST_M + 50 * 20.0 + 0.01, NORTH_M - 50 * 20.0 - 10.0)
    around = woods_around(terrain, np.array([latitude]), np.array([longitude]))
    found = last_wood_m(around, np.array([bearing_deg]), height_m)
    assert found[0] == pytest.approx(wood_m, abs=20.0)  # a step of 20 m


def test_woods_around_a_place_are_those_that_stand_there(tmp_path):
    # The expected place: pyproj's geodesics on WGS 84, and the raster's own CRS
    random = np.random.default_rng(7)
    wood = random.random((100, 100)) < 0.5
    terrain = wooded(tmp_path, wood)
    longitude, latitude = TO_WGS84.transform(
        WEST_M + random.uniform(300.0, 1700.0, 500), NORTH_M - random.uniform(300.0, 1700.0, 500)
    )
    azimuth_deg, length_m = random.uniform(0.0, 360.0, 500), random.uniform(0.0, 200.0, 500)
    there = pyproj.Geod(ellps="WGS84").fwd(longitude, latitude, azimuth_deg, length_m)[:2]
    x, y = TO_WGS84.transform(*there, direction="INVERSE")
    col, row = (x - WEST_M) / 20.0, (NORTH_M - y) / 20.0
    # a metre is 0.6 % of 200 m, by which a degree of latitude differs from its mean
    inside = (np.abs(col - np.round(col)) > 0.08) & (np.abs(row - np.round(row)) > 0.08)
    east_m, north_m = (length_m * side(np.radians(azimuth_deg)) for side in (np.sin, np.cos))
    found = woods_around(terrain, latitude, longitude).stand(east_m, north_m, 10.0)
    np.testing.assert_array_equal(found[inside], wood[row.astype(int), col.astype(int)][inside])
    assert inside.sum() > 300


def test_only_the_first_stretch_counts_and_without_land_cover_there_is_none(tmp_path):
    wood = np.zeros((100, 100), dtype=bool)
    wood[:, 51:53] = wood[:, 55:58] = True
    terrain = wooded(tmp_path, wood)
    longitude, latitude = TO_WGS84.transform(WEST_M + 1000.01, NORTH_M - 1010.0)
    place = np.array([latitude]), np.array([longitude])
    around = woods_around(terrain, *place)
    # two cells of 20 m; the three behind the gap are another wood
    assert last_wood_m(around, np.array([90.0]), 10.0)[0] == 40.0
    assert last_wood_m(around, np.array([np.nan]), 10.0)[0] == 0.0
    bare = woods_around(
        dataclasses.replace(terrain, land_cover=None), np.array([latitude]), np.array([longitude])
    )
    assert last_wood_m(bare, np.array([90.0]), 10.0)[0] == 0.0


# --- one class of cover -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("height_m", "denser_m", "open_m"),
    # ITU-R P.1812-8 Table 2: open 0, suburban 10, urban or trees 15, dense urban 20 m
    [
        (0.0, 10.0, math.nan),
        (10.0, 15.0, 0.0),
        (12.5, 15.0, 10.0),
        (15.0, 20.0, 10.0),
        (20.0, math.nan, 15.0),
    ],
)
def test_one_class_is_one_height_of_the_recommendation(height_m, denser_m, open_m):
    heights_m = np.array([height_m], np.float32)
    found = [float(one_class(heights_m, way)[0]) for way in (DENSER, MORE_OPEN)]
    assert found == pytest.approx([denser_m, open_m], nan_ok=True)


def changes(tmp_path, class_here, tops_m, prediction=None, length_m=20_000.0):
    """Return by how much the loss over a plain of one class grows with other tops at its end."""
    elevation = write_terrain(tmp_path / "e.tif", np.full((60, 60), 50.0, np.float32), transform=COARSE)
    classes = np.full((60, 60), class_here, dtype=np.uint8)
    cover = write_terrain(tmp_path / "c.tif", classes, transform=COARSE)
    terrain = read_terrain(settings(elevation, land_cover=cover), land_cover_table())
    west, home = (TO_WGS84.transform(WEST_M + 1000.0 + x, NORTH_M - 10_000.0) for x in (0.0, length_m))
    mast = SimpleNamespace(
        longitude_deg=west[0], latitude_deg=west[1], antenna_height_m=200.0, frequency_mhz=600.0,
        polarization="horizontal",
    )  # fmt: skip
    found = cover_change_db(
        terrain, prediction or PredictionSettings(), [mast], (10.0, 15.0), np.array([home[1]]),
        np.array([home[0]]), np.array([[top] for top in tops_m], np.float32),
    )  # fmt: skip
    return found[:, 0, :, 0]


def by_the_model(end_m, rest_m, height_m):
    """Return the loss over 20 km of flat land, tops of end_m on its last 500 m and of rest_m before."""
    distance_km = np.linspace(0.0, 20.0, 401)
    clutter = np.where(20.0 - distance_km < 0.5 - 1e-9, end_m, rest_m)  # steps of 50.02 m: nine of them
    clutter[np.minimum(distance_km, 20.0 - distance_km) < 0.05 - 1e-9] = 0.0
    profile = Profile(distance_km, np.full(401, 50.0), clutter_m=clutter)
    return p1812_loss(
        profile, frequency_mhz=600.0, tx_height_m=200.0, rx_height_m=height_m, latitude_deg=45.1
    ).loss_db


def test_other_tops_change_the_loss_as_the_whole_path_computed_again_says(tmp_path):
    found = changes(tmp_path, 3, (20.0, 10.0))
    for column, height_m in enumerate((10.0, 15.0)):
        plain_db = by_the_model(15.0, 15.0, height_m)
        for row, top_m in enumerate((20.0, 10.0)):
            expected_db = by_the_model(top_m, 15.0, height_m) - plain_db
            assert found[row, column] == pytest.approx(expected_db, abs=0.3)
    # Far more than the 0.3 dB above, to tell that something moved (our own choice).
    assert found[0, 0] > 3.0 > -3.0 > found[1, 0]


def test_no_such_class_is_unknown_and_other_models_and_near_masts_do_not_move(tmp_path):
    assert np.isnan(changes(tmp_path, 2, (math.nan,))).all()
    assert (changes(tmp_path, 2, (10.0,), PredictionSettings(model="free_space")) == 0.0).all()
    assert (changes(tmp_path, 2, (10.0,), length_m=200.0) == 0.0).all()


# --- on the map -------------------------------------------------------------------------------------------

SCENE = """
[homes]
file = "homes.gpkg"
count = "homes"
[outputs]
cover_doubt = {asked}
"""


WEAK = station_csv(
    "ONE,First TV,North Mast,5.1,on_air,44.10,-36.10,21,0.05,120,H,atsc1_8vsb,wanted,2026-09-01"
)


def write_scene(folder, classes, asked='"auto"'):
    """Write a small scenario with homes in every third square; return it."""
    path = write_inputs(
        folder,
        stations=WEAK,
        terrain='elevation = ["elevation.tif"]\nland_cover = "land_cover.tif"\n',
        extra=SCENE.format(asked=asked),
    )
    write_raster(folder / "land_cover.tif", classes)
    squares = [square(col, row) for col in range(0, CELLS, 3) for row in range(0, CELLS, 3)]
    write_layer(folder / "homes.gpkg", squares, homes=[7.0] * len(squares))
    return read_scenario(path)


@pytest.fixture(scope="module")
def scene(tmp_path_factory):
    """A small map of woods, suburbs and open land with homes here and there."""
    folder = tmp_path_factory.mktemp("doubts")
    blocks = np.random.default_rng(5).choice([2, 3, 4], (CELLS // 4, CELLS // 4)).astype(np.uint8)
    scenario = write_scene(folder, np.kron(blocks, np.ones((4, 4), np.uint8)))
    return scenario, covermap.predict(scenario, folder / "out")


def test_leaves_never_make_reception_easier_and_count_where_homes_are(scene):
    _, coverage = scene
    tier, leaf, homes = (coverage.read(name) for name in ("main/tier", "main/tier_in_leaf", "homes"))
    known = (homes > 0.0) & (tier != 255)
    assert known.any()
    assert (leaf[known] >= tier[known]).all()
    assert (leaf[~(homes > 0.0)] == 255).all()


def test_homes_of_the_table_are_those_of_the_rasters(scene):
    _, coverage = scene
    table = tier_totals(coverage, [f"Class {n}" for n in range(1, 9)])
    homes = coverage.read("homes").astype(float)
    doubt = coverage.read("main/tier_cover_doubt")
    assert table["homes_in_leaf"].sum() == pytest.approx(table["homes"].sum(), abs=0.01)
    moved = float(homes[(doubt >= 2) & (doubt != 255)].sum())
    assert table["homes_cover_doubt"].sum() == pytest.approx(moved, abs=0.01)
    assert cover_doubt(coverage, "main").homes_moved == pytest.approx(moved)
    assert in_leaf(coverage, "main").squares == int(((homes > 0) & (coverage.read("main/tier") != 255)).sum())


def test_the_doubt_is_what_a_map_of_the_next_class_says(tmp_path):
    """Over open land everywhere the map of a suburb, all of its paths changed, moves as much."""
    tiers = {}
    for name, value in (("open", 2), ("suburb", 3)):
        folder = tmp_path / name
        folder.mkdir()
        scenario = write_scene(folder, np.full((CELLS, CELLS), value, np.uint8))
        coverage = covermap.predict(scenario, folder / "out")
        tiers[name] = coverage.read("main/tier").astype(int)
        if name == "open":
            doubt, homes = coverage.read("main/tier_cover_doubt"), coverage.read("homes")
    looked_at = (homes > 0) & (tiers["open"] != 255)
    moves = (tiers["suburb"] - tiers["open"])[looked_at]
    found = doubt[looked_at].astype(int)
    assert np.count_nonzero(moves >= 2) > 20
    assert np.mean(abs(found - moves) <= 1) > 0.9
    assert np.mean((found >= 2) == (moves >= 2)) > 0.8


def test_it_may_be_left_out_or_asked_for_everywhere(scene, tmp_path):
    scenario, _ = scene
    text = scenario.path.read_text()
    for asked, layers in (("false", 0), ("true", 1)):
        path = scenario.path.with_name(f"{asked}.toml")
        path.write_text(text.replace('cover_doubt = "auto"', f"cover_doubt = {asked}"))
        coverage = covermap.predict(read_scenario(path), tmp_path / asked)
        assert coverage.has("main/tier_cover_doubt") == bool(layers)
    assert (coverage.read("main/tier_cover_doubt")[coverage.read("homes") > 0] != 255).any()


def test_check_counts_what_the_doubts_cost(scene):
    """docs/decisions/cover_here.md, measured: 0.03 ms a square and station at two heights, 0.2 s of reception
    for 3,468 squares and two classes; leaves are at most one reception more.
    """
    scenario, _ = scene
    text = scenario.path.read_text()
    seconds = {}
    for asked in ("false", '"auto"', "true"):
        path = scenario.path.with_name("cost.toml")
        path.write_text(text.replace('cover_doubt = "auto"', f"cover_doubt = {asked}"))
        prepared = prepare(read_scenario(path))
        seconds[asked] = estimate(prepared, Crew(1)).seconds
    squares = 14 * 14  # every third of 40 x 40
    assert prepared.squares_with_homes == squares
    measured_s = squares * (0.03e-3 * len(prepared.heights_m) / 2 + 0.2 / 3468)
    assert seconds['"auto"'] - seconds["false"] == pytest.approx(measured_s, rel=0.35)
    everywhere_s = measured_s * CELLS * CELLS / squares
    assert seconds["true"] - seconds["false"] == pytest.approx(everywhere_s, rel=0.35)


@pytest.mark.parametrize(("asked", "told"), [('"auto"', False), ("true", True)])
def test_a_public_result_tells_doubts_only_where_they_do_not_tell_of_homes(scene, tmp_path, asked, told):
    scenario, private = scene
    path = scenario.path.with_name("public.toml")
    path.write_text(scenario.path.read_text().replace('cover_doubt = "auto"', f"cover_doubt = {asked}"))
    jobs.map_scenario(path, tmp_path / "out", public=True)
    coverage = covermap.open_coverage(tmp_path / "out")
    assert not coverage.has("homes")
    known = private.read("main/tier") != 255
    for kind in ("tier_in_leaf", "tier_cover_doubt"):
        assert coverage.has(f"main/{kind}") == told
        if told:
            values = coverage.read(f"main/{kind}")
            assert (values[known] != 255).all()
            homes = private.read("homes") > 0.0
            assert np.array_equal(values[homes], private.read(f"main/{kind}")[homes])
    assert ('"doubts":[]' in (tmp_path / "out/map.html").read_text().replace(" ", "")) != told
