"""One letter a station: the same on the map, on a sheet whatever is nearest, and in the brief."""

from web_map_case import make_scenario, make_station

from covermap.scenario.letters import service_names, station_letters
from covermap.scenario.records import WantedList


def scenario_with(stations, *lists):
    scenario = make_scenario()
    wanted = tuple(WantedList(name, services, groups, None) for name, services, groups in lists)
    return scenario.__class__(**{**vars(scenario), "stations": stations, "wanted": wanted})


def test_listed_stations_come_first_in_file_order_whatever_list_is_asked():
    mast = next(iter({station.mast for station in make_scenario().stations}))
    stations = tuple(make_station(f"s{n}", f"S{n}", mast, 14 + n) for n in range(4))
    scenario = scenario_with(stations, ("main", ("S3",), ((3,),)), ("few", ("S1",), ((1,),)))
    assert station_letters(scenario) == {"s1": "A", "s3": "B", "s0": "C", "s2": "D"}
    assert service_names(scenario, "main") == {"S3": "S3 (B)"}


def test_a_service_of_two_masts_has_both_letters():
    mast = next(iter({station.mast for station in make_scenario().stations}))
    stations = tuple(make_station(f"s{n}", "Same", mast, 14 + n) for n in range(2))
    scenario = scenario_with(stations, ("main", ("Same",), ((0, 1),)))
    assert service_names(scenario, "main") == {"Same": "Same (A, B)"}


def test_a_service_of_a_whole_network_has_no_letters():
    mast = next(iter({station.mast for station in make_scenario().stations}))
    stations = tuple(make_station(f"s{n}", "Same", mast, 14 + n) for n in range(7))
    scenario = scenario_with(stations, ("main", ("Same",), (tuple(range(7)),)))
    assert service_names(scenario, "main") == {"Same": "Same"}
