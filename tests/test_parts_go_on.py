"""A stopped run of a map in parts goes on with the part it was at; the result is that of a run in one go."""

import contextlib
import json
import shutil
from importlib import import_module

import pytest
from commands_in_trouble import content, hidden, write_coarse_demo
from same_results import assert_same_results

from covermap import jobs
from covermap.errors import CovermapError
from covermap.jobs import path_stage
from covermap.result import parts as of_parts
from covermap.result import unchanged
from covermap.result.finished_parts import drop_unfinished
from covermap.result.whole_file import TEMPORARY_FOLDER

predict = import_module("covermap.jobs.predict")
PART = 16  # of a map of 33 x 34 squares or so


@pytest.fixture(scope="module")
def scenario(tmp_path_factory):
    return write_coarse_demo(tmp_path_factory.mktemp("go_on") / "demo")


@pytest.fixture
def received(monkeypatch):
    """Tiles in the order in which they were received; the map is made in parts."""
    monkeypatch.setattr(path_stage, "TILE_CELLS", PART)
    monkeypatch.setattr(of_parts, "PART_CELLS", PART)
    tiles, receive = [], predict.receive_task

    def noted(session, tile):
        tiles.append((tile.row, tile.col))
        return receive(session, tile)

    monkeypatch.setattr(predict, "receive_task", noted)
    return tiles


@pytest.fixture
def whole(scenario, received):
    """A result of one go, and the tiles it took, one a part."""
    folder = scenario.parent / "whole"
    if folder.exists():
        found = json.loads((scenario.parent / "tiles.json").read_text())
        return folder, [tuple(tile) for tile in found]
    mapped(scenario, folder)
    (scenario.parent / "tiles.json").write_text(json.dumps(received))
    taken = list(received)
    received.clear()
    return folder, taken


def mapped(scenario, output, progress=None, **options):
    jobs.map_scenario(
        scenario, output, store=scenario.parent / "store", workers=1, progress=progress, **options
    )


def stopped_at(scenario, output, stage, part, **options):
    """Run a map until it comes to a stage of a part, and stop it there as Ctrl+C does."""
    with pytest.raises(KeyboardInterrupt):
        mapped(scenario, output, _until(stage, part), **options)


def _until(stage, part):
    def report(here, _, words):
        if here == "outputs" == stage:
            raise KeyboardInterrupt
        return not (here == stage and words.startswith(f"part {part} "))

    return report


@pytest.mark.parametrize(
    ("stage", "part", "left"),
    [("paths", 3, 2), ("reception", 3, 2), ("reception", 1, 0), ("outputs", None, None)],
)
def test_what_was_finished_is_not_received_again(scenario, whole, received, tmp_path, stage, part, left):
    of_one, taken = whole
    assert len(taken) > 4
    done = len(taken) if left is None else left
    if stage == "paths":  # of which the store lacks some
        shutil.rmtree(scenario.parent / "store")
    stopped_at(scenario, tmp_path / "out", stage, part)
    assert not (tmp_path / "out" / "run.json").exists()
    received.clear()
    mapped(scenario, tmp_path / "out")
    assert received == taken[done:]
    assert_same_results(of_one, tmp_path / "out")
    assert hidden(tmp_path / "out") == []
    blocks = [json.loads((at / "run.json").read_text())["blocks"] for at in (of_one, tmp_path / "out")]
    assert sum(blocks[0].values()) == sum(blocks[1].values())


def test_an_earlier_result_stands_while_parts_wait(scenario, whole, received, tmp_path):
    of_one, taken = whole
    shutil.copytree(of_one, tmp_path / "out")
    (tmp_path / "out" / "map.html").write_text("the earlier page")
    before = content(tmp_path / "out")
    stopped_at(scenario, tmp_path / "out", "reception", 2)
    after = {
        name: data for name, data in content(tmp_path / "out").items() if name.parts[0] != TEMPORARY_FOLDER
    }
    assert after == before
    received.clear()
    mapped(scenario, tmp_path / "out")
    assert received == taken[1:]
    assert_same_results(of_one, tmp_path / "out")


@pytest.mark.parametrize(
    "changed", ["a station less", "the size of parts", "a file of the program", "nothing, but for the public"]
)
def test_parts_of_another_map_are_not_taken(scenario, whole, received, tmp_path, monkeypatch, changed):
    _, taken = whole
    shutil.copytree(scenario.parent, tmp_path / "demo", ignore=shutil.ignore_patterns("whole", "store"))
    mine = tmp_path / "demo" / scenario.name
    stopped_at(mine, tmp_path / "out", "reception", 3)
    options = {}
    if changed == "a station less":
        stations = tmp_path / "demo" / "transmitters.csv"
        lines = stations.read_text("utf-8").splitlines(keepends=True)
        stations.write_text("".join(lines[:-1]), "utf-8")
    elif changed == "the size of parts":
        monkeypatch.setattr(of_parts, "PART_CELLS", 2 * PART)
    elif changed == "a file of the program":
        monkeypatch.setattr(unchanged, "_package_files", lambda: [mine])
    else:
        options = {"public": True}
    received.clear()
    mapped(mine, tmp_path / "out", **options)
    assert len(received) == len(taken)
    assert hidden(tmp_path / "out") == []


def test_nothing_of_a_public_run_waits_on_the_disk(scenario, whole, tmp_path):
    """Its homes stand in memory alone, so that no later run could go on without them."""
    stopped_at(scenario, tmp_path / "out", "reception", 3, public=True)
    assert not (tmp_path / "out").exists()


def test_a_part_without_a_readable_mark_is_not_taken(scenario, whole, received, tmp_path):
    _, taken = whole
    stopped_at(scenario, tmp_path / "out", "reception", 3)
    marks = sorted((tmp_path / "out" / TEMPORARY_FOLDER / "result" / "rasters" / "parts").rglob("*.json"))
    assert [mark.stem for mark in marks] == ["000_000", "000_001"]
    marks[0].write_text('{"origin": ')
    received.clear()
    mapped(scenario, tmp_path / "out")
    assert received == [taken[0], *taken[2:]]


def test_a_part_without_a_readable_mark_is_in_no_public_result(scenario, tmp_path, received):
    stopped_at(scenario, tmp_path / "out", "reception", 3)
    for mark in (tmp_path / "out" / TEMPORARY_FOLDER / "result" / "rasters" / "parts").rglob("*.json"):
        mark.write_text("")  # as a power cut may leave it
    mapped(scenario, tmp_path / "out", public=True)
    assert list((tmp_path / "out").rglob("homes.tif")) == []


def test_a_fault_leaves_the_finished_parts_too(scenario, whole, received, tmp_path, monkeypatch):
    of_one, taken = whole

    def fail(*_, **__):
        raise CovermapError("a fault")

    with monkeypatch.context() as broken, contextlib.suppress(CovermapError):
        broken.setattr("covermap.jobs.write_outputs.write_layers_and_pages", fail)
        mapped(scenario, tmp_path / "out")
    assert len(received) == len(taken)
    received.clear()
    mapped(scenario, tmp_path / "out")
    assert received == []
    assert_same_results(of_one, tmp_path / "out")


def test_all_goes_where_no_part_is_wanted(tmp_path):
    for name in ("run.json", "rasters/parts/000_000/ground.tif", "rasters/main/tier.vrt"):
        (tmp_path / "result" / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / "result" / name).write_text("{}")
    drop_unfinished(tmp_path / "result", None)
    assert not (tmp_path / "result").exists()
