"""`covermap demo`: something to run; and the new folder that it and `covermap new` write to."""

from __future__ import annotations

import shutil
from pathlib import Path

import covermap
from covermap.errors import InputError

DEMO_FILES = (
    "scenario.toml", "area.gpkg", "elevation.tif", "land_cover.tif", "homes.gpkg", "neighbourhoods.gpkg",
    "places.gpkg", "transmitters.csv", "patterns.csv", "prices.csv", "antennas.csv", "antenna_gains.csv",
    "devices.csv",
    "bench_log.csv", "make_demo.py", "make_bench.py",
)  # fmt: skip


def write_demo(folder: Path) -> str:
    """Write the demo scenario to a new or empty folder; return what to do next.

    Raises InputError when the folder holds files already or cannot be written.
    """
    new_folder(folder)
    for name in DEMO_FILES:
        shutil.copyfile(_demo_source() / name, folder / name)
    return (
        f"Wrote the demo to {folder}: Skerra, an invented island with 6 masts.\n"
        f"Next: covermap map {folder / 'scenario.toml'}"
    )


def _demo_source() -> Path:
    """Return the demo's folder: inside an installed package, or beside it in a checkout."""
    package = Path(covermap.__file__).parent
    inside = package / "data_demo"
    return inside if inside.is_dir() else package.parent / "data_demo"


def new_folder(folder: Path) -> None:
    """Make a folder, or take an empty one. Raises InputError where it holds files or cannot be made."""
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise InputError(f"{folder} exists and is not an empty folder. Name a new folder.")
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            f"{folder} cannot be made: {error.strerror}. Name a folder you may write to."
        ) from error
