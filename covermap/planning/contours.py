"""Contours by a published rule: where a station's field by the regulator's curves falls to the rule's."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import geopandas as gpd
import numpy as np
import pyproj
from numpy.typing import NDArray
from shapely.geometry import LineString

from covermap.grid.exact_path import GEODESIC
from covermap.grid.height_above_average import all_heights_above_average_m
from covermap.propagation.field_curves import contour_km
from covermap.scenario.records import Station
from covermap.tables.field_curves import ContourField, read_contour_fields, read_field_curves
from covermap.terrain import Terrain

RULE = "noise_limited"
RULE_SYSTEMS = ("atsc1", "atsc3")  # families of systems that 47 CFR 73.619 is about
RADIALS = 120
COLUMNS = ("station_id", "field_dbuvm", "rule")


def has_contour(station: Station) -> bool:
    """Return whether the rule says where the station's contour is."""
    return station.system.split("_")[0] in RULE_SYSTEMS


def contours(
    stations: Sequence[Station], terrain: Terrain, crs_wkt: str
) -> tuple[gpd.GeoDataFrame, tuple[str, ...]]:
    """Return the noise-limited contour of each station as a closed line, and warnings.

    Each radial has its own height above average terrain and its own ERP by the azimuth pattern; elevation
    pattern and tilt do not count. A station without a rule, or around which too little ground is known,
    has no row. Columns: COLUMNS; CRS as asked.

    Source: 47 CFR 73.619(c), 73.625(b), 73.699.
    """
    azimuth_deg = np.arange(RADIALS, dtype=np.float64) * (360.0 / RADIALS)
    to_crs = pyproj.Transformer.from_crs("EPSG:4326", crs_wkt, always_xy=True)
    fields = read_contour_fields()

    @cache  # stations of one mast
    def haat_m_of(latitude_deg: float, longitude_deg: float, antenna_height_m: float) -> NDArray[np.float64]:
        return all_heights_above_average_m(
            terrain, latitude_deg, longitude_deg, antenna_height_m, azimuth_deg
        )

    rows, lines, warnings = [], [], []
    for station in stations:
        if not has_contour(station):
            continue
        haat_m = haat_m_of(station.latitude_deg, station.longitude_deg, station.antenna_height_m)
        if np.isnan(haat_m).any():
            warnings.append(
                f"{station.station_id} has no contour: too little of the ground 3 to 16 km around its mast "
                "is known."
            )
            continue
        rule = fields[RULE, station.band]
        distance_km = station_contour_km(station, rule, azimuth_deg, haat_m)
        # Somewhere the field is less than the rule's at the mast itself: what is left is no closed line.
        if not np.all(distance_km > 0.0):
            continue
        longitude, latitude, _ = GEODESIC.fwd(
            np.full(RADIALS, station.longitude_deg),
            np.full(RADIALS, station.latitude_deg),
            azimuth_deg,
            1000.0 * distance_km,
        )
        # first point again, so that the line closes
        x, y = to_crs.transform(np.append(longitude, longitude[0]), np.append(latitude, latitude[0]))
        rows.append((station.station_id, round(rule.at(station.frequency_mhz), 2), RULE))
        lines.append(LineString(np.column_stack([x, y])))
    columns = {name: [row[place] for row in rows] for place, name in enumerate(COLUMNS)}
    return gpd.GeoDataFrame(columns, geometry=lines, crs=crs_wkt), tuple(warnings)


def station_contour_km(
    station: Station, rule: ContourField, azimuth_deg: NDArray[np.float64], haat_m: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Return how far along each azimuth the station's field reaches the rule's, in km."""
    erp_dbk = np.full(azimuth_deg.shape, 10.0 * np.log10(station.erp_kw))
    if station.azimuth_pattern is not None:
        erp_dbk += station.azimuth_pattern.relative_db_at(azimuth_deg)
    return contour_km(
        read_field_curves(), station.band, rule.curve, haat_m, erp_dbk, rule.at(station.frequency_mhz)
    )
