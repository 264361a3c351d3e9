"""Names in a scenario that become files and folders of a result, on every system."""

from __future__ import annotations

import re

from pydantic_core import PydanticCustomError

SLUG = re.compile(r"[A-Za-z0-9_-]{1,64}")
# Windows takes these for devices, in any case and whatever ending follows.
# Source: Microsoft, "Naming Files, Paths, and Namespaces".
DEVICES = frozenset(
    ("con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(10)))
)


def is_slug(name: str) -> bool:
    """Return whether a name holds only letters, digits, - and _, at most 64 of them."""
    return SLUG.fullmatch(name) is not None


def is_device(name: str) -> bool:
    """Return whether Windows would take a file of this name, with any ending, for a device."""
    return name.lower() in DEVICES


def list_name(name: str) -> str:
    """Return the name of a wanted list, which becomes a folder. Raises PydanticCustomError."""
    if not is_slug(name):
        raise PydanticCustomError(
            "list_name",
            "The name of a wanted list becomes a folder: letters, digits, - and _, at most 64. "
            "Rename the table.",
        )
    if is_device(name):
        raise PydanticCustomError(
            "list_name",
            "The name of a wanted list becomes a folder, and Windows keeps this one for a device. "
            "Rename the table.",
        )
    return name
