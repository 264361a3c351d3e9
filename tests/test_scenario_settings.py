"""The scenario file: what is read, and one clear sentence for what is wrong."""

import pytest

from covermap.errors import InputError
from covermap.scenario import read_scenario
from tests.scenario_files import write_scenario


def refusal(tmp_path, **changes):
    """Return the message with which a changed scenario is refused."""
    with pytest.raises(InputError) as caught:
        read_scenario(write_scenario(tmp_path, **changes))
    return str(caught.value)


def test_keys_left_out_take_the_documented_defaults(tmp_path):
    settings = read_scenario(write_scenario(tmp_path, grid="", top="")).settings
    # defaults: the scenario example of the design (section 2)
    assert settings.grid.cell_m == 100.0
    assert (settings.prediction.model, settings.prediction.time_rule) == ("p1812", "us_90_10")
    assert (settings.prediction.reach_km, settings.prediction.profile_step_m) == (250.0, 50.0)
    assert (settings.prediction.n0, settings.prediction.dn) == (325.0, 45.0)
    assert settings.reception.confidence_percent == 90.0
    assert settings.reception.prediction_error_db == "auto"
    assert settings.reception.noise_environment == "by_land_cover"
    assert settings.reception.tuner_noise_figure_db == 7.0
    assert settings.reception.dead_zone_services == 1
    assert (settings.reception.home_correlation, settings.reception.site_correlation) == (0.25, 0.85)
    assert (settings.display.distance, settings.display.height) == ("km", "m")
    assert settings.homes is None


def test_paths_are_absolute_and_relative_to_the_scenario_file(tmp_path, monkeypatch):
    path = write_scenario(tmp_path, top='name = "A"\noutput = "result"\n')
    monkeypatch.chdir("/")
    scenario = read_scenario(path)
    assert scenario.output == tmp_path / "result"
    assert scenario.settings.terrain.elevation == [tmp_path / "elevation.tif"]
    assert scenario.settings.transmitters.file == tmp_path / "transmitters.csv"


def test_folder_stands_for_its_scenario_file(tmp_path):
    path = write_scenario(tmp_path)
    assert read_scenario(tmp_path).path == path.resolve()


def test_name_is_kept_as_text(tmp_path):
    name = "<b>Skerra</b> & 'söns'"
    assert read_scenario(write_scenario(tmp_path, top=f'name = "{name}"\n')).name == name


def test_one_elevation_may_stand_without_brackets(tmp_path):
    settings = read_scenario(write_scenario(tmp_path, terrain='elevation = "elevation.tif"\n')).settings
    assert settings.terrain.elevation == [tmp_path / "elevation.tif"]


@pytest.mark.parametrize(("error_db", "kept"), [("8", 8.0), ("6.5", 6.5), ('"auto"', "auto")])
def test_prediction_error_is_auto_or_a_number(tmp_path, error_db, kept):
    path = write_scenario(tmp_path, extra=f"[reception]\nprediction_error_db = {error_db}\n")
    assert read_scenario(path).settings.reception.prediction_error_db == kept


def test_area_across_the_180_degree_meridian_is_accepted(tmp_path):
    grid = "west = 179.5\nsouth = -18\neast = -179.5\nnorth = -17\n"
    assert read_scenario(write_scenario(tmp_path, grid=grid)).settings.grid.west == 179.5


# each: table and text, then where, what was found, what is right, what to do
EXTRA_CASES = [
    ("[areas]\ndepot = [-36]\nradius_km = 5", ["[areas], depot: found a shorter", "two numbers", "Complete"]),
    ('[homes]\nfile = "a\\u0000b"', ["[homes], file: found", "cannot be a path", "Correct it"]),
    ('[homes]\nfile = "~nobody-here/a"', ["[homes], file: found", "a file that exists", "Correct the path"]),
    ("[gird]\na = 1", ['scenario.toml, [gird]: found "gird"', 'Did you mean "grid"?', "Correct the key"]),
    ('[prediction]\nmodel = "itm"\nn0 = 240', ["n0 = 240", "from 250 to 400", "Change n0"]),
    (
        '[prediction]\nmodel = "itm"\nsecond_opinion = "itm"',
        ["second_opinion", "another model's", "itm, curves"],
    ),
    (
        '[map]\ncontext = [{ draw = "road" }]',
        ['[map], context 1: the key "file" is missing', "Add it"],
    ),
    (
        '[map]\ncontext = ["none.gpkg", { file = "elevation.tif", draw = "roads" }, { lable = "x" }]',
        [
            '[map], context 1, file: found "none.gpkg"',
            "a file that exists",
            "Correct the path",
            '[map], context 2, draw: found "roads"',
            'Did you mean "road"?',
            '[map], context 3: found "lable"',
            'Did you mean "label"?',
            "The keys here are file, draw, label",
        ],
    ),
    ("[map]\ncontext = [3]", ["[map], context 1: found 3", "a table with keys of its own", "Change"]),
    ('[map]\ncontext = "a.gpkg"', ['[map], context: found "a.gpkg"', "a list in [ ]", "Change"]),
    ('[prediction]\nclimate = "tropical"', ["[prediction], climate", 'found "tropical"', "equatorial"]),
    (
        '[prediction]\nmodel = "p1813"',
        ["[prediction], model", 'found "p1813"', 'Did you mean "p1812"?', "Change"],
    ),
    ("[prediction]\nprofile_step_m = 49", ["profile_step_m: found 49", "from 50 to 100", "Change the value"]),
    (
        "[prediction]\nprofile_step_m = 251",
        ["profile_step_m: found 251", "from 50 to 100", "Change the value"],
    ),
    ("[prediction]\ndn = -40", ["[prediction], dn: found -40", "above 0 to 150", "Change the value"]),
    ('[prediction]\nn0 = "high"', ['[prediction], n0: found "high"', "a number", "Change the value"]),
    (
        '[reception]\nnoise_environment = "quiet"',
        ['found "quiet"', "city, residential, rural, quiet_rural", "Change"],
    ),
    ("[reception]\nconfidence_percent = 100", ["confidence_percent: found 100", "from 1 to 99", "Change"]),
    (
        '[reception]\nprediction_error_db = "aut"',
        ['found "aut"', '"auto" or a number from 0.5 to 20', "Change"],
    ),
    ("[reception]\ndead_zone_services = 1.5", ["dead_zone_services: found 1.5", "a whole number", "Change"]),
    ("[reception]\nhome_correlation = 1.0", ["home_correlation: found 1.0", "from 0 to 0.95", "Change"]),
    (
        "[reception]\nsite_correlation = 0.2",
        ["[reception]: found site_correlation 0.2", "home_correlation 0.25", "Give site"],
    ),
    ('[outputs]\nfield_rasters = "some"', ['found "some"', '"auto", true or false', "Change the value"]),
    ('[display]\ndistance = "miles"', ['[display], distance: found "miles"', "km, mi", "Change"]),
    ("[business]", ['scenario.toml, [business]: the key "prices" is missing', "Add it"]),
    (
        '[homes]\nfile = "homes.gpkg"',
        ['[homes], file: found "homes.gpkg"', "a file that exists", "Correct the path"],
    ),
    (
        "[areas]\ndepot = [-36, 44]",
        ["[areas]: found depot without radius_km", "belong together", "Give both"],
    ),
]


@pytest.mark.parametrize(("extra", "parts"), EXTRA_CASES)
def test_wrong_key_or_value_is_refused_with_where_found_right_and_next(tmp_path, extra, parts):
    message = refusal(tmp_path, extra=extra)
    assert message.startswith("scenario.toml")
    for part in parts:
        assert part in message


GRID_CASES = [
    (
        "cel_m = 100",
        ['scenario.toml, [grid]: found "cel_m"', 'Did you mean "cell_m"?', "The keys here are cell_m"],
    ),
    ("cell_m = 0", ["[grid], cell_m: found 0", "from 5 to 10000", "Change the value"]),
    ("cell_m = nan", ["[grid], cell_m: found nan", "a finite number", "Change the value"]),
    ('crs = "UTM 25"', ['[grid], crs: found "UTM 25"', "EPSG:32625", "Change the value"]),
    ("west = -36", ["[grid]: found west", "Missing: south, east, north", "Give all four sides"]),
    ("west=1\nsouth=5\neast=2\nnorth=4", ["south 5, north 4", "south must be less than north", "Exchange"]),
    ("west=1\nsouth=5\neast=2\nnorth=89", ["[grid], north: found 89", "85", "Change the value"]),
    ('area = "a.gpkg"', ['[grid], area: found "a.gpkg"', "a file that exists", "Correct the path"]),
]


@pytest.mark.parametrize(("grid", "parts"), GRID_CASES)
def test_wrong_grid_is_refused_with_where_found_right_and_next(tmp_path, grid, parts):
    message = refusal(tmp_path, grid=grid)
    for part in parts:
        assert part in message


@pytest.mark.parametrize(
    ("terrain", "parts"),
    [
        (
            'elevation = ["here.tif"]',
            ['scenario.toml, [terrain], elevation: found "here.tif"', "{folder}/here.tif"],
        ),
        (
            'elevation = ["elevation.tif"]\nkind = "with_canopy"',
            ['[terrain]: found kind = "with_canopy" without bare_earth', "Add the bare-earth elevation"],
        ),
    ],
    ids=["a file that is missing", "trees without the ground under them"],
)
def test_wrong_terrain_is_refused_with_where_found_right_and_next(tmp_path, terrain, parts):
    message = refusal(tmp_path, terrain=f"{terrain}\n")
    for part in parts:
        assert part.format(folder=tmp_path) in message


def test_all_that_is_wrong_in_the_file_is_told_at_once(tmp_path):
    message = refusal(
        tmp_path,
        grid="cel_m = 100\nwest = 900\n",
        extra="[prediction]\nn0 = 1\ndn = -1\n",
        wanted="[wanted.main]\nservices = 5\nat_least = 0\n[wanted.other]\nat_leats = 1\n",
    )
    for part in ('found "cel_m"', "west: found 900", "n0: found 1", "dn: found -1", "services: found 5",
                 "at_least: found 0", 'found "at_leats"'):  # fmt: skip
        assert part in message


def test_file_that_is_not_toml_names_the_line(tmp_path):
    message = refusal(tmp_path, grid="cell_m = = 100")
    assert message.startswith("scenario.toml is not valid TOML")
    assert "line 4" in message
    assert "Correct that line" in message


def test_absent_scenario_says_how_to_get_one(tmp_path):
    with pytest.raises(InputError, match=r"There is no file .*none.toml.*covermap new"):
        read_scenario(tmp_path / "none.toml")


def test_missing_table_is_named(tmp_path):
    path = tmp_path / "scenario.toml"
    path.write_text('name = "x"\n')
    with pytest.raises(InputError, match=r"scenario.toml: the table \[terrain\] is missing. Add it"):
        read_scenario(path)


@pytest.mark.parametrize(
    ("transmitters", "parts"),
    [
        (
            'channel_plan = "us"',
            ['scenario.toml, [transmitters], channel_plan: found "us"', "us_6mhz", "Change the key"],
        ),
        (
            "",
            [
                'line 2, column rf_channel: found "21"',
                "no channel_plan",
                "Set channel_plan to one of us_6mhz",
            ],
        ),
        (
            'channel_plan = "us_6mhz"\ndefault_system = "atsc"',
            ['scenario.toml, [transmitters], default_system: found "atsc"', "atsc1_8vsb", "Correct the name"],
        ),
        ('channel_plan = "us_6mhz"\nplan = 1', ['found "plan"', "channel_plan", "Correct"]),
    ],
)
def test_wrong_plan_or_system_is_refused(tmp_path, transmitters, parts):
    message = refusal(tmp_path, transmitters=transmitters)
    for part in parts:
        assert part in message


def test_default_system_must_fit_the_width_of_the_channels(tmp_path):
    from tests.scenario_files import ROWS, changed_row, station_csv

    message = refusal(
        tmp_path,
        stations=station_csv(changed_row(ROWS[0], system="")),
        transmitters='channel_plan = "europe_8mhz"',
    )
    assert '[transmitters], default_system: found "atsc1_8vsb", a system of 6 MHz channels' in message
    assert "Correct the system, or channel_plan" in message
