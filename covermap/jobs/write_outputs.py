"""Everything of a result that is derived from its rasters: tables, layers and pages."""

from __future__ import annotations

import time
from collections.abc import Callable, Collection, Sequence
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
from numpy.typing import NDArray

from covermap.gis_layers.cells_parquet import CELLS_FILE, write_cells_parquet
from covermap.gis_layers.geopackage import write_geopackage
from covermap.gis_layers.qgis_project import write_qgis_project
from covermap.gis_layers.raster_styles import write_raster_styles
from covermap.inputs.preparation import Preparation
from covermap.jobs.from_store import Answers, FromStore, asked_beside
from covermap.jobs.output_counts import Counts, counts_of, public_counts
from covermap.jobs.side_by_side import side_by_side
from covermap.planning.areas import WholeSummary
from covermap.planning.contours import contours
from covermap.planning.local_doubts import local_doubts_record
from covermap.planning.neighbourhoods import OUTSIDE_ID
from covermap.planning.places import Place
from covermap.planning.second_opinion import opinion_counts
from covermap.reports.brief import write_brief
from covermap.reports.fieldwork.survey_files import survey_layers
from covermap.reports.web_map import write_map
from covermap.result.coarsened import coarsened
from covermap.result.coverage import Coverage
from covermap.result.csv_tables import (
    ANTENNA_STOCK_FILE,
    write_csv,
    write_neighbourhoods,
    write_stock,
    write_transmitters,
)
from covermap.result.exports import PARQUET, PMTILES, write_geoparquet, write_pmtiles
from covermap.result.kept_rasters import KeptCoverage
from covermap.result.parts import largest_whole_cells, parts_of
from covermap.result.public import public_homes
from covermap.result.run_json import homes_record, update_run_json
from covermap.result.stac_item import write_stac_item
from covermap.result.transmitters import transmitters_layer
from covermap.scenario.records import Scenario
from covermap.terrain import relief_grey
from covermap.wording.language import speaking

Report = Callable[[str, float, str], bool]


def write_layers_and_pages(
    prepared: Preparation,
    coverage: Coverage,
    report: Report,
    *,
    public: bool = False,
    also: Collection[str] = (),
    kept: FromStore | None = None,
) -> dict[str, WholeSummary]:
    """Write tables, GeoPackage and pages of a result whose rasters are there; return its summary by list.

    prepared : covermap.inputs.preparation.Preparation of the run
    report : told (stage, fraction, words)
    public : leave out homes by cell, small counts and what would reveal them, and the stock
    also : formats that layers are written in beside the GeoPackage, of result.exports.FORMATS
    kept : what is asked of the store's paths; None asks nothing
    """
    started = time.perf_counter()
    with asked_beside(kept) as answers:
        whole, told, files = _write_all(prepared, coverage, report, answers, public=public, also=also)
    told["stages_s"] = {"outputs": round(time.perf_counter() - started, 2)}
    update_run_json(coverage.folder, told, files)
    return whole


def _write_all(
    prepared: Preparation,
    coverage: Coverage,
    report: Report,
    answers: Callable[[], Answers],
    *,
    public: bool,
    also: Collection[str],
) -> tuple[dict[str, WholeSummary], dict[str, Any], list[Path]]:
    """Write everything; return the summaries, what run.json tells of it and the files."""
    report("outputs", 0.05, "counting")
    coverage = KeptCoverage(coverage)
    counts = counts_of(prepared, coverage)
    if public:
        counts = public_counts(counts)
        # without the rasters in memory, which tell of homes
        coverage = KeptCoverage(Coverage(coverage.folder, coverage.run))
    told: dict[str, Any] = {
        "homes": _homes_record(prepared, counts.areas, public=public),
        "second_opinion": opinion_counts(coverage),
        **local_doubts_record(coverage),
    }
    coverage.run |= told
    report("outputs", 0.3, "coverage.gpkg")
    customers = () if public else prepared.counted.customers
    with side_by_side(1) as begin:
        layers = begin(_all_layers, prepared, coverage, counts, also)
        files = _pages(prepared, coverage, counts, report, answers, customers)
        written, warnings = layers()
    files += written
    stock = answers().stock
    if stock is not None:
        files.append(write_csv(stock, coverage.folder / ANTENNA_STOCK_FILE))
    files.append(write_stac_item(coverage, [*files, *map(coverage.path, coverage.raster_names())]))
    report("outputs", 1.0, "done")
    told |= {"warnings": list(warnings), "dead_zones": counts.zones["wanted_list"].value_counts().to_dict()}
    return counts.whole, told, files


def _all_layers(
    prepared: Preparation, coverage: Coverage, counts: Counts, also: Collection[str]
) -> tuple[list[Path], tuple[str, ...]]:
    """Write _layers() and the further formats."""
    with speaking(prepared.scenario.settings.display.language):
        files, warnings = _layers(prepared, coverage, counts)
    if PARQUET in also:
        files += _parquet(prepared.scenario, coverage)
    if PMTILES in also:
        files += write_pmtiles(coverage, coverage.folder / PMTILES)
    return files, warnings


def _layers(prepared: Preparation, coverage: Coverage, counts: Counts) -> tuple[list[Path], tuple[str, ...]]:
    """Write tables, GeoPackage, styles and project; return their paths and what to warn of."""
    scenario, folder = prepared.scenario, coverage.folder
    areas, table = _apart(counts.areas)
    transmitters = _transmitters(prepared, coverage, counts.whole)
    files = [write_transmitters(transmitters, folder)]
    if table is not None:
        files.append(write_neighbourhoods(table, folder))
    if counts.stock is not None:
        files.append(write_stock(counts.stock, folder))
    lines, warnings = contours(scenario.stations, prepared.terrain, coverage.grid.crs_wkt)
    more = {
        "dead_zones": counts.zones,
        "ridges": counts.ridges,
        "survey_points": survey_layers(coverage),
        "contours": lines,
    }
    tables = {"tier_totals": counts.totals}
    files.append(write_geopackage(scenario, coverage, areas, transmitters, folder, more=more, tables=tables))
    files += write_raster_styles(coverage)
    files.append(write_qgis_project(coverage))
    return files, warnings


def _pages(
    prepared: Preparation,
    coverage: Coverage,
    counts: Counts,
    report: Report,
    answers: Callable[[], Answers],
    customers: Sequence[Place],
) -> list[Path]:
    """Write the brief and the map; return their paths."""
    areas, _ = _apart(counts.areas)
    drawn = coarsened(coverage)
    relief = relief_grey(drawn.read("ground"), drawn.grid.cell_m)
    report("outputs", 0.6, "brief.html")
    with speaking(prepared.scenario.settings.display.language):
        brief = write_brief(
            drawn,
            prepared.scenario,
            counts.whole,
            relief,
            coverage.folder,
            behind=counts.behind,
            areas=areas,
            zones=counts.zones,
            places=prepared.counted.places,
        )
        report("outputs", 0.7, "map.html")
        of_counts = counts.whole, relief, areas, counts.zones, counts.ridges
        page = _write_map(prepared, drawn, *of_counts, answers, customers)
    return [brief, page]


def _parquet(scenario: Scenario, coverage: Coverage) -> list[Path]:
    """Write every layer as GeoParquet, and all cells where they are too many for the GeoPackage."""
    folder = coverage.folder / PARQUET
    files = write_geoparquet(coverage, folder)
    if folder / CELLS_FILE not in files:
        files.append(write_cells_parquet(scenario, coverage, folder))
    return files


def _transmitters(
    prepared: Preparation, coverage: Coverage, whole: dict[str, WholeSummary]
) -> gpd.GeoDataFrame:
    stations = prepared.scenario.stations
    ground_m = prepared.terrain.ground_m(
        np.array([station.longitude_deg for station in stations]),
        np.array([station.latitude_deg for station in stations]),
    )
    first = whole[prepared.scenario.wanted[0].name]
    return transmitters_layer(
        prepared.scenario,
        coverage,
        ground_terrain_m={s.station_id: float(m) for s, m in zip(stations, ground_m, strict=True)},
        homes_decided=first.decided if prepared.homes is not None else None,
    )


def _apart(counted: gpd.GeoDataFrame | None) -> tuple[gpd.GeoDataFrame | None, gpd.GeoDataFrame | None]:
    """Return the rows of neighbourhoods, and the table with the row outside them where homes stand there."""
    if counted is None:
        return None, None
    outside = counted["neighbourhood_id"] == OUTSIDE_ID
    empty = outside & (counted.geometry.is_empty | (counted.get("homes_total") == 0))
    return counted[~outside].reset_index(drop=True), counted[~empty]


def _homes_record(
    prepared: Preparation, counted: gpd.GeoDataFrame | None, *, public: bool
) -> dict[str, Any] | None:
    """Return what run.json says of the homes, those outside every neighbourhood among it."""
    record = homes_record(prepared.homes, prepared.scenario)
    if record is not None and counted is not None:
        outside = counted.loc[counted["neighbourhood_id"] == OUTSIDE_ID, "homes_total"].fillna(0.0)
        record["outside_neighbourhoods"] = float(outside.iloc[0]) if len(outside) else 0.0
    return public_homes(record) if public else record


def _write_map(
    prepared: Preparation,
    coverage: Coverage,
    whole: dict[str, WholeSummary],
    relief: NDArray[np.uint8],
    areas: gpd.GeoDataFrame | None,
    zones: gpd.GeoDataFrame,
    ridges: gpd.GeoDataFrame,
    answers: Callable[[], Answers],
    customers: Sequence[Place],
) -> Path:
    path = coverage.folder / "map.html"
    write_map(
        coverage,
        prepared.scenario,
        relief,
        whole,
        path,
        places=prepared.counted.places,
        context=prepared.counted.context,
        customers=customers,
        tier_names=[tier.name for tier in prepared.tiers.tiers],
        heights=prepared.terrain,
        areas=areas,
        zones=zones,
        ridges=ridges,
        answers=lambda: answers().page,
        largest_whole=None if len(parts_of(prepared.grid)) == 1 else largest_whole_cells(),
    )
    return path
