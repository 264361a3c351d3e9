"""Where to measure next, blank forms, reports under --public, and the three commands as a user runs them."""

import json
import xml.etree.ElementTree as ElementTree

import numpy as np
import pyogrio
import pyproj
import pytest
import rasterio
from click.testing import CliRunner
from log_files import abba, write_log
from small_coverage import GRID, write_small_coverage

import covermap
from covermap import InputError
from covermap.cli import main
from covermap.inputs.calibration import Calibration, TrustedOffset, calibration_toml
from covermap.measurements import survey
from covermap.measurements.reports import disagreements, read_reports, report_cells
from covermap.measurements.survey import survey_points, unsureness
from covermap.planning.results import read_chances
from covermap.reports.fieldwork.survey_files import survey_layers
from covermap.wording.cautions import CAUTIONS

NAMES = covermap.read_tiers()
TIER_NAMES = [tier.name for tier in NAMES]
TO_WGS84 = pyproj.Transformer.from_crs(GRID.crs_wkt, "EPSG:4326", always_xy=True)


def run(*arguments):
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


@pytest.fixture(scope="module")
def coverage(tmp_path_factory):
    return write_small_coverage(tmp_path_factory.mktemp("small") / "out")


def test_a_sure_tier_is_not_unsure_and_even_odds_are():
    # entropy of two even chances is ln 2, the greatest of eight classes ln 8: 1/3
    chances = np.array([[0, 100, 50, 255]] + [[100, 100, 100, 255]] * 6, dtype=np.uint8)
    np.testing.assert_allclose(unsureness(chances), [0.0, 0.0, 1.0 / 3.0, np.nan], atol=1e-12)


def test_points_come_best_first_spread_out_and_on_homes(coverage):
    points = survey_points(coverage, "main", 5)
    assert [p.rank for p in points] == list(range(1, len(points) + 1))
    settled = [p.homes_settled for p in points]
    assert settled == sorted(settled, reverse=True)
    homes = coverage.read("homes")
    for point in points:
        row, col = coverage.cell_at(point.latitude_deg, point.longitude_deg)
        assert homes[row, col] > 0
    assert sum(settled) <= float(homes.sum())
    assert len({(p.x, p.y) for p in points}) == len(points)


def test_points_avoid_cells_without_a_prediction(coverage):
    unknown = coverage.read("main/tier") == 255
    for point in survey_points(coverage, "main", 15):
        assert not unknown[coverage.cell_at(point.latitude_deg, point.longitude_deg)]


@pytest.mark.parametrize("side_m", [250.0, 700.0])
def test_a_block_is_worth_its_cells_and_its_point_is_the_best_of_them(coverage, monkeypatch, side_m):
    monkeypatch.setattr(survey, "SPEAKS_FOR_M", side_m * survey.BLOCKS_ACROSS)
    side = round(side_m / GRID.cell_m)  # 700 m: blocks that end beyond the grid
    worth, best_cell = survey._worth_by_block(coverage, "main")
    unsure = unsureness(read_chances(coverage, "main").reshape(7, -1)).reshape(GRID.shape)
    value = np.nan_to_num(unsure * coverage.read("homes"))
    assert worth.sum() > 0.0
    for row, col in np.ndindex(worth.shape):
        block = value[row * side : (row + 1) * side, col * side : (col + 1) * side]
        assert worth[row, col] == pytest.approx(block.sum())
        best = divmod(int(best_cell[row, col]), GRID.cols)
        assert (best[0] // side, best[1] // side) == (row, col)
        assert value[best] == block.max()


def test_a_map_of_many_squares_takes_larger_blocks(coverage, monkeypatch):
    fine, _ = survey._worth_by_block(coverage, "main")
    monkeypatch.setattr(survey, "MOST_BLOCKS", GRID.cells // 25)
    worth, best_cell = survey._worth_by_block(coverage, "main")
    assert worth.shape == (-(-GRID.rows // 5), -(-GRID.cols // 5))
    assert worth.sum() == pytest.approx(fine.sum())
    points = survey_points(coverage, "main", 3)
    assert points[0].homes_settled > 0.5
    homes = coverage.read("homes")
    assert all(homes[coverage.cell_at(point.latitude_deg, point.longitude_deg)] > 0 for point in points)
    assert np.unique(best_cell).size == best_cell.size


def test_the_layer_has_its_promised_columns_and_every_list(coverage):
    layer = survey_layers(coverage)
    assert {"rank", "homes_settled"} <= set(layer.columns)
    assert set(layer["wanted_list"]) == set(coverage.lists)
    assert layer.crs == pyproj.CRS(GRID.crs_wkt)


def test_fieldwork_writes_points_sheet_and_forms_with_the_cautions(coverage, tmp_path):
    result = run("fieldwork", coverage.folder, "--output", tmp_path, "--points", 4)
    assert result.exit_code == 0, result.output
    for name in ("survey_sheet.html", "report_form.html", "survey_points.gpx"):
        text = (tmp_path / name).read_text("utf-8")
        assert "<script" not in text
        for caution in CAUTIONS[:1] + CAUTIONS[4:]:
            assert caution.format(stations_as_of="", terrain="", cell_m="", trees="") in text
        assert "power lines" in text
    tree = ElementTree.parse(tmp_path / "survey_points.gpx")
    points = tree.findall("{http://www.topografix.com/GPX/1/1}wpt")
    assert [p[0].text for p in points] == ["01", "02", "03", "04"][: len(points)]
    header = (tmp_path / "reports_blank.csv").read_text("utf-8")
    assert header.startswith("report_id,date,latitude_deg")
    assert "Beta &lt;b&gt;Bold&lt;/b&gt;" in (tmp_path / "report_form.html").read_text("utf-8")


def place(row, col):
    x, y = GRID.x_min + (col + 0.5) * 100.0, GRID.y_max - (row + 0.5) * 100.0
    longitude_deg, latitude_deg = TO_WGS84.transform(x, y)
    return f"{latitude_deg:.6f},{longitude_deg:.6f}"


def reports_file(path, rows):
    lines = ["report_id,latitude_deg,longitude_deg,mount,seen,note"]
    lines += [f"{name},{place(*cell)},{mount},{seen},=1+1 Elm Street 5" for name, cell, mount, seen in rows]
    path.write_text("\n".join(lines) + "\n", "utf-8")
    return path


@pytest.fixture
def reports(tmp_path):
    rows = [(f"R{i}", (15, 12), "rooftop", "all") for i in range(7)]
    rows += [
        ("S1", (25, 35), "loft", "none"),
        ("S2", (25, 35), "balcony", "all"),
        ("S3", (5, 30), "5", "some"),
    ]
    return reports_file(tmp_path / "reports.csv", rows)


def test_reports_are_read_and_a_bad_row_is_listed(reports):
    read = read_reports(reports, TIER_NAMES)
    assert len(read.reports) == 9
    assert 'column mount: found "balcony"' in read.unreadable[0]


def test_public_counts_under_five_are_missing_and_cells_are_wide(reports):
    cells = report_cells(read_reports(reports, TIER_NAMES).reports, GRID, public=True)
    shown = cells["reports"].dropna()
    assert list(shown) == [7]
    assert cells["none_seen"].isna().sum() == 2
    assert set(np.round(cells.area)) == {1000.0**2}
    assert set(cells.columns) == {"cell_id", "reports", "all_seen", "some_seen", "none_seen", "geometry"}


def test_one_hidden_cell_hides_another_with_it(tmp_path):
    rows = [(f"R{i}", (15, 12), "rooftop", "all") for i in range(7)]
    rows += [(f"T{i}", (5, 30), "rooftop", "all") for i in range(9)] + [("S1", (25, 35), "loft", "none")]
    read = read_reports(reports_file(tmp_path / "r.csv", rows), TIER_NAMES)
    assert list(report_cells(read.reports, GRID, public=True)["reports"].dropna()) == [9]


def test_reports_the_map_speaks_against_are_listed(coverage, tmp_path):
    chance = coverage.read("main/tier_chance")
    known = chance[0] != 255
    sure = tuple(int(v) for v in np.argwhere(known & (chance[4] >= 95))[0])
    hopeless = tuple(int(v) for v in np.argwhere(known & (chance[0] <= 5))[0])
    rows = [
        ("A", sure, "rooftop", "none"), ("B", sure, "rooftop", "all"),
        ("C", hopeless, "shelf", "all"), ("D", hopeless, "shelf", "none"),
    ]  # fmt: skip
    read = read_reports(reports_file(tmp_path / "r.csv", rows), TIER_NAMES)
    found, outside = disagreements(read.reports, coverage, "main")
    assert {one.report.report_id for one in found} == {"A", "C"}
    assert outside == 0
    private, public = (found[0].in_words(coverage.tier_names, public=p) for p in (False, True))
    assert private.startswith(("A: ", "C: "))
    assert not public.startswith(("A: ", "C: "))


def test_reports_outside_the_map_are_refused(coverage, tmp_path):
    path = tmp_path / "r.csv"
    path.write_text("latitude_deg,longitude_deg,mount,seen\n10,10,loft,all\n", "utf-8")
    with pytest.raises(InputError, match="None of the 1 reports lies on the map"):
        disagreements(read_reports(path, TIER_NAMES).reports, coverage)


def test_public_reports_hold_no_address_and_no_id(coverage, reports, tmp_path):
    result = run("fieldwork", coverage.folder, "--reports", reports, "--public", "--output", tmp_path / "p")
    assert result.exit_code == 0, result.output
    for path in (tmp_path / "p").iterdir():
        data = path.read_bytes()
        assert b"Elm Street" not in data
        if path.name.startswith("report"):
            assert b"R0" not in data.replace(b"report", b"")
    frame = pyogrio.read_dataframe(tmp_path / "p" / "report_cells.gpkg")
    assert set(frame.geom_type) == {"Polygon"}


def test_a_folder_without_a_result_is_one_error(tmp_path):
    result = run("fieldwork", tmp_path)
    assert result.exit_code == 2
    assert "no finished result" in result.stderr
    assert "Traceback" not in result.stderr


def comparison(path):
    rows = [
        row
        for i in range(5)
        for row in abba(f"S{i}", [-60, -57 - 0.1 * i, -57.2, -60.2], 12 * i, rf_channel=str(14 + i))
    ]
    return write_log(path, rows)


def test_antenna_test_writes_page_picture_tables_and_a_tier_table(tmp_path):
    log = comparison(tmp_path / "log.csv")
    tiers = tmp_path / "tiers.csv"
    result = run("antenna-test", log, "--reference-gain", "uhf=7.5+-0.5", "--tier-table", tiers)
    assert result.exit_code == 0, result.output
    assert "better at UHF" in result.stdout
    assert "at this site" in result.stdout
    names = {path.name for path in (tmp_path / "antenna_test").iterdir()}
    assert {"antenna_test.html", "bands.csv", "differences.csv"} <= names
    assert any(name.endswith(".png") for name in names)
    page = (tmp_path / "antenna_test" / "antenna_test.html").read_text("utf-8")
    assert "<svg" in page
    assert "competent person" in page
    # 7.5 dBd of the reference and 2.9 dB more: (-57 - 0.2 - 57.2) / 2 = -57.2 over -60.1 dBm on the average
    assert covermap.read_tiers(tiers)[5].gain_dbd["uhf"] > 9.5


def test_antenna_test_gives_the_same_bytes_twice(tmp_path):
    log = comparison(tmp_path / "log.csv")
    for folder in ("a", "b"):
        assert run("antenna-test", log, "--output", tmp_path / folder).exit_code == 0
    for path in (tmp_path / "a").iterdir():
        assert path.read_bytes() == (tmp_path / "b" / path.name).read_bytes()


def test_antenna_test_of_a_wrong_file_is_one_error_and_writes_nothing(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text("antenna,value\na,1\n", "utf-8")
    result = run("antenna-test", path)
    assert result.exit_code == 2
    assert "no column session_id" in result.stderr
    assert not (tmp_path / "antenna_test").exists()


@pytest.fixture(scope="module")
def calibrated(tmp_path_factory):
    """The coarse demo mapped with an offset of its main mast around the middle of the island."""
    folder = tmp_path_factory.mktemp("calibrated") / "demo"
    assert run("demo", folder).exit_code == 0
    path = folder / "scenario.toml"
    text = path.read_text("utf-8").replace("cell_m = 100", "cell_m = 2000")
    path.write_text(text.replace("dn = 45", 'dn = 45\ncalibration = "calibration.toml"'), "utf-8")
    ring = ((-35.75, 43.95), (-35.55, 43.95), (-35.55, 44.08), (-35.75, 44.08))
    offsets = (TrustedOffset("High Corrin", "uhf", -4.0, 1.5, 9, 0.0, 30.0, ring),)
    calibration = Calibration("calibration.toml", "readings.csv", "2026-10-01", 9, 6.0, 5.0, "", offsets)
    (folder / "calibration.toml").write_text(calibration_toml(calibration), "utf-8")
    result = run("map", path, "--progress", "none")
    assert result.exit_code == 0, result.output
    return folder / "out"


def test_a_map_keeps_raw_and_adjusted_fields_apart_and_says_which(calibrated):
    coverage = covermap.open_coverage(calibrated)
    moved = coverage.read("field_adjusted/SK1") - coverage.read("field/SK1")
    values = set(np.unique(np.round(moved[~np.isnan(moved)], 2)))
    assert values == {np.float32(-4.0), np.float32(0.0)}
    other = coverage.read("field_adjusted/RPUB") - coverage.read("field/RPUB")
    assert np.nanmax(np.abs(other)) == 0.0
    record = json.loads((calibrated / "run.json").read_text("utf-8"))
    assert record["calibration"]["raw_layers"] == "rasters/field"
    assert "field_adjusted" in record["calibration"]["adjusted_layers"]
    assert any("adjusted by readings at 9 points" in sentence for sentence in record["cautions"])
    assert any(name == "rasters/field_adjusted/SK1.tif" for name in record["files"])
    with rasterio.open(calibrated / "rasters" / "field_adjusted" / "SK1.tif") as raster:
        assert raster.units == ("dB(uV/m)",)


def test_survey_points_stand_in_the_geopackage(calibrated):
    frame = pyogrio.read_dataframe(calibrated / "coverage.gpkg", layer="survey_points")
    assert list(frame["rank"])[:3] == [1, 2, 3]
    assert (frame["homes_settled"] > 0).all()


def test_calibrate_compares_readings_with_the_exact_path(calibrated, tmp_path):
    """Readings made from field_at with 5 dB taken off the main mast give that back."""
    import geopandas as gpd

    scenario_path = calibrated.parent / "scenario.toml"
    scenario = covermap.read_scenario(scenario_path)
    rng = np.random.default_rng(2)
    spots = gpd.GeoSeries.from_xy(-35.75 + 0.2 * rng.random(9), 43.96 + 0.12 * rng.random(9), crs="EPSG:4326")
    fields = covermap.field_at(scenario, spots)
    lines = ["point_id,utc,latitude_deg,longitude_deg,height_m,station_id,level,unit"]
    for row in fields.itertuples():
        if row.station_id in ("SK1", "SK2", "RPUB") and row.status == "ok":
            off = -5.0 + rng.normal(0.0, 2.0) if row.station_id != "RPUB" else rng.normal(0.0, 2.0)
            lines.append(
                f"P{row.point},2026-10-01T12:00Z,{row.geometry.y:.7f},{row.geometry.x:.7f},10,{row.station_id},"
                f"{row.field_dbuvm + off:.2f},dBuV/m"
            )
    readings = tmp_path / "readings.csv"
    readings.write_text("\n".join(lines) + "\n", "utf-8")
    result = run("calibrate", scenario_path, readings, "--output", tmp_path / "c")
    assert result.exit_code == 0, result.output
    assert "may be used" in result.stdout
    report = covermap.calibrate(scenario, readings)
    main = next(o for o in report.offsets if o.mast == "High Corrin")
    assert abs(main.offset_db + 5.0) < 1.96 * main.sd_db
    assert report.judgement.after_db < report.judgement.before_db
    page = (tmp_path / "c" / "calibration.html").read_text("utf-8")
    assert "Where it must not be trusted" in page
    assert "competent person" in page
    assert run("calibrate", scenario_path, readings, "--output", tmp_path / "p", "--public").exit_code == 0
    assert not (tmp_path / "p" / "calibration_readings.csv").exists()
    assert "P0," not in (tmp_path / "p" / "calibration.html").read_text("utf-8")
