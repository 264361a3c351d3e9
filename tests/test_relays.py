"""Relay shortlist: the choice is checked against trying every set, the command on the coarse demo."""

import itertools
import re

import numpy as np
import pytest
import rasterio
from click.testing import CliRunner
from small_coverage import GRID, WHOLE, write_small_coverage

import covermap
from covermap.cli import main
from covermap.errors import InputError
from covermap.outputs.coverage import Coverage
from covermap.outputs.rasters import RasterSet
from covermap.outputs.relay_list.write import RELAY_CAUTIONS
from covermap.planning.changes import CHANGES
from covermap.planning.relay_choice import choose_sites, score
from covermap.planning.relay_sites import candidate_sites


def test_the_choice_is_as_good_as_trying_every_set():
    rng = np.random.default_rng(2)
    best_of_all, found = 0.0, 0.0
    for _ in range(30):
        reached = rng.random((9, 40)) < 0.25
        homes, harmed = rng.integers(1, 20, 40).astype(float), rng.integers(0, 15, 9).astype(float)
        sets = (list(some) for n in range(4) for some in itertools.combinations(range(9), n))
        best = max(score(reached, homes, harmed, some) for some in sets)
        chosen = choose_sites(reached, homes, harmed, 3)
        assert len(chosen) == len(set(chosen)) <= 3
        best_of_all += best
        found += score(reached, homes, harmed, chosen)
    assert found >= 0.98 * best_of_all


def test_a_swap_mends_the_greedy_choice():
    # greedy takes site 0 (4 of 6 homes) first and ends with 5 of 6; sites 1 and 2 together reach all six
    reached = np.array([[1, 1, 0, 1, 1, 0], [1, 1, 1, 0, 0, 0], [0, 0, 0, 1, 1, 1]], dtype=bool)
    chosen = choose_sites(reached, np.ones(6), np.zeros(3), 2)
    assert sorted(chosen) == [1, 2]


def test_a_site_that_harms_more_than_it_reaches_is_left_out():
    reached = np.array([[1, 1, 0], [0, 0, 1]], dtype=bool)
    assert choose_sites(reached, np.ones(3), np.array([0.0, 2.0]), 2) == [0]
    assert choose_sites(reached, np.ones(3), np.array([5.0, 2.0]), 2) == []


def test_candidates_are_tops_with_a_donor_signal(tmp_path):
    coverage = write_small_coverage(tmp_path)
    ground = np.zeros(GRID.shape, np.float32)
    ground[5, 5], ground[20, 30], ground[12, 20] = 300, 250, 200
    margin = np.full(GRID.shape, 15.0, np.float32)
    margin[20, 30] = 9.0  # a top without enough signal
    with RasterSet(tmp_path / "other", GRID, services={"main": ("a",)}) as rasters:
        rasters.write("ground", WHOLE, ground)
        rasters.write("main/margin", WHOLE, margin)
    sites = candidate_sites(Coverage(tmp_path / "other", coverage.run), "main", np.ones(GRID.shape))
    found = set(zip(sites.row.tolist(), sites.col.tolist(), strict=True))
    assert {(5, 5), (12, 20)} <= found
    assert (20, 30) not in found
    assert (sites.donor_margin_db >= 10).all()


@pytest.fixture(scope="module")
def demo(tmp_path_factory):
    folder = tmp_path_factory.mktemp("relays") / "demo"
    assert CliRunner().invoke(main, ["demo", str(folder)]).exit_code == 0
    scenario = folder / "scenario.toml"
    scenario.write_text(scenario.read_text("utf-8").replace("cell_m = 100", "cell_m = 1000"), "utf-8")
    return scenario


def test_relays_before_a_map_says_what_to_do(demo):
    refused = CliRunner().invoke(main, ["relays", str(demo)])
    assert refused.exit_code == 2
    assert "covermap map" in refused.output


def test_the_command_writes_a_shortlist_with_its_cautions(demo):
    made = CliRunner().invoke(main, ["map", str(demo), "--progress", "none"])
    assert made.exit_code == 0, made.output
    result = CliRunner().invoke(main, ["relays", str(demo)])
    assert result.exit_code == 0, result.output
    out = demo.parent / "out"
    page = (out / "relays" / "relays.html").read_text("utf-8")
    for caution in RELAY_CAUTIONS:
        assert caution.replace("'", "&#39;") in page
    assert "A relay needs a licence." in page
    assert "channels" in result.stdout
    # three dB: every list home 3 dB down needs at least the antenna it needs now, with homes only
    with (
        rasterio.open(out / "rasters/main/tier.tif") as now,
        rasterio.open(out / "rasters/main/tier_3db_weaker.tif") as weaker,
        rasterio.open(out / "rasters/main/tier_3db_stronger.tif") as stronger,
    ):
        tier, down, up = now.read(1), weaker.read(1), stronger.read(1)
    lived = down != 255
    assert lived.any()
    assert (down[lived] >= tier[lived]).all()
    assert (up[lived] <= tier[lived]).all()


def test_relays_without_homes_are_refused(tmp_path):
    from covermap.runs.relays import relays

    coverage = write_small_coverage(tmp_path, homes=False)
    with pytest.raises(InputError, match="holds no homes by cell"):
        relays(None, coverage.folder)


@pytest.fixture(scope="module")
def valley(tmp_path_factory):
    """The land around the demo's relay, with and without it: two result folders."""
    folder = tmp_path_factory.mktemp("valley") / "demo"
    assert CliRunner().invoke(main, ["demo", str(folder)]).exit_code == 0
    scenario, stations = folder / "scenario.toml", folder / "transmitters.csv"
    text = scenario.read_text("utf-8").replace("cell_m = 100", "cell_m = 200")
    box = "west = -35.73\nsouth = 43.98\neast = -35.66\nnorth = 44.02"
    scenario.write_text(re.sub('area = "area.gpkg".*', box, text), "utf-8")
    original = stations.read_text("utf-8")
    rows = [row.replace("on_air", "off_air") if "Tarn Relay" in row else row for row in original.splitlines()]
    folders = []
    for name, content in (("on", original), ("off", "\n".join(rows) + "\n")):
        stations.write_text(content, "utf-8")
        made = CliRunner().invoke(
            main, ["map", str(scenario), "--output", str(folder / name), "--progress", "none"]
        )
        assert made.exit_code == 0, made.output
        folders.append(folder / name)
    return folders


def test_without_the_relay_its_valley_loses_and_gains_come_from_interference_alone(valley):
    found = covermap.changes(*valley)
    before = covermap.open_coverage(valley[0])
    change = found.lists["main"].change
    harder, easier = change == CHANGES.index("harder"), change == CHANGES.index("easier")
    relay_dbuvm = np.fmax(before.read("field/SK1R"), before.read("field/CTVR"))
    assert harder.any()
    assert (relay_dbuvm[harder] > 30.0).all()  # 39 dB(uV/m) is the least a rooftop antenna needs at UHF
    if any("Interference" in sentence for sentence in before.run["not_counted"]):
        assert not easier.any()
    else:
        assert (relay_dbuvm[easier] > 0.0).all()
