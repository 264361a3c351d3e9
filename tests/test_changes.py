"""Changes between results: nothing gained by nobody, nothing compared that does not compare."""

import dataclasses
import json

import numpy as np
import pyogrio
import pyproj
import pytest
import shapely
from click.testing import CliRunner
from small_coverage import GRID, WHOLE, write_small_coverage

from covermap.cli import main
from covermap.errors import InputError
from covermap.jobs.comparing import changes
from covermap.planning.changes import by_neighbourhood, compare, differences
from covermap.reports.comparison.write import change_patches
from covermap.result.coverage import Coverage, grid_record
from covermap.result.rasters import RasterSet


@pytest.fixture(scope="module")
def before(tmp_path_factory):
    return write_small_coverage(tmp_path_factory.mktemp("before"))


def moved(folder, before, change, **run):
    """Return the small result with the tiers of list main changed by a function."""
    coverage = write_small_coverage(folder)
    tier = change(before.read("main/tier").copy())
    with RasterSet(folder, GRID, services={"main": coverage.services("main")}) as rasters:
        rasters.write("main/tier", WHOLE, tier)
    record = json.loads((folder / "run.json").read_text("utf-8")) | run
    (folder / "run.json").write_text(json.dumps(record), "utf-8")
    return Coverage(folder, record)


def one_step(tier):
    """One block of known cells a class harder, another a class easier, one cell unknown."""
    tier[10, 10:14] = np.minimum(tier[10, 10:14] + 1, 8)
    tier[20, 20:22] = np.maximum(tier[20, 20:22] - 1, 1)
    tier[29, 39] = 255
    return tier


def test_a_result_against_itself_changes_nothing(before):
    counts = changes(before.folder, before.folder).counts("main")
    assert counts.cells[["easier", "harder", "unknown now", "known now"]].sum() == 0
    assert counts.cells.sum() == GRID.cells
    assert counts.homes.sum() == pytest.approx(before.read("homes").sum(), abs=0.5)


def test_changes_are_counted_in_cells_and_homes(before, tmp_path):
    after = moved(tmp_path, before, one_step)
    found = compare(before, after)
    old, new = before.read("main/tier").astype(int), after.read("main/tier").astype(int)
    homes = before.read("homes")
    known = (old < 9) & (new < 9)
    counts = found.counts("main")
    assert counts.cells["harder"] == np.count_nonzero(known & (new > old))
    assert counts.cells["easier"] == np.count_nonzero(known & (new < old))
    assert counts.cells["unknown now"] == 1
    assert counts.homes["harder"] == pytest.approx(homes[known & (new > old)].sum(), abs=0.01)
    patches = change_patches(found, "main")
    harder = patches[patches.change == "harder"]
    assert harder.area_km2.sum() == pytest.approx(0.01 * counts.cells["harder"])
    assert harder.homes.sum() == pytest.approx(counts.homes["harder"], abs=0.01)
    assert (harder.tier_after > harder.tier_before).all()


def test_neighbourhoods_add_up_to_the_whole(before, tmp_path):
    import geopandas as gpd

    found = compare(before, moved(tmp_path, before, one_step))
    west, north = GRID.x_min, GRID.y_max
    halves = [
        shapely.box(west, north - 3000, west + 1230, north),
        shapely.box(west + 1230, north - 3000, west + 4000, north),
    ]
    areas = gpd.GeoDataFrame(
        {"neighbourhood_id": ["a", "b"], "neighbourhood_name": ["A", "B"]}, geometry=halves, crs=GRID.crs_wkt
    )
    table = by_neighbourhood(found, areas, "main")
    counts = found.counts("main")
    for name in ("harder", "easier", "same"):
        assert table[f"homes_{name}"].sum() == pytest.approx(counts.homes[name], abs=0.5)


def test_patches_and_counts_of_a_large_map_are_those_of_one_read_at_once(before, tmp_path, monkeypatch):
    after = moved(tmp_path, before, lambda tier: np.roll(tier, 3, axis=1))
    whole = compare(before, after)
    expected = change_patches(whole, "main")
    monkeypatch.setattr("covermap.planning.patches.BLOCK_CELLS", 8)
    monkeypatch.setattr("covermap.grid.frame.Grid.bands", lambda grid: grid.tiles(9))
    found = compare(before, after)
    np.testing.assert_allclose(found.counts("main"), whole.counts("main"), rtol=1e-6)
    patches = change_patches(found, "main")
    assert len(patches) == len(expected) > 10
    order = ["change", "area_km2", "homes"]
    one, other = (frame.sort_values(order, ignore_index=True) for frame in (expected, patches))
    assert one["change"].tolist() == other["change"].tolist()
    np.testing.assert_allclose(one["area_km2"], other["area_km2"])
    np.testing.assert_allclose(one["homes"].astype(float), other["homes"].astype(float), atol=0.002)
    np.testing.assert_allclose(patches.geometry.area / 1e6, patches["area_km2"])
    for service, pair in whole.lists["main"].services.items():
        assert found.lists["main"].services[service] == pytest.approx(pair)


def with_grid(coverage, **changed):
    run = coverage.run | {"grid": grid_record(dataclasses.replace(GRID, **changed))}
    return Coverage(coverage.folder, run)


@pytest.mark.parametrize(
    ("changed", "said"),
    [
        ({"cell_m": 2000.0}, "differ too much: 100 m before, 2000 m after"),
        ({"x_min": GRID.x_min + 400_000.0}, "share no cell"),
    ],
)
def test_grids_that_do_not_compare_are_refused_with_the_reason(before, changed, said):
    with pytest.raises(InputError, match=said):
        compare(before, with_grid(before, **changed))


def coarse_copy(folder, coverage, step=3):
    """Return the small result on squares `step` times as large: tiers at their middles, homes added up."""
    rows, cols = GRID.rows // step, GRID.cols // step
    grid = dataclasses.replace(GRID, cell_m=GRID.cell_m * step, rows=rows, cols=cols)
    cut = np.s_[..., : rows * step, : cols * step]
    with RasterSet(folder, grid, services={"main": coverage.services("main")}) as rasters:
        for name in ("main/tier", "main/service_chance", "ground", "flags"):
            middles = coverage.read(name)[cut][..., step // 2 :: step, step // 2 :: step]
            rasters.write(name, grid.whole, middles)
        homes = coverage.read("homes")[cut].reshape(rows, step, cols, step).sum(axis=(1, 3))
        rasters.write("homes", grid.whole, homes)
    run = coverage.run | {"grid": grid_record(grid), "wanted": {"main": coverage.run["wanted"]["main"]}}
    (folder / "run.json").write_text(json.dumps(run), "utf-8")
    return Coverage(folder, run)


def test_squares_of_another_size_are_read_at_the_middles_of_the_larger_ones(before, tmp_path):
    coarse = coarse_copy(tmp_path, before)
    covered = before.read("homes")[:30, :39].sum()
    for one, other in ((before, coarse), (coarse, before)):
        found = compare(one, other)
        counts = found.counts("main")
        assert found.grid == coarse.grid
        assert counts.cells[["easier", "harder", "unknown now", "known now"]].sum() == 0
        assert counts.homes.sum() == pytest.approx(covered, abs=0.5)
        assert found.first[0].startswith("The squares are not the same: ")
        assert "squares of 300 m" in found.first[0]


def test_squares_beside_each_other_and_in_another_crs_take_the_nearest(before):
    shifted = with_grid(before, x_min=GRID.x_min + 30.0)
    found = compare(before, shifted)
    old, new = before.read("main/tier"), found.lists["main"].tier_before
    assert (new[:, :40] == old).all()  # 30 m to the east is still the same square of 100 m
    assert "do not lie on each other" in found.first[0]
    west = pyproj.CRS.from_epsg(32624).to_wkt()  # the neighbouring zone: turned by about 4 degrees there
    to_west = pyproj.Transformer.from_crs(32625, 32624, always_xy=True)
    x, y = to_west.transform(GRID.x_min + 2000.0, GRID.y_max - 1500.0)
    there = with_grid(
        before, crs_wkt=west, x_min=round(x, -2) - 800, y_max=round(y, -2) + 800, rows=16, cols=16
    )
    found = compare(before, there)
    assert "not in the same CRS" in found.first[0]
    for row, col in ((0, 0), (7, 3), (15, 15)):
        x, y = to_west.transform(
            there.grid.x_min + (col + 0.5) * 100.0,
            there.grid.y_max - (row + 0.5) * 100.0,
            direction="INVERSE",
        )
        expected = old[int((GRID.y_max - y) // 100.0), int((x - GRID.x_min) // 100.0)]
        assert found.lists["main"].tier_before[row, col] == expected


def test_areas_that_only_overlap_are_compared_where_they_do(before):
    found = compare(before, with_grid(before, x_min=GRID.x_min + 1000.0, cols=30))
    assert found.grid.cols == 30
    assert "only the 30 x 30 cells both have" in found.notes[0]


def test_other_terrain_model_and_rules_are_told_first():
    def run(digest, chosen, dn):
        return {
            "inputs": [{"role": "terrain.elevation", "sha256": digest}],
            "models": {"chosen": chosen},
            "options": {"prediction": {"dn": dn}},
        }

    assert differences(run("a", "p1812", 45), run("a", "p1812", 45)) == ()
    found = " ".join(differences(run("a", "p1812", 45), run("b", "free_space", 50)))
    assert "terrain or land cover is not the same" in found
    assert "p1812 before, free_space after" in found
    assert "[prediction] is not the same in: dn" in found


STATIONS = """station_id,service,mast,latitude_deg,longitude_deg,rf_channel,erp_kw,azimuth_pattern
K1,Alpha,Hill,44.0,-35.9,21,{erp},
{row}
"""


def test_stations_that_are_not_the_same_are_named_with_what_changed(before, tmp_path):
    folders = [tmp_path / name for name in ("before", "after")]
    for folder, erp, row in zip(
        folders,
        (40, 20),
        ("K2,Beta <b>Bold</b>,Hill,44.0,-35.9,24,5.0,east", "007,Gamma,Fell,44.01,-35.9,30,1.0,"),
        strict=True,
    ):
        write_small_coverage(folder)
        (folder / "transmitters.csv").write_text(STATIONS.format(erp=erp, row=row), "utf-8")
    out = tmp_path / "out"
    result = CliRunner().invoke(main, ["changes", *map(str, folders), "--output", str(out)])
    assert result.exit_code == 0, result.output
    assert "Stations only in the earlier result: Beta <b>Bold</b> (K2)." in result.stdout
    assert "Stations only in the later result: Gamma (007)." in result.stdout
    assert "not the same in both: Alpha (K1): 40 before, 20 after (ERP, kW)." in result.stdout
    assert "Squares may have changed because of these stations." in result.stdout
    page = (out / "changes.html").read_text("utf-8")
    assert "Beta &lt;b&gt;Bold&lt;/b&gt; (K2)" in page
    told = json.loads((out / "changes.json").read_text("utf-8"))["stations"]
    assert (told["removed"], told["added"]) == (["K2"], ["007"])
    assert told["changed"] == [{"station_id": "K1", "column": "erp_kw", "before": 40.0, "after": 20.0}]


def test_stations_that_are_the_same_are_not_spoken_of(before, tmp_path):
    folder = tmp_path / "same"
    write_small_coverage(folder)
    (folder / "transmitters.csv").write_text(
        STATIONS.format(erp=40, row="K2,Beta,Hill,44.0,-35.9,24,5.0,"), "utf-8"
    )
    result = CliRunner().invoke(
        main, ["changes", str(folder), str(folder), "--output", str(tmp_path / "out")]
    )
    assert result.exit_code == 0, result.output
    assert "Stations" not in result.stdout
    assert "these stations" not in result.stdout


def test_of_results_without_a_station_table_the_ids_are_compared(before):
    fewer = Coverage(before.folder, before.run | {"stations": before.run["stations"][:-1]})
    assert changes(before, fewer).stations.removed == ("gamma-1",)


def test_the_command_writes_layer_table_page_and_says_the_difference_first(before, tmp_path):
    after = moved(tmp_path / "after", before, one_step, models={"chosen": "free_space"})
    out = tmp_path / "out"
    result = CliRunner().invoke(
        main, ["changes", str(before.folder), str(after.folder), "--output", str(out)]
    )
    assert result.exit_code == 0, result.output
    assert result.stdout.startswith("Not only the stations changed: The model is not the same")
    assert "need a harder antenna than before" in result.stdout
    assert len(pyogrio.read_dataframe(out / "changes.gpkg", layer="changes")) >= 3
    page = (out / "changes.html").read_text("utf-8")
    assert "Small &lt;i&gt;Isle&lt;/i&gt;" in page
    assert "<script" not in page
    for caution in after.run["cautions"]:
        assert caution.replace("'", "&#39;") in page
    assert (out / "changes.csv").is_file()
    again = CliRunner().invoke(main, ["changes", str(before.folder), str(after.folder), "--output", str(out)])
    assert again.exit_code == 0
    foreign = tmp_path / "foreign"
    foreign.mkdir()
    (foreign / "mine.txt").write_text("x")
    refused = CliRunner().invoke(
        main, ["changes", str(before.folder), str(after.folder), "--output", str(foreign)]
    )
    assert refused.exit_code == 2
    assert [path.name for path in foreign.iterdir()] == ["mine.txt"]
