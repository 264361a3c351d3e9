"""tables: CSV tables of physics, trade and regulation, and the one loader for them.

Readers of whole tables, such as read_tiers, are loaded when first used, so that reading a
channel plan does not load the reception package.
"""

from __future__ import annotations

import importlib
from typing import Any

from covermap.tables.loader import load_table, table_names, table_text

_WHERE = {
    "read_external_noise": "covermap.tables.noise",
    "read_land_cover_table": "covermap.tables.land_cover",
    "read_prediction_spread": "covermap.tables.prediction_spread",
    "read_tiers": "covermap.tables.tiers",
}

__all__ = ["load_table", "table_names", "table_text", *_WHERE]


def __getattr__(name: str) -> Any:
    """Load a reader from the module that holds it."""
    if name not in _WHERE:
        raise AttributeError(f"module 'covermap.tables' has no attribute {name!r}")
    return getattr(importlib.import_module(_WHERE[name]), name)
