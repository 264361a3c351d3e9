"""Neighbourhoods: outlines as the user drew them, and counts that reconcile."""

from types import SimpleNamespace

import geopandas as gpd
import numpy as np
import pytest
import shapely
from small_coverage import GRID, WHOLE, write_small_coverage

from covermap.errors import InputError
from covermap.planning.areas import NEIGHBOURHOOD_ORDER, summarise_areas, summarise_whole
from covermap.planning.homes_points import PointHomes
from covermap.planning.neighbourhoods import read_neighbourhoods, with_outside
from covermap.planning.tally import Tally, TileResults, expected_shares

WEST, NORTH = GRID.x_min, GRID.y_max


class RasterOfHomes:
    """Homes as the small result's raster has them."""

    def __init__(self, coverage):
        self.coverage = coverage

    def window(self, tile):
        return self.coverage.read("homes", tile)

    def places_without_count(self):
        return None


@pytest.fixture(scope="module")
def coverage(tmp_path_factory):
    return write_small_coverage(tmp_path_factory.mktemp("areas"))


def neighbourhoods(polygons, names=None):
    ids = [f"n{number}" for number in range(len(polygons))]
    return gpd.GeoDataFrame(
        {"neighbourhood_id": ids, "neighbourhood_name": names or ids}, geometry=polygons, crs=GRID.crs_wkt
    )


def ragged_pieces(seed=7):
    """Return ragged polygons that share their edges and cover the whole grid."""
    rng = np.random.default_rng(seed)
    area = shapely.box(WEST, NORTH - 3000, WEST + 4000, NORTH)
    seeds = shapely.MultiPoint(np.c_[rng.uniform(WEST, WEST + 4000, 9), rng.uniform(NORTH - 3000, NORTH, 9)])
    return [cell.intersection(area) for cell in shapely.voronoi_polygons(seeds, extend_to=area).geoms]


def test_homes_of_a_tier_and_expected_homes_are_two_counts():
    # 44.5 and 60 of 100: homes 10, 20, 30, 40 with chances 95, 80, 50 and 10 % (hand calculation:
    # 10 x 0.95 + 20 x 0.8 + 30 x 0.5 + 40 x 0.1 = 44.5; at 50 % sure the first three cells, 60)
    homes, chance = np.array([10.0, 20, 30, 40]), np.array([95, 80, 50, 10])
    chances = np.tile(chance, (7, 1)).astype(np.uint8)
    results = TileResults(
        tier=np.where(chance >= 50, 1, 8).astype(np.uint8),
        tier_chance_percent=chances,
        dead_zone_percent=chance.astype(np.uint8),
        deciding=np.full(4, 255, np.uint8),
        aim_deg=np.zeros(4, np.int16),
    )
    tally = Tally(1, 1)
    tally.add(np.zeros(4, int), np.arange(4), homes, results)
    assert tally.expected[0, 0] == pytest.approx(44.5)
    assert tally.expected[0, 7] == pytest.approx(55.5)
    assert tally.by_tier[0, 1] == 60
    assert tally.without[0] == pytest.approx(55.5)


def test_expected_homes_follow_the_running_maximum_of_the_chance():
    # 20, 50, 40, 70, 70, 60, 90 %: the dips add nothing (by hand 20, 30, 0, 20, 0, 0, 20, rest 10)
    shares = expected_shares(np.array([[20, 50, 40, 70, 70, 60, 90]]).T)
    np.testing.assert_allclose(shares[:, 0] * 100, [20, 30, 0, 20, 0, 0, 20, 10], atol=1e-9)


def test_counts_of_ragged_neighbourhoods_match_the_slow_intersection(coverage):
    pieces = ragged_pieces()
    found = summarise_areas(coverage, neighbourhoods(pieces), RasterOfHomes(coverage))
    homes, tier = coverage.read("homes"), coverage.read("main/tier")
    rows = found[found.wanted_list == "main"].reset_index(drop=True)
    for index, piece in enumerate(pieces):
        expected = np.zeros(256)
        for row in range(GRID.rows):
            for col in range(GRID.cols):
                left, top = WEST + 100 * col, NORTH - 100 * row
                share = piece.intersection(shapely.box(left, top - 100, left + 100, top)).area / 1e4
                expected[tier[row, col]] += share * homes[row, col]
        assert rows.homes_unknown[index] == pytest.approx(expected[255], abs=0.01)
        for number in range(1, 9):
            assert rows[f"homes_tier_{number}"][index] == pytest.approx(expected[number], abs=0.01)
        assert rows.homes_total[index] == pytest.approx(expected.sum(), abs=0.01)


def test_homes_reconcile_in_every_row_and_over_the_whole(coverage):
    found = summarise_areas(coverage, neighbourhoods(ragged_pieces()), RasterOfHomes(coverage))
    tiers = [f"homes_tier_{number}" for number in range(1, 9)]
    expected = [f"homes_expected_tier_{number}" for number in range(1, 9)]
    np.testing.assert_allclose(found[tiers].sum(axis=1) + found.homes_unknown, found.homes_total, atol=0.5)
    np.testing.assert_allclose(found[expected].sum(axis=1) + found.homes_unknown, found.homes_total, atol=0.5)
    np.testing.assert_allclose(found[tiers[4:]].sum(axis=1), found.homes_rooftop_or_more, atol=0.01)
    whole = summarise_whole(coverage)
    for name in ("main", "few"):
        assert found[found.wanted_list == name].homes_total.sum() == pytest.approx(
            coverage.read("homes").sum(), abs=0.5
        )
        assert whole[name].columns.homes_total == pytest.approx(coverage.read("homes").sum(), abs=0.5)


def test_neighbourhoods_and_the_row_outside_them_hold_all_homes(coverage):
    pieces = neighbourhoods(ragged_pieces()[:-2])  # two are left away: homes stand in none
    found = summarise_areas(coverage, with_outside(pieces, GRID), RasterOfHomes(coverage))
    for name in ("main", "few"):
        rows = found[found.wanted_list == name]
        assert rows.neighbourhood_name.iloc[-1] == "Outside every neighbourhood"
        assert rows.homes_total.iloc[-1] > 0
        assert rows.homes_total.sum() == pytest.approx(coverage.read("homes").sum(), abs=0.5)


def test_points_count_where_they_stand_and_once_on_a_common_edge(coverage):
    left = shapely.box(WEST, NORTH - 3000, WEST + 2050, NORTH)
    right = shapely.box(WEST + 2050, NORTH - 3000, WEST + 4000, NORTH)
    x = np.array(
        [WEST + 2010.0, WEST + 2090, WEST + 2050, WEST + 9000]
    )  # one cell; two sides; the edge; outside
    y = np.full(4, NORTH - 1550.0)
    homes = PointHomes(x, y, np.array([1.0, 10, 100, 1000]), GRID)
    found = summarise_areas(coverage, neighbourhoods([left, right]), homes)
    assert found[found.wanted_list == "main"].homes_total.tolist() == [101, 10]
    assert homes.outside == 1000


def test_features_without_a_count_stand_with_their_neighbourhood(coverage):
    left = shapely.box(WEST, NORTH - 3000, WEST + 2000, NORTH)
    right = shapely.box(WEST + 2000, NORTH - 3000, WEST + 4000, NORTH)
    homes = PointHomes(
        np.array([WEST + 50.0, WEST + 3000]), np.array([NORTH - 50.0] * 2), np.array([np.nan, 4]), GRID
    )
    found = summarise_areas(coverage, neighbourhoods([left, right]), homes)
    assert found[found.wanted_list == "few"].features_without_count.tolist() == [1, 0]


def test_an_empty_outline_has_no_numbers_and_overlaps_count_in_both(coverage):
    box = shapely.box(WEST, NORTH - 3000, WEST + 1000, NORTH)
    found = summarise_areas(coverage, neighbourhoods([shapely.Polygon(), box, box]), RasterOfHomes(coverage))
    rows = found[found.wanted_list == "main"].reset_index(drop=True)
    assert rows.homes_total.isna().tolist() == [True, False, False]
    assert rows.tier_half_of_homes.isna()[0]
    assert (
        rows.homes_total[1]
        == rows.homes_total[2]
        == pytest.approx(coverage.read("homes")[:, :10].sum(), abs=0.5)
    )


def test_an_outline_beyond_the_grid_is_unknown_there(coverage):
    # half of it outside to the south; cell rows 15 to 29 inside are all known
    box = shapely.box(WEST, NORTH - 4500, WEST + 4000, NORTH - 1500)
    found = summarise_areas(coverage, neighbourhoods([box]), RasterOfHomes(coverage))
    assert found.unknown_area_percent[0] == pytest.approx(50, abs=0.01)
    assert found.area_km2[0] == pytest.approx(
        12.0, rel=0.005
    )  # UTM is true to scale within 0.1 %, area 0.2 %


def test_half_and_ninety_percent_of_homes_are_the_lowest_tiers_that_serve_them():
    tally = Tally(1, 1)
    tally.by_tier[0] = [50, 10, 0, 40, 0, 40, 0, 0, 10]  # 100 known: 10 by tier 1, 50 by 3, 90 by 5
    assert tally.tier_reaching(0.5) == [3]
    assert tally.tier_reaching(0.9) == [5]
    assert Tally(1, 1).tier_reaching(0.5) == [None]


def test_the_common_aim_points_at_a_mast_and_never_between_two():
    tally = Tally(4, 1)
    tally.by_aim[0, [90, 270]] = [60, 40]
    tally.by_aim[1, [359, 0, 1]] = [5, 5, 5]  # across north the median is 0
    tally.by_aim[3, [148, 149, 150, 151, 152]] = [10, 11, 12, 11, 10]  # one mast, spread over its degrees
    tally.by_aim[3, 320] = 13  # another one, more than any single degree of the first
    assert tally.common_aim() == [90, 0, None, 150]


def test_without_homes_the_columns_are_shares_of_land(tmp_path):
    coverage = write_small_coverage(tmp_path, homes=False)
    area = shapely.box(WEST, NORTH - 3000, WEST + 4000, NORTH)
    found = summarise_areas(coverage, neighbourhoods([area]), None)
    assert not any(name.startswith("homes_t") for name in found.columns)
    tier = coverage.read("main/tier")
    shares = found.iloc[0][[f"share_of_land_percent_tier_{number}" for number in range(1, 9)]]
    np.testing.assert_allclose(
        shares.to_numpy(float), [100 * (tier == number).mean() for number in range(1, 9)], atol=0.01
    )
    assert shares.sum() + found.share_of_land_percent_unknown[0] == pytest.approx(100, abs=0.02)
    land = np.zeros(GRID.shape, bool)
    land[20:, :] = True
    on_land = summarise_areas(coverage, neighbourhoods([area]), None, lambda tile: land[tile.window])
    assert on_land.share_of_land_percent_tier_5[0] == pytest.approx(100 * (tier[20:] == 5).mean(), abs=0.01)


def test_homes_without_a_roof_count_as_not_promised_above_window():
    # 10 homes in a cell of tier 5, 4 of them flats; 10 in a cell of tier 2, 5 of them flats
    results = TileResults(
        tier=np.array([5, 2], np.uint8),
        tier_chance_percent=np.array(
            [[0, 40], [10, 95], [20, 95], [50, 99], [95, 99], [99, 99], [99, 99]]
        ).astype(np.uint8),
        dead_zone_percent=np.array([100, 100], np.uint8),
        deciding=np.full(2, 255, np.uint8),
        aim_deg=np.zeros(2, np.int16),
    )
    tally = Tally(1, 1)
    tally.add(np.zeros(2, int), np.arange(2), np.array([10.0, 10]), results, np.array([4.0, 5]))
    np.testing.assert_allclose(tally.by_tier[0], [0, 0, 10, 0, 0, 6, 0, 0, 4])
    assert tally.expected[0].sum() == pytest.approx(20)
    # expected by hand, tier 8: homes with a roof 6 x 1 % + 5 x 1 %, flats 4 x 90 % + 5 x 5 %
    assert tally.expected[0, 7] == pytest.approx(0.06 + 0.05 + 3.6 + 0.25)


def test_homes_3_db_down_and_up_stand_on_both_sides(coverage):
    found = summarise_areas(coverage, neighbourhoods(ragged_pieces()), RasterOfHomes(coverage))
    assert (found.homes_rooftop_or_more_3db_weaker >= found.homes_rooftop_or_more - 0.01).all()
    assert (found.homes_rooftop_or_more_3db_stronger <= found.homes_rooftop_or_more + 0.01).all()
    assert (found.homes_without_3db_weaker >= found.homes_without).all()
    assert (found.homes_without_low <= found.homes_without).all()
    assert (found.homes_without_high >= found.homes_without).all()
    assert (found.homes_expected_rooftop_or_more_high > found.homes_expected_rooftop_or_more_low).all()
    assert found.high_vhf_percent.between(0, 100).all()
    whole = summarise_whole(coverage)["main"]
    homes, weaker = coverage.read("homes"), coverage.read("main/tier_3db_weaker")
    assert whole.columns.homes_rooftop_or_more_3db_weaker == pytest.approx(
        homes[(weaker >= 5) & (weaker <= 8)].sum(), abs=0.01
    )
    assert sum(whole.bars["3db_weaker"]) == pytest.approx(homes.sum(), abs=0.5)


def test_columns_come_in_the_promised_order(coverage):
    found = summarise_areas(coverage, neighbourhoods(ragged_pieces()), RasterOfHomes(coverage))
    assert [*found.columns[:-1]] == [name for name in NEIGHBOURHOOD_ORDER if "land" not in name]


def areas_settings(path, key="code", name="name"):
    return SimpleNamespace(neighbourhoods=path, neighbourhood_key=key, neighbourhood_name=name)


def write_layer(path, geometry, crs=32625, **columns):
    gpd.GeoDataFrame(columns, geometry=geometry, crs=crs).to_file(path)
    return path


SQUARE = shapely.box(WEST, NORTH - 1000, WEST + 1000, NORTH)


def test_keys_and_names_are_carried_through_as_written(tmp_path):
    path = write_layer(tmp_path / "n.gpkg", [SQUARE] * 2, code=["=1", "b"], name=["<script>x</script>", ""])
    found, warnings = read_neighbourhoods(areas_settings(path), GRID)
    assert found.neighbourhood_id.tolist() == ["=1", "b"]
    assert found.neighbourhood_name.tolist() == ["<script>x</script>", "b"]
    assert "1 pairs of neighbourhoods overlap" in " ".join(warnings)
    found, _ = read_neighbourhoods(areas_settings(path, None, None), GRID)
    assert found.neighbourhood_id.tolist() == found.neighbourhood_name.tolist() == ["1", "2"]


def test_any_crs_and_collections_are_read(tmp_path):
    line = shapely.LineString([(WEST, NORTH), (WEST + 1000, NORTH)])
    frame = gpd.GeoDataFrame(
        {"code": [7.0], "name": ["A"]}, geometry=[shapely.GeometryCollection([SQUARE, line])], crs=32625
    )
    frame.to_crs(4326).to_file(tmp_path / "n.geojson")
    found, _ = read_neighbourhoods(areas_settings(tmp_path / "n.geojson"), GRID)
    assert found.neighbourhood_id.tolist() == ["7"]
    assert found.geometry[0].area == pytest.approx(1e6, rel=1e-4)


def test_a_small_fault_is_repaired_and_a_large_one_is_told(tmp_path):
    spike = shapely.Polygon(
        [(WEST, NORTH), (WEST + 1000, NORTH), (WEST + 1000, NORTH - 1000), (WEST + 500, NORTH - 1000),
         (WEST + 500, NORTH - 1010), (WEST + 500, NORTH - 1000), (WEST, NORTH - 1000)]
    )  # fmt: skip
    found, warnings = read_neighbourhoods(
        areas_settings(write_layer(tmp_path / "s.gpkg", [spike], code=["a"], name=["A"])), GRID
    )
    assert found.geometry[0].is_valid
    assert found.geometry[0].area == pytest.approx(1e6)
    assert "1 invalid polygons were repaired" in warnings[0]
    bow = shapely.Polygon(
        [(WEST, NORTH), (WEST + 900, NORTH), (WEST, NORTH - 900), (WEST + 600, NORTH - 900)]
    )
    path = write_layer(tmp_path / "b.gpkg", [SQUARE, bow], code=["a", "b"], name=["A", "B"])
    found, warnings = read_neighbourhoods(areas_settings(path), GRID)
    assert found.neighbourhood_id.tolist() == ["a"]
    assert "1 of 2 features cannot be used and are left out" in warnings[0]
    assert "feature 2: invalid (Self-intersection" in warnings[0]
    path = write_layer(tmp_path / "c.gpkg", [bow], code=["b"], name=["B"])
    with pytest.raises(InputError, match=r"c\.gpkg: no polygon in it can be used .*Self-intersection"):
        read_neighbourhoods(areas_settings(path), GRID)


@pytest.mark.parametrize(
    ("keys", "message"),
    [(["a", "a"], "'a' stands in features 1, 2"), ([None, " "], "column code: it is blank in every feature")],
)
def test_a_key_that_stands_twice_or_nowhere_is_told(tmp_path, keys, message):
    path = write_layer(tmp_path / "n.gpkg", [SQUARE, SQUARE], code=keys, name=["A", "B"])
    with pytest.raises(InputError, match=message):
        read_neighbourhoods(areas_settings(path), GRID)


def test_features_without_a_key_or_an_outline_are_left_out_and_counted(tmp_path):
    shapes = [None, SQUARE, shapely.Polygon(), SQUARE]
    path = write_layer(tmp_path / "n.gpkg", shapes, code=["a", None, "c", "d"], name=["A", "B", "C", "D"])
    found, warnings = read_neighbourhoods(areas_settings(path), GRID)
    assert found.neighbourhood_id.tolist() == ["d"]
    assert (
        "2 of 4 features cannot be used and are left out. The first, feature 1: it has no geometry"
        in warnings[0]
    )
    assert (
        "1 of 2 features have no key in column code and are left out (the first is feature 2)" in warnings[1]
    )


def test_neighbourhoods_off_the_map_are_told_and_refused_where_all_are(tmp_path):
    far = shapely.transform(SQUARE, lambda xy: xy + 1e5)
    path = write_layer(tmp_path / "n.gpkg", [SQUARE, far], code=["a", "b"], name=["A", "B"])
    assert (
        "1 of 2 neighbourhoods lie outside the map" in read_neighbourhoods(areas_settings(path), GRID)[1][0]
    )
    path = write_layer(tmp_path / "f.gpkg", [far], code=["b"], name=["B"])
    with pytest.raises(InputError, match="all 1 of them lie outside the map"):
        read_neighbourhoods(areas_settings(path), GRID)


def test_a_missing_column_and_a_missing_crs_are_told(tmp_path):
    path = write_layer(tmp_path / "n.gpkg", [SQUARE], code=["a"], name=["A"])
    with pytest.raises(InputError, match=r"no such column\. Its columns are: code, name"):
        read_neighbourhoods(areas_settings(path, key="ward"), GRID)
    write_layer(tmp_path / "n.shp", [SQUARE], crs=None, code=["a"], name=["A"])
    with pytest.raises(InputError, match="no CRS is declared"):
        read_neighbourhoods(areas_settings(tmp_path / "n.shp"), GRID)


def test_the_whole_area_is_all_cells_together(coverage):
    whole = summarise_whole(coverage)["main"]
    homes, tier = coverage.read("homes", WHOLE), coverage.read("main/tier", WHOLE)
    for number in range(1, 9):
        assert whole.columns[f"homes_tier_{number}"] == pytest.approx(homes[tier == number].sum(), abs=0.01)
    deciding = coverage.read("main/deciding_service")
    assert whole.decided["Gamma"] == pytest.approx(homes[(deciding == 2) & (tier != 255)].sum(), abs=0.01)
