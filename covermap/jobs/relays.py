"""A shortlist of hilltops for a relay: paths from every candidate, homes or land reached, greedy choice."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from covermap.errors import InputError
from covermap.inputs.preparation import Preparation
from covermap.inputs.prepare import prepare
from covermap.jobs.relay_paths import RelayPaths, note_harmed, reached_cells, relay_paths
from covermap.planning.relay_choice import choose_sites
from covermap.planning.relay_harm import Neighbour, neighbours_of
from covermap.planning.relay_shortlist import RelayShortlist, count_column
from covermap.planning.relay_sites import Sites, WeighedCells, candidate_sites, weighed_cells
from covermap.planning.results import read_cells
from covermap.propagation.ridges import PATH_CLASSES
from covermap.reception.required_field import required_field
from covermap.reception.variability import OPEN_PATH
from covermap.result.coverage import Coverage, open_coverage
from covermap.scenario import Scenario
from covermap.scenario.channels import Channel, read_channel_plan

ROOFTOP = 5
USUAL_WIDTH_MHZ = 6.0  # of a channel, without a channel plan
MOST_CHOSEN = 5


def relays(
    scenario: Scenario,
    result: str | Path | None = None,
    *,
    list_name: str | None = None,
    workers: int | None = None,
) -> RelayShortlist:
    """Return hilltops whose relay would bring most homes, without homes most land, to a rooftop antenna.

    Parameters
    ----------
    scenario : of read_scenario()
    result : its finished result folder; default as the scenario says
    list_name : the wanted list, default the first
    workers : threads, default one a core

    Raises
    ------
    InputError
        Without a finished result, or where no top receives the services.
    """
    coverage = open_coverage(result or scenario.output)
    name = list_name or coverage.lists[0]
    coverage.services(name)
    prepared = prepare(scenario)
    scenario = prepared.scenario
    if prepared.grid != coverage.grid:
        raise InputError(
            f"{coverage.folder}: its grid is not the scenario's any more. Run covermap map again."
        )
    lived = weighed_cells(coverage, name)
    tier = read_cells(coverage, f"{name}/tier", lived.row, lived.col)
    is_sought = (tier > ROOFTOP) & (tier <= ROOFTOP + 3)
    sought = np.where(is_sought, lived.weight, 0.0)
    sites = candidate_sites(
        coverage, name, WeighedCells(lived.row[is_sought], lived.col[is_sought], sought[is_sought])
    )
    if sites.row.size == 0:
        raise InputError(
            "No hilltop receives every service of the list 10 dB above what a rooftop antenna needs: a relay "
            "would have no donor signal."
        )
    channels, frequency_mhz, neighbours = _channels(scenario, len(coverage.services(name)))
    paths = relay_paths(prepared, sites, frequency_mhz, lived, workers)
    return _shortlist(
        prepared, coverage, name, sites, paths, lived, sought, channels, frequency_mhz, neighbours
    )


def _channels(scenario: Scenario, count: int) -> tuple[tuple[str, ...], float, tuple[Neighbour, ...]]:
    """Return channels for a relay, their middle frequency, and the stations on them or beside them.

    UHF channels that no station of the file uses come first, those without a station beside them before
    the others.
    """
    used = [station.frequency_mhz for station in scenario.stations]
    widths = [station.bandwidth_mhz for station in scenario.stations]
    plan_name, width_mhz = scenario.settings.transmitters.channel_plan, USUAL_WIDTH_MHZ
    uhf = []
    if plan_name is not None:
        plan = read_channel_plan(plan_name)
        usable = [channel for channel in plan.channels.values() if _usable(channel)]
        uhf = [(channel.label, channel.centre_mhz) for channel in usable]
        width_mhz = max((channel.width_mhz for channel in usable), default=width_mhz)
    if not uhf:
        uhf = [(f"{frequency:g} MHz", frequency) for frequency in sorted(set(used))]

    def harm(channel: tuple[str, float]) -> tuple[int, int, float]:
        near = neighbours_of(used, widths, [channel[1]], width_mhz)
        same = sum(one.overlap_db is not None for one in near)
        return same, len(near) - same, channel[1]

    picked = sorted(uhf, key=harm)[:count]
    relay_mhz = [frequency for _, frequency in picked]
    labels = tuple(label for label, _ in picked)
    return labels, float(np.median(relay_mhz)), neighbours_of(used, widths, relay_mhz, width_mhz)


def _usable(channel: Channel) -> bool:
    return channel.band == "uhf" and channel.use == "current"


def _shortlist(
    prepared: Preparation,
    coverage: Coverage,
    name: str,
    sites: Sites,
    paths: list[RelayPaths],
    lived: WeighedCells,
    sought: NDArray[np.float64],
    channels: tuple[str, ...],
    frequency_mhz: float,
    neighbours: tuple[Neighbour, ...],
) -> RelayShortlist:
    of_list = next(wanted for wanted in prepared.scenario.wanted if wanted.name == name)
    wanted = [prepared.scenario.stations[index] for group in of_list.transmitters for index in group]
    cn_db = max(station.required_cn_db for station in wanted)
    reached = reached_cells(paths, _needed_by_path(prepared, frequency_mhz, cn_db), lived.weight.size)
    harmed = _harmed(prepared, coverage, paths, lived, neighbours)
    worth = np.unique(reached.indices)
    worth = worth[sought[worth] > 0.0]
    chosen = choose_sites(reached[:, worth], sought[worth], harmed, MOST_CHOSEN)
    chance = read_cells(coverage, f"{name}/dead_zone_chance", lived.row, lived.col)
    dead = lived.weight * (1.0 - np.minimum(chance, 100) / 100.0)
    alone = reached @ sought
    others = [int(site) for site in np.argsort(-(alone - harmed), kind="stable") if site not in chosen]
    listed = [*chosen, *[site for site in others if alone[site] > harmed[site]][: 2 * MOST_CHOSEN]]
    longitude_deg, latitude_deg = coverage.grid.lonlat_of(sites.row, sites.col)
    covered = np.zeros(lived.weight.size, dtype=bool)
    rows, of_homes = [], coverage.has("homes")
    for rank, site in enumerate(listed, start=1):
        here = reached.indices[reached.indptr[site] : reached.indptr[site + 1]]
        added = float(sought[here[~covered[here]]].sum())
        if site in chosen:
            covered[here] = True
        counts = {
            "reached": float(alone[site]),
            "added": added,
            "dead_zone_reached": float(dead[here].sum()),
            "harmed": float(harmed[site]),
        }
        rows.append(
            {
                "rank": rank,
                "chosen": site in chosen,
                "latitude_deg": round(float(latitude_deg[site]), 6),
                "longitude_deg": round(float(longitude_deg[site]), 6),
                "ground_m": round(float(sites.ground_m[site]), 1),
                **{count_column(what, of_homes): round(count, 1) for what, count in counts.items()},
                "donor_margin_db": round(float(sites.donor_margin_db[site]), 1),
            }
        )
    table = pd.DataFrame(rows)
    points = gpd.points_from_xy(
        table.get("longitude_deg", []), table.get("latitude_deg", []), crs="EPSG:4326"
    )
    return RelayShortlist(
        gpd.GeoDataFrame(table, geometry=points),
        of_homes,
        name,
        frequency_mhz,
        channels,
        sum(one.overlap_db is not None for one in neighbours),
        sum(one.overlap_db is None for one in neighbours),
        float(sought.sum()),
        sites.row.size,
    )


def _needed_by_path(prepared: Preparation, frequency_mhz: float, cn_db: float) -> NDArray[np.float64]:
    """Return the field that is sure enough for a rooftop antenna, by number of the path's class, (256,)."""
    options = prepared.reception_options
    kinds = [PATH_CLASSES[number] if number < len(PATH_CLASSES) else OPEN_PATH for number in range(256)]
    by_kind = {
        kind: required_field(
            prepared.tiers[ROOFTOP],
            frequency_mhz,
            cn_db,
            options.noise_environment,
            confidence_percent=options.confidence_percent,
            options=options,
            path_class=kind,
        )
        for kind in PATH_CLASSES
    }
    return np.array([by_kind[kind] for kind in kinds])


def _harmed(
    prepared: Preparation,
    coverage: Coverage,
    paths: list[RelayPaths],
    lived: WeighedCells,
    neighbours: tuple[Neighbour, ...],
) -> NDArray[np.float64]:
    """Return homes or land that would lose a station on a relay's channel or beside it, by site."""
    harmed = [np.zeros(path.cell.size, dtype=bool) for path in paths]
    for neighbour in neighbours:
        station = prepared.scenario.stations[neighbour.station]
        name = f"field/{station.station_id}"
        if not coverage.has(name):
            raise InputError(
                f"{coverage.folder} holds no fields by station. Set field_rasters = true and run again."
            )
        needed_dbuvm = required_field(
            prepared.tiers[ROOFTOP],
            station.frequency_mhz,
            station.required_cn_db,
            prepared.reception_options.noise_environment,
            options=prepared.reception_options,
        )
        station_dbuvm = read_cells(coverage, name, lived.row, lived.col)
        note_harmed(harmed, paths, station_dbuvm, needed_dbuvm, neighbour)
    of_site = [lived.weight[path.cell[here]].sum() for path, here in zip(paths, harmed, strict=True)]
    return np.array(of_site, dtype=np.float64)
