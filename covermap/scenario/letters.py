"""The letter by which every page, sheet and layer refers to a station."""

from __future__ import annotations

from collections.abc import Sequence

from covermap.scenario.records import Scenario

ALPHABET = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"
MOST_LETTERS = 6  # behind the name of a service: those of a whole network tell nobody anything


def station_letters(scenario: Scenario) -> dict[str, str]:
    """Return station_id -> letter: A to Z, then AA, AB, ...

    In file order: the stations of wanted lists, then others that may be wanted, then the rest. The same
    whatever list is asked for and wherever the station is named.
    """
    listed = {index for wanted in scenario.wanted for group in wanted.transmitters for index in group}

    def rank(index: int) -> tuple[int, int]:
        use = scenario.stations[index].use
        return (0 if index in listed else 1 if use == "wanted" else 2, index)

    order = sorted(range(len(scenario.stations)), key=rank)
    return {scenario.stations[index].station_id: letter(place) for place, index in enumerate(order)}


def letter(order: int) -> str:
    """Return A to Z for 0 to 25, then AA, AB: a number would be read as a channel or a class."""
    before, place = divmod(order, len(ALPHABET))
    return (letter(before - 1) if before else "") + ALPHABET[place]


def is_lettered(transmitters: Sequence[int]) -> bool:
    """Return whether a service is told with the letters of its stations, of these indices."""
    return len(transmitters) <= MOST_LETTERS


def service_names(scenario: Scenario, list_name: str) -> dict[str, str]:
    """Return service -> as pages write it, with the letters of its stations: 'Coast TV (A, F)'."""
    letters = station_letters(scenario)
    wanted = next(wanted for wanted in scenario.wanted if wanted.name == list_name)
    names = dict(zip(wanted.services, wanted.services, strict=True))
    for service, group in zip(wanted.services, wanted.transmitters, strict=True):
        if is_lettered(group):
            of_stations = (letters[scenario.stations[index].station_id] for index in group)
            names[service] = f"{service} ({', '.join(of_stations)})"
    return names
