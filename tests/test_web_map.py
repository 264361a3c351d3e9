"""The page as a file: its grid, its values, what it forbids, and what it says without scripts."""

import base64
import hashlib
import io
import json
import zlib
from datetime import date
from html.parser import HTMLParser
from pathlib import Path

import matplotlib.image
import numpy as np
import pyproj
import pytest
from reference import reference_rows
from small_coverage import GRID
from web_map_case import make_scenario, write_page

from covermap.bearings import declination
from covermap.errors import InputError
from covermap.grid.frame import Grid
from covermap.planning.areas import summarise_whole
from covermap.reports.web_map import page_grid, write_map
from covermap.reports.web_map.layers import (
    block_middles,
    chance_bytes,
    field_bytes,
    homes_tenths,
    packed,
    station_step,
    two_bytes,
)
from covermap.reports.web_map.still import still_picture
from covermap.reports.web_map.summary import count_facts
from covermap.scenario.letters import letter
from covermap.wording.words import chance_text

PACKAGE = Path(page_grid.__file__).parent


class Page(HTMLParser):
    """What a browser would find in the file: inline scripts and styles, data blocks, links."""

    def __init__(self, text):
        super().__init__(convert_charrefs=True)
        self.inline, self.data, self.links, self.policy, self.tags = [], {}, [], "", []
        self._open = None
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        attributes = dict(attrs)
        self.tags.append(tag)
        self.links += [attributes[name] for name in ("src", "href", "action", "data") if name in attributes]
        if attributes.get("http-equiv") == "Content-Security-Policy":
            self.policy = attributes["content"]
        if tag in {"script", "style"}:
            self._open = (tag, attributes)

    def handle_data(self, data):
        if self._open:
            tag, attributes = self._open
            if "type" in attributes:
                self.data[attributes["id"]] = data
            else:
                self.inline.append((tag, data))
            self._open = None


@pytest.fixture(scope="module")
def case(tmp_path_factory):
    coverage, path = write_page(tmp_path_factory.mktemp("page"))
    text = path.read_text(encoding="utf-8")
    return coverage, text, Page(text)


# ---- the grid


@pytest.mark.parametrize(
    "grid",
    [
        GRID,
        Grid(pyproj.CRS.from_epsg(32633).to_wkt(), 100.0, 250_000.0, 7_700_000.0, 150, 200),  # 69 N
        Grid(pyproj.CRS.from_epsg(32719).to_wkt(), 250.0, 640_000.0, 6_000_000.0, 90, 60),  # southern half
        Grid(
            pyproj.CRS.from_proj4("+proj=laea +lat_0=52 +lon_0=-8 +datum=WGS84 +units=m").to_wkt(),
            200.0, -90_000.0, 60_000.0, 120, 400,
        ),
    ],
)  # fmt: skip
def test_pixel_over_the_centre_of_every_cell_shows_that_cell(grid):
    pixels = page_grid.page_grid(grid)
    x, y = grid.centres(next(grid.tiles(4096)))
    to_mercator = pyproj.Transformer.from_crs(grid.crs, "EPSG:3857", always_xy=True)
    mercator_x, mercator_y = to_mercator.transform(x, y)
    col = np.floor((mercator_x - pixels.x_min) / pixels.pixel_m).astype(int)
    row = np.floor((pixels.y_max - mercator_y) / pixels.pixel_m).astype(int)
    assert np.array_equal(pixels.cell[row, col], np.arange(grid.rows * grid.cols).reshape(grid.shape))


def test_pixels_are_hardly_smaller_than_cells():
    # On the ground a pixel is pixel_m x cos(latitude): 44 N here. 100 m cells turned by the grid's
    # convergence (2.1 degrees at 3 degrees off the meridian: sin 44 x 3) lose at most 4 %.
    pixels = page_grid.page_grid(GRID)
    on_ground_m = pixels.pixel_m * np.cos(np.radians(44.0))
    assert 95.0 < on_ground_m <= 100.0


def test_pixels_beside_the_grid_are_outside():
    pixels = page_grid.page_grid(GRID)
    spread = pixels.spread(np.zeros(GRID.shape, dtype=np.uint8), 254)
    assert set(np.unique(spread)) == {0, 254}
    assert spread[0, 0] == 254 or spread[0, -1] == 254  # the turned grid leaves corners


# ---- the values


def test_field_is_held_in_whole_decibels_and_unknown_stays_unknown():
    field = np.array([-70.0, -60.0, 57.4, 57.5, 200.0, np.nan], dtype=np.float32)
    assert field_bytes(field).tolist() == [0, 0, 117, 118, 254, 255]  # whole dB + 60, halves upwards


def test_aims_and_homes_take_two_bytes():
    low, high = two_bytes(np.array([0, 255, 256, 359, -1]))
    assert low.tolist() == [0, 255, 0, 103, 255]
    assert high.tolist() == [0, 0, 1, 1, 255]
    assert homes_tenths(np.array([0.0, 1.25, 9000.0, np.nan])).tolist() == [0, 13, 65534, -1]


def test_layer_unpacks_to_the_same_bytes():
    values = np.arange(1000, dtype=np.uint16).astype(np.uint8).reshape(20, 50)
    assert zlib.decompress(base64.b64decode(packed(values))) == values.tobytes()


def test_page_holds_the_tiers_of_the_raster(case):
    coverage, _, page = case
    facts = json.loads(page.data["facts"])
    shape = facts["grid"]["rows"], facts["grid"]["cols"]
    pixels = np.frombuffer(zlib.decompress(base64.b64decode(page.data["layer:main/tier"])), np.uint8)
    index = page_grid.page_grid(coverage.grid).cell
    assert index.shape == shape
    known = index.reshape(-1) >= 0
    assert np.array_equal(pixels[known], coverage.read("main/tier").reshape(-1)[index.reshape(-1)[known]])
    assert set(pixels[~known]) == {254}


# ---- magnetic north


def test_declination_matches_the_published_test_values():
    # World Magnetic Model 2025, test values of NOAA NCEI, at sea level on 1 January 2025;
    # printed to 0.01 degrees.
    rows = [
        row
        for row in reference_rows("magnetic/wmm2025_test_values_12.csv")
        if float(row["decimal_year"]) == 2025.0 and float(row["altitude_km_wgs84"]) == 0.0
    ]
    assert len(rows) == 3
    for row in rows:
        found = declination(float(row["lat_deg"]), float(row["lon_deg"]), date(2025, 1, 1))
        assert found.declination_deg == pytest.approx(float(row["declination_deg"]), abs=0.006)


def test_declination_outside_the_model_is_not_given():
    assert declination(44.0, -36.0, date(2024, 12, 31)) is None
    assert declination(44.0, -36.0, date(2030, 1, 1)) is None


# ---- the file


def test_page_forbids_every_request(case):
    _, _, page = case
    rules = dict(rule.strip().split(" ", 1) for rule in page.policy.split(";"))
    assert rules["default-src"] == "'none'"
    allowed = {"default-src", "script-src", "style-src", "img-src", "base-uri", "form-action"}
    assert set(rules) == allowed
    assert rules["img-src"] == "data:"
    assert all(link.startswith(("data:", "#")) for link in page.links)  # pictures, places in the page
    assert not {"link", "iframe", "form", "object"} & set(page.tags)


def test_policy_names_exactly_the_scripts_and_styles_of_the_page(case):
    # W3C Content Security Policy Level 3, section 2.3.1: 'sha256-' and base64 of the content's digest.
    _, _, page = case
    for tag in ("script", "style"):
        digests = {
            f"'sha256-{base64.b64encode(hashlib.sha256(content.encode()).digest()).decode()}'"
            for kind, content in page.inline
            if kind == tag
        }
        rule = next(rule for rule in page.policy.split(";") if rule.strip().startswith(f"{tag}-src"))
        assert set(rule.split()[1:]) == digests


def test_two_runs_write_the_same_bytes(case, tmp_path):
    _, text, _ = case
    _, path = write_page(tmp_path)
    assert path.read_text(encoding="utf-8") == text


def test_names_from_inputs_are_never_markup_or_template(case):
    _, text, page = case
    for raw in ("<b>Bold", "<i>Rigg", "<i>Isle"):
        assert raw not in text
    facts = json.loads(page.data["facts"])
    assert facts["name"] == "Small <i>Isle</i>"
    assert [mast["name"] for mast in facts["masts"]] == ["Long <i>Rigg</i>", "Crown {{ 7 * 7 }}"]


def test_every_caution_stands_in_the_page(case):
    coverage, text, page = case
    assert json.loads(page.data["facts"])["cautions"] == coverage.run["cautions"]
    without_script = text[text.index("<noscript>") : text.index("</noscript>")]
    for caution in coverage.run["cautions"]:
        assert caution in without_script


def test_relief_of_another_shape_is_refused(case, tmp_path):
    coverage, _, _ = case
    with pytest.raises(InputError, match=r"shape \(30, 40\), got uint8 of shape \(2, 2\)"):
        write_map(coverage, make_scenario(), np.zeros((2, 2), np.uint8), None, tmp_path / "map.html")
    assert not (tmp_path / "map.html").exists()


# ---- counts


def test_legend_counts_homes_by_the_cell_they_stand_in(case):
    coverage, _, page = case
    homes, tier = coverage.read("homes"), coverage.read("main/tier")
    counts = json.loads(page.data["facts"])["lists"][0]["homes"]
    assert counts["by_tier"] == pytest.approx([homes[tier == number].sum() for number in range(1, 9)])
    assert counts["unknown"] == pytest.approx(homes[tier == 255].sum())
    assert counts["rooftop_or_more"] == pytest.approx(sum(counts["by_tier"][4:]))


def test_ranges_that_are_known_are_shown_and_others_are_empty(case):
    coverage, _, _ = case
    columns = summarise_whole(coverage)["main"].columns.drop("homes_without_high").copy()
    assert count_facts(columns)["homes"]["without_high"] is None
    columns["homes_without_high"] = 9.0
    assert count_facts(columns)["homes"]["without_high"] == 9.0


def test_land_shares_with_unknown_are_the_whole(tmp_path):
    coverage, _ = write_page(tmp_path, homes=False)
    facts = count_facts(summarise_whole(coverage)["main"].columns)
    assert facts["homes"] is None
    assert sum(facts["land"]["by_tier"]) + facts["land"]["unknown"] == pytest.approx(100.0, abs=0.05)
    assert facts["land"]["unknown"] == pytest.approx(2.0)  # 24 of 1,200 cells


@pytest.mark.parametrize(
    ("order", "letters"), [(0, "A"), (25, "Z"), (26, "AA"), (51, "AZ"), (52, "BA"), (701, "ZZ"), (702, "AAA")]
)
def test_stations_have_letters_up_to_z_then_two(order, letters):
    assert letter(order) == letters


# ---- the picture without scripts


def test_still_picture_paints_as_the_legend_does(case):
    coverage, _, _ = case
    pixels = page_grid.page_grid(coverage.grid)
    tier = np.full(pixels.shape, 2, dtype=np.uint8)
    png = still_picture(pixels, tier, np.full(pixels.shape, 226, np.uint8), [])
    picture = (matplotlib.image.imread(io.BytesIO(png))[..., :3] * 255).round().astype(int)
    # #EFC17C at 80 % over grey 226: 0.8 x (239, 193, 124) + 0.2 x 226 = (236.4, 199.6, 144.4)
    assert picture[5, 5].tolist() == [236, 200, 144]


def test_scripts_stay_small_and_are_all_used():
    from covermap.reports.web_map.inlined import SCRIPTS

    files = {path.stem: path for path in (PACKAGE / "js").glob("*.js")}
    assert set(files) == set(SCRIPTS)
    for path in files.values():
        assert len(path.read_text(encoding="utf-8").splitlines()) <= 300, path.name


# ---- large maps


@pytest.mark.parametrize(
    ("cells", "stations", "step"),
    [
        (160_000, 20, 1),
        (160_001, 20, 2),
        (1_440_000, 20, 3),  # nine times the cells: blocks of 3 x 3
        (1_440_000, 2, 1),
    ],
)
def test_station_values_are_thinned_only_beyond_160000_cells_of_20_stations(cells, stations, step):
    assert station_step(cells, stations) == step


def test_blocks_keep_the_value_of_their_middle_pixel():
    values = np.arange(30, dtype=np.uint8).reshape(5, 6)  # row x 6 + col
    assert block_middles(values, 3).tolist() == [[7, 10], [25, 28]]  # rows 1, 4; cols 1, 4
    assert block_middles(values, 2).tolist() == [[7, 9, 11], [19, 21, 23], [25, 27, 29]]  # last row: the edge
    assert np.array_equal(block_middles(values, 1), values)


@pytest.mark.parametrize("step", [1, 3, 7])
def test_blocks_are_spread_as_their_middle_pixels_are(step):
    pixels = page_grid.page_grid(GRID)
    values = np.random.default_rng(1).integers(0, 100, GRID.shape).astype(np.uint8)
    assert np.array_equal(
        pixels.spread_to_blocks(values, 255, step), block_middles(pixels.spread(values, 255), step)
    )


def test_chances_in_steps_read_as_the_whole_percents_do():
    every = np.arange(256, dtype=np.uint8)
    np.testing.assert_array_equal(chance_bytes(every, 1), every)
    held = chance_bytes(every, 2)
    for percent in range(101):
        assert chance_text(int(held[percent])) == chance_text(percent)
        assert [held[percent] >= limit for limit in (30, 50, 70, 90)] == [
            percent >= limit for limit in (30, 50, 70, 90)
        ]
    np.testing.assert_array_equal(held[101:], every[101:])  # unknown and outside stay
    assert len(set(held[:101].tolist())) == 19
