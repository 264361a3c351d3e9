"""From nothing to a scenario that `check` passes: by options, and by answers at a terminal."""

import builtins

import pytest
from click.testing import CliRunner
from test_station_lists import published
from test_terrain_tiles import own_sources, serve_copernicus, server  # noqa: F401

import covermap
from covermap.cli.main import main
from covermap.jobs.new_scenario import NewScenario, ask

STATIONS = (
    "station_id,service,latitude_deg,longitude_deg,rf_channel,erp_kw,antenna_height_m,polarization\n"
    "A,First TV,44.1,-36.1,21,40,120,H\nB,Second TV,44.1,-36.1,22,4,60,H\nC,Far TV,48.0,-36.4,23,40,120,H\n"
)


def run(*words):
    return CliRunner().invoke(main, [str(word) for word in words])


def stations_file(folder):
    path = folder / "transmitters.csv"
    path.write_text(STATIONS)
    return path


def test_options_make_a_scenario_that_reads(tmp_path):
    homes = tmp_path / "my_homes.csv"
    homes.write_text("latitude_deg,longitude_deg,homes\n44.05,-36.05,3\n")
    result = run(
        "new", tmp_path / "valley", "--stations", stations_file(tmp_path), "--plan", "us_6mhz", "--near",
        "N44.05 W36.05", "--radius-km", 10, "--service", "First TV", "--homes", homes, "--cell-m", 500,
    )  # fmt: skip
    assert result.exit_code == 0, result.output
    assert "[terrain] elevation" in result.output
    assert "Next: covermap terrain" in result.output
    text = (tmp_path / "valley" / "scenario.toml").read_text("utf-8")
    assert "# The area:" in text  # comments stay
    tile = tmp_path / "e.tif"
    tile.touch()
    path = tmp_path / "valley" / "scenario.toml"
    path.write_text(text.replace("elevation = []", f'elevation = ["{tile}"]'), "utf-8")
    settings = covermap.read_scenario(path).settings
    # 10 km: 0.0900 degrees of latitude (111.1 km a degree at 44 N, WGS 84)
    assert settings.grid.north == pytest.approx(44.05 + 0.0900, abs=2e-4)
    assert settings.homes.count == "homes"
    assert settings.wanted["main"].services == ["First TV"]


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("--plan", "us_7mhz"), "us_7mhz"),
        (("--near", "somewhere"), "no position"),
        (("--stations", "gone.csv", "--plan", "us_6mhz"), "There is no file"),
        (("--homes", "gone.csv"), "There is no file"),
        (("--system", "atsc9"), "atsc9"),
    ],
)
def test_what_is_wrong_is_told_and_nothing_written(tmp_path, words, message):
    result = run("new", tmp_path / "valley", *words)
    assert result.exit_code == 2
    assert message in result.output
    assert not (tmp_path / "valley").exists()


@pytest.mark.parametrize(
    ("words", "messages"),
    [
        (("--service", "Frist TV"), ['found "Frist TV", which no station carries. Did you mean "First TV"?']),
        (("--at-least", 4), ["found 4, but the list has 3 services"]),
        # the sign of the west forgotten: 48.6 degrees of a great circle, 5,400 km (spherical law of cosines)
        (("--near", "44.05, 36.05"), ["Far TV, is 5,4", "and paths end at 250 km", "west are negative"]),
        (("--near", "44.05, 36.05", "--service", "x"), ["no station carries", "paths end at"]),
    ],
)
def test_what_the_list_cannot_give_is_told_before_anything_is_fetched(tmp_path, words, messages):
    result = run(
        "new", tmp_path / "valley", "--stations", stations_file(tmp_path), "--plan", "us_6mhz", *words
    )
    assert result.exit_code == 2, result.output
    assert all(message in result.output for message in messages), result.output
    assert not (tmp_path / "valley").exists()


def test_a_list_of_a_whole_country_is_not_printed_for_one_wrong_name(tmp_path):
    path = stations_file(tmp_path)
    rows = [f"S{n},Service {n},44.1,-36.1,21,40,120,H\n" for n in range(400)]
    path.write_text(STATIONS.split("\n")[0] + "\n" + "".join(rows))
    result = run("new", tmp_path / "valley", "--stations", path, "--plan", "us_6mhz", "--service", "Nope")
    assert "and 370 more" in result.output
    assert len(result.output) < 1500


def test_check_of_a_new_scenario_says_how_to_get_elevation(tmp_path):
    run("new", tmp_path / "valley")
    result = run("check", tmp_path / "valley")
    assert "`covermap terrain SCENARIO` fetches" in result.output


def test_a_terminal_is_asked(tmp_path, monkeypatch):
    answers = iter([str(stations_file(tmp_path)), "us_6mhz", "44.05, -36.05", "25", "1, 2", "", "", "y"])
    monkeypatch.setattr(builtins, "input", lambda *_: next(answers))
    asked = ask(tmp_path / "valley", NewScenario())
    assert (asked.plan, asked.near, asked.radius_km) == ("us_6mhz", "44.05, -36.05", 25.0)
    # by reach less distance: the near ones before the one 440 km away
    assert asked.services == ("First TV", "Second TV")


def test_a_wrong_answer_is_asked_again_and_the_others_are_kept(tmp_path, monkeypatch, capsys):
    answers = iter([
        str(tmp_path / "gone.csv"), str(stations_file(tmp_path)), "us_6mhz", "somewhere", "44.05, 36.05",
        "44.05, -36.05", "25", "9", "1", "nowhere.csv", "", "", "y",
    ])  # fmt: skip
    monkeypatch.setattr(builtins, "input", lambda *_: next(answers))
    asked = ask(tmp_path / "valley", NewScenario())
    assert (asked.near, asked.services, asked.homes) == ("44.05, -36.05", ("First TV",), None)
    shown = capsys.readouterr().out
    assert shown.count("There is no file") == 2
    assert "no position" in shown
    assert "west are negative" in shown
    assert "Write numbers from 1 to 3" in shown


def test_the_first_hour_takes_four_commands_and_no_edit(tmp_path, server, monkeypatch):  # noqa: F811
    monkeypatch.chdir(tmp_path)
    listed = published(tmp_path)
    table = tmp_path / "work" / "transmitters.csv"
    first = run("stations", listed, "--plan", "us_6mhz", "--accept", "--output", table)
    assert first.exit_code == 0, first.output
    second = run(
        "new", tmp_path / "valley", "--stations", table, "--plan", "us_6mhz", "--near", "44.05,-36.02",
        "--radius-km", 5, "--at-least", 1, "--cell-m", 500,
    )  # fmt: skip
    assert second.exit_code == 0, second.output
    serve_copernicus(server, (43, -37), (44, -37), (43, -36))
    sources = own_sources(tmp_path, server)
    third = run("terrain", "valley", "--sources", sources, "--progress", "none")
    assert third.exit_code == 0, third.output
    fourth = run("check", tmp_path / "valley" / "scenario.toml")
    assert fourth.exit_code == 0, fourth.output
    assert "0 errors" in fourth.output
    assert "Next: covermap map" in fourth.output
