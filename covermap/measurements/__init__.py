"""measurements: comparison logs, readings and reports, and what they say about a prediction. It opens files.

Pages and pictures of them are written by covermap.reports.fieldwork.
"""

from __future__ import annotations

import importlib
from typing import Any

_WHERE = {
    "antenna_test": "covermap.measurements.antenna_test",
    "calibrate": "covermap.measurements.calibrate",
    "read_calibration": "covermap.inputs.calibration",
    "read_comparison_log": "covermap.measurements.comparison_log",
    "read_readings": "covermap.measurements.readings",
    "read_reports": "covermap.measurements.reports",
}

__all__ = sorted(_WHERE)


def __getattr__(name: str) -> Any:
    """Load a name from the module that holds it."""
    if name not in _WHERE:
        raise AttributeError(f"module 'covermap.measurements' has no attribute {name!r}")
    return getattr(importlib.import_module(_WHERE[name]), name)
