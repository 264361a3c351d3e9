"""jobs: one module for each thing a user asks for: paths and options in, files and a summary out.

They string the other parts together and may know all of them but the doors (cli, qgis_plugin). The names
below are what the doors call; each is loaded when first used, so that `covermap --help` answers at once.
"""

from __future__ import annotations

import importlib
from typing import Any

_WHERE = {
    "begin_compiling": "compiling_processes",
    "write_demo": "start",
    "NewScenario": "new_scenario",
    "ask": "new_scenario",
    "write_new": "new_scenario",
    "Answers": "stations",
    "ListOptions": "stations",
    "import_stations": "stations",
    "fetch_terrain": "terrain",
    "check_scenario": "check",
    "map_scenario": "map",
    "write_address_sheets": "addresses",
    "compare_installations": "installation_comparison",
    "write_shared_antenna": "shared_antenna",
    "compare_antennas": "antenna_test",
    "calibrate_scenario": "calibration",
    "prepare_fieldwork": "fieldwork",
    "compare_results": "comparing",
    "shortlist_relays": "relay_shortlist",
    "path_losses": "path_cases",
    "write_qgis_plugin": "plugin_zip",
}

__all__ = sorted(_WHERE)


def __getattr__(name: str) -> Any:
    """Load a job from the module that holds it."""
    if name not in _WHERE:
        raise AttributeError(f"module 'covermap.jobs' has no attribute {name!r}")
    return getattr(importlib.import_module(f"covermap.jobs.{_WHERE[name]}"), name)
