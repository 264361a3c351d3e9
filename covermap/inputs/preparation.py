"""Reads a scenario's inputs and cross-checks them, before anything is computed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

import numpy as np
import shapely
from numpy.typing import NDArray

from covermap.catalogue import AntennaCatalogue, read_catalogue
from covermap.errors import grouped
from covermap.grid.area import area_mask, map_outline
from covermap.grid.blocks import BlockRequest
from covermap.grid.curve_block import AZIMUTHS
from covermap.grid.exact_path import itm_ground
from covermap.grid.frame import Grid, Tile, to_wgs84
from covermap.grid.height_above_average import all_heights_above_average_m
from covermap.grid.make_grid import make_grid
from covermap.inputs.calibration import Calibration, read_calibration
from covermap.inputs.counted import CountedInputs, read_counted_inputs
from covermap.inputs.path_requests import PATH_HEIGHT_M, path_requests
from covermap.inputs.station_facts import station_facts
from covermap.inputs.stations_that_count import in_grid, named_carriers, stations_heard_at, without_carriers
from covermap.planning.homes import Homes
from covermap.reception import ListReceiver, ReceptionOptions, StationFacts
from covermap.reception.services import ServiceCounter
from covermap.reception.tiers import TierTable
from covermap.scenario import Scenario, check_positions, compare_ground
from covermap.scenario.records import WantedList
from covermap.scenario.settings import Settings
from covermap.scenario.wanted import MOST_SERVICES, every_service
from covermap.tables import read_external_noise, read_prediction_spread, read_tiers
from covermap.terrain import Terrain, check_area, check_masts, look_at_terrain, read_terrain

SAMPLED_ROWS = 100  # of squares whose ground is looked at before a run; as many columns


@dataclass(frozen=True, eq=False)
class Preparation:
    """A scenario with its terrain, grid, tables and the paths it needs.

    requests : one a structure and antenna height; station_request, station_frequency : for each station
        the index of its request and of its frequency there
    heights_m : mount heights that are paths, the first is 10
    calibration : offsets from readings, None without
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
        options, around = self.reception_options, self.terrain.surroundings()
        return ServiceCounter(self.facts, self.tiers, every, options, heights_m, *around)

    def receiver(self, wanted: WantedList) -> ListReceiver:
        """Return what works out reception of any list of the scenario's stations."""
        return self._receiver(wanted, self.reception_options)

    def _receiver(self, wanted: WantedList, options: ReceptionOptions) -> ListReceiver:
        heights_m = np.asarray(self.heights_m, dtype=np.float64)
        return ListReceiver(self.facts, self.tiers, wanted, options, heights_m, *self.terrain.surroundings())

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
        *(np.concatenate(pair) for pair in zip(corners, _positions(scenario), strict=True))
    )
    terrain = read_terrain(settings, folder=store_folder(scenario, store), outline=needed)
    scenario, beyond = _on_terrain(scenario, terrain)
    warnings = [*scenario.warnings, *beyond, *_terrain_warnings(scenario, terrain)]
    area = map_outline(grid, settings.grid, whole.elevation)
    warnings += check_area(terrain, *_squares_of_area(grid, area))
    counted = read_counted_inputs(settings, terrain, grid, area)
    return _preparation(scenario, terrain, grid, area, tiers, options, counted, warnings)


def prepare_places(scenario: Scenario, places_deg: Sequence[tuple[float, float]]) -> Preparation:
    """Read what the paths to some places need: elevation where they run, no homes.

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
        corners = zip((longitude_deg, latitude_deg), _positions(scenario), strict=True)
        outline = outline.around(*(np.concatenate(pair) for pair in corners))
    terrain = read_terrain(settings, outline=outline, on_demand=True)
    scenario, beyond = _on_terrain(scenario, terrain)
    warnings = [*scenario.warnings, *beyond, *_terrain_warnings(scenario, terrain)]
    area = map_outline(grid, settings.grid, whole.elevation)
    return _preparation(scenario, terrain, grid, area, tiers, options, CountedInputs(), warnings)


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
    catalogue = read_catalogue(scenario.settings.reception.antennas)
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
        has_land_cover=settings.terrain.land_cover is not None,
        cell_m=grid.cell_m,
        noise_environment=reception.noise_environment,
        external_noise=read_external_noise(),
        tuner_noise_figure_db=reception.tuner_noise_figure_db,
        dead_zone_services=reception.dead_zone_services,
        home_correlation=reception.home_correlation,
        site_correlation=reception.site_correlation,
    )


def _positions(scenario: Scenario) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return longitude and latitude of the stations in degrees."""
    stations = scenario.stations
    return np.array([s.longitude_deg for s in stations]), np.array([s.latitude_deg for s in stations])


def _on_terrain(scenario: Scenario, terrain: Terrain) -> tuple[Scenario, list[str]]:
    """Return the scenario whose lists of everything hold what stands on known ground, and a sentence."""
    longitude_deg, latitude_deg = _positions(scenario)
    beyond = np.isnan(terrain.elevation_m(longitude_deg, latitude_deg))
    beyond |= np.isnan(terrain.ground_m(longitude_deg, latitude_deg))
    narrowed = without_carriers(scenario, beyond)
    lists = zip(scenario.wanted, narrowed.wanted, strict=True)
    lost = {service for one, other in lists for service in set(one.services) - set(other.services)}
    if not lost:
        return narrowed, []
    names = sorted(lost)
    return narrowed, [
        f"{len(lost)} service(s) in reach (such as {', '.join(names[:3])}) are not in a list of "
        "everything: the elevation does not reach their masts. Add elevation there to have them predicted."
    ]


def _squares_of_area(
    grid: Grid, area: shapely.Geometry | None
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return longitude and latitude of the middles of squares spread over the area, shape (n,), WGS 84."""
    col = np.unique(np.linspace(0, grid.cols - 1, SAMPLED_ROWS).astype(int))
    row = np.unique(np.linspace(0, grid.rows - 1, SAMPLED_ROWS).astype(int))
    x, y = (
        axis.ravel()
        for axis in np.meshgrid(
            grid.x_min + (col + 0.5) * grid.cell_m, grid.y_max - (row + 0.5) * grid.cell_m
        )
    )
    inside = np.ones(x.shape, dtype=bool) if area is None else shapely.contains_xy(area, x, y)
    longitude_deg, latitude_deg = to_wgs84(grid.crs_wkt).transform(x[inside], y[inside])
    return longitude_deg, latitude_deg


def _masts(scenario: Scenario) -> list[tuple[str, float, float, bool]]:
    """Return label, latitude, longitude and whether a list names a service there, one a position."""
    wanted = named_carriers(scenario)
    places: dict[tuple[str, float, float], bool] = {}
    for index, station in enumerate(scenario.stations):
        key = (station.mast, station.latitude_deg, station.longitude_deg)
        places[key] = places.get(key, False) or index in wanted
    return [(*key, has_wanted) for key, has_wanted in places.items()]


def _terrain_warnings(scenario: Scenario, terrain: Terrain) -> list[str]:
    """Return what the terrain leaves in doubt. Raises InputError where it does not reach a named mast."""
    warnings = [*check_masts(terrain, _masts(scenario))]
    if scenario.settings.prediction.model == "itm" and terrain.has_land_cover:
        warnings.append(
            '[prediction] model = "itm" knows terrain alone: trees and buildings of the land cover take '
            "nothing from fields at 10 m and above."
        )
    return [*warnings, *terrain.warnings, *_ground_warnings(scenario, terrain)]


def _ground_warnings(scenario: Scenario, terrain: Terrain) -> list[str]:
    """Return a sentence for each station whose filed ground differs from the terrain."""
    longitude_deg = np.array([station.longitude_deg for station in scenario.stations])
    latitude_deg = np.array([station.latitude_deg for station in scenario.stations])
    return compare_ground(scenario.stations, terrain.ground_m(longitude_deg, latitude_deg).tolist())
