"""What the tasks of a run share, on this machine or read once by each worker of a cluster."""

from __future__ import annotations

import hashlib
import threading
from pathlib import Path
from typing import Any

import covermap
from covermap.errors import CovermapError
from covermap.grid.blocks import PHYSICS_VERSION
from covermap.grid.store import Store
from covermap.inputs.preparation import Preparation
from covermap.inputs.prepare import prepare
from covermap.scenario import read_scenario

_READING = threading.Lock()
_READ: dict[tuple[Path, str], Preparation] = {}  # the one scenario a worker has read last
_OPENED: dict[Path, Store] = {}


class RunSession:
    """Inputs and store of a run. Pickled, it is only their paths: a worker reads them from there, once.

    So no terrain travels, but every worker must see the scenario's files and the store under the same
    paths. What it reads must be what the run was begun with; the fingerprint tells.
    """

    def __init__(self, prepared: Preparation, store: Store) -> None:
        self._path = prepared.scenario.path.absolute()
        self._fingerprint = fingerprint(prepared)
        self._folder = store.folder.absolute()
        self._limit_bytes = store.size_limit_bytes
        self._prepared: Preparation | None = prepared
        self._store: Store | None = store

    def __getstate__(self) -> dict[str, Any]:
        return {**self.__dict__, "_prepared": None, "_store": None}

    @property
    def prepared(self) -> Preparation:
        """Return the inputs, reading them where they are not here yet. CovermapError when they differ."""
        if self._prepared is None:
            self._prepared = _read_once(self._path, self._fingerprint, self._folder)
        return self._prepared

    @property
    def store(self) -> Store:
        """Return the store. CovermapError where its folder cannot be reached."""
        if self._store is None:
            with _READING:
                if self._folder not in _OPENED:
                    _OPENED[self._folder] = Store(self._folder, self._limit_bytes / 1e9)
                self._store = _OPENED[self._folder]
        return self._store


def fingerprint(prepared: Preparation) -> str:
    """Return a digest of what decides the values of a run: stations, lists, tiers, options, grid, terrain."""
    scenario = prepared.scenario
    decides = (
        covermap.__version__,
        PHYSICS_VERSION,
        prepared.terrain.digest,
        prepared.requests,
        scenario.stations,
        scenario.wanted,
        scenario.settings.prediction,
        scenario.settings.reception,
        prepared.tiers,
        prepared.calibration,
        None if prepared.homes is None else prepared.homes.total,
    )
    return hashlib.sha256(repr(decides).encode()).hexdigest()


def _read_once(path: Path, expected: str, store: Path) -> Preparation:
    """Return the inputs as this process sees them; several threads read them once."""
    with _READING:
        if (path, expected) not in _READ:
            if not path.is_file():
                raise CovermapError(
                    f"A worker does not see {path}. Workers read the scenario and its files from the same "
                    "paths as this machine: put them on a shared disk."
                )
            prepared = prepare(read_scenario(path), store)
            if fingerprint(prepared) != expected:
                raise CovermapError(
                    f"A worker reads other inputs from {path} than this machine, or runs another covermap "
                    f"than {covermap.__version__}. Give all the same files and version."
                )
            _READ.clear()
            _READ[(path, expected)] = prepared
        return _READ[(path, expected)]
