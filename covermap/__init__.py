"""covermap: which class of television receiving antenna every place needs, how surely, and why.

The names below are the public door; each is loaded when first used, so that `import covermap` is quick.
"""

from __future__ import annotations

import importlib
from typing import Any

_WHERE = {
    "CovermapError": "covermap.errors",
    "InputError": "covermap.errors",
    # one path: arrays in, numbers out
    "Profile": "covermap.propagation",
    "PathLoss": "covermap.propagation",
    "p1812_loss": "covermap.propagation",
    "itm_loss": "covermap.propagation",
    "itm_area_loss": "covermap.propagation",
    "knife_edge_loss": "covermap.propagation",
    "delta_bullington": "covermap.propagation",
    "entry_loss": "covermap.propagation",
    "terminal_clutter_loss": "covermap.propagation",
    "man_made_noise": "covermap.propagation",
    "curve_field": "covermap.jobs.single_answers",
    "field_from_loss": "covermap.propagation",
    "ridges": "covermap.propagation",
    # a receiving installation
    "read_tiers": "covermap.tables",
    "required_field": "covermap.jobs.single_answers",
    "best_aim": "covermap.reception",
    "joint_confidence": "covermap.reception",
    # a scenario
    "read_scenario": "covermap.scenario",
    "check": "covermap.jobs.check",
    "predict": "covermap.jobs.predict",
    "open_coverage": "covermap.result.coverage",
    "changes": "covermap.jobs.comparing",
    "relays": "covermap.jobs.relays",
    "field_at": "covermap.jobs.single_answers",
    "address": "covermap.jobs.address_sheets",
    # fieldwork
    "antenna_test": "covermap.measurements.antenna_test",
    "calibrate": "covermap.measurements.calibrate",
}

__all__ = sorted(_WHERE)
__version__ = "0.1.0"


def __getattr__(name: str) -> Any:
    """Load a public name from the module that holds it."""
    if name not in _WHERE:
        raise AttributeError(f"module 'covermap' has no attribute {name!r}")
    return getattr(importlib.import_module(_WHERE[name]), name)


def __dir__() -> list[str]:
    return [*__all__, "__version__"]
