"""The letter by which every page, sheet and layer refers to a station."""

from __future__ import annotations

from covermap.scenario.records import Scenario

ALPHABET = "ABCDEFGHIJKLMNOPQRSTUVWXYZ"


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


def service_names(scenario: Scenario, list_name: str) -> dict[str, str]:
    """Return service -> as pages write it, with the letters of its stations: 'Coast TV (A, F)'."""
    letters = station_letters(scenario)
    wanted = next(wanted for wanted in scenario.wanted if wanted.name == list_name)
    return {
        service: f"{service} ({', '.join(letters[scenario.stations[index].station_id] for index in group)})"
        for service, group in zip(wanted.services, wanted.transmitters, strict=True)
    }
