"""What a run works on: a scenario with everything its inputs say, read and cross-checked."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from covermap.catalogue import AntennaCatalogue
from covermap.grid.area import area_mask
from covermap.grid.blocks import BlockRequest
from covermap.grid.curve_block import AZIMUTHS
from covermap.grid.exact_path import itm_ground
from covermap.grid.frame import Grid, Tile
from covermap.grid.height_above_average import all_heights_above_average_m
from covermap.inputs.calibration import Calibration
from covermap.inputs.counted import CountedInputs
from covermap.inputs.home_surroundings import building_of_cells, every_kind, tells_buildings
from covermap.inputs.noise_at import environment_at
from covermap.inputs.path_requests import path_requests
from covermap.inputs.station_facts import station_facts
from covermap.inputs.stations_that_count import named_carriers, stations_heard_at
from covermap.planning.homes import Homes
from covermap.reception import ListReceiver, ReceptionOptions, StationFacts
from covermap.reception.entry import BUILDINGS
from covermap.reception.services import ServiceCounter
from covermap.reception.surroundings import OF_OPTIONS, Surroundings
from covermap.reception.tiers import TierTable
from covermap.scenario import Scenario
from covermap.scenario.records import WantedList
from covermap.scenario.settings import BY_LAND_COVER
from covermap.scenario.wanted import MOST_SERVICES, every_service
from covermap.terrain import (
    Terrain,
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
    def counted_services(self) -> tuple[str, ...]:
        """Return the services counted by class; none where that is not asked for, or there are too many."""
        services = every_service(self.scenario.stations).services
        asked = self.scenario.settings.outputs.services_count
        return services if asked and len(services) <= MOST_SERVICES else ()

    @cached_property
    def service_counter(self) -> ServiceCounter | None:
        """Return what counts services by class, of every pair of stations; None where none is counted."""
        if not self.counted_services:
            return None
        every = every_service(self.scenario.stations)
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
        return self.squares_with_homes * len(self.wanted_stations) <= MOST_COVER_PATHS

    @property
    def doubts_everywhere(self) -> bool:
        """Return whether doubts are worked out in every square, so that they do not tell where homes are."""
        return self.homes is None or self.scenario.settings.outputs.cover_doubt is True

    @cached_property
    def squares_with_homes(self) -> int:
        """Return how many squares of the grid have homes; 0 where homes are not known."""
        if self.homes is None:
            return 0
        return sum(int((self.homes.window(tile) > 0.0).sum()) for tile in self.grid.tiles(512))

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
        # Offsets are learnt against the map's own model and say nothing of another's error.
        return replace(self, requests=requests, calibration=None)

    @property
    def requests_of_all_models(self) -> tuple[BlockRequest, ...]:
        """Return the paths of the run: of its model, then of a second opinion that has paths of its own."""
        other = () if self.second is None or self.second.requests == self.requests else self.second.requests
        return self.requests + other

    @cached_property
    def curve_heights_m(self) -> tuple[NDArray[np.float64], ...]:
        """Return each request's heights above average terrain, one a whole degree, NaN unknown."""
        return tuple(
            _heights_above_average_m(
                self.terrain, request.latitude_deg, request.longitude_deg, request.tx_height_m
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
            # A frequency shared by a wanted station and an interferer is the wanted one's: unknown stays
            # unknown.
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
        place = [(latitude_deg, longitude_deg)]
        return self.of_stations(stations_heard_at(self.scenario, place, self.tiers, self.reception_options))

    def of_stations(self, scenario: Scenario) -> Preparation:
        """Return the same inputs for a scenario with some of the stations, and their paths."""
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
        """Return, by station, whether only lists of everything or of networks want it, if any: beyond its
        reach it is not there, where a service that a list names is unknown."""
        named = named_carriers(self.scenario)
        return np.array([index not in named for index in range(len(self.scenario.stations))])

    def inside_area(self, tile: Tile) -> NDArray[np.bool_]:
        """Return which cells of a tile lie in the asked area, shape (rows, cols)."""
        return area_mask(self.grid, tile, self.area)

    def land(self, tile: Tile) -> NDArray[np.bool_]:
        """Return which cells of a tile are not water, shape (rows, cols)."""
        longitude_deg, latitude_deg = self.grid.centres_lonlat(tile)
        return ~self.terrain.water(longitude_deg, latitude_deg)


@lru_cache(maxsize=4096)  # 3 kB each: parts of a map share its masts
def _heights_above_average_m(
    terrain: Terrain, latitude_deg: float, longitude_deg: float, tx_height_m: float
) -> NDArray[np.float64]:
    """Return a mast's heights above average terrain, one a whole degree."""
    azimuth_deg = np.arange(AZIMUTHS, dtype=np.float64)
    return all_heights_above_average_m(terrain, latitude_deg, longitude_deg, tx_height_m, azimuth_deg)
