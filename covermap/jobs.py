"""One function for each thing a user asks for: paths and options in, files and a summary out."""

from __future__ import annotations

import shutil
from pathlib import Path

import covermap
from covermap.errors import InputError

DEMO_FILES = (
    "scenario.toml", "area.gpkg", "elevation.tif", "land_cover.tif", "homes.gpkg", "neighbourhoods.gpkg",
    "places.gpkg", "transmitters.csv", "patterns.csv", "make_demo.py",
)  # fmt: skip


def write_demo(folder: Path) -> str:
    """Write the demo scenario to a new or empty folder; return what to do next.

    Raises InputError when the folder holds files already or cannot be written.
    """
    _new_folder(folder)
    for name in DEMO_FILES:
        shutil.copyfile(_demo_source() / name, folder / name)
    return (
        f"Wrote the demo to {folder}: Skerra, an invented island with 5 masts.\n"
        f"Next: covermap map {folder / 'scenario.toml'}"
    )


def _demo_source() -> Path:
    """Return the demo's folder: inside an installed package, or beside it in a checkout."""
    package = Path(covermap.__file__).parent
    inside = package / "data_demo"
    return inside if inside.is_dir() else package.parent / "data_demo"


def _new_folder(folder: Path) -> None:
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise InputError(f"{folder} exists and is not an empty folder. Name a new folder.")
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError(
            f"{folder} cannot be made: {error.strerror}. Name a folder you may write to."
        ) from error


def write_new(folder: Path, elevation: list[Path], stations: Path | None) -> str:
    """Write a commented scenario and blank tables to a new folder; return what is still missing."""
    from covermap.scenario.template import write_new_scenario

    _new_folder(folder)
    missing = write_new_scenario(folder, elevation, stations)
    lines = [f"Wrote {folder / 'scenario.toml'} with every key and its default, and blank tables."]
    lines += ["Still missing:", *(f"  {sentence}" for sentence in missing)] if missing else []
    lines.append(f"Then: covermap check {folder / 'scenario.toml'}")
    return "\n".join(lines)


def check_scenario(scenario_path: Path, *, workers: int | None = None, store: Path | None = None):
    """Return a CheckReport: what was understood, what looks wrong, what a run will cost."""
    from covermap.check import check
    from covermap.scenario import read_scenario

    return check(read_scenario(scenario_path), workers=workers)


def map_scenario(
    scenario_path: Path,
    output: Path | None = None,
    *,
    workers: int | None = None,
    store: Path | None = None,
    overwrite: bool = False,
    progress=None,
) -> str:
    """Predict and write everything of a scenario; return the summary in words.

    Raises InputError when an input is wrong or the output folder is not ours; nothing is written then.
    """
    from covermap.cost import refuse_what_does_not_fit
    from covermap.outputs.everything import write_layers_and_pages
    from covermap.outputs.result_folder import require_ours, require_writable
    from covermap.predict import run
    from covermap.preparation import prepare
    from covermap.scenario import read_scenario

    scenario = read_scenario(scenario_path)
    folder = Path(output or scenario.output)
    require_ours(folder, overwrite)
    require_writable(folder)
    prepared = prepare(scenario)
    refuse_what_does_not_fit(prepared, folder, workers)
    coverage = run(prepared, folder, store, workers, progress)
    return write_layers_and_pages(prepared, coverage, progress or (lambda stage, fraction, words: True))


def write_qgis_plugin(path: Path) -> str:
    """Write the QGIS plugin as a zip; return how to install it. Raises InputError when it cannot be."""
    from covermap.plugin_zip import write_plugin_zip

    write_plugin_zip(path)
    return (
        f"Wrote {path}. In QGIS: Plugins, Manage and Install Plugins, Install from ZIP.\n"
        "Then name the covermap command under Settings, Options, covermap, unless it is on PATH."
    )


def path_losses(cases: Path, profiles: Path):
    """Return CaseResults: the loss of each row of a case file."""
    from covermap.path_cases import run_cases

    return run_cases(cases, profiles)
