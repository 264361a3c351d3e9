"""`covermap map`: everything of a scenario, predicted and written."""

from __future__ import annotations

from pathlib import Path


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
    from covermap.inputs.preparation import prepare, store_folder
    from covermap.jobs.cost import Crew
    from covermap.jobs.memory_and_disk import refuse_what_does_not_fit
    from covermap.jobs.predict import run
    from covermap.jobs.service_tiers import tiers_of
    from covermap.jobs.write_outputs import write_layers_and_pages
    from covermap.result.result_folder import require_ours, require_writable
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
    alone = tiers_of(prepared, store, workers)
    return write_layers_and_pages(prepared, coverage, report, public=public, alone=alone)
