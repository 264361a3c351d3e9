"""A map and a sheet made without what Windows lacks: no open file is moved or removed on the way."""

import sys

from commands_in_trouble import HERE, ended, hidden, start_map, write_coarse_demo

COVERMAP = (sys.executable, HERE / "as_on_windows.py")


def test_a_map_takes_the_place_of_an_earlier_one(tmp_path):
    scenario = write_coarse_demo(tmp_path / "demo")
    folder, store = tmp_path / "out", tmp_path / "store"
    for changes in ({}, {'name = "Skerra': 'name = "Renamed'}):
        text = scenario.read_text("utf-8")
        for old, new in changes.items():
            assert old in text
            text = text.replace(old, new)
        scenario.write_text(text, "utf-8")
        status, _, wrong = ended(start_map(scenario, folder, store, command=(*COVERMAP, "map")))
        assert status == 0, wrong
    assert "Renamed" in (folder / "brief.html").read_text("utf-8")
    assert hidden(folder) == []
