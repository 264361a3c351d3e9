"""Writes coverage.gpkg: every vector layer of a result in one GeoPackage."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd
import pyogrio

from covermap.gis_layers import cells, tier_areas
from covermap.gis_layers.geopackage_tables import GEOMETRY_COLUMN, add_tables, utc_timestamp
from covermap.gis_layers.layer_metadata import description_of, layer_metadata
from covermap.gis_layers.layer_styles import styles_of_layer
from covermap.result.coverage import GEOPACKAGE_FILE, Coverage
from covermap.result.transmitters import carriers
from covermap.result.whole_file import whole_file
from covermap.scenario.records import Scenario
from covermap.wording.retold import retold
from covermap.wording.run_facts import run_facts
from covermap.wording.tier_names import spoken_tier_names

ALWAYS = {"dead_zones": "MultiPolygon"}  # layers that are there when empty: none is an answer too
SYNCHRONOUS = "OGR_SQLITE_SYNCHRONOUS"  # of GDAL; the demo's file waited for the disk 180 times, 0.9 s
GEOPACKAGE_VERSION = "1.2"  # what older GIS still open


def write_geopackage(
    scenario: Scenario,
    coverage: Coverage,
    areas: gpd.GeoDataFrame | None,
    transmitters: gpd.GeoDataFrame,
    folder: Path,
    *,
    more: Mapping[str, gpd.GeoDataFrame] | None = None,
    tables: Mapping[str, pd.DataFrame] | None = None,
    most_cells: int = cells.MOST_CELLS,
) -> Path:
    """Write coverage.gpkg into a folder and return its path.

    Parameters
    ----------
    scenario, coverage : the run
    areas : of planning.areas.summarise_areas(); None without neighbourhoods: the layer is then absent
    transmitters : of transmitters_layer()
    folder : where the file goes; it appears there when it is whole
    more : further layers by name (dead_zones, ridges, survey_points, contours); empty ones are left out
    tables : tables without geometry by name (tier_totals)
    most_cells : above so many cells a list the layer `cells` is absent, and run_metadata says so
    """
    path = Path(folder) / GEOPACKAGE_FILE
    with whole_file(path) as temporary, _unflushed():
        writer = _Writer(temporary, " ".join(retold(coverage.run.get("cautions", []))))
        if areas is not None:
            writer.write("neighbourhoods", areas, "MultiPolygon")
        for list_name in coverage.lists:
            for patches in tier_areas.tier_area_blocks(coverage, list_name):
                # Block by block: the polygons of a whole country would not fit into memory at once.
                writer.write("tier_areas", patches, "Polygon")
        writer.write("transmitters", transmitters, "Point")
        for layer, frame in (more or {}).items():
            if len(frame) or layer in ALWAYS:
                writer.write(layer, frame, ALWAYS.get(layer) or _geometry_type(frame))
        absent = _write_cells(writer, scenario, coverage, most_cells)
        if areas is None:
            absent["neighbourhoods"] = "the scenario names no neighbourhoods"
        for layer, table in (tables or {}).items():
            writer.write_table(layer, table)
        # Last of the data, since only now it is known which layers are absent, and why.
        writer.write_table("run_metadata", _metadata(coverage.run, absent))
        tier_names = spoken_tier_names(coverage.tier_names)
        styles = [
            style
            for layer, columns in writer.columns.items()
            for style in styles_of_layer(layer, columns, coverage.lists, tier_names)
        ]
        stamp = utc_timestamp()
        run = coverage.run | {"finished": stamp}
        metadata = {
            layer: layer_metadata(run, layer, words, coverage.grid.crs_wkt)
            for layer in writer.columns
            if (words := description_of(layer))
        }
        # After all layers: with each of them GDAL sets the times of contents anew.
        add_tables(temporary, writer.columns, styles, metadata, stamp)
    return path


@contextmanager
def _unflushed() -> Iterator[None]:
    """Let GDAL not wait for the disk at each layer: a new result is flushed when all of it is there."""
    before = pyogrio.get_gdal_config_option(SYNCHRONOUS)
    pyogrio.set_gdal_config_options({SYNCHRONOUS: "OFF"})
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options({SYNCHRONOUS: before})


class _Writer:
    """Appends layers to one new GeoPackage and remembers their columns."""

    def __init__(self, path: Path, cautions: str) -> None:
        self.path = path
        self.cautions = cautions
        self.columns: dict[str, list[str]] = {}

    def write(self, layer: str, frame: gpd.GeoDataFrame, geometry_type: str) -> None:
        """Write a layer, or append to it."""
        append = layer in self.columns
        self.columns[layer] = [name for name in frame.columns if name != frame.geometry.name]
        pyogrio.write_dataframe(
            frame,
            self.path,
            layer=layer,
            driver="GPKG",
            append=append,
            geometry_type=geometry_type,
            # A column has one type; single polygons among several parts would be refused.
            promote_to_multi=geometry_type.startswith("Multi"),
            # Options of the file count only when it is made.
            dataset_options={} if self.path.exists() else {"VERSION": GEOPACKAGE_VERSION},
            layer_options={}
            if append
            else {
                "GEOMETRY_NAME": GEOMETRY_COLUMN,
                "SPATIAL_INDEX": "YES",
                "DESCRIPTION": f"{description_of(layer)} {self.cautions}",
            },
        )

    def write_table(self, layer: str, table: pd.DataFrame) -> None:
        """Write a table without geometry."""
        self.columns[layer] = list(table.columns)
        words = description_of(layer)
        told = {"DESCRIPTION": f"{words} {self.cautions}"} if words else {}
        pyogrio.write_dataframe(table, self.path, layer=layer, driver="GPKG", layer_options=told)


def _write_cells(writer: _Writer, scenario: Scenario, coverage: Coverage, most_cells: int) -> dict[str, str]:
    """Write the layer cells, or return why it is absent."""
    count = cells.cell_count(coverage)
    if count > most_cells:
        reason = f"{count} cells are more than {most_cells}; the rasters hold them"
        return {"cells": f"{reason}, and map --also parquet writes them to parquet/cells.parquet"}
    for list_name in coverage.lists:
        writer.write(
            "cells", cells.cells_layer(coverage, list_name, carriers(scenario, list_name)), "Polygon"
        )
    return {}


def _metadata(run: dict[str, Any], absent: dict[str, str]) -> pd.DataFrame:
    """Return the run's facts as key and value."""
    rows = run_facts(run) + [(f"absent_layer.{layer}", reason) for layer, reason in absent.items()]
    return pd.DataFrame(rows, columns=["key", "value"], dtype="string")


def _geometry_type(frame: gpd.GeoDataFrame) -> str:
    """Return the one type all geometries of a frame can be written as."""
    types = set(frame.geom_type)
    # Polygon and MultiPolygon: the shorter name is the single one.
    return types.pop() if len(types) == 1 else f"Multi{min(types, key=len).removeprefix('Multi')}"
