"""The card of a square in a real browser: its order and words, the skyline, the path, what it hands on."""

import re

import numpy as np
import pyproj
import pytest
from small_coverage import GRID
from web_map_browser import NARROW, WIDE, click_cell, known_cell, load, wait_for
from web_map_case import CAUSES, MAST_CELLS, make_areas, make_zones, place_of_cell, write_page
from web_map_ground import HILL_CELL, HILL_M, FlatGround, GapInTheNorth, OneHill

from covermap.addresses.skyline import skyline
from covermap.cli.address import command as address_command
from covermap.reports.web_map.heights import ResultHeights, page_heights
from covermap.reports.web_map.page_grid import page_grid
from covermap.result.raster_catalogue import LAYERS
from covermap.wording.verdicts import expected_of_words

pytestmark = pytest.mark.browser
SIZES = pytest.mark.parametrize("size", [NARROW, WIDE], ids=["narrow", "wide"])
RADIUS_KM = 6371.0 * 157.0 / (157.0 - 45.0)  # ITU-R P.1812-8 section 4.1 with a fall of 45 N-units/km


@pytest.fixture(scope="module")
def case(tmp_path_factory):
    more = {"heights": OneHill(), "areas": make_areas(), "zones": make_zones()}
    return write_page(tmp_path_factory.mktemp("page"), optional=True, **more)


@pytest.fixture(scope="module")
def plain_case(tmp_path_factory):
    return write_page(tmp_path_factory.mktemp("plain"))


def in_page(browser, script, *values):
    return browser.execute_script(script, *values)


def card_text(browser):
    return in_page(browser, "return find('#card').innerText").replace("\u00a0", " ")


# ---- order and words


@SIZES
def test_card_reads_in_its_order(browser, case, size):
    load(browser, case, size)
    text = click_cell(browser, *known_cell(case[0], 5)).replace("\u00a0", " ")
    order = [
        "Rooftop",
        "All three wanted services together: ",
        "Aim ",
        "What decides it",
        "One class lower",
        "Stations by aim",
        "For a typical roof in this square; your site can differ by 10 dB either way.",
        "Copy as text",
        "Print this place",
        "Exact command",
        "Skyline from here",
        "Path to a station",
        "Before you rely on it",
    ]
    places = [text.index(words) for words in order]
    assert places == sorted(places)
    assert in_page(browser, "return find('#card').getAttribute('role')") == "status"


def test_card_tells_what_else_the_result_holds(browser, case):
    coverage, _ = case
    load(browser, case)
    tier, column = coverage.read("main/tier"), np.arange(GRID.cols)
    row, col = (int(part[0]) for part in np.nonzero((tier >= 3) & (tier <= 7) & (column < 20)))
    text = click_cell(browser, row, col)
    assert "A second antenna at 210° true" in text
    assert "Others need this antenna too" not in text  # the same class, perhaps with one antenna less
    words = {
        "ridges": "hills in the way.",
        "distance": "distance.",
        "noise": "noise from outside, which comes in through the antenna.",
        "same_channel": "interference from another transmitter on the same channel, Gamma (C), RF 16.",
    }
    for number, cause in enumerate(CAUSES):  # the station that interferes is named where it is the cause
        here = np.nonzero((tier >= 3) & (tier <= 7) & (column % len(CAUSES) == number))
        told = click_cell(browser, int(here[0][0]), int(here[1][0]))
        assert f"Why it is hard here: {words[cause]}" in told
    text = click_cell(browser, row, col)
    codes = (
        "A masthead amplifier helps here.",
        "helps here, behind a filter",
        "An amplifier won't help here",
    )
    assert codes[col % 3] in text
    rows = in_page(browser, "return [...document.querySelectorAll('.station')].map(e => e.innerText)")
    why = {row[0]: re.findall("Why weaker: (.*)", row) for row in rows}
    known = {
        "A": ["hills in the way"],
        "B": [],
        "C": ["noise from outside, which comes in through the antenna"],
    }
    assert why == (known if "service_cause" in LAYERS else {"A": [], "B": [], "C": []})
    row, col = (int(part[0]) for part in np.nonzero((tier >= 3) & (tier <= 7) & (column >= 20)))
    text = click_cell(browser, row, col)
    assert "A second antenna" not in text
    assert f"Without it {max(tier[row, col] - 2, 1)} " in text


def test_stations_stand_with_their_mast_nearest_the_aim_first(browser, case):
    coverage, _ = case
    load(browser, case)
    row, col = known_cell(coverage, 6)
    click_cell(browser, row, col)
    found = in_page(browser, "return [...document.querySelectorAll('.group > b')].map(e => e.textContent)")
    longitude_deg, latitude_deg = place_of_cell(row, col)
    aim_deg = int(coverage.read("main/aim")[row, col])
    masts = []
    for name, cell in MAST_CELLS.items():  # outside judge: PROJ's geodesic on WGS 84
        azimuth_deg, _, distance_m = pyproj.Geod(ellps="WGS84").inv(
            longitude_deg, latitude_deg, *place_of_cell(*cell)
        )
        off_deg = abs((azimuth_deg - aim_deg + 180) % 360 - 180)
        masts.append((off_deg, name, azimuth_deg % 360, distance_m / 1000))
    expected = [f"{name}, {np.floor(azimuth + 0.5):.0f}° true" for _, name, azimuth, _ in sorted(masts)]
    assert [heading.rsplit(",", 1)[0] for heading in found] == expected


def test_where_no_aim_is_needed_none_is_drawn_or_spoken_of(browser, case):
    load(browser, case)
    aimed = click_cell(browser, *known_cell(case[0], 5))
    assert "off the aim" in aimed
    told, heading, drawn = in_page(
        browser,
        """
        Object.assign(page.chosen.cell, { second_aim_deg: null, aim_from_deg: 0, aim_to_deg: 359 });
        const cell = page.chosen.cell;
        return [aim_groups(cell).map((group) => group_reasons(cell, group)).join(), aim_words(cell),
          aims_deg(cell).length + skyline_part(cell, aim_groups(cell)).querySelectorAll(".aim_mark").length];
        """,
    )
    assert heading == "No aim needed"
    assert "the aim" not in told
    assert drawn == 0


def test_unknown_square_names_the_masts_and_promises_nothing(browser, case):
    load(browser, case)
    text = click_cell(browser, 1, 1)
    assert "Unknown" in text
    assert "crosses a gap in it, so nothing can be said here." in text
    assert "Crown {{ 7 * 7 }}" in text
    for word in ("Aim", "expected", "dBµV/m", "wanted services together"):
        assert word not in text


@SIZES
def test_place_outside_the_map_says_so(browser, case, size):
    load(browser, case, size)
    in_page(browser, "page.map.setView(place_of(-40, -40), zoom_for(4), {animate: false}); read_centre()")
    text = card_text(browser)
    assert "Outside the map" in text
    assert "Nothing was computed here." in text
    in_page(browser, "close_card()")
    assert card_text(browser) == ""


def test_aim_line_ends_at_the_mast(browser, case):
    load(browser, case)
    click_cell(browser, *known_cell(case[0], 5))
    end, mast = in_page(
        browser,
        """
        const mast = page.facts.masts[1];
        page.chosen.cell.aim_deg = whole_degrees(geodesic(page.chosen.cell, mast).azimuth_deg);
        page.chosen.cell.second_aim_deg = null;
        page.cells.draw_now();
        const {x, y} = screen_point(mast);
        return [page.chosen.ends[0], {x, y}];
        """,
    )
    assert end == mast


# ---- heights, skyline and path


def test_page_holds_the_heights_of_the_ground(browser, case):
    load(browser, case)
    places = [place_of_cell(row, col) for row, col in [(0.0, 0.0), (15.3, 19.1), (22.7, 31.4), HILL_CELL]]
    found = browser.execute_async_script(
        "const [places, done] = arguments; load_heights().then(() => done(places.map(([x, y]) =>"
        " ground_at({longitude_deg: x, latitude_deg: y}))))",
        places,
    )
    expected = OneHill().elevation_m(*np.transpose(places))
    # 0.25 m by the whole steps; between points 60 m apart a bell of 600 m bends by at most
    # 60^2/8 x 300/600^2 = 0.4 m each way.
    assert np.allclose(found, expected, rtol=0, atol=1.1)


def test_heights_reach_every_mast_and_keep_gaps():
    grid = page_grid(GRID)
    masts = [
        dict(zip(("longitude_deg", "latitude_deg"), place_of_cell(*cell), strict=True))
        for cell in MAST_CELLS.values()
    ]
    heights = page_heights(GapInTheNorth(), grid, masts)
    facts = heights.facts()
    for mast in masts:
        assert facts["west_deg"] < mast["longitude_deg"]
        assert mast["longitude_deg"] < facts["west_deg"] + facts["longitude_step_deg"] * (facts["cols"] - 1)
        assert mast["latitude_deg"] < facts["north_deg"]
    # 10 km beyond the northern mast, in degrees of latitude (111.1 km each)
    northern = max(mast["latitude_deg"] for mast in masts)
    assert facts["north_deg"] - northern == pytest.approx(10 / 111.1, abs=0.003)
    assert set(np.unique(heights.height[:10])) == {65535}
    assert heights.height[-10:].max() < 65535
    assert facts["spacing_m"] == 60


def test_place_along_a_bearing_is_that_of_the_ellipsoid(browser, case):
    # Outside judge: PROJ's geodesic (C. F. F. Karney, Journal of Geodesy 87, 2013) on WGS 84.
    load(browser, case)
    for latitude_deg, longitude_deg, azimuth_deg, distance_km in [
        (44.0, -36.0, 30.0, 250.0),
        (69.0, 25.0, 271.0, 40.0), (-33.0, 179.9, 90.0, 60.0), (0.0, 0.0, 180.0, 1.0),
    ]:  # fmt: skip
        expected = pyproj.Geod(ellps="WGS84").fwd(
            longitude_deg, latitude_deg, azimuth_deg, 1000 * distance_km
        )
        found = in_page(
            browser,
            "const [a, b, c, d] = arguments; return place_along({latitude_deg: a, longitude_deg: b}, c, d)",
            latitude_deg, longitude_deg, azimuth_deg, distance_km,
        )  # fmt: skip
        assert (found["longitude_deg"] - expected[0] + 180) % 360 - 180 == pytest.approx(0, abs=1e-8)
        assert found["latitude_deg"] == pytest.approx(expected[1], abs=1e-8)


def test_skyline_is_that_of_the_address_sheet(browser, case):
    load(browser, case)
    longitude_deg, latitude_deg = place_of_cell(25, 12)
    found = browser.execute_async_script(
        "const [x, y, done] = arguments;"
        "load_heights().then(() => done(horizon_deg({longitude_deg: x, latitude_deg: y})))",
        longitude_deg,
        latitude_deg,
    )
    expected = skyline(OneHill(), latitude_deg, longitude_deg, 10.0, RADIUS_KM)
    assert len(found) == expected.azimuth_deg.size == 180  # every 2 degrees
    assert expected.elevation_deg.max() > 10.0  # the hill
    # The page's heights are 60 m apart in half metres: 0.25 m at 200 m and more is 0.07 degrees.
    assert np.allclose(found, expected.elevation_deg, rtol=0, atol=0.1)


def test_skyline_has_a_tick_a_mast_and_the_aims_that_keep_all(browser, case):
    load(browser, case)
    click_cell(browser, *known_cell(case[0], 5))
    found = in_page(
        browser,
        """
        const aims = {aim_deg: 10, second_aim_deg: null, aim_from_deg: 350, aim_to_deg: 40};
        const cell = {...page.chosen.cell, ...aims};
        const strip = skyline_part(cell, aim_groups(cell));
        const shades = [...strip.querySelectorAll('.aim_window')];
        return {
            title: strip.querySelector('h3').textContent,
            shades: shades.map((one) => [+one.getAttribute('x'), +one.getAttribute('width')]),
            ticks: [...strip.querySelectorAll('.station_tick')].flatMap((one) =>
                [...one.getAttribute('d').matchAll(/M([\\d.]+)/g)].map((part) => +part[1])),
            aim: +strip.querySelector('.aim_mark').getAttribute('d').match(/M([\\d.]+)/)[1],
            azimuths: aim_groups(cell).map((group) => group.azimuth_deg),
        };
        """,
    )
    assert found["title"] == "Skyline from here. Blue: aims that keep all three"
    # 332 units are 360 degrees: 350 to 360 and 0 to 40, so 322.8 + 9.2 and 0 + 36.9.
    assert np.allclose(found["shades"], [[322.8, 9.2], [0.0, 36.9]], rtol=0, atol=0.1)
    assert found["aim"] == pytest.approx(10 / 360 * 332, abs=0.1)
    assert sorted(found["ticks"]) == pytest.approx(
        [a / 360 * 332 for a in sorted(found["azimuths"])], abs=0.1
    )


def test_path_shows_the_hill_between_the_square_and_the_mast(browser, case):
    load(browser, case)
    click_cell(browser, 29, 20)
    words, earth_m = in_page(
        browser,
        """
        const highest = highest_ground(path_profile(page.chosen.cell, page.facts.stations[0]));
        return [highest, earth_bulge_m(50, 100)];
        """,
    )
    # 100 km path, middle: 500 x 50 x 50 / 8930.8 = 139.96 m (ITU-R P.1812-8 section 4.3.1, d1 d2 / 2a)
    assert earth_m == pytest.approx(139.96, abs=0.01)
    # Here the hill's foot is 300 exp(-1400^2 / (2 x 600^2)) = 19.7 m high, so the line runs from 29.7 to 60 m
    # over 8.9 km; at 1.4 km it is 34.5 m less 0.6 m of earth: the top stands 300 - 33.9 m above it.
    assert words["distance_km"] == pytest.approx(1.4, abs=0.05)
    assert words["above_m"] == pytest.approx(HILL_M - 33.9, abs=1.5)
    text = card_text(browser)
    assert re.search(r"ground up to 26[567] m above the line, 1\.4 km from here", text)


def test_path_to_any_station_of_the_page_can_be_drawn(browser, case):
    load(browser, case)
    click_cell(browser, 29, 20)
    names = in_page(browser, "return [...find('#card select').options].map(e => e.textContent)")
    assert names == [
        "A, Alpha, Long <i>Rigg</i>",
        "B, Beta <b>Bold</b>, Long <i>Rigg</i>",
        "C, Gamma, Crown {{ 7 * 7 }}",
    ]
    label = "find('.path svg').getAttribute('aria-label')"
    in_page(browser, "const s = find('#card select'); s.value = 2; s.dispatchEvent(new Event('change'))")
    assert in_page(browser, f"return {label}") == "Ground between this square and Crown {{ 7 * 7 }}"
    drawing = in_page(browser, "return find('.path').innerText")
    assert "Here, 10 m" in drawing
    assert "60 m" in drawing  # the antenna's height over its mast's foot
    assert "0 km" in drawing


def test_flat_ground_is_in_sight_and_a_gap_is_unknown(browser, tmp_path):
    for ground, words in (
        (FlatGround(40.0), "in sight: the ground stays"),
        (GapInTheNorth(), "the ground on the way is not known here"),
    ):
        case = write_page(tmp_path / type(ground).__name__, heights=ground)
        load(browser, case)
        click_cell(browser, 25, 20)
        assert words in card_text(browser)


def test_lines_of_a_flat_path_sag_with_the_earth(browser, tmp_path):
    load(browser, write_page(tmp_path, heights=FlatGround(0.0)))
    click_cell(browser, 25, 20)
    levels = in_page(
        browser,
        """
        const profile = path_profile(page.chosen.cell, page.facts.stations[0]);
        const points = string_points(profile);
        const middle = profile.length_km / 2;
        return [profile.length_km, line_level_m(profile, middle), string_level_m(profile, points, middle)];
        """,
    )
    length_km, line_m, string_m = levels
    # in sight the string is the line: (10 + 60) / 2 less 500 (d/2)^2 / a
    assert line_m == pytest.approx(35.0 - 500 * (length_km / 2) ** 2 / RADIUS_KM, abs=0.01)
    assert string_m == pytest.approx(line_m, abs=0.01)


# ---- what it hands on


@SIZES
def test_text_to_copy_holds_the_card(browser, case, size):
    coverage, _ = case
    load(browser, case, size)
    row, col = known_cell(coverage, 5)
    click_cell(browser, row, col)
    in_page(browser, "document.querySelectorAll('#card .actions button')[0].click()")
    text = wait_for(browser, "find('.handed p').textContent && find('.handed textarea').value")
    cell = coverage.at(*reversed(place_of_cell(row, col)))["main"]
    assert "5 Rooftop, on the roof" in text
    assert f"Aim {cell['aim_deg_true']}° true" in text
    field = int(np.floor(coverage.read("field/beta-1")[row, col] + 0.5))
    assert re.search(rf"  B Beta <b>Bold</b>, 4\.1, RF 15: [a-z, ]+, {field} dBµV/m", text)
    assert "your site can differ by 10 dB either way." in text
    assert all(f"- {caution}" in text for caution in coverage.run["cautions"])
    assert "\u00a0" not in text


def test_exact_command_names_the_middle_of_the_square(browser, case):
    load(browser, case)
    click_cell(browser, 12, 31)
    in_page(browser, "document.querySelectorAll('#card .actions button')[2].click()")
    text = wait_for(browser, "find('.handed textarea').value")
    found = re.fullmatch(r"covermap address scenario\.toml --at=([-\d.]+),([-\d.]+) --wanted=main", text)
    longitude_deg, latitude_deg = place_of_cell(12, 31)
    assert float(found[1]) == pytest.approx(latitude_deg, abs=1e-5)
    assert float(found[2]) == pytest.approx(longitude_deg, abs=1e-5)
    options = {name for parameter in address_command.params for name in parameter.opts}
    assert {"--at", "--wanted"} <= options


def test_result_without_terrain_reads_its_own_ground(browser, plain_case):
    coverage, _ = plain_case
    source = ResultHeights(coverage)
    centres = GRID.centres_lonlat(next(GRID.tiles(4096)))
    known = (slice(5, None), slice(7, None))  # away from the corner without terrain
    found, expected = source.elevation_m(*centres)[known], coverage.read("ground")[known]
    assert np.allclose(found, expected, rtol=0, atol=0.05)
    assert np.isnan(source.elevation_m(*place_of_cell(1, 1)))
    assert np.isnan(source.elevation_m(*place_of_cell(-5, 10)))
    load(browser, plain_case)
    click_cell(browser, 20, 20)
    assert "the ground on the way is not known here" in card_text(browser)  # both masts stand off the grid


@pytest.mark.parametrize("needed", [1, 2, 3])
def test_a_list_of_some_says_how_many_arrive_as_python_does(browser, case, needed):
    load(browser, case)
    chances = [95, 90, 40]
    script = """
        const before = page.list;
        page.list = { ...before, needed: arguments[1] };
        const words = alone_words({ tier: 5, service_percent: arguments[0] });
        page.list = before;
        return words.trim();
    """
    assert in_page(browser, script, chances, needed) == expected_of_words(chances, needed, 90.0)
