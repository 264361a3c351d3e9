"""From the scenario's [grid] settings to a Grid: its CRS, its extent and its size."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
import pyproj
from numpy.typing import NDArray
from pyproj.exceptions import CRSError

from covermap.errors import InputError
from covermap.grid.area import Bounds, Rim, box_ring, map_outline, read_area
from covermap.grid.frame import Grid, to_wgs84

if TYPE_CHECKING:
    import geopandas
    import shapely

    from covermap.scenario.settings import GridSettings
    from covermap.terrain.terrain import Terrain

LIMIT_LATITUDE_DEG = 85.0  # our own: bearings and projections lose their sense near the poles
LIMIT_CELLS = 1_000_000_000  # our own: a country in squares of 30 m; memory and disk are looked at apart
UTM_HALF_WIDTH_DEG = 3.0  # a UTM zone is 6 degrees wide
UTM_SOUTH_DEG, UTM_NORTH_DEG = -80.0, 84.0  # where UTM is defined
SCALE_LIMIT = 0.01  # our own: beyond it a square is not the size it says, and homes and km2 are not either

_GEOD = pyproj.Geod(ellps="WGS84")


def lay_grid(settings: GridSettings, elevation: Terrain) -> tuple[Grid, shapely.Geometry | None]:
    """Return the grid that the [grid] settings ask for over an elevation, and what the map is of.

    The second is as grid.area.map_outline() has it: one shape in the grid's CRS, None for every square.
    Raises InputError as make_grid() and grid.area.read_area().
    """
    area = read_area(settings)
    grid = make_grid(settings, area, elevation.bounds_deg, elevation.rims_deg)
    return grid, map_outline(grid, settings, area, elevation.elevation)


def make_grid(
    settings: GridSettings,
    area: geopandas.GeoSeries | None,
    elevation_bounds_deg: Bounds,
    rims_deg: Sequence[Rim] = (),
) -> Grid:
    """Return the grid that the [grid] settings ask for.

    settings : cell_m, crs ("auto" or "EPSG:..."), and west, south, east, north or none of them
    area : of grid.area.read_area(); None where no area is named
    elevation_bounds_deg : west, south, east, north of the elevation, the extent when nothing is asked
    rims_deg : longitude and latitude of points around each elevation raster; the extent is then theirs,
        not that of the box in degrees around them, whose corners lie outside a projected elevation

    The outer corner is a multiple of cell_m, so that runs over neighbouring areas share cells. A box
    with west greater than east crosses the antimeridian. Raises InputError for an impossible CRS, one
    whose squares are not square metres, an extent beyond 85 degrees of latitude or one of 1000 million cells.
    """
    bounds_deg = _asked_bounds(settings, area, elevation_bounds_deg)
    crs = _grid_crs(settings.crs, bounds_deg)
    nothing_asked = area is None and settings.west is None
    if nothing_asked and rims_deg:
        longitude_deg, latitude_deg = (np.concatenate(axis) for axis in zip(*rims_deg, strict=True))
        x, y = _along_rim(crs, (longitude_deg, latitude_deg))
    else:
        x, y = _outline(crs, bounds_deg, area)
    grid = _snapped(crs, settings.cell_m, x, y)
    _check_scale(grid, settings.crs)
    return grid


def _asked_bounds(
    settings: GridSettings, area: geopandas.GeoSeries | None, elevation_bounds_deg: Bounds
) -> Bounds:
    """Return the extent in degrees, east past 180 when it crosses the antimeridian."""
    bounds: tuple[float, ...]
    given = (settings.west, settings.south, settings.east, settings.north)
    asked = [value for value in given if value is not None]
    if area is not None:
        bounds, source = _bounds_deg(area), f"[grid] area {settings.area}"
    elif len(asked) == 4:
        bounds, source = tuple(asked), "[grid] west, south, east, north"
    elif asked:
        raise InputError(
            f"[grid] has {len(asked)} of west, south, east and north. Give all four, or an area, or none."
        )
    else:
        bounds, source = elevation_bounds_deg, "the elevation's extent"
    west, south, east, north = (float(value) for value in bounds)
    if not all(map(math.isfinite, (west, south, east, north))) or south >= north or west == east:
        raise InputError(
            f"{source}: {west:g}, {south:g}, {east:g}, {north:g} is no box. "
            "It needs west, south, east, north with south < north."
        )
    if max(-south, north) > LIMIT_LATITUDE_DEG:
        raise InputError(
            f"{source} reaches latitude {north if north > -south else south:g}. "
            f"Grids end at {LIMIT_LATITUDE_DEG:g} degrees north and south; give a smaller area."
        )
    return west, south, east + 360.0 if east < west else east, north


def _bounds_deg(area: geopandas.GeoSeries) -> Bounds:
    """Return the narrowest extent of polygons; those cut at 180 degrees (RFC 7946) are one across it."""
    parts_deg = area.to_crs("EPSG:4326").explode().bounds.to_numpy()
    beyond_deg = parts_deg + np.where(parts_deg[:, 2:3] <= 0.0, 360.0, 0.0) * (1.0, 0.0, 1.0, 0.0)
    west, south, east, north = min(
        (np.r_[some[:, :2].min(axis=0), some[:, 2:].max(axis=0)] for some in (parts_deg, beyond_deg)),
        key=lambda bounds: bounds[2] - bounds[0],
    )
    return float(west), float(south), float(east), float(north)


def _grid_crs(name: str, bounds_deg: Bounds) -> pyproj.CRS:
    """Return the CRS by its name, or the one that suits the extent for "auto"."""
    if name == "auto":
        return _auto_crs(bounds_deg)
    try:
        crs = pyproj.CRS.from_user_input(name)
    except CRSError as error:
        raise InputError(
            f'[grid] crs is "{name}", which is no known CRS. Write "auto" or a code such as "EPSG:32625".'
        ) from error
    # Feet would make cell_m, areas in km2 and homes a square wrong by factors without a word.
    if not crs.is_projected or any(axis.unit_conversion_factor != 1.0 for axis in crs.axis_info[:2]):
        raise InputError(
            f'[grid] crs is "{name}" ({crs.name}), whose unit is {crs.axis_info[0].unit_name}. '
            'Cells are square metres: write "auto" or a projected CRS in metres, such as "EPSG:32625".'
        )
    return crs


def _auto_crs(bounds_deg: Bounds) -> pyproj.CRS:
    """Return UTM when the extent lies within 3 degrees of its meridian, else a local equal-area CRS."""
    west, south, east, north = bounds_deg
    middle = _wrapped((west + east) / 2.0)
    # Zones of 6 degrees alone: Norway's and Svalbard's wider ones reach farther from their meridian.
    zone = min(60, int((middle + 180.0) // 6.0) + 1)
    meridian = 6.0 * zone - 183.0
    off = max(abs(_wrapped(west - meridian)), abs(_wrapped(east - meridian)))
    if (
        off <= UTM_HALF_WIDTH_DEG
        and east - west < 180.0
        and south >= UTM_SOUTH_DEG
        and north <= UTM_NORTH_DEG
    ):
        return pyproj.CRS.from_epsg((32600 if south + north >= 0.0 else 32700) + zone)
    # Rounded: a rim that moves by a few metres leaves most grids' cells where they were.
    return _local_crs(round((south + north) / 2.0, 2), round(middle, 2))


def _local_crs(latitude_deg: float, longitude_deg: float) -> pyproj.CRS:
    """Return an equal-area CRS around a place, under a name that GIS show in place of "unknown"."""
    crs = pyproj.CRS.from_proj4(
        f"+proj=laea +lat_0={latitude_deg:g} +lon_0={longitude_deg:g} +x_0=0 +y_0=0 +datum=WGS84 +units=m"
    )
    north, east = "N" if latitude_deg >= 0 else "S", "E" if longitude_deg >= 0 else "W"
    place = f"{abs(latitude_deg):g} {north} {abs(longitude_deg):g} {east}"
    return pyproj.CRS.from_json_dict(crs.to_json_dict() | {"name": f"WGS 84 / equal area around {place}"})


def _wrapped(longitude_deg: float) -> float:
    """Return a longitude within -180 up to, not including, 180."""
    return (longitude_deg + 180.0) % 360.0 - 180.0


def _outline(
    crs: pyproj.CRS, bounds_deg: Bounds, area: geopandas.GeoSeries | None
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return x and y of points whose box is the extent."""
    if area is not None:
        box = area.to_crs(crs).total_bounds
        return box[[0, 2]], box[[1, 3]]
    return _along_rim(crs, box_ring(bounds_deg))


def _along_rim(crs: pyproj.CRS, rim_deg: Rim) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return x and y of points in degrees. Raises InputError where the CRS does not reach them."""
    x, y = pyproj.Transformer.from_crs("EPSG:4326", crs, always_xy=True).transform(*rim_deg)
    if not (np.isfinite(x).all() and np.isfinite(y).all()):
        west, east = np.min(rim_deg[0]), np.max(rim_deg[0])
        south, north = np.min(rim_deg[1]), np.max(rim_deg[1])
        raise InputError(
            f'[grid] crs "{crs.name}" does not reach all of {west:g}, {south:g}, {east:g}, {north:g}. '
            'Write crs = "auto".'
        )
    return x, y


def _snapped(crs: pyproj.CRS, cell_m: float, x: NDArray[np.float64], y: NDArray[np.float64]) -> Grid:
    """Return the smallest grid of whole cells around points, its corner a multiple of cell_m."""
    slack = 1e-6  # of a cell: a rounding error in the CRS must not add a row
    first_col, last_col = math.floor(x.min() / cell_m + slack), math.ceil(x.max() / cell_m - slack)
    first_row, last_row = math.floor(y.min() / cell_m + slack), math.ceil(y.max() / cell_m - slack)
    rows, cols = max(1, last_row - first_row), max(1, last_col - first_col)
    if rows * cols >= LIMIT_CELLS:
        fits = cell_m * math.sqrt(rows * cols / LIMIT_CELLS)
        # The advice is rounded up to one digit, so that following it does not fail by a cell.
        step = 10.0 ** math.floor(math.log10(fits))
        raise InputError(
            f"[grid] cell_m is {cell_m:g}, which makes {rows} x {cols} = {rows * cols} cells; the limit is "
            f"{LIMIT_CELLS}. Use cell_m = {step * (math.floor(fits / step) + 1):g} or a smaller area."
        )
    return Grid(
        crs.to_wkt(), float(cell_m), first_col * float(cell_m), last_row * float(cell_m), int(rows), int(cols)
    )


def _check_scale(grid: Grid, crs_name: str) -> None:
    """Refuse a CRS in which the grid's corner squares are not the size they say. Raises InputError."""
    # Corners and middle: scale is farthest from 1 at the rim or on the central meridian.
    x = grid.x_min + np.array([0.0, grid.cols, 0.0, grid.cols, grid.cols / 2.0]) * grid.cell_m
    y = grid.y_max - np.array([0.0, 0.0, grid.rows, grid.rows, grid.rows / 2.0]) * grid.cell_m
    transformer = to_wgs84(grid.crs_wkt)
    here = transformer.transform(x, y)
    sides_m = [
        _GEOD.inv(*here, *transformer.transform(x + dx, y + dy))[2]
        for dx, dy in ((grid.cell_m, 0.0), (0.0, grid.cell_m))
    ]
    off = np.abs(np.array(sides_m) / grid.cell_m - 1.0)
    if off.max() <= SCALE_LIMIT:
        return
    worst = np.unravel_index(np.argmax(off), off.shape)[1]
    longitude, latitude = here[0][worst], here[1][worst]
    advice = (
        "Give a smaller area." if crs_name == "auto" else 'Write crs = "auto", or a CRS made for this area.'
    )
    raise InputError(
        f'[grid] crs is "{crs_name}" ({grid.crs.name}): at {latitude:.2f}, {longitude:.2f} (latitude, '
        f"longitude) a square of {grid.cell_m:g} m measures {sides_m[0][worst]:.0f} x "
        f"{sides_m[1][worst]:.0f} m on the ground. The two may differ by {100 * SCALE_LIMIT:g} %. {advice}"
    )
