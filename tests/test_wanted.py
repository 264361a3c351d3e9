"""Wanted lists: services by name, by the number on the set, by RF channel; and what is refused."""

import pytest

from covermap.errors import InputError
from covermap.scenario import read_scenario
from tests.scenario_files import ROWS, changed_row, station_csv, write_scenario


def wanted_of(tmp_path, wanted, **changes):
    return read_scenario(write_scenario(tmp_path, wanted=wanted, **changes)).wanted


def refusal(tmp_path, wanted, **changes):
    with pytest.raises(InputError) as caught:
        wanted_of(tmp_path, wanted, **changes)
    return str(caught.value)


def test_service_is_found_by_name_number_and_channel(tmp_path):
    (found,) = wanted_of(tmp_path, '[wanted.main]\nservices = ["first tv", "8.1", "8-1", "rf 10"]\n')
    assert found.services == ("First TV", "Second TV", "Third TV")
    assert found.transmitters == ((0,), (1,), (2,))
    assert (found.at_least, found.needed) == (None, 3)


def test_networks_are_services_of_which_any_transmitter_does(tmp_path):
    relay = changed_row(station_id="REL", mast="Relay Mast", rf_channel="33")
    (found,) = wanted_of(
        tmp_path, '[wanted.main]\nnetworks = ["First TV"]\n', stations=station_csv(*ROWS, relay)
    )
    assert found.services == ("First TV",)
    assert [len(group) for group in found.transmitters] == [2]


def test_at_least_without_services_means_all_wanted_services(tmp_path):
    stations = station_csv(*ROWS, changed_row(ROWS[0], station_id="JAM", service="Jammer", use="interferer"))
    (found,) = wanted_of(tmp_path, "[wanted.some]\nat_least = 2\n", stations=stations)
    assert found.services == ("First TV", "Second TV", "Third TV")
    assert found.needed == 2


def test_relay_of_a_service_is_an_alternative(tmp_path):
    relay = changed_row(ROWS[0], station_id="RELAY", mast="Relay", rf_channel="33", latitude_deg="43.95")
    (found,) = wanted_of(
        tmp_path, '[wanted.main]\nservices = ["RF 33"]\n', stations=station_csv(*ROWS, relay)
    )
    assert found.services == ("First TV",)
    assert found.transmitters == ((0, 3),)


def test_service_named_twice_is_counted_once_with_a_warning(tmp_path):
    scenario = read_scenario(
        write_scenario(tmp_path, wanted='[wanted.main]\nservices = ["First TV", "5.1"]\n')
    )
    assert scenario.wanted[0].services == ("First TV",)
    assert any("[wanted.main]: First TV is named more than once" in warning for warning in scenario.warnings)


def test_several_lists_keep_their_order(tmp_path):
    found = wanted_of(tmp_path, '[wanted.z]\nat_least = 1\n[wanted.a]\nservices = ["5.1"]\n')
    assert [one.name for one in found] == ["z", "a"]


def test_without_a_list_any_one_service_is_enough(tmp_path):
    scenario = read_scenario(write_scenario(tmp_path, wanted=""))
    (found,) = scenario.wanted
    assert (found.name, found.at_least, found.needed) == ("any_service", 1, 1)
    assert found.services == ("First TV", "Second TV", "Third TV")
    assert found.transmitters == ((0,), (1,), (2,))  # the fourth station is off the air
    assert any("no [wanted] list" in warning for warning in scenario.warnings)


CASES = [
    (
        'services = ["Frist TV"]',
        ['found "Frist TV"', 'Did you mean "First TV"?', "The services are: First TV"],
    ),
    ('services = ["5.2"]', ['found "5.2"', "no station carries", "Correct the entry"]),
    ('services = ["RF 30"]', ['found "RF 30"', "no station carries", "Correct the entry"]),  # off the air
    ('services = ["21"]', ['found "21"', '"RF 21"', "Correct the entry"]),
    ('services = ["5"]', ['found "5"', 'Did you mean "5.1"?', "Correct the entry"]),
    ('services = ["5.1"]\nat_least = 2', ["at_least: found 2", "from 1 to 1", "Change the value"]),
    (
        'networks = ["First TV"]\nservices = ["8.1"]',
        ["found services beside networks", "Keep one of the two"],
    ),
    ('networks = ["Frist TV"]', ['found "Frist TV"', 'Did you mean "First TV"?']),
    ("services = []", ["found neither services nor at_least", "Name the services"]),
    ("at_least = 0", ["at_least: found 0", "greater than or equal to 1", "Change the value"]),
    ('service = ["5.1"]', ['found "service"', 'Did you mean "services"?', "Correct the key"]),
]


@pytest.mark.parametrize(("lines", "parts"), CASES)
def test_wrong_list_is_refused_with_where_found_right_and_next(tmp_path, lines, parts):
    message = refusal(tmp_path, f"[wanted.main]\n{lines}\n")
    assert message.startswith("scenario.toml, [wanted.main]")
    for part in parts:
        assert part in message


def test_number_shown_by_two_services_is_ambiguous(tmp_path):
    other = changed_row(
        ROWS[1], station_id="OTHER", service="Other TV", displayed_channel="5.1", rf_channel="30"
    )
    message = refusal(tmp_path, '[wanted.main]\nservices = ["5.1"]\n', stations=station_csv(*ROWS, other))
    assert 'found "5.1", which is 2 services: First TV, Other TV' in message
    assert "Name the one that is meant" in message


def test_service_of_interferers_only_is_refused(tmp_path):
    stations = station_csv(changed_row(ROWS[0], use="interferer"), ROWS[1], ROWS[2])
    message = refusal(tmp_path, '[wanted.main]\nservices = ["First TV"]\n', stations=stations)
    assert 'found "First TV", whose stations are all interferers' in message
    assert "Set use to wanted" in message


def test_name_of_a_list_must_be_fit_for_a_folder(tmp_path):
    message = refusal(tmp_path, '[wanted."../up"]\nat_least = 1\n')
    assert "../up" in message
    assert "letters, digits, - and _" in message
    assert "Rename the table" in message


@pytest.mark.parametrize("name", ["con", "NUL", "Com1", "lpt9"])
def test_name_of_a_list_must_not_be_a_device_of_windows(tmp_path, name):
    message = refusal(tmp_path, f"[wanted.{name}]\nat_least = 1\n")
    assert f'"{name}"' in message
    assert "Windows keeps this one for a device" in message


@pytest.mark.parametrize("name", ["console", "com10", "nul-1"])
def test_names_that_only_begin_like_a_device_are_taken(tmp_path, name):
    (found,) = wanted_of(tmp_path, f"[wanted.{name}]\nat_least = 1\n")
    assert found.name == name
