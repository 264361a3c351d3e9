"""Reads a whole scenario: the file, its stations and its wanted lists."""

from __future__ import annotations

from pathlib import Path

from covermap.errors import InputError
from covermap.scenario.records import Scenario
from covermap.scenario.settings_file import read_settings
from covermap.scenario.transmitters import read_stations
from covermap.scenario.wanted import find_wanted_lists


def read_scenario(path: Path | str) -> Scenario:
    """Return the checked scenario of a file; nothing is written and no terrain is opened.

    path : the scenario file (TOML); a folder stands for its scenario.toml

    Raises InputError, saying where, what was found, what would be right and what to do.
    """
    path = Path(path).expanduser().resolve()
    if path.is_dir():
        path = path / "scenario.toml"
    settings = read_settings(path)
    try:
        station_list = read_stations(settings.transmitters)
    except InputError as error:
        if str(error).startswith("[transmitters]"):  # a key of the scenario file, found wrong later
            raise InputError(f"{path.name}, {error}") from error
        raise
    wanted, warnings = find_wanted_lists(path.name, settings.wanted, station_list.stations)
    return Scenario(
        path=path,
        name=settings.name.strip() or path.parent.name,
        output=settings.output,
        settings=settings,
        stations=station_list.stations,
        wanted=wanted,
        warnings=(*station_list.warnings, *warnings),
        left_out=station_list.left_out,
    )
