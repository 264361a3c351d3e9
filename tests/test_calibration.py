"""Readings against the prediction: a mast's error is found, noise refused, offsets stay where they hold."""

import math
from dataclasses import replace

import numpy as np
import pytest
import shapely
from scenario_files import ROWS, station_csv, write_scenario

from covermap import InputError
from covermap.inputs.calibration import (
    Calibration,
    TrustedOffset,
    calibration_toml,
    read_calibration,
)
from covermap.inputs.local_effect import shared_share
from covermap.measurements.calibrate import public_calibration, report
from covermap.measurements.mixed_model import Spread, _with_spread, fit_mixed
from covermap.measurements.offsets import fit_offsets, judge, neighbourhoods, points_to_see
from covermap.measurements.percent_readings import percent_scales_csv
from covermap.measurements.percent_scale import PercentScale
from covermap.measurements.reading_doubts import OffAim, aim_and_leaf_words, leaf_sd_db, off_aim
from covermap.measurements.readings import read_readings
from covermap.measurements.residuals import PointResidual, Residual, by_point, measured_field
from covermap.measurements.trusted_area import hull_lonlat, public_area_lonlat
from covermap.propagation.ridges import PATH_CLASSES
from covermap.reports.fieldwork.public_rows import public_rows
from covermap.scenario import read_scenario
from covermap.tables import read_external_noise, read_tiers

HEADER = (
    "point_id,utc,latitude_deg,longitude_deg,mount,height_m,station_id,rf_channel,level,unit,gain_dbd,"
    "antenna_factor_db,cable_loss_db,mer_db,percent,decoded\n"
)


def values(rng, offset_db, places, sd_db=6.0, mast="M", band="uhf"):
    """Known residuals of one mast around an offset, one a place, 5 km apart."""
    return [
        PointResidual(
            f"p{i}",
            mast,
            band,
            x,
            x,
            0.0,
            44.0 + 0.05 * (i % 5),
            -36.0 + 0.07 * (i // 5),
            (5.0, 20.0),
            1,
            "one_ridge",
        )
        for i, x in enumerate(rng.normal(offset_db, sd_db, places) if sd_db else [offset_db] * places)
    ]


OWN = Spread(1e-6, 6.0, 1.0)  # 6 dB of each point's own, nothing shared


def bounds(low_db, high_db):
    return {"low_db": low_db, "high_db": high_db}


def under(spread, changes):
    """Return the model of points apart, each with the given bounds, under a spread."""
    plain = values(None, 0.0, len(changes), sd_db=0.0)
    points = tuple(replace(p, **c) for p, c in zip(plain, changes, strict=True))
    return _with_spread(points, np.ones(len(points)), spread)


def test_five_readings_are_shrunk_as_by_hand():
    # w = (5/36) / (5/36 + 1/16) = 0.69; offset 0.69 x -4 = -2.76; sd 1 / sqrt(5/36 + 1/16) = 2.23
    shrunk = under(OWN, [bounds(-4.0, -4.0)] * 5).offset("M")
    assert shrunk.offset_db == pytest.approx(-2.8, abs=0.05)
    assert shrunk.sd_db == pytest.approx(2.2, abs=0.05)


def test_readings_of_one_street_count_as_fewer_by_hand():
    # 5 dB shared by the street, sqrt(11) each: mean of 5 has variance 25 + 11/5 = 27.2; w = 16 / (16 + 27.2)
    street = [replace(p, latitude_deg=44.0, longitude_deg=-36.0) for p in values(None, -4.0, 5, sd_db=0.0)]
    model = _with_spread(tuple(street), np.ones(len(street)), Spread(5.0, math.sqrt(11.0), 1.0))
    assert model.offset("M").offset_db == pytest.approx(-4.0 * 16.0 / 43.2, abs=0.01)
    mean_db, error_db, places = model.mean_of_mast("M")
    assert (mean_db, error_db) == pytest.approx((-4.0, math.sqrt(27.2)), abs=0.01)
    assert places == pytest.approx(36.0 / 27.2, abs=0.01)
    assert neighbourhoods(street).tolist() == [0] * 5
    assert len(set(neighbourhoods(values(None, 0.0, 7, sd_db=0.0)).tolist())) == 7


BY_PATH_DB = {("clear", "uhf"): 6.3, ("many_ridges", "uhf"): 11.7}  # docs/decisions/sigma_by_path.md


def test_readings_behind_many_ridges_count_less_as_by_hand():
    clear, behind = ([replace(p, path_class=kind) for p in values(None, 0.0, 3, sd_db=0.0)]
                     for kind in ("clear", "many_ridges"))  # fmt: skip
    behind = [replace(p, point=f"b{i}", latitude_deg=46.0 + i) for i, p in enumerate(behind)]
    points = [
        *(replace(p, **bounds(-2.0, -2.0)) for p in clear),
        *(replace(p, **bounds(8.0, 8.0)) for p in behind),
    ]
    model = _with_spread(tuple(points), fit_mixed(points, 6.3, BY_PATH_DB).scale, OWN)
    # weights 1, (6.3/11.7)^2 = 0.290: 3 (-2 + 0.290 x 8) / (3 x 1.290) = 0.248; 6 / sqrt(3.870) = 3.05
    assert model.mean_of_mast("M")[:2] == pytest.approx((0.248, 3.05), abs=0.01)
    assert model.typical_db == pytest.approx(6.0 * ((1.0 + (11.7 / 6.3) ** 2) / 2.0) ** 0.5, abs=0.01)


def test_offsets_of_mixed_paths_are_nearer_to_the_truth_and_their_intervals_hold():
    rng = np.random.default_rng(8)
    inside, errors = 0, {True: [], False: []}
    for _ in range(60):
        kinds = ["clear"] * 10 + ["many_ridges"] * 10
        off_db = [-4.0 + rng.normal(0.0, BY_PATH_DB[kind, "uhf"]) for kind in kinds]
        points = [
            replace(p, path_class=kind, **bounds(off, off))
            for p, kind, off in zip(values(None, 0.0, 20, sd_db=0.0), kinds, off_db, strict=True)
        ]
        for by_path in (True, False):
            offset = fit_offsets(fit_mixed(points, 6.3, BY_PATH_DB if by_path else None))[0]
            errors[by_path].append(offset.offset_db + 4.0)
            inside += by_path and abs(offset.offset_db + 4.0) < 1.96 * offset.sd_db
    assert inside >= 54  # 57 of 60 expected; under 54 in 5 of 100 such counts (binomial law)
    assert np.std(errors[True]) < np.std(errors[False])


def test_no_picture_pulls_the_offset_down_without_a_number():
    exact, lost = bounds(0.0, 0.0), bounds(-math.inf, -8.0)
    known = under(OWN, [exact] * 3).offset("M")
    with_lost = under(OWN, [exact] * 3 + [lost] * 3).offset("M")
    seen_anyway = under(OWN, [exact] * 3 + [bounds(-math.inf, 30.0)]).offset("M")
    assert with_lost.offset_db < known.offset_db - 1.0
    assert seen_anyway.offset_db == pytest.approx(known.offset_db, abs=0.01)  # a bound far away says nothing


def test_a_mast_four_decibels_out_is_found_and_points_left_out_gain():
    rng = np.random.default_rng(1)
    inside = lower = used = 0
    for _ in range(40):
        points = values(rng, -4.0, 25)
        model = fit_mixed(points, 6.8)
        offset = fit_offsets(model)[0]
        judgement = judge(model)
        inside += abs(offset.offset_db + 4.0) < 1.96 * offset.sd_db
        lower += judgement.after_db < judgement.before_db
        used += not judgement.refused
    assert inside >= 36
    assert lower >= 36
    assert used >= 29  # 83 of 100


def test_pure_noise_is_refused():
    rng = np.random.default_rng(2)
    refused = 0
    for _ in range(40):
        points = [p for mast in "ABC" for p in values(rng, 0.0, 12, mast=mast)]
        refused += bool(judge(fit_mixed(points, 6.8)).refused)
    assert refused >= 36  # the test stands at 5 in 100


def test_one_mast_among_three_is_found_more_often_than_by_all_together():
    rng = np.random.default_rng(6)
    used = 0
    for _ in range(40):
        points = [
            p for mast, off in (("A", 5.0), ("B", 0.0), ("C", 0.0)) for p in values(rng, off, 15, mast=mast)
        ]
        used += not judge(fit_mixed(points, 6.8)).refused
    assert used >= 25  # 86 of 100 by the non-central F law of the furthest mast, were all places known apart


def test_points_to_see_an_error_follow_the_t_test():
    # Cohen, Statistical Power Analysis, table of the one-sample t test from memory: d = 0.67, two-sided 5 %,
    # power 80 % asks for 20 (here 4 dB of 6); d = 1 for 10.
    assert points_to_see(4.0, 6.0) == pytest.approx(20, abs=1)
    assert points_to_see(6.0, 6.0) == pytest.approx(10, abs=1)


def test_a_refusal_by_chance_says_how_many_points_would_do():
    refused = judge(fit_mixed(values(np.random.default_rng(2), 2.5, 12), 6.8)).refused
    assert "points of a mast, each in a neighbourhood of its own, show an error of 4 dB" in refused


def test_four_points_are_too_few():
    points = values(np.random.default_rng(3), -10.0, 4)
    assert "4 points are too few" in judge(fit_mixed(points, 6.8)).refused


def streets(rng, shared_db=4.0, own_db=5.0):
    """Residuals at 15 points in 3 streets 5 km apart, the mast itself right."""
    found = []
    for street in range(3):
        shared = rng.normal(0.0, shared_db)
        for house in range(5):
            x = float(shared + rng.normal(0.0, own_db))
            found.append(
                PointResidual(
                    f"{street}-{house}", "M", "uhf", x, x, 0.0, 44.0 + 0.05 * street, -36.0 + 0.001 * house,
                    (5.0, 20.0), 1, "one_ridge",
                )
            )  # fmt: skip
    return found


def test_points_in_three_streets_do_not_pass_for_fifteen():
    accepted = sum(
        not judge(fit_mixed(streets(np.random.default_rng([5, i])), 6.8)).refused for i in range(40)
    )
    assert accepted <= 2  # 5 of 100


def test_one_street_says_nothing_of_the_rest():
    street = [replace(p, latitude_deg=44.0) for p in streets(np.random.default_rng(1))]
    assert "all points lie in one neighbourhood" in judge(fit_mixed(street, 6.8)).refused


@pytest.mark.parametrize(
    ("residuals_db", "words"),
    [
        (
            (-34.0, 42.0, 20.0, -25.0, 38.0, -30.0, 5.0, -12.0),
            "from -34 to +42 dB of the prediction and spread",
        ),
        ((107.0, 110.0, 104.0, 111.0, 109.0, 106.0), "are 108 dB off"),  # dBuV taken for dBm
    ],
)
def test_nonsense_is_refused_with_what_to_look_at(residuals_db, words):
    points = [
        replace(p, low_db=x, high_db=x)
        for p, x in zip(values(None, 0.0, len(residuals_db), sd_db=0.0), residuals_db, strict=True)
    ]
    refused = judge(fit_mixed(points, 6.8)).refused
    assert words in refused
    assert "look at unit, gain, aim and channel" in refused


def test_bands_of_a_mast_differ_by_less_than_the_mast_itself():
    rng = np.random.default_rng(4)
    points = values(rng, -6.0, 20) + values(rng, -2.0, 20, band="high_vhf")
    offsets = {o.band: o.offset_db for o in fit_offsets(fit_mixed(points, 6.8))}
    # -4 dB is half way between -6 and -2: what both share is drawn there, and each keeps its side
    assert offsets["uhf"] < -4.0 < offsets["high_vhf"]


@pytest.fixture
def scenario(tmp_path):
    return read_scenario(write_scenario(tmp_path))


def read(tmp_path, scenario, *rows):
    path = tmp_path / "readings.csv"
    path.write_text(HEADER + "\n".join(rows) + "\n", "utf-8")
    return read_readings(path, scenario.stations, read_tiers())


START = "P1,2026-10-01T12:00Z,44.0,-36.0,"


def test_levels_become_fields_by_the_half_wave_dipole(tmp_path, scenario):
    rows = (
        START + "rooftop,10,ONE,,60,dBuV/m,,,,,,",
        START + ",10,ONE,,-50,dBm,10,,3,,,",
        START + ",10,ONE,,58.75,dBuV,10,,3,,,",
        START + ",10,ONE,,-1.25,dBmV,10,,3,,,",
        START + ",10,ONE,,50,dBuV,,20,3,,,",
    )
    fields = [r.value_db for r in read(tmp_path, scenario, *rows).readings]
    # RF 21 of plan us_6mhz is 515 MHz: Kd = -75.06 - 20 log 515 = -129.30 (ITU-R P.525);
    # -50 dBm + 3 dB of cable - 10 dBd + 129.30 = 72.30. dBuV across 75 ohm is dBm + 108.75, dBmV dBm + 48.75.
    np.testing.assert_allclose(fields, [60.0, 72.30, 72.30, 72.30, 73.0], atol=0.02)


def test_yes_no_and_mer_are_bounds_around_what_the_mount_needs(tmp_path, scenario):
    rows = (
        START + "rooftop,10,ONE,,,,,,,,,yes",
        START + "rooftop,10,ONE,,,,,,,,,no",
        START + "rooftop,10,ONE,,,,,,,25.2,,yes",
        START + "rooftop,10,ONE,,,,,,,38,,yes",
    )
    found = [
        measured_field(r, scenario, read_external_noise(), "residential")
        for r in read(tmp_path, scenario, *rows).readings
    ]
    needed = found[0][0]
    assert found[0][:2] == (needed, math.inf)
    assert found[1][:2] == (-math.inf, needed)
    # C/N follows the field decibel for decibel: MER 25.2 is 10 dB above the 15.2 of 8-VSB
    assert found[2][0] == found[2][1] == pytest.approx(needed + 10.0, abs=0.1)
    assert found[3][1] == math.inf


PLAIN = START + "rooftop,10,ONE,,60,dBuV/m,,,,,,"
WRONG = {
    "unit missing": (START + "rooftop,10,ONE,,60,,,,,,,", ["column unit", "dBuV/m"]),
    "gain missing": (START + "rooftop,10,ONE,,-50,dBm,,,,,,", ["gain_dbd or antenna_factor_db"]),
    "height missing": (START + ",,ONE,,60,dBuV/m,,,,,,", ["height_m", "5 to 10 dB"]),
    "percent alone": (START + "rooftop,10,ONE,,,,,,,,62,", ["says no decibels"]),
    "station unknown": (START + "rooftop,10,XXX,,60,dBuV/m,,,,,,", ['found "XXX"', "ONE"]),
    "no position": ("P1,,0,0,rooftop,10,ONE,,60,dBuV/m,,,,,,", ["unknown position"]),
    "mount unknown": (START + "balcony,10,ONE,,60,dBuV/m,,,,,,", ["Shelf", "balcony"]),
    "yes without mount": (START + ",10,ONE,,,,,,,,,yes", ["whole installation"]),
    "nothing": (START + "rooftop,10,ONE,,,,,,,,,", ["no level, MER or yes/no"]),
    "no time": ("P1,yesterday,44,-36,rooftop,10,ONE,,60,dBuV/m,,,,,,", ["date and time"]),
}


@pytest.mark.parametrize("name", WRONG)
def test_each_unusable_row_is_listed_with_its_reason(tmp_path, scenario, name):
    row, words = WRONG[name]
    readings = read(tmp_path, scenario, row, START + "rooftop,10,ONE,,60,dBuV/m,,,,,,")
    assert len(readings.readings) == 1
    assert len(readings.unreadable) == 1
    for word in ["readings.csv, line 2", *words]:
        assert word in readings.unreadable[0]


def test_a_file_without_a_usable_row_is_refused(tmp_path, scenario):
    with pytest.raises(InputError, match="none of its rows"):
        read(tmp_path, scenario, WRONG["unit missing"][0])


def residuals_of(readings, offsets):
    return [
        Residual(r, o, o, 0.0, 50.0, 12.0, 20.0, 1, "one_ridge")
        for r, o in zip(readings.readings, offsets, strict=True)
    ]


def test_readings_of_one_roof_are_one_value_a_mast(tmp_path, scenario):
    rows = [START + f"rooftop,10,{s},,60,dBuV/m,,,,,," for s in ("ONE", "TWO", "LOW")]
    points = by_point(residuals_of(read(tmp_path, scenario, *rows), [2.0, 4.0, -1.0]))
    assert [(p.mast, p.low_db) for p in points] == [("North Mast", 3.0), ("South Mast", -1.0)]


def many(tmp_path, scenario, offset_db, count=12):
    rng = np.random.default_rng(9)
    rows = [
        f"P{i},2026-10-01T12:00Z,{44 + 0.01 * i},{-36 + 0.01 * (i % 3)},rooftop,10,ONE,,60,dBuV/m,,,,,,"
        for i in range(count)
    ]
    readings = read(tmp_path, scenario, *rows)
    return report(
        scenario, readings, residuals_of(readings, rng.normal(offset_db, 2.0, count)), [], default_db=6.8
    )


def test_a_calibration_is_written_and_read_back(tmp_path, scenario):
    done = many(tmp_path, scenario, -6.0)
    assert not done.refused
    path = tmp_path / "calibration.toml"
    path.write_text(calibration_toml(done.calibration), "utf-8")
    again = read_calibration(path)
    assert again.offsets[0].worst_path == "one_ridge"
    assert again.offsets[0].offset_db == pytest.approx(done.offsets[0].offset_db, abs=0.005)
    assert again.offsets[0].mast == "North Mast"
    assert again.doubts(scenario) == []
    assert "-5" in done.in_words() or "-6" in done.in_words()


def test_a_refused_calibration_gives_no_file_and_says_why(tmp_path, scenario):
    done = many(tmp_path, scenario, 0.0)
    assert done.calibration is None
    assert done.refused
    assert "Refused" in done.in_words()


def test_a_calibration_for_other_stations_is_doubted(tmp_path, scenario):
    done = many(tmp_path, scenario, -6.0)
    (tmp_path / "other").mkdir()
    stronger = station_csv(*(row.replace(",40,120,", ",80,120,") for row in ROWS))
    other = read_scenario(write_scenario(tmp_path / "other", stations=stronger))
    assert "other stations or another model" in done.calibration.doubts(other)[0]


BROKEN = {
    "format": ("calibration_format = 1", "calibration_format = 9", "calibration_format is 9"),
    "offset": ("offset_db = -", "offset_db = -4", "over 40 dB"),
    "missing": ("sd_db =", "sd =", "sd_db"),
    "not TOML": ("points = ", "points ", "not valid TOML"),
}


@pytest.mark.parametrize("name", BROKEN)
def test_a_broken_calibration_file_has_one_clear_error(tmp_path, scenario, name):
    old, new, words = BROKEN[name]
    path = tmp_path / "calibration.toml"
    path.write_text(calibration_toml(many(tmp_path, scenario, -6.0).calibration).replace(old, new), "utf-8")
    with pytest.raises(InputError, match=words):
        read_calibration(path)


@pytest.fixture
def trusted():
    ring = hull_lonlat([(44.0, -36.0), (44.1, -36.0), (44.1, -35.9), (44.0, -35.9)])
    return TrustedOffset("North Mast", "uhf", -4.0, 1.5, 9, 5.0, 20.0, ring)


def test_an_offset_is_not_used_outside_the_points_or_behind_more_ridges(scenario, trusted):
    calibration = Calibration("c.toml", "r.csv", "2026-10-01", 9, 6.0, 5.0, "", (trusted,))
    station = scenario.stations[0]
    longitude = np.array([-35.95, -35.95, -35.95, -35.8, -35.891])
    latitude = np.array([44.05, 44.05, 44.05, 44.05, 44.05])  # the last lies 0.7 km outside the points
    excess = np.array([10.0, 40.0, np.nan, 10.0, 10.0])
    np.testing.assert_array_equal(
        calibration.adjustment_db(station, longitude, latitude, excess), np.float32([-4, 0, 0, 0, -4])
    )
    other = scenario.stations[2]  # another mast
    assert not calibration.adjustment_db(other, longitude, latitude, excess).any()


def test_an_offset_is_withheld_where_a_path_crosses_more_ridges_than_any_reading(scenario, trusted):
    one_ridge = replace(trusted, worst_path="one_ridge")
    calibration = Calibration("c.toml", "r.csv", "", 9, 6.0, 5.0, "", (one_ridge,))
    classes = np.array([*map(PATH_CLASSES.index, PATH_CLASSES), 255], dtype=np.uint8)
    here = np.full(classes.size, -35.95), np.full(classes.size, 44.05), np.full(classes.size, 10.0)
    moved = calibration.adjustment_db(scenario.stations[0], *here, classes) != 0.0
    used = {name for name, yes in zip((*PATH_CLASSES, "unknown"), moved, strict=True) if yes}
    assert used == {"clear", "grazing", "one_ridge", "earth_bulge"}


def test_the_public_area_holds_every_point_and_tells_none():
    rng = np.random.default_rng(5)
    spots = [(44.0 + 0.1 * y, -36.0 + 0.1 * x) for x, y in rng.random((12, 2))]
    ring = public_area_lonlat(spots)
    area = shapely.Polygon(ring)
    assert all(area.contains(shapely.Point(lon, lat)) for lat, lon in spots)
    # corners on whole hundredths of a degree of latitude and fiftieths of longitude, whatever the points
    corners = np.array(ring)
    np.testing.assert_allclose(corners[:, 1] * 100, np.round(corners[:, 1] * 100), atol=1e-6)
    np.testing.assert_allclose(corners[:, 0] * 50, np.round(corners[:, 0] * 50), atol=1e-6)
    steps = np.abs(np.diff(corners, axis=0))
    assert (steps.min(axis=1) < 1e-9).all()  # only sides of squares, no slanted side between two points


def test_a_public_calibration_has_rounded_losses_and_no_small_counts(tmp_path, scenario):
    done = many(tmp_path, scenario, -6.0)
    shown = public_calibration(done).offsets
    assert [(o.excess_low_db % 5.0, o.excess_high_db % 5.0) for o in shown] == [(0.0, 0.0)]
    few = replace(done.calibration, offsets=(replace(done.calibration.offsets[0], points=4),))
    assert public_calibration(replace(done, calibration=few)).offsets == ()


def test_public_rows_go_by_their_line(tmp_path, scenario):
    readings = read(tmp_path, scenario, "P1,yesterday,44,-36,rooftop,10,ONE,,60,dBuV/m,,,,,,", PLAIN)
    assert public_rows(readings.unreadable) == ["Line 2, column utc; look into the file for the reason."]


WITH_AIM = HEADER.strip() + ",aim_deg,leaf_state,clutter_class,percent_bar,attenuator_db,device_id\n"


def read_aimed(tmp_path, scenario, *rows):
    path = tmp_path / "aimed.csv"
    path.write_text(WITH_AIM + "\n".join(rows) + "\n", "utf-8")
    return read_readings(path, scenario.stations, read_tiers())


class Woods:
    """Ground with trees everywhere."""

    def clutter_height_m(self, longitude, latitude):
        return np.full(np.shape(longitude), 15.0, np.float32)

    def built_up(self, longitude, latitude):
        return np.zeros(np.shape(longitude), bool)


class Towards:
    back_azimuth_deg = 350.0


def test_a_reading_off_its_aim_gets_the_lobe_back_or_a_warning(tmp_path, scenario):
    rows = (
        START + "rooftop,10,ONE,,60,dBuV/m,,,,,,,20,,,,,",
        START + ",10,ONE,,60,dBuV/m,,,,,,,20,,,,,",
        START + "rooftop,10,ONE,,60,dBuV/m,,,,,,,,,,,,",
    )
    readings = read_aimed(tmp_path, scenario, *rows).readings
    offs = [off_aim(r, Towards()) for r in readings]
    width = readings[0].tier.beamwidth_deg["uhf"]
    # 30 degrees apart across north: 12 (30 / beamwidth)^2, common practice, down to the front to back ratio
    expected = min(12.0 * (30.0 / width) ** 2, readings[0].tier.front_to_back_db["uhf"])
    assert offs[0].angle_deg == pytest.approx(30.0)
    assert offs[0].loss_db == pytest.approx(expected)
    assert (offs[1].loss_db, offs[2].loss_db) == (0.0, 0.0)
    words = aim_and_leaf_words(readings, offs, Woods())
    assert "line 2: the antenna looked 30 degrees past North Mast" in words[0]
    assert "lobe is not known" in words[1]
    assert len(words) == 2


def test_leaves_on_trees_around_add_doubt(tmp_path, scenario):
    rows = [START + f"rooftop,10,ONE,,60,dBuV/m,,,,,,,,{leaf},{what},,," for leaf, what in
            (("in leaf", ""), ("in leaf", "meadow"), ("bare", "wood"), ("", ""))]  # fmt: skip
    readings = read_aimed(tmp_path, scenario, *rows).readings
    assert [leaf_sd_db(r, Woods()) for r in readings] == [4.0, 0.0, 0.0, 0.0]
    words = aim_and_leaf_words(readings, [OffAim(math.nan, 0.0, 0.0)] * 4, Woods())
    assert words[0].startswith("1 reading among trees in leaf")
    assert "mix both" in words[-1]


STEPS = [
    START + f"rooftop,10,ONE,,,,,,,,{percent},,,,,strength,{step},box"
    for step, percent in ((0, 92), (3, 84), (6, 75), (9, 66))
]
ANCHOR = START + "rooftop,10,ONE,,-50,dBm,10,,3,,92,,,,,strength,0,box"
BY_PERCENT = START.replace("P1", "P2") + "rooftop,10,ONE,,,,10,,3,,72,,,,,strength,0,box"


def test_a_per_cent_becomes_a_level_by_attenuator_steps_and_one_level(tmp_path, scenario):
    readings = read_aimed(tmp_path, scenario, *STEPS, ANCHOR, BY_PERCENT)
    # 0.345 dB a point (trade table, by hand): 20 points less than 92 % at -50 dBm is 6.9 dB less
    by_level, by_percent = readings.readings[-2:]
    assert by_level.value_db - by_percent.value_db == pytest.approx(6.9, abs=0.05)
    assert by_percent.value_sd_db > 1.0
    assert any("ties it to dBm" in words for words in readings.warnings)
    assert len(readings.readings) == 3  # the row at 0 dB is one; those behind 3 to 9 dB only tell of the bar


def test_a_per_cent_without_steps_or_level_is_only_order(tmp_path, scenario):
    yes = BY_PERCENT.replace(",72,,", ",72,yes,")
    no_steps = read_aimed(tmp_path, scenario, ANCHOR, yes)
    assert [r.kind for r in no_steps.readings] == ["field", "decoded"]
    assert any("no attenuator steps" in words for words in no_steps.warnings)
    no_level = read_aimed(tmp_path, scenario, *STEPS[1:], yes)
    assert [r.kind for r in no_level.readings] == ["decoded"]
    assert any("No row holds a level" in words for words in no_level.warnings)


def test_a_scale_of_an_antenna_test_serves_readings(tmp_path, scenario):
    scale = PercentScale("box", "percent strength", 0.345, 66.0, 92.0, 0.2, 4)
    (tmp_path / "percent_scales.csv").write_text(percent_scales_csv([scale]), "utf-8")
    path = tmp_path / "aimed.csv"
    path.write_text(WITH_AIM + ANCHOR + "\n" + BY_PERCENT + "\n", "utf-8")
    found = read_readings(path, scenario.stations, read_tiers(), tmp_path / "percent_scales.csv").readings
    # 92 - 72 = 20 points of 0.345 dB
    assert found[0].value_db - found[1].value_db == pytest.approx(6.9, abs=0.01)


def test_the_hull_reaches_one_kilometre_beyond_a_single_point():
    ring = np.array(hull_lonlat([(44.0, -36.0)]))
    # one degree of latitude at 44 N is 111.12 km (WGS 84)
    assert (ring[:, 1].max() - 44.0) * 111.12 == pytest.approx(1.0, abs=0.01)


def test_readings_far_from_the_prediction_are_listed(tmp_path, scenario):
    rows = [f"P{i},2026-10-01T12:00Z,{44 + 0.01 * i},-36,rooftop,10,ONE,,60,dBuV/m,,,,,," for i in range(12)]
    readings = read(tmp_path, scenario, *rows)
    offsets = [*np.random.default_rng(1).normal(0.0, 2.0, 11), 25.0]
    done = report(scenario, readings, residuals_of(readings, offsets), [], default_db=6.8)
    assert done.disagreements[0].words.startswith("P11 (readings.csv, line 13), First TV: read; 25 dB more")


def test_what_a_neighbourhood_shares_ends_at_its_range_by_hand():
    # spherical covariance at half the range: 1 - 1.5 x 0.5 + 0.5 x 0.125 = 0.3125
    share = shared_share(np.array([0.0, 0.5, 1.0, 2.0]), 1.0)
    assert share == pytest.approx([1.0, 0.3125, 0.0, 0.0])


def test_near_a_reading_the_map_learns_and_never_past_the_range():
    # one street of ten houses 8 dB up, others right: in the street most of it is learnt, 5 km on nothing
    street = [
        replace(p, latitude_deg=44.3, longitude_deg=-36.0 + 0.0005 * i, low_db=8.0, high_db=8.0)
        for i, p in enumerate(values(None, 8.0, 10, sd_db=0.0))
    ]
    others = [replace(p, point=f"o{p.point}") for p in values(None, 0.0, 20, sd_db=0.0)]
    model = _with_spread((*street, *others), np.ones(len(street) + len(others)), Spread(5.0, 4.0, 1.0))
    local = model.local_effect("M")
    longitude, latitude = np.array([-36.0, -36.0, -35.9]), np.array([44.3, 44.3 + 0.5 / 111.2, 44.35])
    learnt_db = model.offset("M").offset_db + local.effect_db(longitude, latitude)
    # by hand, one group: local 25 against its noise 25 + 16 / 10: 8 x 25 / 26.6 = 7.5, offset a little apart
    assert learnt_db[0] == pytest.approx(7.5, abs=0.7)
    assert 1.0 < local.effect_db(longitude, latitude)[1] < learnt_db[0] - 3.0
    assert local.effect_db(longitude, latitude)[2] == 0.0
    known = local.known(longitude, latitude)
    assert known[0] > 0.6  # 25 / 26.6 = 0.94 were all at one door; the street is 0.4 km long
    assert known[0] > known[1] > 0.02
    assert known[2] == 0.0


def test_what_readings_say_around_them_is_written_read_and_added(tmp_path, scenario):
    done = many(tmp_path, scenario, -6.0)
    path = tmp_path / "calibration.toml"
    path.write_text(calibration_toml(done.calibration), "utf-8")
    again, offset = read_calibration(path), done.calibration.offsets[0]
    reading = done.readings.readings[4]
    place = np.array([reading.longitude_deg]), np.array([reading.latitude_deg])
    excess = np.array([12.0])
    expected = offset.offset_db + offset.local.effect_db(*place)
    found = again.adjustment_db(reading.station, *place, excess)
    assert found == pytest.approx(expected, abs=0.1)
    assert again.reading_weight_percent(*place)[0] > 0
    assert public_calibration(done).offsets[0].local is None
    assert "local_effect" not in calibration_toml(public_calibration(done))
