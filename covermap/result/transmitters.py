"""The transmitters of a run as they were understood."""

from __future__ import annotations

from collections.abc import Mapping

import geopandas as gpd
import numpy as np
import pandas as pd

from covermap.errors import InputError
from covermap.result.coverage import Coverage
from covermap.result.csv_tables import TRANSMITTERS_FILE
from covermap.scenario.letters import station_letters
from covermap.scenario.records import Scenario, Station


def carriers(scenario: Scenario, list_name: str) -> dict[str, tuple[str, ...]]:
    """Return for each service of a list the ids of the stations that carry it."""
    wanted = next(wanted for wanted in scenario.wanted if wanted.name == list_name)
    return {
        service: tuple(scenario.stations[index].station_id for index in indices)
        for service, indices in zip(wanted.services, wanted.transmitters, strict=True)
    }


def transmitters_layer(
    scenario: Scenario,
    coverage: Coverage,
    *,
    ground_terrain_m: Mapping[str, float] | None = None,
    homes_decided: Mapping[str, float] | None = None,
) -> gpd.GeoDataFrame:
    """Return one point a station, in the grid's CRS, in file order.

    Parameters
    ----------
    scenario, coverage : the run
    ground_terrain_m : station id -> elevation of the terrain at the mast; without it the ground raster
        is read, where the mast stands on the grid. [m]
    homes_decided : service -> homes for which it decides, in the first wanted list; each station that
        carries the service has its number
    """
    rows = [_row(station) for station in scenario.stations]
    table = pd.DataFrame(rows)
    ground = [_ground_m(station, coverage, ground_terrain_m) for station in scenario.stations]
    table["ground_terrain_m"] = pd.array(np.round(np.array(ground, dtype=float), 1), dtype="Float64")
    table["ground_filed_m"] = pd.array([station.ground_m for station in scenario.stations], dtype="Float64")
    table["rf_channel"] = pd.array([station.rf_channel for station in scenario.stations], dtype="Int64")
    letters = station_letters(scenario)
    table["letter"] = [letters[station.station_id] for station in scenario.stations]
    first = next(iter(scenario.wanted))
    decided = {} if homes_decided is None else _decided_by_station(scenario, first.name, homes_decided)
    table["homes_decided"] = pd.array([decided.get(s.station_id) for s in scenario.stations], dtype="Float64")
    points = gpd.points_from_xy(
        [station.longitude_deg for station in scenario.stations],
        [station.latitude_deg for station in scenario.stations],
        crs="EPSG:4326",
    )
    return gpd.GeoDataFrame(table[list(ORDER)], geometry=points).to_crs(coverage.grid.crs_wkt)


def stations_of(coverage: Coverage) -> pd.DataFrame:
    """Return the stations of a result as it understood them, a row a station, by station_id.

    Columns of transmitters.csv; none where the result was made without that file.
    """
    path = coverage.folder / TRANSMITTERS_FILE
    if not path.is_file():
        return pd.DataFrame(index=pd.Index(coverage.run.get("stations", []), dtype=str))
    texts = ("station_id", "service", "mast", "displayed_channel", "azimuth_pattern", "elevation_pattern")
    return pd.read_csv(path, dtype=dict.fromkeys(texts, str)).set_index("station_id")


ORDER = (
    "station_id",
    "service",
    "displayed_channel",
    "rf_channel",
    "frequency_mhz",
    "band",
    "erp_kw",
    "antenna_height_m",
    "ground_terrain_m",
    "ground_filed_m",
    "polarization",
    "use",
    "system",
    "as_of",
    "homes_decided",
    "mast",
    "status",
    "latitude_deg",
    "longitude_deg",
    "bandwidth_mhz",
    "required_cn_db",
    "azimuth_pattern",
    "elevation_pattern",
    "source",
    "letter",
)


def _row(station: Station) -> dict[str, object]:
    """Return the columns that stand in the record as they are."""
    record: dict[str, object] = {
        name: getattr(station, name)
        for name in ORDER
        if name
        not in {
            "ground_terrain_m",
            "ground_filed_m",
            "homes_decided",
            "azimuth_pattern",
            "elevation_pattern",
            "letter",
        }
    }
    record["azimuth_pattern"] = station.azimuth_pattern.name if station.azimuth_pattern else None
    record["elevation_pattern"] = station.elevation_pattern.name if station.elevation_pattern else None
    record["as_of"] = station.as_of or None
    return record


def _ground_m(station: Station, coverage: Coverage, known: Mapping[str, float] | None) -> float:
    """Return the terrain's elevation at a mast, NaN where it is not known."""
    if known is not None and station.station_id in known:
        return known[station.station_id]
    if not coverage.has("ground"):
        return np.nan
    try:
        row, col = coverage.cell_at(station.latitude_deg, station.longitude_deg)
    except InputError:  # the mast stands outside the grid, which is allowed
        return np.nan
    return float(coverage.read("ground", (slice(row, row + 1), slice(col, col + 1)))[0, 0])


def _decided_by_station(
    scenario: Scenario, list_name: str, homes_decided: Mapping[str, float]
) -> dict[str, float]:
    return {
        station: homes_decided.get(service, 0.0)
        for service, stations in carriers(scenario, list_name).items()
        for station in stations
    }
