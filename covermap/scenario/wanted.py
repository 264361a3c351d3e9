"""Finds the services a wanted list names: by name, by the number shown on the set, or by RF channel."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace

from covermap.errors import Faults, InputError
from covermap.scenario.records import Station, WantedList
from covermap.scenario.settings import WantedSettings
from covermap.scenario.suggestions import nearest

RF_CHANNEL = re.compile(r"RF\s*[ER]?0*(\d+)", re.IGNORECASE)
DISPLAYED = re.compile(r"\d+([.-]\d+)?")
ANY_SERVICE = "any_service"  # the list of a scenario that has none
MOST_SERVICES = 254  # a service is a uint8 index in the rasters; 255 is unknown
MOST_LISTS = 50  # judgement: each has rasters, layers and pages of its own
MOST_NAMED = 30  # in a message
RESERVED = ("field", "field_adjusted")  # folders of rasters, which a list's would stand in


def every_service(stations: Sequence[Station]) -> WantedList:
    """Return all wanted services of a station file, with every station that carries each."""
    carriers: dict[str, list[int]] = {}
    for index, station in enumerate(stations):
        if station.use == "wanted":
            carriers.setdefault(station.service, []).append(index)
    return WantedList("", tuple(carriers), tuple(tuple(group) for group in carriers.values()), None)


def carriers_of(wanted: WantedList, stations: Sequence[Station]) -> dict[str, tuple[float, ...]]:
    """Return service of a list -> the frequencies it comes at. [MHz]"""
    return {
        service: tuple(stations[index].frequency_mhz for index in group)
        for service, group in zip(wanted.services, wanted.transmitters, strict=True)
    }


def find_wanted_lists(
    file: str, wanted: Mapping[str, WantedSettings], stations: Sequence[Station]
) -> tuple[tuple[WantedList, ...], list[str]]:
    """Return the wanted lists of a scenario, in file order, and warnings.

    Without a list any one service is enough: the only list is then ANY_SERVICE.

    Raises InputError if one names an unknown or ambiguous service, or no station is wanted.
    """
    every = every_service(stations)
    services = every.services
    if not services:
        raise InputError(
            f"{file}, [wanted]: every station of the file is an interferer. Set use = wanted for some."
        )
    if not wanted:
        if len(services) > MOST_SERVICES:
            raise InputError(
                f"{file}: found no wanted list and {len(services)} services. Up to {MOST_SERVICES} are told "
                'apart. Add [wanted.main] with services = ["..."].'
            )
        told = f"{file}: no [wanted] list, so any one service is enough; services are counted by class."
        return (replace(every, name=ANY_SERVICE, at_least=1),), [told]
    _check_names(file, list(wanted))
    warnings: list[str] = []
    faults = Faults()
    lists = [
        faults.of(None, _list, file, name, wanted[name], services, stations, warnings) for name in wanted
    ]
    faults.tell()
    return tuple(one for one in lists if one is not None), warnings


def _check_names(file: str, names: list[str]) -> None:
    """Raise InputError for too many lists, and for names whose folders of rasters would be one another's."""
    if len(names) > MOST_LISTS:
        raise InputError(
            f"{file}, [wanted]: found {len(names)} wanted lists. There may be {MOST_LISTS}. "
            "Put some into a scenario of their own."
        )
    earlier: dict[str, str] = {}
    for name in names:
        if name.lower() in RESERVED:
            raise InputError(
                f"{file}, [wanted.{name}]: the rasters of the stations stand in a folder {name.lower()}. "
                "Give the list another name."
            )
        if name.lower() in earlier:
            raise InputError(
                f"{file}, [wanted.{name}]: there is also [wanted.{earlier[name.lower()]}], whose folder is "
                "the same where capital letters do not count. Give one of them another name."
            )
        earlier[name.lower()] = name


def _list(
    file: str,
    name: str,
    settings: WantedSettings,
    all_services: tuple[str, ...],
    stations: Sequence[Station],
    warnings: list[str],
) -> WantedList:
    where = f"{file}, [wanted.{name}]"
    found = [_service(where, entry, all_services, stations) for entry in settings.named] or list(all_services)
    services = tuple(dict.fromkeys(found))
    if len(services) < len(found):
        twice = ", ".join(service for service in services if found.count(service) > 1)
        warnings.append(f"{where}: {twice} is named more than once; counted once.")
    if max(len(settings.named), settings.at_least or 0) > MOST_SERVICES:
        raise InputError(
            f"{where}: found {max(len(settings.named), settings.at_least or 0)} services. A list may hold "
            f"{MOST_SERVICES}. Shorten it."
        )
    if settings.at_least is not None and settings.at_least > len(services):
        raise InputError(
            f"{where}, at_least: found {settings.at_least}, but the list has {len(services)} services. "
            f"It must be from 1 to {len(services)}. Change the value."
        )
    carriers: dict[str, list[int]] = {service: [] for service in services}
    for index, station in enumerate(stations):
        if station.use == "wanted" and station.service in carriers:
            carriers[station.service].append(index)
    return WantedList(name, services, tuple(map(tuple, carriers.values())), settings.at_least)


def _service(where: str, entry: str, services: tuple[str, ...], stations: Sequence[Station]) -> str:
    """Return the service an entry of a list means. Raises InputError if it means none, or several."""
    text = entry.strip()
    # as written first: two services may differ in capitals alone
    same_name = [service for service in services if service == text] or [
        service for service in services if service.lower() == text.lower()
    ]
    matches = same_name or _by_number(text, stations)
    if len(matches) > 1:
        raise InputError(
            f'{where}: found "{entry}", which is {len(matches)} services: {", ".join(matches)}. '
            "Name the one that is meant by its service."
        )
    if not matches:
        raise InputError(_unknown(where, entry, services, stations))
    return matches[0]


def _by_number(text: str, stations: Sequence[Station]) -> list[str]:
    """Return the services on a displayed number ("5.1") or an RF channel ("RF 21")."""
    wanted = [station for station in stations if station.use == "wanted"]
    rf_channel = RF_CHANNEL.fullmatch(text)
    if rf_channel:
        matches = [station.service for station in wanted if station.rf_channel == int(rf_channel[1])]
    elif DISPLAYED.fullmatch(text):
        number = text.replace("-", ".")
        matches = [
            station.service for station in wanted if station.displayed_channel.replace("-", ".") == number
        ]
    else:
        matches = []
    return list(dict.fromkeys(matches))


def _unknown(where: str, entry: str, services: tuple[str, ...], stations: Sequence[Station]) -> str:
    text = entry.strip()
    if any(station.service == text for station in stations):
        return (
            f'{where}: found "{entry}", whose stations are all interferers. '
            "Set use to wanted in the station file, or remove it from the list."
        )
    if text.isdigit():
        shown = [
            station.displayed_channel
            for station in stations
            if station.displayed_channel.split(".")[0] == text
        ]
        hint = f' Did you mean "{shown[0]}"?' if shown else ""
        return (
            f'{where}: found "{entry}", and no station shows that number.{hint}\n'
            f'  A channel on the air is written "RF {text}", a number shown on the set "{text}.1". '
            "Correct the entry."
        )
    shown = [station.displayed_channel for station in stations if station.displayed_channel]
    return (
        f'{where}: found "{entry}", which no station carries.{nearest(text, [*services, *shown])}\n'
        f"  The services are: {_some(services)}. Correct the entry."
    )


def _some(services: tuple[str, ...]) -> str:
    """Return the names, of very many the first alone."""
    more = len(services) - MOST_NAMED
    return ", ".join(services[:MOST_NAMED]) + (f" and {more:,} more" if more > 0 else "")
