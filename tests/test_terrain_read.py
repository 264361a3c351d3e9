"""Reading elevation and land cover: units, voids, mosaics, and one clear error for a bad file."""

import pickle

import numpy as np
import pyproj
import pytest
from affine import Affine
from terrain_files import NORTH_M, UTM, WEST_M, land_cover_table, settings, write_raster

from covermap.errors import InputError
from covermap.terrain import read_terrain, space

TO_WGS84 = pyproj.Transformer.from_crs(UTM, "EPSG:4326", always_xy=True)


def height_at(terrain, x, y):
    return float(terrain.elevation_m(*TO_WGS84.transform(x, y)))


def level(height, rows=4, cols=5, dtype="float32"):
    return np.full((rows, cols), height, dtype=dtype)


INSIDE = WEST_M + 210.0, NORTH_M - 190.0


@pytest.mark.parametrize(
    ("heights", "unit", "elevation_unit", "metres"),
    [
        (level(1000.0), "m", None, 1000.0),
        (level(1000.0), "ft", None, 304.8),  # international foot: 0.3048 m by definition
        # US survey foot: 1200/3937 m by definition
        (level(1000.0), "US survey foot", None, 1000.0 * 1200.0 / 3937.0),
        (level(1000.0), "dm", None, 100.0),
        (level(1000.0), "cm", None, 10.0),
        (level(1000, dtype="int16"), None, "ft", 304.8),  # counts where the file names none
        (level(-5, dtype="int8"), None, None, -5.0),  # signed bytes keep their sign
    ],
)
def test_heights_are_metres_whatever_unit_is_declared(tmp_path, heights, unit, elevation_unit, metres):
    path = write_raster(tmp_path / "e.tif", heights, **({"unit": unit} if unit else {}))
    asked = settings(path, **({"elevation_unit": elevation_unit} if elevation_unit else {}))
    assert height_at(read_terrain(asked), *INSIDE) == pytest.approx(metres, abs=1e-4)


def test_unit_of_the_file_goes_before_elevation_unit_and_says_so(tmp_path):
    path = write_raster(tmp_path / "e.tif", level(1000.0), unit="m")
    terrain = read_terrain(settings(path, elevation_unit="ft"))
    assert height_at(terrain, *INSIDE) == 1000.0
    assert any('elevation_unit = "ft" was not used' in sentence for sentence in terrain.warnings)


def test_feet_of_a_vertical_crs_are_read(tmp_path):
    # EPSG:6360 is NAVD88 height in US survey feet; EPSG:26912 is NAD83 / UTM 12N
    path = write_raster(tmp_path / "e.tif", level(1000.0), crs="EPSG:26912+6360")
    terrain = read_terrain(settings(path))
    west, south, east, north = terrain.bounds_deg
    middle = terrain.elevation_m((west + east) / 2, (south + north) / 2)
    assert float(middle) == pytest.approx(304.8006, abs=1e-3)  # 1000 x 1200/3937
    assert any("NAVD88" in sentence for sentence in terrain.warnings)


def test_ellipsoidal_heights_are_doubted(tmp_path):
    transform = Affine(0.001, 0.0, 3.0, 0.0, -0.001, 45.0)
    path = write_raster(tmp_path / "e.tif", level(50.0), crs="EPSG:4979", transform=transform)
    assert any("ellipsoid" in sentence for sentence in read_terrain(settings(path)).warnings)


@pytest.mark.parametrize("void", [-32768, -9999])
@pytest.mark.parametrize("dtype", ["int16", "float32"])
def test_undeclared_void_codes_are_unknown(tmp_path, void, dtype):
    heights = level(100, dtype=dtype)
    heights[0, 0] = void
    terrain = read_terrain(settings(write_raster(tmp_path / "e.tif", heights)))
    assert np.isnan(height_at(terrain, WEST_M + 60.0, NORTH_M - 60.0))
    assert height_at(terrain, WEST_M + 250.0, NORTH_M - 250.0) == 100.0


def test_declared_nodata_nan_and_infinity_are_unknown(tmp_path):
    heights = level(100.0)
    heights[0, 0], heights[0, 4], heights[3, 0] = 777.0, np.nan, np.inf
    terrain = read_terrain(settings(write_raster(tmp_path / "e.tif", heights, nodata=777.0)))
    corners = [(60.0, 60.0), (440.0, 60.0), (60.0, 340.0)]
    assert all(np.isnan(height_at(terrain, WEST_M + x, NORTH_M - y)) for x, y in corners)
    assert height_at(terrain, WEST_M + 440.0, NORTH_M - 340.0) == 100.0
    assert terrain.summary() == "100 to 100 m, 15.0 % gaps"  # 3 of 20 cells


def test_scale_and_offset_of_the_band_are_applied(tmp_path):
    import rasterio

    path = write_raster(tmp_path / "e.tif", level(1000, dtype="int16"))
    with rasterio.open(path, "r+") as dataset:
        dataset.scales, dataset.offsets = (0.1,), (20.0,)
    assert height_at(read_terrain(settings(path)), *INSIDE) == pytest.approx(
        120.0, abs=1e-4
    )  # 1000 x 0.1 + 20


def test_few_impossible_heights_become_unknown_with_a_warning(tmp_path):
    heights = level(100.0, 20, 20)
    heights[0, 0] = -32767.0
    terrain = read_terrain(settings(write_raster(tmp_path / "e.tif", heights)))
    assert np.isnan(height_at(terrain, WEST_M + 50.0, NORTH_M - 50.0))
    assert any("1 of 400 cells" in sentence for sentence in terrain.warnings)


IN_DEGREES = Affine(0.001, 0.0, 3.0, 0.0, -0.001, 45.0)
TURNED = Affine(94.0, 34.2, WEST_M, 34.2, -94.0, NORTH_M)  # 100 m cells turned by 20 degrees


@pytest.mark.parametrize(
    ("height", "written", "message"),
    [
        (10.0, {"unit": "cubit"}, r"'cubit', which is not known"),
        # feet or decimetres taken for metres: no ground is as high
        (14000.0, {}, r"20 of 20 cells lie between 14000 and 14000 m(.|\n)*elevation_unit"),
        (10.0, {"crs": None}, r"e\.tif has no CRS"),
        (10.0, {"transform": TURNED}, r"is rotated"),
        (10.0, {"crs": "EPSG:4326"}, r"says it is in degrees(.|\n)*look like metres"),
        (10.0, {"transform": IN_DEGREES}, r"look like degrees"),
        (-9999.0, {}, r"every cell is void"),
    ],
)
def test_what_is_no_elevation_in_metres_is_refused_with_the_reason(tmp_path, height, written, message):
    path = write_raster(tmp_path / "e.tif", level(height), **written)
    with pytest.raises(InputError, match=message):
        read_terrain(settings(path))


def test_truncated_raster_is_refused(tmp_path):
    rng = np.random.default_rng(1)
    path = write_raster(tmp_path / "e.tif", rng.random((300, 300)).astype("float32") * 500.0)
    whole = path.read_bytes()
    path.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(InputError, match="damaged or incomplete"):
        read_terrain(settings(path))


@pytest.mark.parametrize(
    ("file", "words"),
    [
        ("readme.tif", "cannot be read as a raster"),
        ("gone.tif", "is not there"),
        ("p.tif", "this is a picture"),
    ],
)
def test_text_missing_and_picture_are_no_elevation(tmp_path, file, words):
    (tmp_path / "readme.tif").write_text("not a raster")
    write_raster(tmp_path / "p.tif", np.zeros((3, 4, 4), dtype="uint8"))
    with pytest.raises(InputError, match=words):
        read_terrain(settings(tmp_path / file))


def test_fine_raster_answers_first_and_the_coarse_one_where_it_is_void_or_ends(tmp_path):
    coarse = write_raster(tmp_path / "coarse.tif", level(10.0))
    fine_heights = level(20.0, 10, 10)
    fine_heights[8:, 8:] = np.nan
    fine = write_raster(
        tmp_path / "fine.tif", fine_heights, transform=Affine(20.0, 0.0, WEST_M, 0.0, -20.0, NORTH_M)
    )
    terrain = read_terrain(settings(coarse, fine))
    assert height_at(terrain, WEST_M + 60.0, NORTH_M - 60.0) == 20.0
    assert height_at(terrain, WEST_M + 190.0, NORTH_M - 190.0) == 10.0  # void in the fine one
    assert height_at(terrain, WEST_M + 400.0, NORTH_M - 300.0) == 10.0  # outside the fine one
    assert terrain.summary() == "10 to 20 m, no gaps"
    assert (
        terrain.notes[0]
        == "2 elevation files answer in this order: fine.tif (20 m), then coarse.tif (100 m)."
    )


def test_tiles_of_one_grid_leave_no_seam(tmp_path):
    ramp = np.tile(np.arange(10, dtype="float32") * 10.0, (4, 1))  # 10 m a cell, eastwards
    paths = [
        write_raster(
            tmp_path / f"{part}.tif",
            ramp[:, 5 * part : 5 * part + 5],
            transform=Affine(100.0, 0.0, WEST_M + 500.0 * part, 0.0, -100.0, NORTH_M),
        )
        for part in (0, 1)
    ]
    terrain = read_terrain(settings(*paths))
    # linear across the seam at 500 m: the cell centres at 450 and 550 m hold 40 and 50 m
    assert height_at(terrain, WEST_M + 500.0, NORTH_M - 200.0) == pytest.approx(45.0, abs=1e-4)


def test_canopy_needs_bare_earth_and_what_it_is_above_it_is_clutter(tmp_path):
    canopy = write_raster(tmp_path / "canopy.tif", level(120.0))
    bare = write_raster(tmp_path / "bare.tif", level(100.0))
    cover = write_raster(tmp_path / "cover.tif", level(3, dtype="uint8"))
    with pytest.raises(InputError, match="bare_earth is missing"):
        read_terrain(settings(canopy, kind="with_canopy"))
    terrain = read_terrain(
        settings(canopy, kind="with_canopy", bare_earth=[bare], land_cover=cover), land_cover_table()
    )
    place = TO_WGS84.transform(*INSIDE)
    assert (float(terrain.elevation_m(*place)), float(terrain.ground_m(*place))) == (120.0, 100.0)
    assert float(terrain.clutter_height_m(*place)) == 20.0  # not the class's 15 m, nor both
    assert 20.0 in terrain.surroundings()[0]
    assert terrain.knows_clutter


def test_land_cover_gives_height_and_kind_of_the_cell(tmp_path):
    elevation = write_raster(tmp_path / "e.tif", level(300.0))
    classes = np.array([[1, 2, 3, 3, 255]] * 4, dtype="uint8")
    cover = write_raster(tmp_path / "cover.tif", classes, nodata=255)
    terrain = read_terrain(settings(elevation, land_cover=cover), land_cover_table())
    longitude, latitude = TO_WGS84.transform(
        WEST_M + 50.0 + 100.0 * np.arange(5), np.full(5, NORTH_M - 150.0)
    )
    assert terrain.clutter_height_m(longitude, latitude).tolist() == [0.0, 0.0, 15.0, 15.0, 0.0]  # water: 0
    assert terrain.open_land(longitude, latitude).tolist() == [True, True, False, False, False]
    assert terrain.water(longitude, latitude).tolist() == [True, False, False, False, False]
    assert not terrain.built_up(longitude, latitude).any()
    occurring = set(zip(*(values.tolist() for values in terrain.surroundings()), strict=True))
    assert occurring >= {(0.0, True), (15.0, False), (0.0, False)}


def test_class_the_table_does_not_list_is_refused(tmp_path):
    elevation = write_raster(tmp_path / "e.tif", level(300.0))
    cover = write_raster(tmp_path / "cover.tif", level(57, dtype="uint8"))
    with pytest.raises(InputError, match="holds class 57"):
        read_terrain(settings(elevation, land_cover=cover), land_cover_table())


def test_digest_follows_what_changes_a_path(tmp_path):
    path = write_raster(tmp_path / "e.tif", level(300.0))
    same = write_raster(tmp_path / "other_name.tif", level(300.0))
    higher = level(300.0)
    higher[2, 2] += 1.0
    changed = write_raster(tmp_path / "changed.tif", higher)
    moved = write_raster(
        tmp_path / "moved.tif", level(300.0), transform=Affine(100.0, 0.0, WEST_M + 1.0, 0.0, -100.0, NORTH_M)
    )
    cover = write_raster(tmp_path / "cover.tif", level(3, dtype="uint8"))
    digest = read_terrain(settings(path)).digest
    assert read_terrain(settings(same)).digest == digest
    taller = land_cover_table()
    taller.clutter_height_m = np.array([4.0, 0.0, 16.0])
    others = [
        read_terrain(settings(changed)).digest,
        read_terrain(settings(moved)).digest,
        read_terrain(settings(path, land_cover=cover), land_cover_table()).digest,
        read_terrain(settings(path, land_cover=cover), taller).digest,
    ]
    assert len({digest, *others}) == 5


def test_raster_too_large_for_memory_is_mapped_and_reads_the_same(tmp_path, monkeypatch):
    heights = np.random.default_rng(2).random((30, 40)).astype("float32")
    path = write_raster(tmp_path / "e.tif", heights)
    in_memory = read_terrain(settings(path))
    monkeypatch.setattr(space, "IN_MEMORY_BYTES", 400)
    mapped = read_terrain(settings(path))
    assert isinstance(mapped.elevation[0].array.base, np.memmap)
    assert mapped.digest == in_memory.digest
    assert height_at(mapped, *INSIDE) == height_at(in_memory, *INSIDE)


def test_terrain_survives_the_journey_to_another_process(tmp_path):
    terrain = read_terrain(settings(write_raster(tmp_path / "e.tif", level(300.0))))
    copy = pickle.loads(pickle.dumps(terrain))
    assert copy.digest == terrain.digest
    assert height_at(copy, *INSIDE) == 300.0


def with_gaps(*cells, rows=12, cols=10):
    """Return ground that rises 10 m a column and 1 m a row, unknown at some cells."""
    heights = np.add.outer(np.arange(rows) * 1.0, np.arange(cols) * 10.0).astype(np.float32)
    for row, col in cells:
        heights[row, col] = np.nan
    return heights


@pytest.mark.parametrize(
    ("cells", "filled"),
    [
        ([(5, 5)], True),
        ([(5, 5), (6, 6), (7, 7)], True),  # they hang together by their corners
        ([(5, 4), (5, 5), (5, 6), (5, 7)], False),  # four cells: more than a small gap
        ([(0, 5)], False),  # the edge of the data, not a gap in it
    ],
)
def test_gaps_of_up_to_3_cells_are_filled_and_flagged(tmp_path, cells, filled):
    terrain = read_terrain(settings(write_raster(tmp_path / "e.tif", with_gaps(*cells))))
    for row, col in cells:
        place = TO_WGS84.transform(WEST_M + 100.0 * col + 50.0, NORTH_M - 100.0 * row - 50.0)
        # on a plane the mean of the cells around stays within a cell's own rise of the plane
        assert bool(abs(terrain.elevation_m(*place) - (row + 10.0 * col)) <= 11.0) is filled
        assert bool(terrain.filled_at(*place)) is filled
    assert not terrain.filled_at(*TO_WGS84.transform(WEST_M + 250.0, NORTH_M - 250.0))
    assert ("no gaps" in terrain.summary()) is filled
    told = [sentence for sentence in terrain.warnings if "filled" in sentence]
    assert len(told) == filled
    if filled:
        assert f"1 gap of up to 3 cells ({len(cells)} cell" in told[0]


def test_gaps_are_filled_alike_however_the_raster_is_cut(tmp_path, monkeypatch):
    heights = np.random.default_rng(3).uniform(0.0, 500.0, (90, 40)).astype(np.float32)
    heights[np.random.default_rng(4).uniform(size=heights.shape) < 0.06] = np.nan
    path = write_raster(tmp_path / "e.tif", heights)
    (whole,) = read_terrain(settings(path)).elevation
    monkeypatch.setattr("covermap.terrain.voids._BLOCK_CELLS", 280)  # 7 rows at once
    (cut,) = read_terrain(settings(path)).elevation
    assert whole.filled.size > 20
    assert np.isnan(whole.array).any()
    np.testing.assert_array_equal(whole.array, cut.array)
    np.testing.assert_array_equal(whole.filled, cut.filled)


def test_a_gap_that_another_file_knows_is_left_to_it(tmp_path):
    fine = write_raster(tmp_path / "fine.tif", with_gaps((5, 5)))
    coarse = write_raster(
        tmp_path / "coarse.tif", level(77.0, 8, 8), transform=Affine(200.0, 0, WEST_M, 0, -200.0, NORTH_M)
    )
    terrain = read_terrain(settings(fine, coarse))
    assert height_at(terrain, WEST_M + 550.0, NORTH_M - 550.0) == 77.0
    assert not any("filled" in sentence for sentence in terrain.warnings)


def test_heights_without_a_unit_in_a_crs_in_feet_are_doubted(tmp_path):
    # EPSG:2263, New York Long Island, counts in US survey feet; its band names no unit
    transform = Affine(100.0, 0.0, 990_000.0, 0.0, -100.0, 220_000.0)
    path = write_raster(tmp_path / "e.tif", level(900.0), crs="EPSG:2263", transform=transform)
    (sentence,) = (s for s in read_terrain(settings(path)).warnings if "foot" in s)
    assert "elevation_unit" in sentence
    for unit, metres in (("m", 900.0), ("ft", 274.32)):  # 900 x 0.3048
        terrain = read_terrain(settings(path, elevation_unit=unit))
        assert not any("foot" in s for s in terrain.warnings)
        x, y = np.mean(terrain.rims_deg[0], axis=1)
        assert float(terrain.elevation_m(x, y)) == pytest.approx(metres, abs=1e-3)


def test_a_picture_of_colours_is_no_elevation(tmp_path):
    import rasterio

    path = tmp_path / "e.tif"
    with rasterio.open(
        path, "w", driver="GTiff", count=1, height=4, width=5, dtype="uint8", crs=UTM,
        transform=Affine(100.0, 0.0, WEST_M, 0.0, -100.0, NORTH_M),
    ) as dataset:  # fmt: skip
        dataset.write(level(12, dtype="uint8"), 1)
        dataset.write_colormap(1, {12: (10, 20, 30, 255)})
    with pytest.raises(InputError, match="palette"):
        read_terrain(settings(path))
