"""covermap: which class of television receiving antenna every place needs, how surely, and why.

The names below are the public door; each is loaded when first used, so that `import covermap` is quick.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:  # what editors and type checkers read; _WHERE says the same to Python
    from covermap.errors import CovermapError, InputError
    from covermap.jobs.address_sheets import address
    from covermap.jobs.check import check
    from covermap.jobs.comparing import changes
    from covermap.jobs.field_values import curve_field, field_at, required_field
    from covermap.jobs.map import map_scenario, write_outputs
    from covermap.jobs.predict import predict
    from covermap.jobs.relays import relays
    from covermap.measurements.antenna_test import antenna_test
    from covermap.measurements.calibrate import calibrate
    from covermap.propagation import (
        PathLoss,
        Profile,
        delta_bullington,
        entry_loss,
        field_from_loss,
        itm_area_loss,
        itm_loss,
        knife_edge_loss,
        man_made_noise,
        p1812_loss,
        terminal_clutter_loss,
    )
    from covermap.propagation.ridges import ridges
    from covermap.reception import best_aim, joint_confidence
    from covermap.result.coverage import Coverage, open_coverage
    from covermap.scenario import Scenario, read_scenario
    from covermap.tables import read_tiers

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
    "curve_field": "covermap.jobs.field_values",
    "field_from_loss": "covermap.propagation",
    "ridges": "covermap.propagation.ridges",
    # a receiving installation
    "read_tiers": "covermap.tables",
    "required_field": "covermap.jobs.field_values",
    "best_aim": "covermap.reception",
    "joint_confidence": "covermap.reception",
    # a scenario
    "Scenario": "covermap.scenario",
    "read_scenario": "covermap.scenario",
    "check": "covermap.jobs.check",
    "map_scenario": "covermap.jobs.map",
    "predict": "covermap.jobs.predict",
    "write_outputs": "covermap.jobs.map",
    "Coverage": "covermap.result.coverage",
    "open_coverage": "covermap.result.coverage",
    "changes": "covermap.jobs.comparing",
    "relays": "covermap.jobs.relays",
    "field_at": "covermap.jobs.field_values",
    "address": "covermap.jobs.address_sheets",
    # fieldwork
    "antenna_test": "covermap.measurements.antenna_test",
    "calibrate": "covermap.measurements.calibrate",
}

__all__ = [  # noqa: RUF022  in the order of _WHERE, written out for type checkers
    "CovermapError",
    "InputError",
    "Profile",
    "PathLoss",
    "p1812_loss",
    "itm_loss",
    "itm_area_loss",
    "knife_edge_loss",
    "delta_bullington",
    "entry_loss",
    "terminal_clutter_loss",
    "man_made_noise",
    "curve_field",
    "field_from_loss",
    "ridges",
    "read_tiers",
    "required_field",
    "best_aim",
    "joint_confidence",
    "Scenario",
    "read_scenario",
    "check",
    "map_scenario",
    "predict",
    "write_outputs",
    "Coverage",
    "open_coverage",
    "changes",
    "relays",
    "field_at",
    "address",
    "antenna_test",
    "calibrate",
]
__version__ = "0.2.0"


def __getattr__(name: str) -> Any:
    """Load a public name from the module that holds it."""
    if name not in _WHERE:
        raise AttributeError(f"module 'covermap' has no attribute {name!r}")
    return getattr(importlib.import_module(_WHERE[name]), name)


def __dir__() -> list[str]:
    return [*__all__, "__version__"]
