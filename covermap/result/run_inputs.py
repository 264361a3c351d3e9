"""The input files of a run, and the name that everything which decides its result gives it."""

from __future__ import annotations

import hashlib
import json
import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import rasterio
from pydantic import BaseModel

import covermap
from covermap.catalogue import catalogue_files
from covermap.constants import RESULT_FORMAT
from covermap.grid.blocks import PHYSICS_VERSION
from covermap.scenario.records import Scenario

READ_BYTES = 2**20
MOST_READ_BYTES = 2_000_000_000  # of what one file leads to: some seconds (judgement)
LEADS_ELSEWHERE = (".vrt", ".gti")  # GDAL's formats that name further files
MADE_BESIDE = (".ovr", ".msk", ".aux.xml")  # what programs that only look at a raster may add
SHAPEFILE_PARTS = (".dbf", ".shx", ".prj", ".cpg")  # what is counted stands in the first of them


def options_of(scenario: Scenario) -> dict[str, Any]:
    """Return every setting of a scenario, its paths relative to the scenario's folder."""
    options: dict[str, Any] = _relative(scenario.settings.model_dump(mode="json"), scenario.path.parent)
    return options


def input_files(scenario: Scenario) -> list[dict[str, Any]]:
    """Return role, file (relative to the scenario), size and SHA-256 of every input file."""
    found = [("scenario", scenario.path), *_paths("", scenario.settings)]
    antennas = scenario.settings.reception.antennas
    if antennas is not None:
        beside = {part: path for part, path in catalogue_files(antennas).items() if path != antennas}
        found += [(f"reception.{part}", path) for part, path in beside.items()]
    return [_input(role, path, scenario.path.parent) for role, path in found if role != "output"]


def run_id(inputs: list[dict[str, Any]], options: dict[str, Any]) -> str:
    """Return twelve digits that name a run by everything that decides its result."""
    decided = {
        "inputs": sorted((part["role"], part["sha256"]) for part in inputs if part["role"] != "scenario"),
        # The scenario file's own digest is left out, and keys that move nothing: a changed comment or unit of
        # display names the same result.
        "options": {key: value for key, value in options.items() if key not in {"output", "display", "name"}},
        "versions": [covermap.__version__, PHYSICS_VERSION, RESULT_FORMAT],
    }
    return hashlib.sha256(json.dumps(decided, sort_keys=True).encode()).hexdigest()[:12]


def run_id_of(scenario: Scenario) -> str:
    """Return the run_id that a result of this scenario carries. Reads every input file."""
    return run_id(input_files(scenario), options_of(scenario))


def _paths(role: str, value: Any) -> Iterator[tuple[str, Path]]:
    """Yield (key, path) of every path in settings."""
    if isinstance(value, BaseModel):
        for name in type(value).model_fields:
            yield from _paths(f"{role}.{name}" if role else name, getattr(value, name))
    elif isinstance(value, list | tuple):
        for part in value:
            yield from _paths(role, part)
    elif isinstance(value, Path):
        yield role, value


def _input(role: str, path: Path, folder: Path) -> dict[str, Any]:
    """Return the record of one input file; what no file or its sources tell has no digest."""
    record: dict[str, Any] = {
        "role": role,
        "file": _relative(str(path), folder),
        "bytes": None,
        "sha256": None,
    }
    if path.is_file():
        files = _files_of(path)
        sha256 = None if files is None else _digest(files)
        record |= {"bytes": path.stat().st_size, "sha256": sha256}
    return record


def _files_of(path: Path) -> list[Path] | None:
    """Return a file and those without which it says nothing; None where they cannot be told."""
    if path.suffix.lower() == ".shp":
        parts = (path.with_suffix(ending) for ending in SHAPEFILE_PARTS)
        return [path, *(part for part in parts if part.is_file())]
    if path.suffix.lower() not in LEADS_ELSEWHERE:
        return [path]
    try:
        with rasterio.open(path) as dataset:
            named = {Path(name).resolve() for name in dataset.files if not name.endswith(MADE_BESIDE)}
    except rasterio.errors.RasterioError:
        return None
    found = [path]
    for name in sorted(named - {path.resolve()}):
        files = _files_of(name) if name.is_file() else None
        if files is None:
            return None
        found += files
    return found


def _digest(files: list[Path]) -> str:
    """Return the SHA-256 of a file and of those it leads to, one behind the other.

    Where they hold more than MOST_READ_BYTES, of their names, sizes and times: a run reads little of them.
    """
    digest = hashlib.sha256()
    first, *others = files
    _add_content(first, digest)
    facts = [(path.as_posix(), path.stat().st_size, path.stat().st_mtime_ns) for path in others]
    if sum(size for _, size, _ in facts) > MOST_READ_BYTES:
        digest.update(repr(facts).encode())
        return digest.hexdigest()
    for path in others:
        _add_content(path, digest)
    return digest.hexdigest()


def _add_content(path: Path, digest: hashlib._Hash) -> None:
    with open(path, "rb") as handle:
        while part := handle.read(READ_BYTES):
            digest.update(part)


def _relative(value: Any, folder: Path) -> Any:
    """Return a value with every absolute path made relative to the scenario's folder."""
    if isinstance(value, dict):
        return {key: _relative(part, folder) for key, part in value.items()}
    if isinstance(value, list):
        return [_relative(part, folder) for part in value]
    # Relative to the scenario, so that a folder that was moved or copied to another machine has the same
    # run_id.
    if isinstance(value, str) and Path(value).is_absolute() and not value.startswith("/vsi"):
        return Path(os.path.relpath(value, folder)).as_posix()
    return value
