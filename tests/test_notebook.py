"""The notebook of the docs is run, cell by cell, and shows what it says; a result's own maps."""

import ast
import json
from pathlib import Path

import folium
import geopandas as gpd
import matplotlib
import numpy as np
import pandas as pd
import pytest
import rasterio.warp
import shapely
from small_coverage import GRID, write_small_coverage

from covermap.errors import InputError
from covermap.result.own_map import feature_group, own_map, tier_picture
from covermap.wording.palette import TIERS, rgb
from tests.html_text import visible

NOTEBOOK = Path(__file__).resolve().parents[1] / "docs" / "notebooks" / "result.ipynb"


@pytest.fixture(scope="module")
def shown(tmp_path_factory):
    """Run the notebook in one namespace; what each code cell shows, by its source."""
    matplotlib.use("Agg")
    folder, names, found = tmp_path_factory.mktemp("notebook"), {}, {}
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        for cell in json.loads(NOTEBOOK.read_text("utf-8"))["cells"]:
            if cell["cell_type"] == "code":
                found[cell["source"]] = run_cell(cell["source"], names)
    return found


def run_cell(source, names):
    """Run a cell as a notebook does: its last line, where it is an expression, is what it shows."""
    tree = ast.parse(source)
    last = tree.body.pop() if isinstance(tree.body[-1], ast.Expr) else None
    exec(compile(tree, "<cell>", "exec"), names)
    return None if last is None else eval(compile(ast.Expression(last.value), "<cell>", "eval"), names)


def test_the_file_is_a_notebook_without_outputs():
    book = json.loads(NOTEBOOK.read_text("utf-8"))
    assert (book["nbformat"], book["nbformat_minor"]) == (4, 5)  # from 4.5 on each cell has an id
    assert len({cell["id"] for cell in book["cells"]}) == len(book["cells"])
    assert all(not cell["outputs"] for cell in book["cells"] if cell["cell_type"] == "code")


def test_the_notebook_runs_and_shows_a_result(shown):
    text = visible(shown["coverage"]._repr_html_())
    assert "Rooftop" in text
    assert "a prediction, not a measurement" in text
    (table,) = [table for source, table in shown.items() if source.startswith("totals =")]
    assert isinstance(table, pd.DataFrame)
    counted = shown["coverage"].run["homes"]
    assert table["homes"].sum() == pytest.approx(counted["total"] - counted["outside_map"], abs=1.0)
    (dataset,) = [found for source, found in shown.items() if source.startswith("dataset =")]
    assert "spatial_ref" in dataset.coords
    maps = [found for found in shown.values() if isinstance(found, folium.Map)]
    assert len(maps) == 2
    pages = [own.get_root().render() for own in maps]
    assert all("data:image/png;base64" in page for page in pages)
    assert any("Tall mast" in page and "A relay needs a licence." in page for page in pages)


def test_the_picture_shows_each_class_where_its_cells_are(tmp_path, monkeypatch):
    """Blocks of 6 x 8 cells a class, found again by the published projection of each block's middle."""
    coverage = write_small_coverage(tmp_path)
    row, col = np.indices(GRID.shape)
    tier = (1 + (row // 6 + 2 * (col // 8)) % 8).astype(np.uint8)
    monkeypatch.setattr(type(coverage), "read", lambda self, name, window=None: tier)
    picture, ((south, west), (north, east)) = tier_picture(coverage, "main")
    (left, right), (bottom, top) = rasterio.warp.transform(
        "EPSG:4326", "EPSG:3857", [west, east], [south, north]
    )
    for block_row in range(3, GRID.rows, 6):
        for block_col in range(4, GRID.cols, 8):
            x, y = GRID.x_min + block_col * GRID.cell_m, GRID.y_max - block_row * GRID.cell_m
            (at_x,), (at_y,) = rasterio.warp.transform(GRID.crs_wkt, "EPSG:3857", [x], [y])
            pixel_row = int((top - at_y) / (top - bottom) * picture.shape[0])
            pixel_col = int((at_x - left) / (right - left) * picture.shape[1])
            look = next(look for look in TIERS if look.number == tier[block_row, block_col])
            assert tuple(picture[pixel_row, pixel_col]) == (*rgb(look.painted), 255), (block_row, block_col)


def test_names_of_a_map_are_text(tmp_path, monkeypatch):
    """A mast, a neighbourhood or a place with a tag in its name is shown, not run."""
    coverage, bad = write_small_coverage(tmp_path), "<img src=x onerror=alert(1)>"
    square = shapely.box(-35.70, 44.00, -35.69, 44.01)
    shapes = gpd.GeoDataFrame(
        {"wanted_list": ["main"], "neighbourhood_name": [bad], "kind": ["dead"], "near_name": [bad]},
        geometry=[square], crs=4326,
    )  # fmt: skip
    masts = gpd.GeoDataFrame(
        {"mast": [bad], "latitude_deg": [44.0], "longitude_deg": [-35.7]},
        geometry=[shapely.Point(-35.7, 44.0)], crs=4326,
    )  # fmt: skip
    monkeypatch.setattr(type(coverage), "areas", lambda self, name: shapes)
    monkeypatch.setattr(type(coverage), "dead_zones", lambda self: shapes)
    monkeypatch.setattr(type(coverage), "layer", lambda self, name: masts)
    page = own_map(coverage, "main").get_root().render()
    assert "<img src=x" not in page
    assert page.count("onerror") >= 3  # as text, of each of the three


def test_another_list_is_refused(tmp_path):
    coverage = write_small_coverage(tmp_path)
    with pytest.raises(InputError, match="no list"):
        feature_group(coverage, "no list")
