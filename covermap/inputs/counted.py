"""What a prediction is counted by and shown with: homes, neighbourhoods, service area, prices and places."""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from numpy.typing import NDArray

from covermap.errors import Faults
from covermap.grid.frame import Grid, Tile
from covermap.planning.context import Context, read_context
from covermap.planning.homes import Homes, homes_per_cell
from covermap.planning.neighbourhoods import read_neighbourhoods
from covermap.planning.places import Place, read_places
from covermap.planning.prices import Price, read_prices
from covermap.planning.service_area import read_service_area
from covermap.scenario.settings import AreasSettings, Settings
from covermap.terrain import Terrain

MOSTLY_OUTSIDE = 0.5  # of the homes: judgement, beyond it the file may be of another area


@dataclass(frozen=True, eq=False)
class CountedInputs:
    """Layers and tables beside the prediction, read once; None and empty where the scenario names none.

    neighbourhoods : of planning.neighbourhoods.read_neighbourhoods()
    service_area : in the grid's CRS; None is all of the grid
    prices : item -> price
    customers : names to find on the map page; context : layers drawn there for orientation
    warnings : sentences on what was repaired, left out or looks wrong
    """

    homes: Homes | None = None
    neighbourhoods: gpd.GeoDataFrame | None = None
    service_area: shapely.Geometry | None = None
    prices: dict[str, Price] | None = None
    places: tuple[Place, ...] = ()
    customers: tuple[Place, ...] = ()
    context: tuple[Context, ...] = ()
    warnings: tuple[str, ...] = ()


def read_counted_inputs(
    settings: Settings, terrain: Terrain, grid: Grid, area: shapely.Geometry | None
) -> CountedInputs:
    """Read and check all of them.

    area : the map, as of grid.area.area_outline()
    Raises InputError, the faults of all files together.
    """
    faults = Faults()
    nothing: tuple[str, ...] = ()
    asked = settings.areas or AreasSettings()
    homes, of_homes = faults.of((None, nothing), read_homes, settings, terrain, grid, area)
    neighbourhoods, of_neighbourhoods = faults.of((None, nothing), _neighbourhoods, asked, grid)
    service_area, of_service_area = faults.of((None, nothing), read_service_area, asked, grid)
    places, of_places = faults.of(((), nothing), _places, asked)
    customers, of_customers = faults.of(((), nothing), _customers, settings)
    context, of_context = faults.of(((), nothing), read_context, settings.map.context)
    prices = faults.of(None, _prices, settings)
    # All files are read before any fault is told: several mistakes in one round.
    faults.tell()
    warnings = (*of_homes, *of_neighbourhoods, *of_service_area, *of_places, *of_customers, *of_context)
    return CountedInputs(homes, neighbourhoods, service_area, prices, places, customers, context, warnings)


def read_homes(
    settings: Settings, terrain: Terrain, grid: Grid, area: shapely.Geometry | None
) -> tuple[Homes | None, tuple[str, ...]]:
    """Return the homes on the map, and warnings; None without.

    Polygons are spread over built-up cells where land cover is known. Raises InputError as homes_per_cell().
    """
    asked = settings.homes
    if asked is None:
        return None, ()

    def built_up(tile: Tile) -> NDArray[np.bool_]:
        return terrain.built_up(*grid.centres_lonlat(tile))

    of_land = built_up if terrain.has_land_cover else None
    homes = homes_per_cell(asked, grid, of_land, area, settings.reception.building)
    if homes is None:
        return None, (
            f"{asked.file.name} has no rows yet: no homes are counted, results are shares of land.",
        )
    return homes, (*homes.warnings, *_doubts(homes, asked.file.name))


def _doubts(homes: Homes, file: str) -> tuple[str, ...]:
    if not homes.total > 0.0:
        return (f"{file}: it holds no home at all. Is [homes] count the right column?",)
    share = homes.outside / homes.total
    if share <= MOSTLY_OUTSIDE:
        return ()
    return (
        f"{file}: {homes.outside:,.0f} of {homes.total:,.0f} homes ({100.0 * share:.0f} %) lie outside "
        "the map. They count nowhere. Is it the file of this area?",
    )


def _neighbourhoods(asked: AreasSettings, grid: Grid) -> tuple[gpd.GeoDataFrame | None, tuple[str, ...]]:
    return (None, ()) if asked.neighbourhoods is None else read_neighbourhoods(asked, grid)


def _places(asked: AreasSettings) -> tuple[tuple[Place, ...], tuple[str, ...]]:
    return ((), ()) if asked.places is None else read_places(asked.places)


def _customers(settings: Settings) -> tuple[tuple[Place, ...], tuple[str, ...]]:
    file = settings.map.customers
    return ((), ()) if file is None else read_places(file, "[map] customers")


def _prices(settings: Settings) -> dict[str, Price] | None:
    return None if settings.business is None else read_prices(settings.business.prices)
