"""Every cell of a result as GeoParquet, written in groups of rows, so that memory does not grow with them."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from covermap.gis_layers.cells import cells_layer
from covermap.result.coverage import Coverage
from covermap.result.transmitters import carriers
from covermap.result.whole_file import whole_file
from covermap.scenario.records import Scenario

CELLS_FILE = "cells.parquet"
GROUP_CELLS = 100_000  # rows of a group at most, of a grid not wider than that: about 100 MB of memory
GEOPARQUET_VERSION = "1.0.0"


def write_cells_parquet(scenario: Scenario, coverage: Coverage, folder: Path) -> Path:
    """Write cells.parquet, the columns of the layer cells for every wanted list; return its path.

    Raises ImportError without pyarrow.
    """
    # Here and not above: an extra, and the result must be writable without it.
    import pyarrow
    from pyarrow import parquet

    folder.mkdir(parents=True, exist_ok=True)
    path = folder / CELLS_FILE
    with whole_file(path) as temporary:
        writer = None
        for frame in _groups(scenario, coverage):
            table = pyarrow.Table.from_pandas(frame.to_wkb(), preserve_index=False)
            if writer is None:
                # Replaces what pandas noted of its index and types: of one group, it would be told of the
                # whole file.
                schema = table.schema.with_metadata({"geo": json.dumps(_geo(coverage))})
                writer = parquet.ParquetWriter(temporary, schema, compression="zstd")
            writer.write_table(table.cast(schema))
        if writer is not None:
            writer.close()
    return path


def _groups(scenario: Scenario, coverage: Coverage) -> Iterator[Any]:
    """Yield the cells of each list, some rows of the grid at a time."""
    for list_name in coverage.lists:
        of_list = carriers(scenario, list_name)
        for band in coverage.grid.bands(GROUP_CELLS):
            yield cells_layer(coverage, list_name, of_list, band)


def _geo(coverage: Coverage) -> dict[str, Any]:
    """Return the metadata of GeoParquet 1.0.0: encoding, kinds, CRS and box of the geometry."""
    grid = coverage.grid
    east, south = grid.x_min + grid.cols * grid.cell_m, grid.y_max - grid.rows * grid.cell_m
    return {
        "version": GEOPARQUET_VERSION,
        "primary_column": "geometry",
        "columns": {
            "geometry": {
                "encoding": "WKB",
                "geometry_types": ["Polygon"],
                "crs": grid.crs.to_json_dict(),
                # of the grid: that of the cells is only known when the last group is written
                "bbox": [grid.x_min, south, east, grid.y_max],
            }
        },
    }
