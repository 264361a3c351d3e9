"""`covermap new`: a scenario from what the user has, asked for or given by options, that `check` passes."""

from __future__ import annotations

import shlex
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import pyproj

from covermap.errors import Faults, InputError
from covermap.jobs.start import new_folder
from covermap.jobs.stations import likely_reach_km
from covermap.result.whole_file import whole_file
from covermap.scenario.channels import plan_names, read_channel_plan
from covermap.scenario.coordinates import read_position
from covermap.scenario.csv_dialect import csv_cells
from covermap.scenario.records import Station
from covermap.scenario.settings import PredictionSettings, TransmitterSettings, WantedSettings
from covermap.scenario.systems import find_system
from covermap.scenario.template import missing_inputs, write_new_scenario
from covermap.scenario.toml_edit import Value, with_keys
from covermap.scenario.toml_file import read_toml
from covermap.scenario.transmitters import read_stations
from covermap.scenario.wanted import find_wanted_lists
from covermap.wording.words import path_in_words

USUAL_RADIUS_KM = 30.0  # of the map around a place
AROUND_STATIONS_KM = 20.0  # of the map beyond the stations, where no place is given


@dataclass(frozen=True)
class NewScenario:
    """What a new scenario is made of; anything may be absent.

    elevation, stations, homes : files; patterns : default, patterns.csv beside the stations
    near : a position, radius_km around it; without, the map goes around the stations of the services
    services : names, numbers shown or RF channels; at_least : how many of them, or of all, are wanted
    """

    elevation: tuple[Path, ...] = ()
    stations: Path | None = None
    plan: str = ""
    system: str = ""
    patterns: Path | None = None
    near: str = ""
    radius_km: float = USUAL_RADIUS_KM
    services: tuple[str, ...] = ()
    at_least: int | None = None
    homes: Path | None = None
    cell_m: float | None = None


def write_new(folder: Path, asked: NewScenario) -> str:
    """Write a commented scenario and blank tables to a new folder; return what is missing and what next.

    Raises InputError when the folder is not new, or something given is wrong; nothing is written then.
    """
    edits = _edits(asked)
    new_folder(folder)
    write_new_scenario(folder, list(asked.elevation), asked.stations)
    path = folder / "scenario.toml"
    text = path.read_text("utf-8")
    for table, keys in edits.items():
        if keys:
            text = with_keys(text, table, keys)
    with whole_file(path) as temporary:
        Path(temporary).write_text(text, "utf-8")
    read_toml(path, "This is a fault of covermap.")
    missing = missing_inputs(path)
    lines = [f"Wrote {path} with every key and its default, and blank tables."]
    lines += ["Still missing:", *(f"  {sentence}" for sentence in missing)] if missing else []
    command = (
        "terrain" if missing and not asked.elevation and asked.stations and len(missing) == 1 else "check"
    )
    lines.append(f"Next: covermap {command} {shlex.quote(path_in_words(path))}")
    return "\n".join(lines)


def list_stations(asked: NewScenario) -> tuple[Station, ...]:
    """Return the stations as the scenario will read them. Raises InputError where they are wrong."""
    if asked.stations is None:
        return ()
    _refuse_no_file(asked.stations)
    values: dict[str, object] = {"file": str(asked.stations.resolve())}
    if asked.plan:
        values["channel_plan"] = asked.plan
    if asked.system:
        values["default_system"] = asked.system
    patterns = _patterns(asked)
    if patterns is not None:
        values["patterns"] = str(patterns.resolve())
    settings = TransmitterSettings.model_validate(values, context={"folder": Path.cwd()})
    return read_stations(settings).stations


def services_by_reach(stations: Sequence[Station], near: str) -> list[str]:
    """Return the services, those likeliest to be received at a place first (by reach alone without one)."""
    spare: dict[str, float] = {}
    for station in stations:
        left_km = likely_reach_km(station) - (_away_km(station, near) if near else 0.0)
        spare[station.service] = max(left_km, spare.get(station.service, left_km))
    return sorted(spare, key=lambda service: -spare[service])


def _away_km(station: Station, near: str) -> float:
    latitude_deg, longitude_deg = read_position(near, "--near")
    there = station.longitude_deg, station.latitude_deg
    return float(pyproj.Geod(ellps="WGS84").inv(longitude_deg, latitude_deg, *there)[2]) / 1000.0


def _edits(asked: NewScenario) -> dict[str, dict[str, Value]]:
    """Return table -> keys of what was given. Raises InputError where it is wrong."""
    if asked.plan:
        read_channel_plan(asked.plan)
    if asked.system:
        find_system(asked.system, "--system")
    stations = list_stations(asked) if asked.plan or asked.near or asked.services else ()
    if stations:
        _refuse_what_no_station_serves(asked, stations)
    edits: dict[str, dict[str, Value]] = {
        "grid": _area(asked, stations),
        "transmitters": {},
        "wanted.main": {},
    }
    if asked.plan:
        edits["transmitters"]["channel_plan"] = asked.plan
    if asked.system:
        edits["transmitters"]["default_system"] = asked.system
    patterns = _patterns(asked)
    if patterns is not None:
        edits["transmitters"]["patterns"] = str(patterns.resolve())
    if asked.services:
        edits["wanted.main"]["services"] = list(asked.services)
    if asked.at_least:
        edits["wanted.main"]["at_least"] = asked.at_least
    if asked.cell_m:
        edits["grid"]["cell_m"] = asked.cell_m
    edits["homes"] = _homes(asked.homes)
    return edits


def _refuse_no_file(path: Path) -> None:
    if not path.exists():
        raise InputError(f"There is no file {path}. Give the path of a file that exists.")


def _refuse_what_no_station_serves(asked: NewScenario, stations: Sequence[Station]) -> None:
    """Raise InputError for services that no station carries, and a place that no path would reach."""
    faults = Faults()
    if asked.services or asked.at_least:
        wanted = WantedSettings(services=list(asked.services), at_least=asked.at_least)
        faults.of(None, find_wanted_lists, "--service, --at-least", {"main": wanted}, stations)
    if asked.near:
        faults.of(None, _refuse_a_place_out_of_reach, asked, stations)
    faults.tell()


def _refuse_a_place_out_of_reach(asked: NewScenario, stations: Sequence[Station]) -> None:
    read_position(asked.near, "--near")
    if not stations:
        return
    reach_km = PredictionSettings().reach_km
    nearest = min(stations, key=lambda station: _away_km(station, asked.near))
    away_km = _away_km(nearest, asked.near)
    if away_km - asked.radius_km > reach_km:
        raise InputError(
            f'--near: found "{asked.near}"; the nearest station, {nearest.service}, is {away_km:,.0f} km '
            f"away, and paths end at {reach_km:.0f} km.\n"
            "  South and west are negative, latitude comes first. Correct the position or the list."
        )


def _patterns(asked: NewScenario) -> Path | None:
    if asked.patterns is not None or asked.stations is None:
        return asked.patterns
    beside = asked.stations.parent / "patterns.csv"
    return beside if beside.exists() else None


def _area(asked: NewScenario, stations: Sequence[Station]) -> dict[str, Value]:
    """Return the sides of the map: around the place, else around the stations of the services."""
    if asked.near:
        centres, radius_km = [read_position(asked.near, "--near")], asked.radius_km
    else:
        named = [s for s in stations if s.service in asked.services]
        centres, radius_km = [(s.latitude_deg, s.longitude_deg) for s in named], AROUND_STATIONS_KM
    if not centres:
        return {}
    geod = pyproj.Geod(ellps="WGS84")
    corners = [
        geod.fwd(longitude, latitude, azimuth, radius_km * 1000.0)[:2]
        for latitude, longitude in centres
        for azimuth in (0.0, 90.0, 180.0, 270.0)
    ]
    longitudes, latitudes = zip(*corners, strict=True)
    return {
        "west": round(min(longitudes), 4),
        "south": round(min(latitudes), 4),
        "east": round(max(longitudes), 4),
        "north": round(max(latitudes), 4),
    }


def _homes(homes: Path | None) -> dict[str, Value]:
    if homes is None:
        return {}
    _refuse_no_file(homes)
    keys: dict[str, Value] = {"file": str(homes.resolve())}
    if homes.suffix.lower() in (".csv", ".txt"):
        records, _ = csv_cells(homes)
        if records and "homes" in [cell.strip().lower() for cell in records[0][1]]:
            keys["count"] = "homes"
    return keys


def ask(folder: Path, asked: NewScenario) -> NewScenario:
    """Return what a person answers at a terminal, starting from what was given."""
    from rich.console import Console
    from rich.prompt import Confirm, FloatPrompt, Prompt

    console = Console()
    console.print(
        f"A new scenario in {folder}. Enter takes what stands in brackets; nothing is sent anywhere."
    )

    def answer(question: str, check: Callable[[str], object]) -> str:
        """Return the answer to a question, "" for none; asked again while it is wrong."""
        while True:
            given = Prompt.ask(question, default="", console=console)
            try:
                if given:
                    check(given)
                return given
            except InputError as error:
                console.print(str(error), markup=False, highlight=False)

    def file(question: str) -> Path | None:
        given = answer(question, lambda typed: _refuse_no_file(Path(typed).expanduser()))
        return Path(given).expanduser() if given else None

    if asked.stations is None:
        asked = replace(asked, stations=file("Station list (transmitters.csv; blank: fill it in later)"))
    if asked.stations is not None and not asked.plan:
        plan = Prompt.ask(
            "Channel plan", choices=list(plan_names()), default=plan_names()[0], console=console
        )
        asked = replace(asked, plan=plan)
    stations = list_stations(asked)
    if not asked.near:
        near = answer(
            "Middle of the map, such as 44.01, -35.66 (blank: the stations)",
            lambda typed: _refuse_a_place_out_of_reach(replace(asked, near=typed), stations),
        )
        if near:
            radius_km = FloatPrompt.ask("Radius in km", default=asked.radius_km, console=console)
            asked = replace(asked, near=near, radius_km=radius_km)
    if stations and not asked.services and not asked.at_least:
        asked = replace(asked, services=_chosen(services_by_reach(stations, asked.near), console))
    if asked.homes is None:
        asked = replace(asked, homes=file("Homes (CSV with latitude_deg, longitude_deg; blank: none)"))
    if not asked.elevation:
        elevation = file("Elevation (file or folder; blank: fetch it next)")
        asked = replace(asked, elevation=(elevation,) if elevation else ())
    if not Confirm.ask("Write the scenario?", default=True, console=console):
        raise KeyboardInterrupt
    return asked


def _chosen(services: Sequence[str], console) -> tuple[str, ...]:
    """Return the services whose numbers are typed, of a list of the likeliest."""
    from rich.prompt import Prompt

    shown = list(services[:20])
    for number, service in enumerate(shown, start=1):
        console.print(f"  {number:>2}  {service}", markup=False, highlight=False)
    usual = ",".join(str(number) for number in range(1, min(5, len(shown)) + 1))
    while True:
        typed = Prompt.ask("Wanted services, by number", default=usual, console=console)
        numbers = [int(part) for part in typed.replace(",", " ").split() if part.isdigit()]
        if numbers and all(1 <= number <= len(shown) for number in numbers):
            return tuple(shown[number - 1] for number in dict.fromkeys(numbers))
        console.print(f"Write numbers from 1 to {len(shown)}, such as 1,2.")
