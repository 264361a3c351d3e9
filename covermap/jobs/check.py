"""`check`: what was understood of a scenario, what looks wrong, and what a run will cost."""

from __future__ import annotations

import shlex
from dataclasses import dataclass
from pathlib import Path

from covermap.grid.cluster import worker_threads
from covermap.inputs.places_read import places_read
from covermap.inputs.preparation import Preparation
from covermap.inputs.prepare import prepare, store_folder
from covermap.jobs.cost import Cost, Crew, estimate
from covermap.jobs.memory_and_disk import blocks_of_run, refuse_what_does_not_fit
from covermap.reception.variability import sigma_summary
from covermap.result.run_json import trees_in_words
from covermap.scenario import Scenario, read_scenario
from covermap.scenario.sites import SITE_KM, site_numbers
from covermap.wording.words import path_in_words, plural


@dataclass(frozen=True)
class CheckReport:
    """What `covermap check` says.

    lines : what was understood, as (heading, sentence); warnings : what looks wrong
    scenario : the file that was checked
    """

    lines: tuple[tuple[str, str], ...]
    warnings: tuple[str, ...]
    cost: Cost
    scenario: Path

    def in_words(self) -> str:
        """Return the report as text for a terminal."""
        text = [f"{heading:<10} {sentence}" for heading, sentence in self.lines]
        count = len(self.warnings)
        text.append(f"0 errors, {plural(count, 'warning')}{':' if count else ''}")
        text += [f"  {sentence}" for sentence in self.warnings]
        text.append(f"Next: covermap map {shlex.quote(path_in_words(self.scenario))}")
        return "\n".join(text)


def check(
    scenario: Scenario,
    *,
    workers: int | None = None,
    store: str | Path | None = None,
    cluster_threads: int | None = None,
) -> CheckReport:
    """Read and cross-check all inputs of a scenario; compute nothing.

    workers : threads of this machine, default one a core
    store : folder of path losses already computed; default .covermap_store beside the scenario
    cluster_threads : of a cluster's workers together, which would compute instead

    Raises InputError when an input is wrong or the run does not fit this machine.
    """
    prepared = prepare(scenario, store)
    scenario = prepared.scenario
    folder = store_folder(scenario, store)
    crew = Crew(workers) if cluster_threads is None else Crew(cluster_threads, on_cluster=True)
    refuse_what_does_not_fit(prepared, scenario.output, folder, crew)
    cost = estimate(prepared, crew)
    lines = [
        ("Area", _area(prepared)),
        ("Elevation", prepared.terrain.summary(_places(scenario), places_read(prepared))),
        ("Cover", trees_in_words(scenario.settings.terrain)),
        ("Stations", stations_in_words(scenario)),
        ("Homes", homes_in_words(prepared)),
        ("Spread", sigma_summary(prepared.reception_options).in_words()),
        ("Paths", _paths(prepared, folder)),
        ("Cost", f"{cost.in_words()}, {crew.in_words()}"),
    ]
    return CheckReport(tuple(lines), prepared.warnings, cost, scenario.path)


def homes_in_words(prepared: Preparation) -> str:
    """Return for example '4,800 in 62 neighbourhoods, 2021; 12 (0.3 %) outside the map'."""
    homes, neighbourhoods = prepared.counted.homes, prepared.counted.neighbourhoods
    asked = prepared.scenario.settings.homes
    if homes is None or asked is None:
        return "none given; results are shares of land"
    words = f"{homes.total:,.0f}"
    if neighbourhoods is not None:
        words += f" in {plural(len(neighbourhoods), 'neighbourhood')}"
    if asked.year is not None:
        words += f", {asked.year}"
    if homes.features_without_count:
        words += f"; {plural(homes.features_without_count, 'feature')} without a count"
    if homes.outside >= 0.5:
        words += f"; {homes.outside:,.0f} ({100.0 * homes.outside / homes.total:.2g} %) outside the map"
    return words


def _paths(prepared: Preparation, folder: Path) -> str:
    """Return how many loss blocks a run needs and how many stand in the store already."""
    needed, stored = blocks_of_run(prepared, folder)
    return f"{plural(needed, 'block')} of path losses, {stored:,} in the store"


def _places(scenario: Scenario) -> list[tuple[float, float]]:
    return list(dict.fromkeys((station.latitude_deg, station.longitude_deg) for station in scenario.stations))


def _area(prepared: Preparation) -> str:
    grid = prepared.grid
    width_km, height_km = grid.cols * grid.cell_m / 1000.0, grid.rows * grid.cell_m / 1000.0
    authority = grid.crs.to_authority()
    name = ":".join(authority) if authority else "a local equal-area projection"
    return (
        f"{width_km:.3g} x {height_km:.3g} km, {grid.rows * grid.cols:,} squares of {grid.cell_m:g} m, {name}"
    )


def stations_in_words(scenario: Scenario) -> str:
    """Return how many stations, masts and sites there are, the lists, and what was left out."""
    masts, sites = len(scenario.masts), len(set(site_numbers(scenario.stations).tolist()))
    parts = [f"{len(scenario.stations)} at {plural(masts, 'mast')}"]
    if sites != masts:  # a label at two places, or masts side by side
        parts[0] += f", {plural(sites, 'site')} (masts within {SITE_KM:g} km are one)"
    if scenario.stations_as_of:
        parts[0] += f", as of {scenario.stations_as_of_range}"
    for wanted in scenario.wanted:
        parts.append(f'list "{wanted.name}": {wanted.needed} of {len(wanted.services)}'
                     if wanted.at_least else f'list "{wanted.name}": {len(wanted.services)}')  # fmt: skip
    for reason, count in scenario.left_out.items():
        parts.append(f"{plural(count, 'row')} left out ({reason})")
    return "; ".join(parts)


def check_scenario(
    scenario_path: Path,
    *,
    workers: int | None = None,
    store: Path | None = None,
    scheduler: str | None = None,
    scheduler_without_tls: bool = False,
) -> CheckReport:
    """Return a CheckReport: what was understood, what looks wrong, what a run will cost.

    scheduler : of dask.distributed, whose workers would compute in place of this machine's threads

    Raises InputError when an input is wrong, the scheduler does not answer, or the run does not fit.
    """
    scenario = read_scenario(scenario_path)
    threads = None if scheduler is None else worker_threads(scheduler, scheduler_without_tls)
    return check(scenario, workers=workers, store=store, cluster_threads=threads)
