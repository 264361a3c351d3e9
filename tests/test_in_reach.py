"""A part of a map worked out with the stations in reach alone says what it says with all of them."""

import numpy as np
import pytest
from affine import Affine
from pyproj import Geod
from scenario_files import station_csv
from small_inputs import CRS, NORTH, WEST, write_inputs, write_raster

from covermap.constants import TIER_NOT_PROMISED, UNKNOWN_UINT8
from covermap.grid.executor import Threads
from covermap.grid.reach import reaching
from covermap.grid.store import Store
from covermap.inputs.in_reach import KEPT_PARTS, in_reach_of
from covermap.inputs.prepare import prepare
from covermap.inputs.stations_that_count import is_silent_beyond_reach
from covermap.jobs import path_stage
from covermap.jobs.cost import RATES, Crew, estimate
from covermap.jobs.path_stage import blocks_of_cells, compute_paths, tile_blocks
from covermap.jobs.predict import receive_task
from covermap.jobs.reach_sample import sample_of_reach
from covermap.jobs.run_session import RunSession
from covermap.jobs.tile_reception import receive_tile
from covermap.jobs.widened import BEYOND_REACH, widened, widened_counts
from covermap.result.run_counts import RunCounts
from covermap.scenario import read_scenario

CELLS, CELL_M, REACH_KM = 256, 500.0, 40.0
ROW = "{id},{service},{mast},{number},on_air,{place},{channel},{kw},120,H,atsc1_8vsb,wanted,2026-09-01"
WEST_MAST, EAST_MAST = "44.00,-35.90", "44.00,-34.90"  # 80 km apart: no place hears both
STATIONS = station_csv(
    ROW.format(id="W1", service="West One", mast="West", number="5.1", place=WEST_MAST, channel=21, kw=40),
    ROW.format(id="W2", service="Everywhere", mast="West", number="6.1", place=WEST_MAST, channel=24, kw=5),
    ROW.format(id="E1", service="East One", mast="East", number="7.1", place=EAST_MAST, channel=30, kw=40),
    ROW.format(id="E2", service="Everywhere", mast="East", number="6.1", place=EAST_MAST, channel=33, kw=5),
    ROW.format(id="E3", service="East Two", mast="East", number="8.1", place=EAST_MAST, channel=36, kw=1),
)  # fmt: skip
NAMED = """
[wanted.both]
services = ["West One", "East One"]
[wanted.one]
services = ["Everywhere"]
"""
NETWORKS = """
[wanted.networks]
networks = ["East One", "Everywhere"]
"""
OF_EVERYTHING = """
[wanted.some]
at_least = 2
[wanted.any]
at_least = 1
"""
# A list of everything names its limiting service among those in reach alone, and of what is not there any
# margin will do; what follows from these differs.
TOLD_ALIKE = {
    "tier", "tier_chance_percent", "dead_zone_chance_percent", "service_chance_percent", "tier_weaker",
    "tier_stronger",
}  # fmt: skip
EXTRA = f"[prediction]\nreach_km = {REACH_KM:g}\n"


def _with_lists(text, lists):
    start = text.index("[wanted.main]")
    return text.replace(text[start : text.index("\n", text.index("services", start))], lists)


def _on_ground(path):
    rows, cols = np.mgrid[0:CELLS, 0:CELLS]
    at = Affine(CELL_M, 0, WEST, 0, -CELL_M, NORTH + 60_000.0)
    ground_m = (20.0 + rows % 40 + cols % 30).astype(np.float32)
    write_raster(path.parent / "elevation.tif", ground_m, CRS, at)
    return prepare(read_scenario(path))


@pytest.fixture(scope="module", params=[NAMED, NETWORKS + OF_EVERYTHING, NAMED + OF_EVERYTHING])
def prepared(tmp_path_factory, request):
    folder = tmp_path_factory.mktemp("reach")
    path = write_inputs(folder, stations=STATIONS, extra=EXTRA)
    text = path.read_text("utf-8")
    path.write_text(_with_lists(text, request.param))
    return _on_ground(path)


@pytest.fixture(scope="module")
def store(prepared, tmp_path_factory):
    return Store(tmp_path_factory.mktemp("store"))


def parts(prepared):
    """Yield the tiles of the map, and which of the two masts may reach each."""
    for tile in prepared.grid.tiles(64):
        yield tile, tuple(reaching(prepared.requests, tile).tolist())


def test_a_mast_reaches_the_parts_that_hold_a_cell_within_reach(prepared):
    """Beyond by every cell's own distance on the ellipsoid (PROJ's geodesic)."""
    found = set()
    for tile, told in parts(prepared):
        longitude, latitude = prepared.grid.centres_lonlat(tile)
        for request, reached in zip(prepared.requests, told, strict=True):
            there = (
                np.full(longitude.shape, request.longitude_deg),
                np.full(latitude.shape, request.latitude_deg),
            )
            near_km = Geod(ellps="WGS84").inv(*there, longitude, latitude)[2].min() / 1000.0
            assert reached or near_km > request.reach_km
            assert not reached or near_km < request.reach_km + 2.0
        found.add(told)
    assert found == {(True, False), (False, True), (True, True), (False, False)} or len(found) == 3


def test_blocks_beyond_reach_are_neither_computed_nor_kept(prepared, tmp_path):
    tile = next(tile for tile, told in parts(prepared) if told == (True, False))
    kept = Store(tmp_path)
    blocks = tile_blocks(prepared, kept, tile)
    assert kept.saved == 2  # of the western mast's two frequencies
    assert not np.isnan(blocks[0].loss_db).all()
    assert np.isnan(blocks[1].loss_db).all()
    assert (blocks[1].path_class == UNKNOWN_UINT8).all()


@pytest.mark.parametrize("by_smooth_earth", [False, True])
def test_some_cells_of_a_tile_have_the_losses_they_have_in_all_of_it(prepared, store, by_smooth_earth):
    completed = tuple((by_smooth_earth,) * len(request.frequencies) for request in prepared.requests)
    with pytest.MonkeyPatch.context() as patch:
        patch.setitem(vars(prepared), "by_smooth_earth", completed)
        for tile, _ in parts(prepared):
            cells = np.arange(3, tile.rows * tile.cols, 7)
            whole = tile_blocks(prepared, store, tile)
            some = blocks_of_cells(prepared, store, tile, cells)
            for block, of_cells in zip(whole, some, strict=True):
                np.testing.assert_array_equal(
                    of_cells.loss_db, block.loss_db.reshape(*block.loss_db.shape[:2], -1)[..., cells]
                )
                np.testing.assert_array_equal(of_cells.path_class, block.path_class.ravel()[cells])


@pytest.mark.parametrize("told", [(True, False), (False, True), (True, True)])
def test_the_stations_in_reach_give_the_answers_of_all_stations(prepared, store, told):
    tile = next(tile for tile, here in parts(prepared) if here == told)
    whole = receive_tile(prepared, tile, tile_blocks(prepared, store, tile))
    near = in_reach_of(prepared, tile)
    part = receive_tile(near.prepared, tile, tile_blocks(near.prepared, store, tile))
    assert (near.numbers is None) == all(told)
    if near.numbers is None:
        assert near.prepared is prepared
        return
    assert len(near.prepared.scenario.stations) < len(prepared.scenario.stations)
    for wanted in prepared.scenario.wanted:
        mine, theirs = widened(part.lists[wanted.name], near.numbers, wanted), whole.lists[wanted.name]
        of_map = vars(theirs.reception)
        for name, values in vars(mine.reception).items():
            if not is_silent_beyond_reach(prepared.scenario, wanted):
                np.testing.assert_array_equal(values, of_map[name], err_msg=f"{wanted.name} {name}")
            elif name in TOLD_ALIKE:  # the chance of some of many is a normal share over all that could
                far = np.abs(values.astype(int) - of_map[name].astype(int))
                assert far.max() <= 1
                assert (far > 0).mean() < 0.001
        of_list = near.numbers.services[wanted.name]
        known = mine.reception.limiting_service != UNKNOWN_UINT8
        assert np.isin(mine.reception.limiting_service[known], of_list).all()
        beyond = np.setdiff1d(np.arange(len(wanted.services)), of_list)
        there = mine.reception.tier != UNKNOWN_UINT8
        assert (mine.service_cause[beyond][:, there] == BEYOND_REACH).all()
        assert (mine.reception.service_chance_percent[beyond][:, there] == 0).all()
    if told == (True, False) and "networks" in part.lists:
        assert (part.lists["networks"].reception.tier == TIER_NOT_PROMISED).all()
    if told == (True, False) and "both" in part.lists:
        assert (part.lists["both"].reception.tier == UNKNOWN_UINT8).all()
    counts = widened_counts(
        part.services, near.numbers, prepared.service_counter.services, np.ones(64 * 64, dtype=bool)
    )
    np.testing.assert_array_equal(counts.tiers, whole.services.tiers)
    np.testing.assert_array_equal(counts.count, whole.services.count)


FAR_APART_KM = 12.0
FAR_APART = [(43.55 + 0.28 * row, -35.9 + 0.4 * col) for row in range(4) for col in range(4)]


class AskedStore(Store):
    """A store that notes which blocks it is asked for, in whatever way."""

    def __init__(self, folder):
        super().__init__(folder)
        self.asked = set()

    def has(self, digest):
        self.asked.add(digest)
        return super().has(digest)

    def load(self, digest, cells=None):
        self.asked.add(digest)
        return super().load(digest, cells)

    def save(self, digest, block):
        self.asked.add(digest)
        super().save(digest, block)


def test_blocks_beyond_reach_are_never_asked_for(tmp_path, monkeypatch):
    """16 masts 31 km apart that reach 12 km: by PROJ's geodesic to every cell of a block."""
    monkeypatch.setattr(path_stage, "TILE_CELLS", 32)
    stations = station_csv(*(
        ROW.format(id=f"N{number}", service=f"Net {number % 2}", mast=f"Mast {number}", number=f"{number}.1",
                   place=f"{latitude:.2f},{longitude:.2f}", channel=21 + number, kw=10)
        for number, (latitude, longitude) in enumerate(FAR_APART)
    ))  # fmt: skip
    extra = f'[prediction]\nreach_km = {FAR_APART_KM:g}\nmodel = "free_space"\n'
    path = write_inputs(tmp_path, stations=stations, extra=extra)
    text = path.read_text("utf-8")
    path.write_text(text.replace('services = ["First TV"]', 'networks = ["Net 0", "Net 1"]'), "utf-8")
    at = Affine(CELL_M, 0, WEST, 0, -CELL_M, NORTH + 60_000.0)
    write_raster(tmp_path / "elevation.tif", np.full((CELLS, CELLS), 20.0, np.float32), CRS, at)
    prepared = prepare(read_scenario(path))
    kept = AskedStore(tmp_path / "store")
    session = RunSession(prepared, kept)
    counts = RunCounts()
    compute_paths(session, Threads(1), lambda stage, share, words: True, counts)
    for tile in prepared.grid.tiles(32):
        receive_task(session, tile)
    blocks = {
        request.of(frequency).digest(tile): (request, tile)
        for request in prepared.requests
        for frequency in request.frequencies
        for tile in prepared.grid.tiles(32)
    }
    assert kept.asked <= set(blocks)
    for digest, (request, tile) in blocks.items():
        longitude, latitude = prepared.grid.centres_lonlat(tile)
        mast = np.full(longitude.shape, request.longitude_deg), np.full(latitude.shape, request.latitude_deg)
        near_km = Geod(ellps="WGS84").inv(*mast, longitude, latitude)[2].min() / 1000.0
        asked = digest in kept.asked
        assert asked if near_km <= FAR_APART_KM else not asked or near_km < FAR_APART_KM + 2.0
    assert 0 < len(kept.asked) < 0.15 * len(blocks)
    assert counts.computed == len(kept.asked)
    assert counts.read == 0


def test_the_disk_told_beforehand_is_for_fields_where_stations_reach(prepared, monkeypatch):
    told_mb = estimate(prepared, Crew(1)).result_parts_mb[1]
    of_a_field_mb = RATES["result_station_mb"][0]
    monkeypatch.setitem(RATES, "result_station_mb", (0.0, "MB", "nothing"))
    fields_mb = told_mb - estimate(prepared, Crew(1)).result_parts_mb[1]
    longitude_deg, latitude_deg = prepared.grid.centres_lonlat(prepared.grid.whole)
    reached = 0
    for station in prepared.scenario.stations:
        mast = (
            np.full_like(longitude_deg, degrees) for degrees in (station.longitude_deg, station.latitude_deg)
        )
        distance_m = Geod(ellps="WGS84").inv(*mast, longitude_deg, latitude_deg)[2]
        reached += (distance_m <= 1000.0 * REACH_KM).sum()
    # 48 x 48 squares are looked at, of which those at the rims of the circles (a tenth) may go either way
    assert fields_mb == pytest.approx(of_a_field_mb * reached, rel=0.05)


@pytest.mark.parametrize(("reach_km", "both"), [(40.0, False), (60.0, True)])
def test_two_masts_with_one_service_count_in_the_time_told(tmp_path, monkeypatch, reach_km, both):
    path = write_inputs(tmp_path, stations=STATIONS, extra=f"[prediction]\nreach_km = {reach_km:g}\n")
    text = path.read_text("utf-8")
    path.write_text(_with_lists(text, NETWORKS))
    prepared = _on_ground(path)
    longitude_deg, latitude_deg = prepared.grid.centres_lonlat(prepared.grid.whole)
    masts = np.zeros(longitude_deg.shape, int)
    for place in (WEST_MAST, EAST_MAST):
        mast = (np.full_like(longitude_deg, float(degrees)) for degrees in place.split(",")[::-1])
        masts += Geod(ellps="WGS84").inv(*mast, longitude_deg, latitude_deg)[2] <= 1000.0 * reach_km
    wanted = prepared.scenario.wanted[0]
    sampled = sample_of_reach(prepared).most_alternatives(wanted, prepared.station_request)
    assert np.mean(sampled > 1) == pytest.approx(np.mean(masts[masts > 0] > 1), abs=0.03)
    assert (np.mean(sampled > 1) > 0.1) == both
    seconds = estimate(prepared, Crew(1)).seconds
    monkeypatch.setitem(RATES, "reception_several_factor", (-1.0, "times", "nothing: one mast as two"))
    assert (seconds > estimate(prepared, Crew(1)).seconds + 0.5) == both


def test_the_memory_told_beforehand_grows_with_the_stations_in_reach_of_parts(tmp_path, monkeypatch):
    """Receivers of neighbouring parts are kept, each with the stations in its reach."""
    monkeypatch.setattr(path_stage, "TILE_CELLS", CELLS // 8)  # 16 parts, each of 2 x 2 tiles
    told_mb = {}
    for reach_km in (10.0, 400.0):
        folder = tmp_path / f"{reach_km:g}"
        folder.mkdir()
        path = write_inputs(folder, stations=STATIONS, extra=f"[prediction]\nreach_km = {reach_km:g}\n")
        path.write_text(_with_lists(path.read_text("utf-8"), NETWORKS))
        told_mb[reach_km] = estimate(_on_ground(path), Crew(1)).memory_mb
    of_five_mb = 5.0 * KEPT_PARTS * RATES["receiver_station_mb"][0]
    # 10 km reach a few of the parts, 400 km all of them
    assert 0.5 * of_five_mb < told_mb[400.0] - told_mb[10.0] < of_five_mb
