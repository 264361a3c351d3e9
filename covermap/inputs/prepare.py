"""Reads a scenario's inputs and cross-checks them, before anything is computed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import shapely

from covermap.catalogue import read_catalogue, require_antennas_of
from covermap.errors import grouped
from covermap.grid.frame import Grid
from covermap.grid.make_grid import lay_grid
from covermap.inputs.assumed_clutter import assumes_clutter, with_assumed_clutter
from covermap.inputs.calibration import read_calibration
from covermap.inputs.counted import CountedInputs, read_counted_inputs, read_homes
from covermap.inputs.noise_at import environment_without_class
from covermap.inputs.path_requests import PATH_HEIGHT_M, path_requests
from covermap.inputs.preparation import Preparation
from covermap.inputs.stations_that_count import in_grid, stations_heard_at
from covermap.inputs.terrain_doubts import on_terrain, positions, squares_of_area, terrain_warnings
from covermap.reception import ReceptionOptions
from covermap.reception.tiers import TierTable
from covermap.scenario import Scenario, check_positions
from covermap.scenario.settings import Settings
from covermap.tables import read_external_noise, read_prediction_spread, read_tiers
from covermap.terrain import (
    Terrain,
    check_area,
    check_clutter_heights,
    look_at_terrain,
    read_terrain,
)
from covermap.terrain.read import TerrainOutline


def store_folder(scenario: Scenario, store: str | Path | None) -> Path:
    """Return the folder of path losses: as asked, else .covermap_store beside the scenario."""
    return Path(store) if store else scenario.path.parent / ".covermap_store"


def prepare(scenario: Scenario, store: str | Path | None = None) -> Preparation:
    """Read everything a map needs and cross-check it; stations that cannot matter are left out.

    store : folder of path losses, beside which terrain goes that does not fit in memory; default
        .covermap_store beside the scenario

    Raises InputError when an input is wrong, with what would be right.
    """
    settings = scenario.settings
    outline, grid, area, tiers, options = _before_terrain(scenario)
    # Before the terrain is read: a national list would otherwise draw in the elevation of a country.
    scenario = in_grid(scenario, grid, tiers, options)
    corners = grid.corners_lonlat()
    needed = outline.around(
        *(np.concatenate(pair) for pair in zip(corners, positions(scenario), strict=True))
    )
    terrain = read_terrain(settings, folder=store_folder(scenario, store), outline=needed)
    scenario, beyond = on_terrain(scenario, terrain)
    warnings = [*scenario.warnings, *beyond, *terrain_warnings(scenario, terrain)]
    squares = squares_of_area(grid, area)
    warnings += [*check_area(terrain, *squares), *check_clutter_heights(terrain, *squares)]
    counted = read_counted_inputs(settings, terrain, grid, area)
    # After the homes: what is assumed stands near them, and it is part of the terrain's digest and so of
    # every path.
    terrain = with_assumed_clutter(terrain, settings, grid, counted.homes)
    return _preparation(scenario, terrain, grid, area, tiers, options, counted, warnings)


def _before_terrain(
    scenario: Scenario,
) -> tuple[TerrainOutline, Grid, shapely.Geometry | None, TierTable, ReceptionOptions]:
    """Return what is known before heights are read: extent, grid, what the map is of, tiers, options."""
    settings = scenario.settings
    outline = look_at_terrain(settings)
    whole = outline.whole
    check_positions(scenario.stations, whole.bounds_deg)
    grid, area = lay_grid(settings.grid, whole)
    return (
        outline,
        grid,
        area,
        read_tiers(settings.reception.antenna_tiers),
        reception_options(settings, grid),
    )


def prepare_places(scenario: Scenario, places_deg: Sequence[tuple[float, float]]) -> Preparation:
    """Read what the paths to some places need: elevation where they run; homes where they decide a path.

    places_deg : (latitude, longitude) of each, none for anywhere; Preparation.at() then leaves out what
        cannot matter at one

    Raises InputError when an input is wrong, with what would be right.
    """
    settings = scenario.settings
    outline, grid, area, tiers, options = _before_terrain(scenario)
    if places_deg:
        scenario = stations_heard_at(scenario, places_deg, tiers, options)
        latitude_deg, longitude_deg = np.array(places_deg, dtype=np.float64).T
        corners = zip((longitude_deg, latitude_deg), positions(scenario), strict=True)
        outline = outline.around(*(np.concatenate(pair) for pair in corners))
    terrain = read_terrain(settings, outline=outline, on_demand=True)
    scenario, beyond = on_terrain(scenario, terrain)
    warnings = [*scenario.warnings, *beyond, *terrain_warnings(scenario, terrain)]
    of_homes = settings.homes is not None and settings.homes.building is not None
    counted = CountedInputs()
    if of_homes or assumes_clutter(settings):
        counted = CountedInputs(homes=read_homes(settings, terrain, grid, area)[0])
    terrain = with_assumed_clutter(terrain, settings, grid, counted.homes)
    prepared = _preparation(scenario, terrain, grid, area, tiers, options, counted, warnings)
    return replace(prepared, whole_map=False)


def _preparation(
    scenario: Scenario,
    terrain: Terrain,
    grid: Grid,
    area: shapely.Geometry | None,
    tiers: TierTable,
    options: ReceptionOptions,
    counted: CountedInputs,
    warnings: Sequence[str],
) -> Preparation:
    heights_m = tuple(
        sorted({PATH_HEIGHT_M} | {t.height_m for t in tiers.tiers if t.height_m >= PATH_HEIGHT_M})
    )
    requests, station_request, station_frequency = path_requests(scenario, terrain, grid, heights_m)
    path = scenario.settings.prediction.calibration
    calibration = None if path is None else read_calibration(path)
    reception = scenario.settings.reception
    catalogue = read_catalogue(reception.antennas)
    if reception.antenna_tiers is not None:
        require_antennas_of(tiers, catalogue, reception.antenna_tiers.name)
    doubts = () if calibration is None else calibration.doubts(scenario)
    return Preparation(
        scenario=scenario,
        terrain=terrain,
        grid=grid,
        area=area,
        tiers=tiers,
        heights_m=heights_m,
        requests=requests,
        station_request=station_request,
        station_frequency=station_frequency,
        reception_options=options,
        counted=counted,
        catalogue=catalogue,
        warnings=tuple(grouped((*warnings, *counted.warnings, *doubts, *catalogue.warnings))),
        calibration=calibration,
    )


def reception_options(settings: Settings, grid: Grid) -> ReceptionOptions:
    """Return what a scenario asks of reception."""
    reception = settings.reception
    return ReceptionOptions(
        confidence_percent=reception.confidence_percent,
        prediction_error_db=reception.prediction_error_db,
        path_spread_db=read_prediction_spread(reception.prediction_spread, settings.prediction.model),
        # A canopy or heights count as land cover here: what decides the spread is whether surroundings are
        # known.
        has_land_cover=settings.terrain.tells_clutter,
        cell_m=grid.cell_m,
        noise_environment=environment_without_class(reception),
        building=reception.building,
        external_noise=read_external_noise(),
        tuner_noise_figure_db=reception.tuner_noise_figure_db,
        dead_zone_services=reception.dead_zone_services,
        home_correlation=reception.home_correlation,
        site_correlation=reception.site_correlation,
    )
