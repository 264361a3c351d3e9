"""The quick estimate: tables, bearings and aims, and its classes against public functions of reception."""

import math
from dataclasses import replace

import numpy as np
import pyproj
import pytest
import scipy.stats
from small_coverage import GRID
from web_map_case import MAST_CELLS, make_scenario, place_of_cell
from web_map_levels import make_levels

from covermap.reception import joint_confidence, required_field
from covermap.reception.variability import common_sd_db, own_sd_db
from covermap.reports.web_map.estimate import bearing_deg, fill_aims, quick_estimate, share_below
from covermap.reports.web_map.estimate_inputs import (
    DIFFERENCE_ZERO,
    StationLevels,
    difference,
    estimate_figures,
    estimate_rules,
)
from covermap.reports.web_map.estimate_tables import LEVEL_OFFSET_DB, Levels, normal_shares, ticked
from covermap.reports.web_map.page_estimate import page_estimate
from covermap.reports.web_map.page_grid import page_grid


def masts():
    places = [place_of_cell(*cell) for cell in MAST_CELLS.values()]
    return [{"longitude_deg": place[0], "latitude_deg": place[1]} for place in places]


@pytest.fixture(scope="module")
def rules():
    return estimate_rules(page_grid(GRID), masts(), 90.0)


# ---- tables, bearings, aims


def test_table_of_the_normal_share():
    # Outside judge: scipy.stats.norm. Straight between entries 1/32 apart: at most 0.242 / 8 / 32^2 = 3e-5.
    table = normal_shares()
    for deviation in (-7.0, -3.3, -1.2816, -0.01, 0.0, 0.77, 1.2816, 2.5, 9.0):
        assert share_below(deviation, table) == pytest.approx(scipy.stats.norm.cdf(deviation), abs=3.1e-5)


def test_bearings_from_pixels_are_those_of_the_ellipsoid(rules):
    # Outside judge: PROJ's geodesic on WGS 84. 0.1 degrees is what the docstring of bearing_deg() promises.
    grid = page_grid(GRID)
    to_wgs84 = pyproj.Transformer.from_crs("EPSG:3857", "EPSG:4326", always_xy=True)
    for row, col in ((0.5, 0.5), (25.5, 3.5), (12.5, 39.5), (-900.5, 600.5), (400.5, -1100.5)):
        place = to_wgs84.transform(grid.x_min + col * grid.pixel_m, grid.y_max - row * grid.pixel_m)
        for number, mast in enumerate(masts()):
            azimuth_deg, _, _ = pyproj.Geod(ellps="WGS84").inv(
                *place, mast["longitude_deg"], mast["latitude_deg"]
            )
            apart = (bearing_deg(row, col, number, rules) - azimuth_deg + 180.0) % 360.0 - 180.0
            assert abs(apart) < 0.1


def test_aims_are_masts_bisectors_and_a_circle():
    aims = np.zeros(200)
    count = fill_aims(np.array([350.0, 20.0, 100.0]), aims)
    # between 350 and 20: 5; 350 and 100 are 110 apart over north: 45; 20 and 100: 60
    assert aims[:6].tolist() == [350.0, 20.0, 100.0, 5.0, 45.0, 60.0]
    assert aims[6:count].tolist() == list(range(0, 360, 5))


def test_ticked_transmitters_stand_by_mast_and_mounts_follow_their_polarizations():
    wanted = ticked([[2], [0, 1]], mast=[1, 0, 0], polarization=[0, 1, 2])
    assert wanted.station.tolist() == [1, 2, 0]
    assert wanted.service.tolist() == [1, 0, 1]
    assert wanted.masts.tolist() == [0, 1]
    assert wanted.mounts.tolist() == [0, 1]
    assert ticked([[0]], mast=[0], polarization=[2]).mounts.tolist() == [0]  # either will do: horizontal


def test_difference_of_levels_goes_back_to_the_level():
    level = np.array([100, 90, 255, 40, 255], dtype=np.uint8)
    base = np.array([97, 95, 80, 255, 255], dtype=np.uint8)
    found = difference(level, base)
    assert found.tolist() == [DIFFERENCE_ZERO + 3, DIFFERENCE_ZERO - 5, 255, 255, 255]


# ---- classes


def one_row(stations, levels_db, rules, polarization=None, confidence_percent=90.0):
    """Return the estimate of all stations' services for squares that receive levels_db[station], whole dB."""
    made = make_levels()
    facts = made.facts
    if polarization is not None:
        facts = replace(facts, polarization=np.asarray(polarization))
    level = np.asarray(levels_db, np.uint8)[None, :, None, :] + np.uint8(LEVEL_OFFSET_DB)
    count = level.shape[-1]
    made = StationLevels(
        np.concatenate([level, level]), np.ones((1, count), np.uint8), made.clutter_m, made.open_land,
        made.heights_m, facts, made.tiers, replace(made.options, confidence_percent=confidence_percent),
    )  # fmt: skip
    figures = estimate_figures(made, range(3))
    wanted = ticked([[index] for index in stations], facts.mast.tolist(), facts.polarization.tolist())
    squares = Levels(made.level, made.kind, np.array([0.5]), np.arange(count) + 0.5)
    return made, quick_estimate(squares, wanted, figures, rules)[0]


def test_one_service_needs_the_first_tier_whose_required_field_is_there(rules):
    # The judge is the public required_field(), from which the estimate takes none of its lines.
    fields_db = np.arange(20, 130)
    made, tier = one_row([0], np.stack([fields_db] * 3), rules)
    needed_db = [
        required_field(
            one,
            473.0,
            15.2,
            "residential",
            confidence_percent=90.0,
            clutter_height_m=15.0,
            options=made.options,
        )
        for one in made.tiers
    ]
    expected = [
        next((number for number, db in enumerate(needed_db, start=1) if field >= db), 8)
        for field in fields_db
    ]
    assert tier.tolist() == expected
    assert set(tier) == set(range(1, 9))


def test_two_services_of_one_mast_are_as_sure_as_the_joint_confidence(rules):
    # The judge is the public joint_confidence() at the aim that both share.
    fields_db = np.stack([np.arange(30, 120), np.arange(28, 118), np.full(90, 30)])
    made, tier = one_row([0, 1], fields_db, rules)
    expected = []
    for first_db, second_db in fields_db[:2].T:
        chances = []
        for one in made.tiers:
            needed_db = required_field(
                one, 473.0, 15.2, "residential", clutter_height_m=15.0, options=made.options
            )
            own_db = own_sd_db(one, 473.0, made.options, 15.0)
            share = estimate_share(one, made)
            common_db = common_sd_db(one, 473.0, share, made.options)
            margins_db = [first_db - needed_db, second_db - needed_db]
            chances.append(joint_confidence(margins_db, [own_db, own_db], [0, 0], common_db))
        expected.append(next((number for number, chance in enumerate(chances, start=1) if chance >= 0.9), 8))
    assert tier.tolist() == expected


def estimate_share(tier, made):
    """Return the share of outside noise in a tier's chain."""
    from covermap.reception.required_field import chain_of

    return chain_of(tier, 473.0, 6.0, made.options).external_noise_share


def test_unknown_where_a_ticked_service_is_unknown_and_only_there(rules):
    estimate = page_estimate(make_levels(), make_scenario())
    grid = page_grid(GRID)
    figures, page_rules = estimate.numbers(grid, masts())
    levels = estimate.page_levels(grid, 1)
    for services in ([0], [2], [0, 1, 2]):
        tier = quick_estimate(levels, estimate.ticked(services), figures, page_rules)
        stations = [index for number in services for index in estimate.services()[number][1]]
        unknown = (levels.level[:, stations] == 255).any(axis=(0, 1))
        assert np.array_equal(tier == 255, unknown)


def test_stronger_signals_never_need_more(rules):
    fields_db = np.arange(30, 120)
    _, tier = one_row([0, 2], np.stack([fields_db, fields_db, fields_db - 3]), rules)
    assert (np.diff(tier.astype(int)) <= 0).all()
    _, surer = one_row(
        [0, 2], np.stack([fields_db, fields_db, fields_db - 3]), rules._replace(confidence=0.95)
    )
    assert (surer >= tier).all()


def test_a_vertical_station_beside_a_horizontal_one_costs(rules):
    fields_db = np.stack([np.arange(40, 120)] * 3)
    _, alike = one_row([0, 2], fields_db, rules, polarization=[0, 0, 0])
    _, crossed = one_row([0, 2], fields_db, rules, polarization=[0, 0, 1])
    assert (crossed >= alike).all()
    assert (crossed > alike).any()


def test_stations_that_are_sure_enough_nowhere_are_left_out_by_name():
    levels = make_levels()
    weak = levels.level.copy()
    weak[:, 2] = 30  # -30 dB(uV/m)
    scenario = make_scenario()
    listed = replace(
        scenario, wanted=(replace(scenario.wanted[0], services=("Alpha",), transmitters=((0,),)),)
    )
    estimate = page_estimate(replace(levels, level=weak), listed)
    assert estimate.shown == (0, 1)
    assert estimate.left_out == ("Gamma from Crown {{ 7 * 7 }}",)
    assert estimate.services() == [("Alpha", [0]), ("Beta <b>Bold</b>", [1])]
    assert math.isclose(estimate.levels.options.confidence_percent, 90.0)
