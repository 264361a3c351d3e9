"""Reads a scenario's inputs and cross-checks them, before anything is computed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from covermap.catalogue import AntennaCatalogue, read_catalogue, require_antennas_of
from covermap.errors import grouped
from covermap.grid.area import area_mask, map_outline
from covermap.grid.blocks import BlockRequest
from covermap.grid.curve_block import AZIMUTHS
from covermap.grid.exact_path import itm_ground
from covermap.grid.frame import Grid, Tile
from covermap.grid.height_above_average import all_heights_above_average_m
from covermap.grid.make_grid import make_grid
from covermap.inputs.assumed_clutter import assumes_clutter, with_assumed_clutter
from covermap.inputs.calibration import Calibration, read_calibration
from covermap.inputs.counted import CountedInputs, read_counted_inputs, read_homes
from covermap.inputs.home_surroundings import building_of_cells, every_kind, tells_buildings
from covermap.inputs.noise_at import environment_at, environment_without_class
from covermap.inputs.path_requests import PATH_HEIGHT_M, path_requests
from covermap.inputs.station_facts import station_facts
from covermap.inputs.stations_that_count import in_grid, named_carriers, stations_heard_at
from covermap.inputs.terrain_doubts import on_terrain, positions, squares_of_area, terrain_warnings
from covermap.planning.homes import Homes
from covermap.reception import ListReceiver, ReceptionOptions, StationFacts
from covermap.reception.entry import BUILDINGS
from covermap.reception.services import ServiceCounter
from covermap.reception.surroundings import OF_OPTIONS, Surroundings
from covermap.reception.tiers import TierTable
from covermap.scenario import Scenario, check_positions
from covermap.scenario.records import WantedList
from covermap.scenario.settings import BY_LAND_COVER, Settings
from covermap.scenario.wanted import MOST_SERVICES, every_service
from covermap.tables import read_external_noise, read_prediction_spread, read_tiers
from covermap.terrain import (
    Terrain,
    check_area,
    check_clutter_heights,
    look_at_terrain,
    read_terrain,
)

MOST_COVER_PATHS = 2_000_000  # squares with homes times stations; a minute of one core


@dataclass(frozen=True, eq=False)
class Preparation:
    """A scenario with its terrain, grid, tables and the paths it needs.

    requests : one a structure and antenna height; station_request, station_frequency : for each station
        the index of its request and of its frequency there
    heights_m : mount heights that are paths, the first is 10
    calibration : offsets from readings, None without
    whole_map : for a map, not for single places: then what leaves and another class of cover change is asked
    counted : homes, neighbourhoods, service area, prices and places
    catalogue : the antennas and devices that may be put up, the scenario's or generic ones
    """

    scenario: Scenario
    terrain: Terrain
    grid: Grid
    area: shapely.Geometry | None
    tiers: TierTable
    heights_m: tuple[float, ...]
    requests: tuple[BlockRequest, ...]
    station_request: tuple[int, ...]
    station_frequency: tuple[int, ...]
    reception_options: ReceptionOptions
    counted: CountedInputs
    catalogue: AntennaCatalogue
    warnings: tuple[str, ...]
    calibration: Calibration | None = None
    whole_map: bool = True

    @property
    def homes(self) -> Homes | None:
        """Return the homes on the map; None where the scenario has none."""
        return self.counted.homes

    @cached_property
    def facts(self) -> StationFacts:
        """Return what reception must know of the stations."""
        return station_facts(self.scenario.stations)

    @cached_property
    def receivers(self) -> dict[str, ListReceiver]:
        """Return what works out reception, by wanted list."""
        return {wanted.name: self.receiver(wanted) for wanted in self.scenario.wanted}

    @cached_property
    def receiver_at_other_default(self) -> ListReceiver:
        """Return the first list's receiver at the other default of the prediction error."""
        return self._receiver(self.scenario.wanted[0], self.reception_options.at_other_default())

    @cached_property
    def service_counter(self) -> ServiceCounter | None:
        """Return what counts services by class; None where that is not asked for, or there are too many."""
        every = every_service(self.scenario.stations)
        asked = self.scenario.settings.outputs.services_count
        if not asked or not 1 <= len(every.services) <= MOST_SERVICES:
            return None
        heights_m = np.asarray(self.heights_m, dtype=np.float64)
        options = self.reception_options
        return ServiceCounter(self.facts, self.tiers, every, options, heights_m, self.surroundings)

    @property
    def wanted_stations(self) -> tuple[int, ...]:
        """Return the indices of the stations that carry a service of any list."""
        lists = self.scenario.wanted
        return tuple(sorted({index for one in lists for group in one.transmitters for index in group}))

    @property
    def looks_at_leaves(self) -> bool:
        """Return whether tiers in leaf are worked out: where woods are known."""
        return self.whole_map and self.terrain.has_land_cover

    @cached_property
    def looks_at_cover(self) -> bool:
        """Return whether it is worked out what one class of cover more or less would change.

        As asked; by itself where homes are known and their paths are not too many.
        """
        asked = self.scenario.settings.outputs.cover_doubt
        if not self.whole_map:
            return False
        if asked != "auto" or self.homes is None:
            return asked is True
        with_homes = sum(int((self.homes.window(tile) > 0.0).sum()) for tile in self.grid.tiles(512))
        return with_homes * len(self.wanted_stations) <= MOST_COVER_PATHS

    @property
    def noise_by_land_cover(self) -> bool:
        """Return whether each home has the noise of the class it stands in."""
        asked = self.scenario.settings.reception.noise_environment
        return asked == BY_LAND_COVER and self.terrain.has_land_cover

    @cached_property
    def surroundings(self) -> Surroundings:
        """Return every kind of surroundings that a place can have."""
        return every_kind(
            self.terrain,
            noise_by_class=self.noise_by_land_cover,
            buildings=tells_buildings(self.homes),
            other_cover=self.looks_at_cover,
        )

    def environment(self, longitude_deg: ArrayLike, latitude_deg: ArrayLike) -> NDArray[np.uint8] | None:
        """Return the noise environment at places; None where all have the options'."""
        if not self.noise_by_land_cover:
            return None
        return self.terrain.environment(longitude_deg, latitude_deg)

    def building(self, tile: Tile) -> NDArray[np.uint8] | None:
        """Return of what most homes of each cell are built, as building_of_cells()."""
        return building_of_cells(self.homes, tile)

    def options_at(self, latitude_deg: float, longitude_deg: float) -> ReceptionOptions:
        """Return the options with a place's noise and building: its own class, its square's homes."""
        reception, where = self.scenario.settings.reception, self.grid.cell_at(latitude_deg, longitude_deg)
        environment = environment_at(reception, self.terrain, latitude_deg, longitude_deg)
        options = replace(self.reception_options, noise_environment=environment)
        building = None if where is None else self.building(Tile(*where, 1, 1))
        if building is not None and building[0] != OF_OPTIONS:
            options = replace(options, building=BUILDINGS[int(building[0])])
        return options

    def receiver(self, wanted: WantedList) -> ListReceiver:
        """Return what works out reception of any list of the scenario's stations."""
        return self._receiver(wanted, self.reception_options)

    def _receiver(self, wanted: WantedList, options: ReceptionOptions) -> ListReceiver:
        heights_m = np.asarray(self.heights_m, dtype=np.float64)
        return ListReceiver(self.facts, self.tiers, wanted, options, heights_m, self.surroundings)

    @cached_property
    def second(self) -> Preparation | None:
        """Return the same inputs for the second opinion, without offsets of readings; None without one."""
        prediction = self.scenario.settings.prediction
        if prediction.second_opinion is None:
            return None
        requests = self.requests
        if prediction.second_opinion == "itm":
            ground = itm_ground(prediction)
            requests = tuple(replace(request, model="itm", itm=ground) for request in requests)
        return replace(self, requests=requests, calibration=None)

    @property
    def requests_of_all_models(self) -> tuple[BlockRequest, ...]:
        """Return the paths of the run: of its model, then of a second opinion that has paths of its own."""
        other = () if self.second is None or self.second.requests == self.requests else self.second.requests
        return self.requests + other

    @cached_property
    def curve_heights_m(self) -> tuple[NDArray[np.float64], ...]:
        """Return each request's heights above average terrain, one a whole degree, NaN unknown."""
        azimuth_deg = np.arange(AZIMUTHS, dtype=np.float64)
        return tuple(
            all_heights_above_average_m(
                self.terrain, request.latitude_deg, request.longitude_deg, request.tx_height_m, azimuth_deg
            )
            for request in self.requests
        )

    @cached_property
    def by_smooth_earth(self) -> tuple[tuple[bool, ...], ...]:
        """Return, for each frequency of each request, whether smooth earth stands in for unknown ground.

        So it is for stations that only interfere, and for all of a mast beyond the elevation.
        """
        only = [[True] * len(request.frequencies) for request in self.requests]
        places = zip(self.station_request, self.station_frequency, self.scenario.stations, strict=True)
        for request, frequency, station in places:
            only[request][frequency] &= station.use == "interferer"
        longitude_deg = np.array([request.longitude_deg for request in self.requests])
        latitude_deg = np.array([request.latitude_deg for request in self.requests])
        beyond = np.isnan(self.terrain.ground_m(longitude_deg, latitude_deg))
        return tuple(
            tuple(interferes or bool(outside) for interferes in of_request)
            for of_request, outside in zip(only, beyond, strict=True)
        )

    def at(self, latitude_deg: float, longitude_deg: float) -> Preparation:
        """Return what concerns one place: the stations that can matter there, and their paths."""
        scenario = stations_heard_at(
            self.scenario, [(latitude_deg, longitude_deg)], self.tiers, self.reception_options
        )
        requests, station_request, station_frequency = path_requests(
            scenario, self.terrain, self.grid, self.heights_m
        )
        return replace(
            self,
            scenario=scenario,
            requests=requests,
            station_request=station_request,
            station_frequency=station_frequency,
        )

    @cached_property
    def silent_beyond_reach(self) -> NDArray[np.bool_]:
        """Return, by station, whether only lists of everything want it, if any: beyond its reach it is not
        there, where a service that a list names is unknown."""
        named = named_carriers(self.scenario)
        return np.array([index not in named for index in range(len(self.scenario.stations))])

    def inside_area(self, tile: Tile) -> NDArray[np.bool_]:
        """Return which cells of a tile lie in the asked area, shape (rows, cols)."""
        return area_mask(self.grid, tile, self.area)

    def land(self, tile: Tile) -> NDArray[np.bool_]:
        """Return which cells of a tile are not water, shape (rows, cols)."""
        longitude_deg, latitude_deg = self.grid.centres_lonlat(tile)
        return ~self.terrain.water(longitude_deg, latitude_deg)


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
    outline = look_at_terrain(settings)
    whole = outline.whole
    check_positions(scenario.stations, whole.bounds_deg)
    grid = make_grid(settings.grid, whole.bounds_deg, whole.rims_deg)
    tiers, options = read_tiers(settings.reception.antenna_tiers), reception_options(settings, grid)
    scenario = in_grid(scenario, grid, tiers, options)
    corners = grid.corners_lonlat()
    needed = outline.around(
        *(np.concatenate(pair) for pair in zip(corners, positions(scenario), strict=True))
    )
    terrain = read_terrain(settings, folder=store_folder(scenario, store), outline=needed)
    scenario, beyond = on_terrain(scenario, terrain)
    warnings = [*scenario.warnings, *beyond, *terrain_warnings(scenario, terrain)]
    area = map_outline(grid, settings.grid, whole.elevation)
    squares = squares_of_area(grid, area)
    warnings += [*check_area(terrain, *squares), *check_clutter_heights(terrain, *squares)]
    counted = read_counted_inputs(settings, terrain, grid, area)
    terrain = with_assumed_clutter(terrain, settings, grid, counted.homes)
    return _preparation(scenario, terrain, grid, area, tiers, options, counted, warnings)


def prepare_places(scenario: Scenario, places_deg: Sequence[tuple[float, float]]) -> Preparation:
    """Read what the paths to some places need: elevation where they run; homes where they decide a path.

    places_deg : (latitude, longitude) of each, none for anywhere; Preparation.at() then leaves out what
        cannot matter at one

    Raises InputError when an input is wrong, with what would be right.
    """
    settings = scenario.settings
    outline = look_at_terrain(settings)
    whole = outline.whole
    check_positions(scenario.stations, whole.bounds_deg)
    grid = make_grid(settings.grid, whole.bounds_deg, whole.rims_deg)
    tiers, options = read_tiers(settings.reception.antenna_tiers), reception_options(settings, grid)
    if places_deg:
        scenario = stations_heard_at(scenario, places_deg, tiers, options)
        latitude_deg, longitude_deg = np.array(places_deg, dtype=np.float64).T
        corners = zip((longitude_deg, latitude_deg), positions(scenario), strict=True)
        outline = outline.around(*(np.concatenate(pair) for pair in corners))
    terrain = read_terrain(settings, outline=outline, on_demand=True)
    scenario, beyond = on_terrain(scenario, terrain)
    warnings = [*scenario.warnings, *beyond, *terrain_warnings(scenario, terrain)]
    area = map_outline(grid, settings.grid, whole.elevation)
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
        path_spread_db=read_prediction_spread(reception.prediction_spread),
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
