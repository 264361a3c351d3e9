"""The cells of a result as squares with attributes."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from covermap.constants import TIER_COUNT, TIER_NOT_PROMISED, UNKNOWN_UINT8
from covermap.grid.frame import Tile
from covermap.planning.results import read_cells
from covermap.result.coverage import Coverage
from covermap.result.raster_catalogue import AIM_UNKNOWN

MOST_CELLS = 200_000


def cell_count(coverage: Coverage) -> int:
    """Return how many cells lie in the asked area."""
    return sum(int(coverage.inside_area(tile).sum()) for tile in coverage.grid.tiles(1024))


def cells_layer(
    coverage: Coverage, list_name: str, carriers: Mapping[str, Sequence[str]], band: Tile | None = None
) -> gpd.GeoDataFrame:
    """Return one square a cell of the asked area for one wanted list.

    Parameters
    ----------
    coverage : the result; at most MOST_CELLS cells are meant to be written
    carriers : service -> ids of the stations that carry it
    band : rows of the grid, as wide as it is, whose cells are wanted; None is all of them

    Returns
    -------
    GeoDataFrame in the grid's CRS. field_dbuvm: the strongest station of the limiting service, at 10 m,
    50 % of time; missing where the result holds no field rasters. services_kept_one_class_lower: how
    many services keep the chosen confidence with the best plan one tier lower, missing in tier 1.
    confidence_percent: chance of the stored plan (in tier 8, tier 7's). second_aim_deg_true and
    main_cause are there only where the result has these rasters.
    """
    grid = coverage.grid
    row, col = _cells_inside(coverage, coverage.grid.bands() if band is None else [band])

    def of(kind: str) -> NDArray:
        return read_cells(coverage, f"{list_name}/{kind}", row, col)

    tier, chance = of("tier"), of("tier_chance")
    # A result in which no list may have two antennas lacks the raster: then every cell is as if none had.
    two = np.full_like(tier, UNKNOWN_UINT8)
    if coverage.has(f"{list_name}/two_antennas_chance"):
        two = of("two_antennas_chance")
    services = coverage.services(list_name)
    limiting, deciding = of("limiting_service"), of("deciding_service")
    kept = _kept(of("service_chance_one_lower"), coverage.run.get("confidence_percent", 90))
    frame = {
        # int64: the number of a cell in a large grid does not fit 32 bits
        "cell_id": row.astype(np.int64) * grid.cols + col,
        "wanted_list": np.repeat(list_name, row.size),
        "field_dbuvm": _limiting_field(coverage, services, limiting, carriers, row, col),
        "tier": _whole(tier, tier == UNKNOWN_UINT8),
        "tier_at_50_percent": _tier_at(chance, 50),
        "confidence_percent": _confidence(tier, chance, two),
        "margin_db": _real(of("stored_margin"), 1),
        "limiting_service": _names(services, limiting),
        "deciding_service": _names(services, deciding),
        "aim_deg_true": _whole(of("aim"), of("aim") == AIM_UNKNOWN),
        **_further(coverage, list_name, of),
        "services_kept_one_class_lower": _whole(kept, (tier == UNKNOWN_UINT8) | (tier == 1)),
        "homes": _real(read_cells(coverage, "homes", row, col), 3)
        if coverage.has("homes")
        else _missing(row.size),
        "flags": _flags(coverage, row, col),
    }
    left, top = grid.x_min + col * grid.cell_m, grid.y_max - row * grid.cell_m
    return gpd.GeoDataFrame(
        frame, geometry=shapely.box(left, top - grid.cell_m, left + grid.cell_m, top), crs=grid.crs_wkt
    )


def _cells_inside(coverage: Coverage, bands: Iterable[Tile]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return row and col of the cells of the asked area in some bands, in the order of the grid."""
    parts = []
    for band in bands:
        row, col = np.nonzero(coverage.inside_area(band))
        parts.append(np.stack([row + band.row, col]))
    row, col = np.concatenate(parts, axis=1)
    return row, col


def _further(coverage: Coverage, list_name: str, of: Callable[[str], NDArray]) -> dict[str, Any]:
    """Return the columns of rasters that a result may lack; the same ones for each of its lists."""
    columns: dict[str, Any] = {}
    # Lists are appended to one table: a column that only the second list has could not be added to it any
    # more.
    if any(coverage.has(f"{name}/second_aim") for name in coverage.lists):
        second = of("second_aim") if coverage.has(f"{list_name}/second_aim") else np.full_like(of("aim"), -1)
        columns["second_aim_deg_true"] = _whole(second, second == AIM_UNKNOWN)
    if any(coverage.has(f"{name}/main_cause") for name in coverage.lists):
        own = coverage.has(f"{list_name}/main_cause")
        causes = coverage.tag_values(f"{list_name}/main_cause", "CAUSES") if own else ()
        cause = of("main_cause") if own else np.full_like(of("tier"), UNKNOWN_UINT8)
        columns["main_cause"] = _names(causes, cause)
    return columns


def _limiting_field(
    coverage: Coverage,
    services: Sequence[str],
    limiting: NDArray,
    carriers: Mapping[str, Sequence[str]],
    row: NDArray,
    col: NDArray,
) -> pd.api.extensions.ExtensionArray:
    """Return the strongest field of each cell's limiting service."""
    field = np.full(row.size, np.nan)
    for index, service in enumerate(services):
        chosen = limiting == index
        for station in carriers.get(service, ()):
            if chosen.any() and coverage.has(f"field/{station}"):
                values = read_cells(coverage, f"field/{station}", row[chosen], col[chosen])
                # fmax passes over NaN: a carrier whose path is not known hides none that is.
                field[chosen] = np.fmax(field[chosen], values)
    return _real(field, 1)


def _kept(one_lower: NDArray, confidence_percent: float) -> NDArray[np.int64]:
    """Return how many services reach the confidence, shape (N,), of chances of shape (V, N)."""
    # Unknown first: its 255 would pass for a chance above every confidence.
    return ((one_lower != UNKNOWN_UINT8) & (one_lower >= confidence_percent)).sum(axis=0)


def _tier_at(chance: NDArray, percent: float) -> pd.api.extensions.ExtensionArray:
    """Return the lowest tier whose chance reaches percent, else 8."""
    reached = (chance >= percent) & (chance != UNKNOWN_UINT8)
    tier = np.where(reached.any(axis=0), reached.argmax(axis=0) + 1, TIER_NOT_PROMISED)
    return _whole(tier, (chance == UNKNOWN_UINT8).all(axis=0))


def _confidence(tier: NDArray, chance: NDArray, two: NDArray) -> pd.api.extensions.ExtensionArray:
    """Return the chance of the stored plan, of one antenna or of two."""
    # Tier 8 is told tier 7's chance, and unknown (255) some row, which is masked below. int64 before the -1,
    # so that uint8 does not wrap.
    index = np.minimum(tier, TIER_COUNT).astype(np.int64) - 1
    value = np.where(two == UNKNOWN_UINT8, chance[index, np.arange(tier.size)], two)
    return _whole(value, (tier == UNKNOWN_UINT8) | (value == UNKNOWN_UINT8))


def _names(services: Sequence[str], index: NDArray) -> pd.api.extensions.ExtensionArray:
    """Return service names by index, missing where the index is none."""
    # The last place is for "none" and for every index beyond the names, such as 255.
    table = np.array([*services, None], dtype=object)
    return pd.array(table[np.where(index < len(services), index, len(services))], dtype="string")


def _flags(coverage: Coverage, row: NDArray, col: NDArray) -> pd.api.extensions.ExtensionArray:
    flags = read_cells(coverage, "flags", row, col) if coverage.has("flags") else np.zeros_like(row)
    return _whole(flags, flags == UNKNOWN_UINT8)


def _whole(values: NDArray, unknown: NDArray) -> pd.api.extensions.ExtensionArray:
    return pd.arrays.IntegerArray(np.asarray(values).astype(np.int64), np.asarray(unknown, dtype=bool))


def _real(values: NDArray, decimals: int) -> pd.api.extensions.ExtensionArray:
    values = np.asarray(values, dtype=np.float64)
    # Missing as a mask, not as NaN: what is written then is NULL, which a GIS shows as empty and leaves out
    # of sums.
    return pd.arrays.FloatingArray(np.nan_to_num(values).round(decimals), np.isnan(values))


def _missing(size: int) -> pd.api.extensions.ExtensionArray:
    return _real(np.full(size, np.nan), 0)
