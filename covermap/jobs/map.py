"""`covermap map`: everything of a scenario, predicted and written, and its second half alone."""

from __future__ import annotations

from collections.abc import Callable, Collection
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from covermap.inputs.preparation import Preparation
    from covermap.jobs.from_store import FromStore
    from covermap.result.coverage import Coverage
    from covermap.scenario.records import Scenario

# told the stage, the fraction of it that is done, and words about it; False stops the run
Progress = Callable[[str, float, str], bool]


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
    also: Collection[str] = (),
    keep: bool = False,
    progress: Progress | None = None,
) -> str:
    """Predict and write everything of a scenario; return the summary in words.

    output : result folder; default as the scenario says. An earlier result in it is replaced when the new one
        is whole; whatever fails before leaves it as it was
    workers : threads; default one a core
    store : folder of path losses already computed; default .covermap_store beside the scenario
    scheduler : of dask.distributed, whose workers compute in place of this machine's threads
    scheduler_without_tls : also take a tcp:// scheduler on another machine
    overwrite : write into a folder that holds files of others; they stay
    public : leave out homes by cell, small counts and what would reveal them
    also : formats that layers are written in beside the GeoPackage: 'parquet' (needs pyarrow), 'pmtiles'
    keep : leave an earlier result as it is where everything it was made of, and all its files, are unchanged
    progress : told (stage, fraction, words); returning False stops the run

    Raises InputError when an input is wrong, the output folder is not ours or another run writes there; then
    nothing is written. Raises CovermapError when a disk is full or the folder was removed.
    """
    from covermap.result.exports import require_formats
    from covermap.result.result_folder import require_ours, require_writable
    from covermap.result.unchanged import is_unchanged, made_of, write_digests
    from covermap.scenario import read_scenario

    require_formats(also)
    scenario = read_scenario(scenario_path)
    folder = Path(output or scenario.output)
    require_ours(folder, overwrite)
    require_writable(folder)
    report = progress or (lambda stage, fraction, words: True)
    made = None if public else made_of(scenario, also)
    if keep and is_unchanged(folder, made):
        report("outputs", 1.0, "done")
        return _kept_in_words(scenario, folder)

    from covermap.grid.cluster import executor_of
    from covermap.inputs.prepare import prepare, store_folder
    from covermap.jobs.cost import Crew
    from covermap.jobs.memory_and_disk import refuse_what_does_not_fit
    from covermap.jobs.predict import origin_of_parts, write_rasters
    from covermap.jobs.side_by_side import side_by_side
    from covermap.reports.run_summary import run_in_words
    from covermap.result import open_coverage
    from covermap.result.new_result import new_result
    from covermap.wording.language import speaking

    prepared = prepare(scenario, store)
    crew = Crew(workers, on_cluster=scheduler is not None)
    refuse_what_does_not_fit(prepared, folder, store_folder(scenario, store), crew)
    origin = origin_of_parts(prepared, public=public)
    with new_result(folder, origin) as new:
        # Python is free while kernels work
        with side_by_side(1) as begin, executor_of(workers, scheduler, scheduler_without_tls) as executor:
            outputs = begin(_made_ready, prepared, store, workers, public=public)
            coverage = write_rasters(prepared, new, store, executor, progress, origin=origin, public=public)
            kept = outputs()

        from covermap.jobs.write_outputs import write_layers_and_pages

        whole = write_layers_and_pages(prepared, coverage, report, public=public, also=also, kept=kept)
        write_digests(new, made)
    with speaking(scenario.settings.display.language):
        return run_in_words(open_coverage(folder), whole)


def _made_ready(
    prepared: Preparation, store: Path | None, workers: int | None, *, public: bool
) -> FromStore | None:
    """Load what writes layers and pages, and the libraries of their pictures; return what they will ask."""
    import matplotlib.backends.backend_agg
    import matplotlib.figure  # noqa: F401

    import covermap.jobs.write_outputs  # noqa: F401
    from covermap.jobs.from_store import from_store

    return from_store(prepared, store, workers, public=public)


def _kept_in_words(scenario: Scenario, folder: Path) -> str:
    """Return the summary of a result that stays as it is."""
    from covermap.planning.areas import summarise_whole
    from covermap.reports.run_summary import run_in_words
    from covermap.result import open_coverage
    from covermap.wording.language import say, speaking

    coverage = open_coverage(folder)
    with speaking(scenario.settings.display.language):
        return "\n".join([say("run.kept"), run_in_words(coverage, summarise_whole(coverage))])


def write_outputs(
    coverage: Coverage,
    scenario: Scenario | None = None,
    *,
    store: Path | None = None,
    workers: int | None = None,
    progress: Progress | None = None,
) -> str:
    """Write tables, layers and pages of a predicted result into its folder; return the summary in words.

    The result is replaced whole: what another write_outputs() or map wrote there before goes.

    Parameters
    ----------
    coverage : Coverage
        Of predict(), or open_coverage() of a folder with the same scenario's result.
    scenario : Scenario, optional
        What the result was predicted from; predict() tells it with the coverage, a folder does not.
    store : path, optional
        Folder of path losses already computed; default .covermap_store beside the scenario.
    workers : int, optional
        Threads; default one a core.
    progress : callable, optional
        Told (stage, fraction, words).

    Raises
    ------
    InputError
        If the scenario is not told or not what the result was predicted from, or the result is public.
    """
    from covermap.errors import InputError
    from covermap.inputs.prepare import prepare
    from covermap.jobs.from_store import from_store
    from covermap.jobs.write_outputs import write_layers_and_pages
    from covermap.reports.run_summary import run_in_words
    from covermap.result import open_coverage
    from covermap.result.new_result import new_result
    from covermap.result.run_inputs import run_id_of
    from covermap.result.run_json import copy_prediction
    from covermap.wording.language import speaking

    scenario = scenario or coverage.scenario
    if scenario is None:
        raise InputError(
            f"{coverage.folder} does not tell where its scenario stands. "
            "Write write_outputs(coverage, read_scenario('scenario.toml'))."
        )
    if coverage.run.get("public"):
        raise InputError(f"{coverage.folder} is a public result, without what its layers are counted from.")
    if run_id_of(scenario) != coverage.run["run_id"]:
        raise InputError(
            f"{coverage.folder} was predicted from other inputs than {scenario.path} has now. Predict again."
        )
    prepared = prepare(scenario, store)
    report = progress or (lambda stage, fraction, words: True)
    with new_result(coverage.folder) as new:
        copied = copy_prediction(coverage, new)
        kept = from_store(prepared, store, workers)
        whole = write_layers_and_pages(prepared, copied, report, kept=kept)
    with speaking(scenario.settings.display.language):
        return run_in_words(open_coverage(coverage.folder), whole)
