"""Whether a result is what its scenario would give now: told by digests, never by dates.

A result keeps a digest of all it was made of, and one of each of its files. Where both are what they were, a
run would give the same result again, so it can be kept. Only of more than some gigabytes behind one file
(run_inputs) are names, sizes and times asked instead. Whatever cannot be told by a digest (data that only
GDAL can open, a public result) counts as changed.
"""

from __future__ import annotations

import hashlib
import json
import os
import sys
from collections.abc import Collection, Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import date
from pathlib import Path
from typing import Any

import covermap
from covermap.bearings import own_day
from covermap.result.result_folder import DIGESTS, RUN_FILE, read_record
from covermap.result.run_inputs import input_files, options_of
from covermap.result.run_json import versions
from covermap.result.whole_file import files_below, write_text
from covermap.scenario.records import Scenario

PACKAGE = Path(covermap.__file__).resolve().parent
LIBRARY_ENDINGS = (".dist-info", ".egg-info")


def made_of(scenario: Scenario, also: Collection[str] = ()) -> str | None:
    """Return a digest of all that decides a result; None where something of it has no digest.

    also : formats that layers are written in beside the GeoPackage

    Of every input file and what stands beside it under its name, every setting, every file of covermap, the
    libraries that are installed, and today's date where compass bearings are of today.
    """
    try:
        return _made_of(scenario, also)
    except OSError:  # a file that cannot be read is told of by who needs what is in it
        return None


def _made_of(scenario: Scenario, also: Collection[str]) -> str | None:
    inputs = input_files(scenario)
    if any(part["sha256"] is None for part in inputs):
        return None
    folder = scenario.path.parent
    beside = sorted(_beside([folder / part["file"] for part in inputs]))
    decided = {
        "scenario": str(scenario.path.resolve()),
        "inputs": inputs,
        "beside": _digests(beside, folder),
        "options": options_of(scenario),
        "also": sorted(also),
        "program": digest_of_program(),
        "today": None
        if all(own_day(station.as_of) for station in scenario.stations)
        else date.today().isoformat(),
    }
    return _of_json(decided)


def digest_of_program() -> str:
    """Return a digest of every file of covermap and of the libraries that are installed."""
    files = _digests(_package_files(), PACKAGE)
    return _of_json({"files": files, "libraries": sorted(_libraries()), "versions": versions()})


def write_digests(folder: Path, made_of: str | None) -> None:
    """Note in run.json of a finished result what it was made of and what its files hold; nothing for None."""
    run = read_record(folder)
    if run is None or made_of is None or run.get("public"):
        return
    run.pop(DIGESTS, None)
    digests = {"made_of": made_of, "run": _of_json(run), "files": _digests(_files(folder), folder)}
    text = json.dumps(run | {DIGESTS: digests}, indent=2, ensure_ascii=False)
    write_text(Path(folder) / RUN_FILE, text + "\n")


def is_unchanged(folder: Path, made_of: str | None) -> bool:
    """Return whether the result in a folder was made of the same, and its files are as they were written."""
    run = read_record(folder)
    digests = None if run is None else run.pop(DIGESTS, None)
    if made_of is None or not isinstance(digests, dict) or digests.get("made_of") != made_of:
        return False
    written: Any = digests.get("files")
    if digests.get("run") != _of_json(run) or not isinstance(written, dict):
        return False
    try:
        return _digests([Path(folder) / name for name in written], folder) == written
    except OSError:  # gone, or not to be read
        return False


def _files(folder: Path) -> list[Path]:
    return [path for path in files_below(folder) if path != Path(folder) / RUN_FILE]


def _beside(inputs: Collection[Path]) -> Iterator[Path]:
    """Yield what GDAL reads with an input: files beside it, of its name with another or a further ending."""
    names: dict[Path, set[str]] = {}
    for path in inputs:
        names.setdefault(path.parent, set()).add(path.stem)
    for folder, stems in names.items():
        for entry in os.scandir(folder):
            parts = entry.name.split(".")
            heads = {".".join(parts[:number]) for number in range(1, len(parts))}
            if entry.is_file() and heads & stems:
                yield Path(entry.path)


def _package_files() -> list[Path]:
    """Return every file of covermap but Python's own copies."""
    return [path for path in sorted(PACKAGE.rglob("*")) if path.is_file() and "__pycache__" not in path.parts]


def _libraries() -> set[str]:
    """Return name and version of everything that is installed."""
    found = set()
    for folder in filter(os.path.isdir, sys.path):
        found |= {entry.name for entry in os.scandir(folder) if entry.name.endswith(LIBRARY_ENDINGS)}
    return found


def _digests(paths: Collection[Path], folder: Path) -> dict[str, str]:
    """Return the SHA-256 of files by their name below a folder, or beside it."""
    with ThreadPoolExecutor() as pool:
        found = pool.map(_of_file, paths)
        return {
            Path(os.path.relpath(path, folder)).as_posix(): one
            for path, one in zip(paths, found, strict=True)
        }


def _of_file(path: Path) -> str:
    with open(path, "rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _of_json(value: Any) -> str:
    return hashlib.sha256(json.dumps(value, sort_keys=True, ensure_ascii=False).encode()).hexdigest()
