"""One function for each thing a user asks for: paths and options in, files and a summary out."""

from __future__ import annotations

import shutil
from pathlib import Path

import covermap
from covermap.errors import InputError

DEMO_FILES = (
    "scenario.toml", "area.gpkg", "elevation.tif", "land_cover.tif", "homes.gpkg", "neighbourhoods.gpkg",
    "places.gpkg", "transmitters.csv", "patterns.csv", "prices.csv", "make_demo.py",
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


def check_scenario(
    scenario_path: Path,
    *,
    workers: int | None = None,
    store: Path | None = None,
    scheduler: str | None = None,
    scheduler_without_tls: bool = False,
):
    """Return a CheckReport: what was understood, what looks wrong, what a run will cost.

    scheduler : of dask.distributed, whose workers would compute in place of this machine's threads

    Raises InputError when an input is wrong, the scheduler does not answer, or the run does not fit.
    """
    from covermap.grid.cluster import worker_threads
    from covermap.runs.check import check
    from covermap.scenario import read_scenario

    scenario = read_scenario(scenario_path)
    threads = None if scheduler is None else worker_threads(scheduler, scheduler_without_tls)
    return check(scenario, workers=workers, store=store, cluster_threads=threads)


def map_scenario(
    scenario_path: Path,
    output: Path | None = None,
    *,
    workers: int | None = None,
    store: Path | None = None,
    scheduler: str | None = None,
    scheduler_without_tls: bool = False,
    overwrite: bool = False,
    public: bool = False,
    progress=None,
) -> str:
    """Predict and write everything of a scenario; return the summary in words.

    public : leave out homes by cell, small counts and what would reveal them

    scheduler : of dask.distributed, whose workers compute in place of this machine's threads

    Raises InputError when an input is wrong or the output folder is not ours; nothing is written then.
    """
    from covermap.grid.cluster import executor_of
    from covermap.outputs.everything import write_layers_and_pages
    from covermap.outputs.result_folder import require_ours, require_writable
    from covermap.runs.cost import Crew
    from covermap.runs.page_levels import levels_of
    from covermap.runs.predict import run
    from covermap.runs.preparation import prepare, store_folder
    from covermap.runs.room import refuse_what_does_not_fit
    from covermap.scenario import read_scenario

    scenario = read_scenario(scenario_path)
    folder = Path(output or scenario.output)
    require_ours(folder, overwrite)
    require_writable(folder)
    prepared = prepare(scenario, store)
    crew = Crew(workers, on_cluster=scheduler is not None)
    refuse_what_does_not_fit(prepared, folder, store_folder(scenario, store), crew)
    with executor_of(workers, scheduler, scheduler_without_tls) as executor:
        coverage = run(prepared, folder, store, executor, progress)
    report = progress or (lambda stage, fraction, words: True)
    levels = levels_of(prepared, store, workers)
    return write_layers_and_pages(prepared, coverage, report, public=public, levels=levels)


def address_sheets(scenario_path: Path, **options):
    """Write the sheet of an address, or of each of a list; return AddressAnswer: text and remarks.

    options : as covermap.runs.address_run.run_addresses

    Raises InputError when an input is wrong or no row of the list is usable; nothing is written then.
    """
    from covermap.runs.address_run import run_addresses

    return run_addresses(scenario_path, **options)


def write_qgis_plugin(path: Path) -> str:
    """Write the QGIS plugin as a zip; return how to install it. Raises InputError when it cannot be."""
    from covermap.runs.plugin_zip import write_plugin_zip

    write_plugin_zip(path)
    return (
        f"Wrote {path}. In QGIS: Plugins, Manage and Install Plugins, Install from ZIP.\n"
        "Then name the covermap command under Settings, Options, covermap, unless it is on PATH."
    )


def path_losses(cases: Path, profiles: Path):
    """Return CaseResults: the loss of each row of a case file."""
    from covermap.runs.path_cases import run_cases

    return run_cases(cases, profiles)


def compare_antennas(
    log: Path,
    output: Path | None = None,
    *,
    channel_plan: str = "us_6mhz",
    tier_table: Path | None = None,
    known_gain: dict[str, tuple[float, float]] | None = None,
    candidate: str | None = None,
    like_tier: int = 5,
) -> str:
    """Compare the antennas of a log, write its page and tables, and return the answer in words.

    output : default, a folder antenna_test beside the log
    tier_table : where to write a tier table in which like_tier has the candidate's measured gains, from
        known_gain: band -> the reference's gain and its standard uncertainty. [dBd, dB]

    Raises InputError when the log or a choice is wrong; nothing is written then.
    """
    from covermap.measurements.antenna_test import antenna_test
    from covermap.outputs.fieldwork.antenna_page import in_words, write_antenna_test, write_tier_table

    test = antenna_test(log, channel_plan)
    if tier_table is not None:
        write_tier_table(test, tier_table, known_gain or {}, candidate, like_tier)
    files = write_antenna_test(test, output or log.parent / "antenna_test")
    return in_words(test, files[0])


def calibrate_scenario(
    scenario_path: Path,
    readings: Path,
    output: Path | None = None,
    *,
    percent_scales: Path | None = None,
    public: bool = False,
) -> str:
    """Compare readings with the prediction, write what they support, and return it in words.

    output : default, the scenario's own folder
    percent_scales : of an antenna test, for readings in per cent

    Raises InputError when the scenario or every reading is wrong; nothing is written then.
    """
    from covermap.measurements.calibrate import calibrate
    from covermap.outputs.fieldwork.calibration_page import in_words, write_calibration
    from covermap.outputs.run_json import scenario_cautions
    from covermap.scenario import read_scenario

    scenario = read_scenario(scenario_path)
    report = calibrate(scenario, readings, percent_scales)
    files = write_calibration(report, output or scenario.path.parent, scenario_cautions(scenario), public)
    return in_words(report, files, public)


def prepare_fieldwork(
    result: Path,
    output: Path | None = None,
    *,
    reports: Path | None = None,
    list_name: str | None = None,
    count: int = 15,
    public: bool = False,
) -> str:
    """Write where to measure next, blank forms and, with reports, what they say against the map.

    output : default, a folder fieldwork inside the result

    Raises InputError when the folder holds no result or the reports are wrong; nothing is written then.
    """
    from covermap.measurements.reports import disagreements, read_reports, report_cells
    from covermap.measurements.survey import survey_points
    from covermap.outputs import open_coverage
    from covermap.outputs.fieldwork.public_rows import public_rows
    from covermap.outputs.fieldwork.report_files import write_forms, write_reports
    from covermap.outputs.fieldwork.survey_files import write_survey

    coverage = open_coverage(result)
    folder = output or coverage.folder / "fieldwork"
    name = list_name or coverage.lists[0]
    coverage.services(name)
    read = None if reports is None else read_reports(reports, coverage.tier_names)
    apart, outside = ([], 0) if read is None else disagreements(read.reports, coverage, name)
    points = survey_points(coverage, name, count)
    files = [*write_survey(points, coverage, folder), *write_forms(coverage, folder)]
    words = [f"{len(points)} points to measure next: {files[0]}, {files[1].name}; blank forms beside them."]
    if read is not None:
        cells = report_cells(read.reports, coverage.grid, public)
        files += write_reports(read, cells, apart, outside, coverage, folder, public)
        words.append(f"{len(read.reports)} reports, {len(apart)} of them against the map: reports.html.")
        left_out = public_rows(read.unreadable) if public else read.unreadable
        words += [f"Left out: {sentence}" for sentence in left_out]
    return "\n".join(words)


def compare_results(before: Path, after: Path, output: Path | None = None, *, overwrite: bool = False) -> str:
    """Write what changed between two results; return it in words.

    output : default, a folder changes inside the later result

    Raises InputError when they cannot be compared or the output folder is not ours; nothing is written then.
    """
    from covermap.outputs import open_coverage
    from covermap.outputs.comparison import write_comparison
    from covermap.outputs.result_folder import require_own_record, require_writable
    from covermap.outputs.words import path_in_words
    from covermap.runs.comparing import changes

    opened = open_coverage(before), open_coverage(after)
    folder = output or opened[1].folder / "changes"
    require_own_record(folder, "changes.json", overwrite)
    require_writable(folder)
    sentences = write_comparison(changes(*opened), *opened, folder)
    return "\n".join(
        [
            *sentences,
            f"Open {path_in_words(folder / 'changes.html')}; GIS: {path_in_words(folder / 'changes.gpkg')}.",
        ]
    )


def shortlist_relays(
    scenario_path: Path, output: Path | None = None, *, workers: int | None = None, overwrite: bool = False
) -> str:
    """Write the hilltops from which a relay would reach most homes; return them in words.

    output : default, a folder relays inside the scenario's result

    Raises InputError without a finished result with homes; nothing is written then.
    """
    from covermap.outputs import open_coverage
    from covermap.outputs.relay_list import write_relays
    from covermap.outputs.result_folder import require_own_record, require_writable
    from covermap.outputs.words import path_in_words
    from covermap.runs.relays import relays
    from covermap.scenario import read_scenario

    scenario = read_scenario(scenario_path)
    coverage = open_coverage(scenario.output)
    folder = output or coverage.folder / "relays"
    require_own_record(folder, "relays.html", overwrite)
    require_writable(folder)
    found = relays(scenario, workers=workers)
    sentences = write_relays(found, coverage.run.get("cautions", []), scenario.name, folder)
    return "\n".join(
        [
            *sentences,
            f"Open {path_in_words(folder / 'relays.html')}; GIS: {path_in_words(folder / 'relays.gpkg')}.",
        ]
    )
