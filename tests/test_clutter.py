"""What stands on the ground: heights from a raster or a canopy, or assumed near homes."""

import dataclasses

import numpy as np
import pyproj
import pytest
from affine import Affine
from rasterio.enums import ColorInterp
from small_inputs import CELL_M, CELLS, NORTH, WEST, square, write_inputs, write_layer, write_raster
from terrain_files import land_cover_table, settings
from terrain_files import write_raster as write_terrain

from covermap.errors import InputError
from covermap.grid.exact_path import point_profile
from covermap.inputs.assumed_clutter import near_homes, read_terrain_of
from covermap.inputs.prepare import prepare, prepare_places
from covermap.jobs.check import check
from covermap.propagation import Profile, p1812_loss
from covermap.result.run_json import scenario_cautions
from covermap.scenario import read_scenario
from covermap.terrain import read_terrain
from covermap.terrain.clutter import STEP_HEIGHT_M, in_steps, read_clutter_heights

HEIGHTS = 'elevation = ["elevation.tif"]\nclutter_height = "canopy.tif"\n'
TO_WGS84 = pyproj.Transformer.from_crs("EPSG:32625", "EPSG:4326", always_xy=True)


def canopy(value=12.0, **profile):
    def write(folder):
        values = np.full((CELLS, CELLS), value, dtype=np.float32)
        write_raster(folder / "canopy.tif", values, **profile)

    return write


def with_value(value, share, **profile):
    """Write a canopy of 12 m of which a share of the cells has another value."""

    def write(folder):
        values = np.full(CELLS * CELLS, 12.0, dtype=np.float32)
        values[: round(share * values.size)] = value
        write_raster(folder / "canopy.tif", values.reshape(CELLS, CELLS), **profile)

    return write


def palette(folder):
    import rasterio

    write_raster(folder / "canopy.tif", np.full((CELLS, CELLS), 3, dtype=np.uint8))
    with rasterio.open(folder / "canopy.tif", "r+") as dataset:
        dataset.colorinterp = [ColorInterp.palette]
        dataset.write_colormap(1, {3: (10, 90, 10, 255)})


def in_degrees(folder):
    west, south = TO_WGS84.transform(WEST - 1000.0, NORTH - CELLS * CELL_M - 1000.0)
    values = np.full((60, 60), 12.0, dtype=np.float32)
    step = 0.01
    write_raster(
        folder / "canopy.tif", values, crs="EPSG:4326", transform=Affine(step, 0, west, 0, -step, south + 0.6)
    )


# what is wrong with the raster of heights, and what `check` must say
REFUSED = {
    "not there": (lambda folder: None, "canopy.tif"),
    "no CRS": (canopy(crs=None), "canopy.tif has no CRS"),
    "a map of classes": (palette, "canopy.tif: its cells are numbers of colours"),
    "elsewhere": (
        canopy(transform=Affine(CELL_M, 0, WEST + 9e5, 0, -CELL_M, NORTH)),
        r"canopy.tif \(\[terrain\] clutter_height\) says nothing of the area",
    ),
    "void": (canopy(-9999.0, nodata=-9999.0), "not one cell has a height"),
    "above the sea": (with_value(640.0, 0.5), "trees and buildings stand 0 to 150 m above their ground"),
    "below the ground": (with_value(-30.0, 0.5), "800 of 1600 cells lie between -30 and -30 m"),
}
# what is used and doubted
DOUBTED = {
    "likely feet": (with_value(65.0, 0.3), "over 45 m high. If its heights are in feet"),
    "a few codes": (with_value(-30.0, 0.005), "8 of 1600 cells lie between -30"),
    "voids": (
        with_value(-9999.0, 0.3, nodata=-9999.0),
        "30 % of the squares have no height in it; there nothing",
    ),
}


@pytest.mark.parametrize("name", REFUSED)
def test_heights_that_cannot_be_used_are_refused(tmp_path, name):
    write, said = REFUSED[name]
    path = write_inputs(tmp_path, terrain=HEIGHTS)
    write(tmp_path)
    with pytest.raises(InputError, match=said):
        check(read_scenario(path), store=tmp_path / "store")


@pytest.mark.parametrize("name", DOUBTED)
def test_heights_worth_doubting_are_used_and_said(tmp_path, name):
    write, said = DOUBTED[name]
    path = write_inputs(tmp_path, terrain=HEIGHTS)
    write(tmp_path)
    warnings = check(read_scenario(path), store=tmp_path / "store").warnings
    assert sum(said in warning for warning in warnings) == 1


def test_heights_beside_a_canopy_are_refused(tmp_path):
    both = HEIGHTS + 'kind = "with_canopy"\nbare_earth = ["elevation.tif"]\n'
    path = write_inputs(tmp_path, terrain=both)
    canopy()(tmp_path)
    with pytest.raises(InputError, match='found clutter_height beside kind = "with_canopy"'):
        read_scenario(path)


@pytest.mark.parametrize(
    ("write", "height_m"),
    [
        (canopy(12.3), 12.5),  # kept in steps of half a metre
        (in_degrees, 12.0),  # another CRS
        (canopy(-1.0), 0.0),  # a little below the ground is the ground
    ],
)
def test_heights_are_those_of_the_raster(tmp_path, write, height_m):
    path = write_inputs(tmp_path, terrain=HEIGHTS)
    write(tmp_path)
    terrain = prepare(read_scenario(path), tmp_path / "store").terrain
    assert terrain.knows_clutter
    assert terrain.clutter_height_m([-36.1], [44.1]).tolist() == [height_m]


def test_heights_finer_than_paths_read_them_are_doubted(tmp_path):
    fine = canopy(transform=Affine(4.0, 0, WEST, 0, -4.0, NORTH))
    fine(tmp_path)
    _, warnings = read_clutter_heights(tmp_path / "canopy.tif")
    assert ["cells are 4 m wide, and paths read one every 50 m" in sentence for sentence in warnings] == [
        True
    ]


def test_heights_in_feet_are_metres_where_the_file_says_so(tmp_path):
    path = write_terrain(tmp_path / "feet.tif", np.full((5, 5), 65.0, dtype=np.float32), unit="ft")
    elevation = write_terrain(tmp_path / "e.tif", np.full((5, 5), 300.0, dtype=np.float32))
    terrain = read_terrain(settings(elevation, clutter_height=path))
    assert terrain.clutter_height_m([3.002], [45.151]).tolist() == [20.0]  # 65 x 0.3048 = 19.8 m


def test_steps_are_finer_than_heights_are_known():
    wanted_m = np.array([0.2, 0.3, 9.74, 10.0, 19.8, 33.4, 59.0, 62.0, 149.0, np.nan])
    kept_m = STEP_HEIGHT_M[in_steps(wanted_m)]
    # Our own choice: steps of 0.5 m up to 20 m, 1 m up to 60 m, 5 m beyond; half a step either way.
    assert np.nanmax(np.abs(kept_m - wanted_m)[wanted_m < 20.0]) <= 0.25
    assert np.nanmax(np.abs(kept_m - wanted_m)[wanted_m < 60.0]) <= 0.5
    assert kept_m[8] == 150.0
    assert np.isnan(kept_m[-1])


def plain(tmp_path, height=100.0):
    return write_terrain(tmp_path / "bare.tif", np.full((30, 30), height, dtype=np.float32))


def along(terrain):
    """Return ground and clutter along a line of latitude, by the radial sampler and by the exact path."""
    to_wgs84 = pyproj.Transformer.from_crs("EPSG:32631", "EPSG:4326", always_xy=True)
    west, east = (to_wgs84.transform(500_000.0 + x, 5_000_000.0 - 1500.0) for x in (100.0, 2900.0))
    profile = point_profile(terrain, west[1], west[0], east[1], east[0])
    knots = np.linspace(west[0], east[0], 8)[None], np.full((1, 8), west[1])
    ground, clutter, zone = np.empty((1, 57)), np.empty((1, 57), np.float32), np.empty((1, 57), np.uint8)
    terrain.sample_profiles(*knots, 8, ground, clutter, zone)
    return (ground[0], clutter[0]), (profile.ground_m, profile.clutter_m)


def test_heights_count_before_the_class_which_counts_where_they_are_void(tmp_path):
    heights = np.full((30, 30), 22.0, dtype=np.float32)
    heights[:, 15:] = -9999.0
    given = {
        "clutter_height": write_terrain(tmp_path / "h.tif", heights, nodata=-9999.0),
        "land_cover": write_terrain(tmp_path / "c.tif", np.full((30, 30), 3, dtype=np.uint8)),  # 15 m
    }
    terrain = read_terrain(settings(plain(tmp_path), **given), land_cover_table())
    for ground, clutter in along(terrain):
        assert set(np.unique(ground)) == {100.0}
        middle = clutter[2:-2]
        assert middle[: middle.size // 2 - 1].tolist() == [22.0] * (middle.size // 2 - 1)
        assert middle[middle.size // 2 + 2 :].tolist() == [15.0] * (middle.size - middle.size // 2 - 2)


def test_paths_of_places_and_of_maps_carry_a_canopy_as_high_as_it_is(tmp_path):
    bare, surface = (
        plain(tmp_path),
        write_terrain(tmp_path / "surface.tif", np.full((30, 30), 112.3, np.float32)),
    )
    terrain = read_terrain(settings(surface, kind="with_canopy", bare_earth=[bare]))
    for _, clutter in along(terrain):
        assert clutter[2:-2] == pytest.approx(12.3, abs=1e-4)  # and not 12.5, a step of clutter_height_m


def test_a_canopy_and_a_raster_of_its_heights_give_the_same_paths(tmp_path):
    bare, difference = plain(tmp_path), np.zeros((30, 30), dtype=np.float32)
    difference[:, 10:20] = 12.0
    surface = write_terrain(tmp_path / "surface.tif", difference + 100.0)
    heights = write_terrain(tmp_path / "heights.tif", difference)
    of_canopy = read_terrain(settings(surface, kind="with_canopy", bare_earth=[bare]))
    of_heights = read_terrain(settings(bare, clutter_height=heights))
    for one, other in zip(along(of_canopy), along(of_heights), strict=True):
        assert one[0].tolist() == other[0].tolist()  # both over bare ground
        wood = other[1] == 12.0
        assert np.count_nonzero(wood) > 10
        assert np.mean(np.abs(one[1] - other[1]) < 0.3) > 0.9  # but for the slope of a cell at its rims
    assert of_canopy.digest != read_terrain(settings(bare)).digest


def test_what_stands_on_the_ground_is_part_of_the_name_of_a_block(tmp_path):
    names = set()
    for height_m in (None, 12.0, 13.0):
        folder = tmp_path / str(height_m)
        folder.mkdir()
        path = write_inputs(folder, terrain=HEIGHTS if height_m else 'elevation = ["elevation.tif"]\n')
        if height_m:
            canopy(height_m)(folder)
        prepared = prepare(read_scenario(path), folder / "store")
        names.add(prepared.requests[0].digest(prepared.grid.whole))
    assert len(names) == 3


# --- assumed where nothing is known ---------------------------------------------------------------------


def at(terrain, col, row):
    """Return the assumed height in the middle of a square of small_inputs."""
    place = TO_WGS84.transform(WEST + (col + 0.5) * CELL_M, NORTH - (row + 0.5) * CELL_M)
    return float(terrain.clutter_height_m(*(np.array([axis]) for axis in place))[0])


def test_ten_metres_are_assumed_near_homes_where_no_input_tells_what_stands_there(tmp_path):
    prepared = prepare(read_scenario(write_inputs(tmp_path)), tmp_path / "store")
    # homes of small_inputs: one square of 500 m at (5, 5), a square of 2 x 2 at (20, 20)
    assert [at(prepared.terrain, *place) for place in ((5, 5), (21, 21), (6, 5), (30, 3))] == [10, 10, 0, 0]
    assert not prepared.reception_options.has_land_cover  # the larger spread stays
    told = "trees and buildings 10 m high are assumed within 100 m of homes"
    assert told in check(prepared.scenario, store=tmp_path / "store").in_words()
    assert any(told in sentence for sentence in scenario_cautions(prepared.scenario))


@pytest.mark.parametrize(
    ("extra", "terrain", "middle_m"),
    [
        ("", "", 10.0),  # homes are not known: everywhere
        ("", "assumed_clutter_m = 0\n", 0.0),
        ("", "assumed_clutter_m = 6\n", 6.0),
        ("", 'land_cover = "land_cover.tif"\n', 15.0),  # trees: the class's own height
    ],
)
def test_it_is_assumed_everywhere_where_homes_are_not_known(tmp_path, extra, terrain, middle_m):
    terrain = 'elevation = ["elevation.tif"]\n' + terrain
    path = write_inputs(tmp_path, terrain=terrain, extra=extra)
    write_raster(tmp_path / "land_cover.tif", np.full((CELLS, CELLS), 4, dtype=np.uint8))
    terrain = prepare(read_scenario(path), tmp_path / "store").terrain
    assert at(terrain, 30, 3) == middle_m


def test_nothing_is_assumed_at_sea(tmp_path):
    path = write_inputs(tmp_path, terrain='elevation = ["elevation.tif"]\nsea = "sea.gpkg"\n', extra="")
    write_layer(tmp_path / "sea.gpkg", [square(0, 0, 10)], name=["sea"])
    terrain = prepare(read_scenario(path), tmp_path / "store").terrain
    assert [at(terrain, 5, 5), at(terrain, 20, 20)] == [0.0, 10.0]


def test_an_address_and_readings_have_the_same_ground_as_the_map(tmp_path):
    scenario = read_scenario(write_inputs(tmp_path))
    digest = prepare(scenario, tmp_path / "store").terrain.assumed.digest()
    assert prepare_places(scenario, [(44.1, -36.1)]).terrain.assumed.digest() == digest
    assert read_terrain_of(scenario).assumed.digest() == digest


def test_near_is_within_100_m_between_the_middles_of_squares(tmp_path):
    prepared = prepare(read_scenario(write_inputs(tmp_path)), tmp_path / "store")
    grid = dataclasses.replace(prepared.grid, cell_m=50.0, rows=9, cols=9)

    class One:
        total = 1.0

        def window(self, tile):
            homes = np.zeros((9, 9), dtype=np.float32)
            homes[4, 4] = 1.0
            return homes[tile.window]

    # squares of 50 m: two steps along an axis are 100 m, one along each diagonal 71 m, (1, 2) 112 m
    assert near_homes(One(), grid)[2:7, 2:7].tolist() == [
        [0, 0, 1, 0, 0],
        [0, 1, 1, 1, 0],
        [1, 1, 1, 1, 1],
        [0, 1, 1, 1, 0],
        [0, 0, 1, 0, 0],
    ]


@pytest.mark.parametrize(
    ("frequency_mhz", "least_db", "most_db"),
    [(69.0, 3.0, 5.0), (195.0, 7.0, 9.0), (600.0, 10.0, 13.0)],
)
def test_what_the_assumption_takes_from_a_rooftop(frequency_mhz, least_db, most_db):
    # a worked calculation of grazing over uniform 10 m tops: 30 km flat, mast 200 m, antenna 10 m high:
    # 10 to 12 dB at 600 MHz, 8 at 195, 4 at 69 MHz
    distance_km = np.linspace(0.0, 30.0, 601)
    tops = np.where(np.minimum(distance_km, 30.0 - distance_km) >= 0.05 - 1e-9, 10.0, 0.0)
    asked = {"frequency_mhz": frequency_mhz, "tx_height_m": 200.0, "rx_height_m": 10.0, "latitude_deg": 45.0}
    clear, grazing = (
        p1812_loss(Profile(distance_km, np.zeros(601), clutter_m=one), **asked).loss_db
        for one in (np.zeros(601), tops)
    )
    assert least_db <= grazing - clear <= most_db
