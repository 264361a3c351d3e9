"""The guides are run: every command of every guide, in order, from nothing."""

import re
import shlex
from pathlib import Path

import pytest
from click.testing import CliRunner
from test_station_lists import published
from test_terrain_tiles import own_sources, serve_copernicus, server  # noqa: F401

from covermap.cli.main import COMMANDS, main

GUIDES = sorted((Path(__file__).resolve().parents[1] / "docs" / "guides").glob("*.md"))


def commands_of(guide):
    text = guide.read_text("utf-8")
    return [
        shlex.split(line)[1:]
        for block in re.findall(r"```sh\n(.*?)```", text, re.S)
        for line in block.strip().split("\n")
    ]


@pytest.mark.parametrize("guide", GUIDES, ids=lambda guide: guide.stem)
def test_commands_and_options_of_a_guide_exist(guide):
    for command, *words in commands_of(guide):
        assert command in COMMANDS
        helped = CliRunner().invoke(main, [command, "--help"]).output
        for word in words:
            if word.startswith("--"):
                assert word in helped, (command, word)


@pytest.mark.parametrize("guide", GUIDES, ids=lambda guide: guide.stem)
def test_cautions_stand_in_a_guide_that_ends_on_a_roof(guide):
    text = " ".join(guide.read_text("utf-8").split())
    if guide.stem in ("first_hour", "installer"):
        assert "competent person under local rules" in text
    if guide.stem == "community":
        assert "A relay needs a licence" in text
        assert "no proof of a fault at a station" in text


@pytest.mark.slow
@pytest.mark.parametrize("guide", GUIDES, ids=lambda guide: guide.stem)
def test_a_guide_runs_from_nothing_to_the_paper(guide, tmp_path, monkeypatch, server):  # noqa: F811
    monkeypatch.chdir(tmp_path)
    published(tmp_path, name="stations_list.txt")
    Path("customers.csv").write_text('name,position\nMill,"44.01, -35.66"\nFarm,N43.96 W35.70\n', "utf-8")
    Path("hamlet.csv").write_text('id,position,cable_m\nmill,"44.0715, -35.638",80\nbarn,N44.0702 W35.637,\n')
    serve_copernicus(server, (43, -37), (44, -37), (43, -36))
    sources = own_sources(tmp_path, server)
    for words in commands_of(guide):
        if words[0] == "terrain":
            words = [*words, "--sources", str(sources)]
        result = CliRunner().invoke(main, words)
        assert result.exit_code == 0, (words, result.output)
        if words[0] == "demo":  # coarser squares: the same commands in less time
            path = Path(words[1]) / "scenario.toml"
            path.write_text(path.read_text("utf-8").replace("cell_m = 100", "cell_m = 1000"), "utf-8")
