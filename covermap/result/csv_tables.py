"""Writes the CSV tables: neighbourhoods, transmitters and stock."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import pandas as pd

from covermap.result.whole_file import whole_file
from covermap.wording.words import csv_safe

NEIGHBOURHOODS_FILE = "neighbourhoods.csv"
TRANSMITTERS_FILE = "transmitters.csv"
STOCK_FILE = "stock.csv"
ANTENNA_STOCK_FILE = "stock_antennas.csv"


def write_neighbourhoods(areas: gpd.GeoDataFrame, folder: Path) -> Path:
    """Write neighbourhoods.csv: the columns of the layer, without outlines; return its path.

    areas : of planning.areas.summarise_areas()
    """
    return write_csv(areas, Path(folder) / NEIGHBOURHOODS_FILE)


def write_transmitters(transmitters: gpd.GeoDataFrame, folder: Path) -> Path:
    """Write transmitters.csv: the stations as they were understood; return its path.

    transmitters : of transmitters_layer()
    """
    return write_csv(transmitters, Path(folder) / TRANSMITTERS_FILE)


def write_stock(stock: pd.DataFrame, folder: Path) -> Path:
    """Write stock.csv, of planning.stock.stock_table(); return its path."""
    return write_csv(stock, Path(folder) / STOCK_FILE)


def write_csv(frame: pd.DataFrame, path: Path) -> Path:
    """Write a table as UTF-8 CSV; missing values are empty, text cannot start a formula; return the path."""
    table = pd.DataFrame(frame)
    if isinstance(frame, gpd.GeoDataFrame):
        table = table.drop(columns=frame.geometry.name)
    # Names of services stand in headings too: a spreadsheet would take "=..." for a formula there as well.
    table = table.rename(columns=csv_safe)
    for name in table.columns:
        if not pd.api.types.is_numeric_dtype(table[name]):
            table[name] = [value if pd.isna(value) else csv_safe(str(value)) for value in table[name]]
    with whole_file(path) as temporary:
        table.to_csv(temporary, index=False, lineterminator="\n", encoding="utf-8")
    return path
