"""What to stock from a catalogue: for how many homes each installation is the least costly that holds."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from covermap.grid.frame import Grid, Tile
from covermap.planning.cell_fractions import PolygonCells, tile_box
from covermap.planning.homes import Homes
from covermap.planning.installation_comparison import ComparedInstallation

COLUMNS = (
    "wanted_list", "neighbourhood_id", "neighbourhood_name", "antenna", "name", "mount", "amplifier", "homes",
    "price_each", "cost",
)  # fmt: skip
NONE_HOLDS, UNKNOWN = -1, -2
SERVICE_AREA = "service_area"  # its rows stand first, with this as id
LEAST_HOMES = 0.05  # fewer are no row


def antenna_stock(
    list_name: str,
    least_costly: NDArray[np.int16],
    installations: Sequence[ComparedInstallation],
    homes: Homes,
    grid: Grid,
    service_area: shapely.Geometry | None,
    neighbourhoods: gpd.GeoDataFrame | None,
) -> pd.DataFrame:
    """Return homes by neighbourhood and the least costly installation that holds the list there.

    Parameters
    ----------
    least_costly : (rows, cols), a place among the installations, NONE_HOLDS or UNKNOWN
    service_area : in the grid's CRS, None for all of the grid; its rows stand first
    neighbourhoods : neighbourhood_id, neighbourhood_name and outlines; None without

    Returns
    -------
    DataFrame with COLUMNS; antenna none_holds and unknown close each neighbourhood. Nothing is asked about
    flats without a roof. cost : homes times price_each, blank without a price.
    """
    whole = service_area if service_area is not None else tile_box(grid, Tile(0, 0, grid.rows, grid.cols))
    places = [(SERVICE_AREA, "", whole)]
    if neighbourhoods is not None:
        outlines = neighbourhoods.geometry.to_crs(grid.crs_wkt)
        keys = neighbourhoods["neighbourhood_id"], neighbourhoods["neighbourhood_name"]
        places += list(zip(*keys, outlines, strict=True))
    cells = PolygonCells(np.array([outline for _, _, outline in places], dtype=object), grid)
    kinds = len(installations) + 2  # none holds and unknown stand at the end, as -1 and -2 from it
    sums = np.zeros((len(places), kinds))
    for tile in grid.tiles():
        part = cells.fractions(tile)
        if part.cell.size:
            weight = np.nan_to_num(homes.window(tile)).ravel()[part.cell] * part.fraction
            # np.add.at, not +=: a cell on an edge stands in several polygons, and += would keep one of equal
            # indices alone.
            np.add.at(sums, (part.polygon, least_costly[tile.window].ravel()[part.cell]), weight)
    rows = [
        {"wanted_list": list_name, "neighbourhood_id": str(key), "neighbourhood_name": str(name), **row}
        for (key, name, _), counts in zip(places, sums, strict=True)
        for row in _rows(counts, installations)
    ]
    return pd.DataFrame(rows, columns=list(COLUMNS))


def _rows(
    counts: NDArray[np.float64], installations: Sequence[ComparedInstallation]
) -> Iterator[dict[str, Any]]:
    """Yield the rows of one place: each installation that is the least costly for some, then the others."""
    for one, count in zip(installations, counts, strict=False):
        if count >= LEAST_HOMES:
            yield {
                "antenna": one.key, "name": one.name, "mount": one.mount,
                "amplifier": ", ".join(name for name, _ in one.amplifiers),
                "homes": round(float(count), 1), "price_each": one.price,
                "cost": math.nan if math.isnan(one.price) else round(float(count) * one.price, 2),
            }  # fmt: skip
    for antenna, place in (("none_holds", NONE_HOLDS), ("unknown", UNKNOWN)):
        yield {"antenna": antenna, "name": "", "mount": "", "amplifier": "", "homes": round(counts[place], 1)}
