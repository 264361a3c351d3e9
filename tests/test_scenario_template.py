"""What `covermap new` writes reads back, and says what is missing."""

import re

import pytest

from covermap.errors import InputError
from covermap.scenario import read_scenario
from covermap.scenario.settings import Section, Settings
from covermap.scenario.template import TEMPLATE, missing_inputs, write_new_scenario
from covermap.tables import read_prediction_spread
from covermap.tables.tiers import read_tiers
from tests.scenario_files import station_csv


def filled(text):
    """Return a new scenario's text with its blanks filled."""
    return text.replace('channel_plan = ""', 'channel_plan = "us_6mhz"').replace(
        "services = []", 'services = ["5.1"]'
    )


@pytest.fixture
def inputs(tmp_path):
    """Return an elevation file and a station file outside the new folder."""
    (tmp_path / "elevation.tif").touch()
    (tmp_path / "stations.csv").write_text(station_csv())
    return [tmp_path / "elevation.tif"], tmp_path / "stations.csv"


def test_new_scenario_reads_once_its_blanks_are_filled(tmp_path, inputs):
    missing = write_new_scenario(tmp_path / "new", *inputs)
    path = tmp_path / "new" / "scenario.toml"
    assert [sentence.split(":")[0] for sentence in missing] == [
        "[transmitters] channel_plan",
        "[wanted.main] services",
    ]
    path.write_text(filled(path.read_text()))
    assert missing_inputs(path) == []
    assert read_scenario(path).wanted[0].services == ("First TV",)


@pytest.mark.parametrize(
    "wanted", ['services = ["5.1"]', 'services = []\nnetworks = ["First TV"]', "services = []\nat_least = 1"]
)
def test_a_list_that_says_what_is_wanted_lacks_nothing(tmp_path, inputs, wanted):
    write_new_scenario(tmp_path / "new", *inputs)
    path = tmp_path / "new" / "scenario.toml"
    path.write_text(filled(path.read_text()).replace('services = ["5.1"]', wanted, 1))
    read_scenario(path)
    assert missing_inputs(path) == []


def test_commented_defaults_of_the_template_are_the_defaults(tmp_path, inputs):
    write_new_scenario(tmp_path / "new", *inputs)
    path = tmp_path / "new" / "scenario.toml"
    text = filled(path.read_text())
    path.write_text(text)
    plain = read_scenario(path).settings
    for table in ("prediction", "reception", "outputs", "display"):
        head, rest = text.split(f"[{table}]\n", 1)
        body, *after = re.split(r"(?=\n#? ?\[)", rest, maxsplit=1)
        shown = re.sub(r"^# (?=\w+ = )", "", body, flags=re.MULTILINE)
        text = head + f"[{table}]\n" + shown + "".join(after)
    text = (
        text.replace('second_opinion = "itm"', "")
        .replace('calibration = "calibration.toml"', "")
        .replace('antenna_tiers = "tiers.csv"', "")
        .replace('antennas = "antennas.csv"', "")
        .replace('prediction_spread = "prediction_spread.csv"', "")
    )
    path.write_text(text)
    assert read_scenario(path).settings == plain


def test_template_shows_every_key():
    shown = set(re.findall(r"^(?:# )?(\w+) = ", TEMPLATE, flags=re.MULTILINE))
    tables = set(re.findall(r"^(?:# )?\[(\w+)", TEMPLATE, flags=re.MULTILINE))

    def keys(model):
        for name, field in model.model_fields.items():
            inner = [
                part
                for part in (field.annotation, *getattr(field.annotation, "__args__", ()))
                if isinstance(part, type) and issubclass(part, Section)
            ]
            if inner:
                yield from ((name, key) for key in inner[0].model_fields)
            else:
                yield ("", name)

    for table, key in keys(Settings):
        if (table, key) != ("", "wanted"):
            assert key in shown, key
        assert not table or table in tables


def test_blank_folder_misses_everything(tmp_path):
    missing = write_new_scenario(tmp_path / "new", [], None)
    assert len(missing) == 4
    assert missing[1] == "transmitters.csv: add a row for each transmitter."


def test_blank_tables_are_written_and_tiers_read_back(tmp_path):
    write_new_scenario(tmp_path / "new", [], None)
    assert (tmp_path / "new" / "patterns.csv").read_text() == "pattern,plane,angle_deg,relative_field\n"
    written = read_tiers(tmp_path / "new" / "tiers.csv").tiers
    assert repr(written[4]) == repr(read_tiers().tiers[4])  # what it has not is NaN, which equals nothing
    assert read_prediction_spread(tmp_path / "new" / "prediction_spread.csv") == read_prediction_spread()
    assert (tmp_path / "new" / "transmitters.csv").read_text().startswith("station_id,service,mast,")


def test_blank_station_file_has_no_stations(tmp_path, inputs):
    write_new_scenario(tmp_path / "new", inputs[0], None)
    path = tmp_path / "new" / "scenario.toml"
    path.write_text(filled(path.read_text()))
    with pytest.raises(InputError, match=r"transmitters.csv: no stations: found no rows.*\n.*Add a row"):
        read_scenario(path)


def test_new_replaces_nothing(tmp_path):
    write_new_scenario(tmp_path, [], None)
    (tmp_path / "scenario.toml").write_text("mine")
    with pytest.raises(InputError, match=r"scenario.toml is already there.*Name another folder"):
        write_new_scenario(tmp_path, [], None)
    assert (tmp_path / "scenario.toml").read_text() == "mine"


def test_new_needs_inputs_that_exist(tmp_path):
    with pytest.raises(InputError, match=r"There is no file .*none.tif. Give the path"):
        write_new_scenario(tmp_path / "new", [tmp_path / "none.tif"], None)
    assert not (tmp_path / "new").exists()
