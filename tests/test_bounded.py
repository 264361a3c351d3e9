"""Memory does not grow with the grid: rasters are read in bands and blocks, with the same answer."""

import numpy as np
import pytest
from small_coverage import GRID, write_small_coverage

from covermap.gis_layers.cells import cells_layer
from covermap.grid.frame import Grid
from covermap.planning import relay_sites, shading
from covermap.planning.relay_sites import candidate_sites, weighed_cells
from covermap.planning.results import read_cells
from covermap.result.coverage import Coverage

BAND_ROWS = 7  # of the small grid's 30


@pytest.fixture(scope="module")
def coverage(tmp_path_factory):
    return write_small_coverage(tmp_path_factory.mktemp("bounded"))


@pytest.fixture
def narrow_bands(monkeypatch):
    """Cut the grid into bands of a few rows."""
    bands = Grid.bands
    monkeypatch.setattr(Grid, "bands", lambda grid: bands(grid, BAND_ROWS * grid.cols))


@pytest.fixture
def largest_read(monkeypatch):
    """Note how many cells the largest read took at once."""
    read, cells = Coverage.read, [0]

    def counted(coverage, name, window=None):
        values = read(coverage, name, window)
        cells[0] = max(cells[0], values.shape[-1] * values.shape[-2])
        return values

    monkeypatch.setattr(Coverage, "read", counted)
    return cells


def test_bands_are_the_grid_row_by_row():
    rows = [
        row for band in GRID.bands(BAND_ROWS * GRID.cols) for row in range(band.row, band.row + band.rows)
    ]
    assert rows == list(range(GRID.rows))


def test_bands_of_a_large_grid_follow_the_tiles_of_the_files():
    large = Grid(GRID.crs_wkt, 100.0, 0.0, 0.0, 10_000, 3_000)
    assert {band.row % 128 for band in large.bands()} == {0}
    assert max(band.rows * band.cols for band in large.bands()) <= 1_000_000


@pytest.mark.parametrize("name", ["main/tier", "main/tier_chance", "ground"])
def test_single_cells_are_those_of_the_raster(coverage, narrow_bands, largest_read, name):
    rng = np.random.default_rng(5)
    row, col = rng.integers(0, GRID.rows, 50), rng.integers(0, GRID.cols, 50)
    found = read_cells(coverage, name, row, col)
    assert largest_read[0] <= BAND_ROWS * GRID.cols
    np.testing.assert_array_equal(found, coverage.read(name)[..., row, col])


def test_the_cells_layer_reads_bands_and_stays_the_same(coverage, monkeypatch, request):
    carriers = {service: [] for service in coverage.services("main")}
    whole = cells_layer(coverage, "main", carriers)
    request.getfixturevalue("narrow_bands")
    largest = request.getfixturevalue("largest_read")
    in_bands = cells_layer(coverage, "main", carriers)
    assert largest[0] <= BAND_ROWS * GRID.cols
    assert in_bands.equals(whole)


def test_homes_far_below_are_found_in_bands_as_at_once(coverage, request, monkeypatch):
    monkeypatch.setattr(shading, "MOST_PATHS", 20)
    whole = shading._far_homes(coverage, "main")
    request.getfixturevalue("narrow_bands")
    largest = request.getfixturevalue("largest_read")
    in_bands = shading._far_homes(coverage, "main")
    assert largest[0] <= BAND_ROWS * GRID.cols
    assert 0 < whole[0].size <= 20
    for one, other in zip(whole, in_bands, strict=True):
        np.testing.assert_allclose(one, other, rtol=1e-12)  # sums of parts round differently


def test_hilltops_are_found_in_blocks_as_at_once(coverage, monkeypatch, largest_read):
    homes = weighed_cells(coverage, "main")
    whole = candidate_sites(coverage, "main", homes)
    monkeypatch.setattr(relay_sites, "BLOCK_CELLS", 8)
    largest_read[0] = 0
    in_blocks = candidate_sites(coverage, "main", homes)
    reach = round(relay_sites.TOP_RADIUS_M / GRID.cell_m)
    assert largest_read[0] <= (8 + 2 * reach) ** 2
    places = [set(zip(found.row.tolist(), found.col.tolist(), strict=True)) for found in (whole, in_blocks)]
    assert places[0]
    assert places[0] <= places[1]  # a flat top cut by an edge of blocks may be two


def test_xarray_reads_only_what_is_asked_for(coverage, largest_read):
    pytest.importorskip("xarray")
    data = coverage.to_xarray(["main/tier", "main/tier_chance", "ground"])
    assert largest_read[0] == 1
    part = data["tier_chance"].sel(list="main").isel(y=slice(20, 10, -2), x=slice(3, 9)).sel(tier=5)
    assert part.values.shape == (5, 6)
    assert largest_read[0] <= 10 * 6
    known = coverage.read("main/tier_chance")[4, 20:10:-2, 3:9]
    np.testing.assert_array_equal(part.values, np.where(known == 255, np.nan, known))
    np.testing.assert_array_equal(data["ground"].values, coverage.read("ground"))
    assert float(data["ground"][4, 5]) == coverage.read("ground")[4, 5]
