"""A result as other libraries hold it: an xarray Dataset, and GeoParquet files."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from covermap.constants import TIER_COUNT
from covermap.errors import InputError
from covermap.result.coverage import GEOPACKAGE_FILE, Coverage
from covermap.result.raster_catalogue import Layer, layer_of
from covermap.result.whole_file import whole_file

if TYPE_CHECKING:
    import xarray

GRID_MAPPING = "spatial_ref"


def to_xarray(coverage: Coverage, names: Sequence[str] | None = None) -> xarray.Dataset:
    """Return rasters of a result as one Dataset.

    Parameters
    ----------
    coverage : the result
    names : of rasters, such as 'main/tier'; default all of them

    Returns
    -------
    xarray.Dataset with coordinates x and y (centres of cells, in the grid's CRS, metres), tier (1 to 7)
    and service where rasters have such bands. A variable has its raster's name, unknown cells are NaN
    (so whole numbers become float32), and carries units, long_name and, after the CF conventions 1.8,
    section 5.6, grid_mapping. The CRS stands in the variable spatial_ref as crs_wkt. Values are read when
    they are asked for, and only the rows and columns asked for: select first, then compute.

    Raises
    ------
    InputError
        If a raster is not in the result, or xarray is not installed.
    """
    try:
        import xarray

        from covermap.result.lazy_raster import lazy_raster
    except ImportError as error:
        raise InputError("xarray is not installed. Run: pip install 'covermap[xarray]'.") from error
    x, y = coverage.coordinates()
    variables: dict[str, Any] = {GRID_MAPPING: ((), 0, _grid_mapping(coverage))}
    coordinates: dict[str, Any] = {
        "x": ("x", x, {"standard_name": "projection_x_coordinate", "units": "m"}),
        "y": ("y", y, {"standard_name": "projection_y_coordinate", "units": "m"}),
    }
    for name in coverage.raster_names() if names is None else names:
        layer = layer_of(name)
        band = _band_coordinate(coverage, name, layer)
        coordinates |= band
        sizes = (*(len(values) for _, values in band.values()), *coverage.grid.shape)
        attributes = {"long_name": layer.meaning, "units": layer.unit or "1", "grid_mapping": GRID_MAPPING}
        variables[name] = xarray.Variable(
            (*band, "y", "x"), lazy_raster(coverage, name, layer, sizes), attributes
        )
    about = {"title": coverage.run.get("name", ""), "comment": " ".join(coverage.run.get("cautions", []))}
    return xarray.Dataset(variables, coordinates, about)


def write_geoparquet(coverage: Coverage, folder: Path) -> list[Path]:
    """Write every layer of coverage.gpkg as GeoParquet into a folder, NAME.parquet; return the paths.

    Raises InputError if pyarrow is not installed, or the result has no GeoPackage.
    """
    import pyogrio

    try:
        import pyarrow  # noqa: F401  geopandas writes with it
    except ImportError as error:
        raise InputError("pyarrow is not installed. Run: pip install 'covermap[parquet]'.") from error
    source = coverage.folder / GEOPACKAGE_FILE
    if not source.is_file():
        raise InputError(f"{coverage.folder}: there is no {GEOPACKAGE_FILE}. Run covermap map again.")
    Path(folder).mkdir(parents=True, exist_ok=True)
    written = []
    for name, geometry in pyogrio.list_layers(source):
        if geometry is None:
            continue
        path = Path(folder) / f"{name}.parquet"
        with whole_file(path) as temporary:
            coverage.layer(str(name)).to_parquet(temporary, index=False)
        written.append(path)
    return written


def _grid_mapping(coverage: Coverage) -> dict[str, Any]:
    transform = coverage.grid.transform
    geo = (transform.c, transform.a, transform.b, transform.f, transform.d, transform.e)
    return {"crs_wkt": coverage.grid.crs_wkt, "GeoTransform": " ".join(f"{part:.10g}" for part in geo)}


def _band_coordinate(coverage: Coverage, name: str, layer: Layer) -> dict[str, Any]:
    """Return the coordinate of a raster's bands; none for one band."""
    if not layer.stacked:
        return {}
    if layer.bands == TIER_COUNT:
        return {"tier": ("tier", np.arange(1, TIER_COUNT + 1))}
    list_name = name.split("/")[0]
    dimension = "service" if len(coverage.lists) == 1 else f"service_of_{list_name}"
    return {dimension: (dimension, list(coverage.services(list_name)))}
