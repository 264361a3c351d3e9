"""A result as layers of a folium map of one's own: antenna needed, neighbourhoods, dead zones, masts."""

from __future__ import annotations

from html import escape
from typing import TYPE_CHECKING

import folium
import geopandas as gpd
import numpy as np
import pyproj
import shapely
from numpy.typing import NDArray
from rasterio.crs import CRS
from rasterio.transform import array_bounds
from rasterio.warp import Resampling, calculate_default_transform, reproject

from covermap.constants import UNKNOWN_UINT8
from covermap.errors import InputError
from covermap.grid.frame import Grid
from covermap.grid.one_piece import box_deg, in_one_piece, web_mercator
from covermap.result.coarsened import coarsened
from covermap.wording.palette import TIERS, rgb

if TYPE_CHECKING:
    from covermap.result.coverage import Coverage

MOST_CELLS = 1000 * 1000  # of the picture; larger results are drawn with larger cells
OPACITY = 0.75  # the reader's own base map shows through
INK = "#15181C"


def feature_group(coverage: Coverage, list_name: str | None = None) -> folium.FeatureGroup:
    """Return a list's layers as one group: add it to any folium map with add_to().

    list_name : default the first

    Raises InputError if there is no such list.
    """
    name = coverage.lists[0] if list_name is None else list_name
    coverage.services(name)
    group = folium.FeatureGroup(name=f"Antenna needed, {name}")
    picture, bounds = tier_picture(coverage, name)
    folium.raster_layers.ImageOverlay(picture, bounds, opacity=OPACITY).add_to(group)
    for layer in (_neighbourhoods(coverage, name), _dead_zones(coverage, name)):
        if layer is not None:
            layer.add_to(group)
    for mast in _masts(coverage).itertuples():
        folium.CircleMarker(
            (mast.geometry.y, mast.geometry.x),
            radius=5,
            color=INK,
            fill=True,
            fill_opacity=1.0,
            tooltip=escape(str(mast.mast)),
        ).add_to(group)
    return group


def own_map(coverage: Coverage, list_name: str | None = None) -> folium.Map:
    """Return a map of a list without a base map, fitted to it, with the legend and the result's cautions."""
    group = feature_group(coverage, list_name)
    own = folium.Map(tiles=None, control_scale=True)
    group.add_to(own)
    own.fit_bounds(tier_place(coverage))
    legend = " &ensp; ".join(
        f'<span style="border-left:1em solid {look.painted};padding-left:.3em">{escape(name)}</span>'
        for look, name in zip(TIERS, coverage.tier_names, strict=True)
    )
    said = " ".join(coverage.run.get("cautions", []))
    page = own.get_root()
    # for the type checker: get_root() is declared as any element
    assert isinstance(page, folium.Figure)
    page.html.add_child(folium.Element(f"<p>{legend}</p><p>{escape(said)}</p>"))
    return own


def tier_place(coverage: Coverage) -> list[list[float]]:
    """Return [[south, west], [north, east]] of the result's grid, in degrees; east may pass 180."""
    west, south, east, north = box_deg(coverage.grid)
    return [[south, west], [north, east]]


def tier_picture(coverage: Coverage, list_name: str) -> tuple[NDArray[np.uint8], list[list[float]]]:
    """Return the antenna needed as an RGBA picture (rows, columns, 4) in web Mercator, and where it lies.

    The second is [[south, west], [north, east]] in degrees; east may pass 180. Unknown cells and those
    outside are clear.
    """
    drawn = coarsened(coverage, MOST_CELLS)
    tier, grid = drawn.read(f"{list_name}/tier"), drawn.grid
    own_crs, edges = CRS.from_wkt(grid.crs_wkt), array_bounds(grid.rows, grid.cols, grid.transform)
    mercator = CRS.from_wkt(web_mercator(grid).to_wkt())
    to, width, height = calculate_default_transform(own_crs, mercator, grid.cols, grid.rows, *edges)
    seen = np.full((height, width), UNKNOWN_UINT8, np.uint8)
    reproject(
        tier, seen, src_transform=grid.transform, src_crs=own_crs, dst_transform=to, dst_crs=mercator,
        src_nodata=UNKNOWN_UINT8, dst_nodata=UNKNOWN_UINT8, resampling=Resampling.nearest,
    )  # fmt: skip
    colours = np.zeros((256, 4), dtype=np.uint8)
    for look in TIERS:
        colours[look.number] = (*rgb(look.painted), 255)
    west_m, south_m, east_m, north_m = array_bounds(height, width, to)
    to_degrees = pyproj.Transformer.from_crs(web_mercator(grid), "EPSG:4326", always_xy=True)
    longitude_deg, (south, north) = to_degrees.transform([west_m, east_m], [south_m, north_m])
    west, east = in_one_piece(grid, longitude_deg)
    return colours[seen], [[south, west], [north, east]]


def _in_degrees(shapes: gpd.GeoSeries, grid: Grid) -> gpd.GeoSeries:
    """Return shapes in WGS 84 degrees, in one piece where the grid crosses 180."""
    shapes = shapes.to_crs("EPSG:4326")
    joined = shapely.transform(
        shapes.array, lambda at: np.column_stack([in_one_piece(grid, at[:, 0]), at[:, 1]])
    )
    return gpd.GeoSeries(joined, index=shapes.index, crs=shapes.crs)


def _outlines(
    frame: gpd.GeoDataFrame, words: list[str], colour: str, dashes: str, grid: Grid
) -> folium.GeoJson | None:
    """Return shapes as lines that tell their words; None where there are no shapes."""
    if not len(frame):
        return None
    shapes = _in_degrees(frame.geometry, grid)
    told = gpd.GeoDataFrame({"told": [escape(word) for word in words]}, geometry=shapes.array)
    style = {"color": colour, "weight": 1.2, "fill": False, "dashArray": dashes}
    return folium.GeoJson(
        told.to_json(),
        style_function=lambda feature: style,
        tooltip=folium.GeoJsonTooltip(["told"], labels=False),
    )


def _neighbourhoods(coverage: Coverage, list_name: str) -> folium.GeoJson | None:
    try:
        areas = coverage.areas(list_name)
    except InputError:  # the scenario names none
        return None
    areas = areas[areas.geometry.notna()]
    return _outlines(areas, [str(name) for name in areas["neighbourhood_name"]], INK, "", coverage.grid)


def _dead_zones(coverage: Coverage, list_name: str) -> folium.GeoJson | None:
    zones = coverage.dead_zones()
    zones = zones[zones["wanted_list"] == list_name]
    words = [
        " ".join([zone.kind, f"near {zone.near_name}" if zone.near_name else ""]).strip()
        for zone in zones.itertuples()
    ]
    return _outlines(zones, words, INK, "2 5", coverage.grid)


def _masts(coverage: Coverage) -> gpd.GeoDataFrame:
    """Return one row a mast, in degrees."""
    stations = coverage.layer("transmitters")
    stations = stations.set_geometry(_in_degrees(stations.geometry, coverage.grid))
    return stations.drop_duplicates(["mast", "latitude_deg", "longitude_deg"])
