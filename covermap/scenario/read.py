"""Reads a whole scenario: the file, its stations and its wanted lists."""

from __future__ import annotations

import contextlib
import os
from pathlib import Path

from covermap.errors import InputError
from covermap.scenario.records import Scenario
from covermap.scenario.settings import Settings
from covermap.scenario.settings_file import read_settings
from covermap.scenario.transmitters import read_stations
from covermap.scenario.wanted import find_wanted_lists
from covermap.tables.plain_text import with_blanks


def read_scenario(path: Path | str) -> Scenario:
    """Return the checked scenario of a file; nothing is written and no terrain is opened.

    path : the scenario file (TOML); a folder stands for its scenario.toml

    Raises InputError, saying where, what was found, what would be right and what to do.
    """
    path = _scenario_file(path)
    return scenario_of(path, read_settings(path))


def scenario_of(path: Path, settings: Settings) -> Scenario:
    """Return the checked scenario of settings already read; see read_scenario."""
    try:
        station_list = read_stations(settings.transmitters)
    except InputError as error:
        # keys of the scenario file that were found wrong later
        lines = [
            f"{path.name}, {line}" if line.startswith("[transmitters]") else line
            for line in str(error).split("\n")
        ]
        raise InputError("\n".join(lines)) from error
    wanted, warnings = find_wanted_lists(path.name, settings.wanted, station_list.stations)
    return Scenario(
        path=path,
        name=settings.name.strip() or with_blanks(path.parent.name).strip(),
        output=settings.output,
        settings=settings,
        stations=station_list.stations,
        wanted=wanted,
        warnings=(*station_list.warnings, *warnings),
        left_out=station_list.left_out,
    )


def _scenario_file(path: Path | str) -> Path:
    """Return the absolute path of a scenario file, which need not exist; that in a folder for a folder."""
    path = Path(path)
    with contextlib.suppress(RuntimeError):  # "~name" without such a user is a file's own name
        path = path.expanduser()
    try:
        # realpath, not resolve(): links in a circle give a path that does not exist, not an exception.
        path = Path(os.path.realpath(path))
    except ValueError as error:
        raise InputError(
            f"{str(path)!r} cannot be a path ({error}). Give the path of a scenario file."
        ) from error
    return path / "scenario.toml" if os.path.isdir(path) else path
