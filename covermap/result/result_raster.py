"""Opens a raster of a result, and says of a damaged one how to get it back."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import rasterio
from rasterio.errors import RasterioError, RasterioIOError

from covermap.errors import CovermapError


@contextmanager
def result_raster(source: Path | str, path: Path) -> Iterator[rasterio.DatasetReader]:
    """Give a raster open for reading.

    source : what rasterio opens. path : of the raster in the result, for the message

    Raises CovermapError when it cannot be opened, or what is asked of it cannot be read.
    """
    try:
        with rasterio.open(source) as dataset:
            yield dataset
    except (RasterioError, RasterioIOError) as error:
        raise CovermapError(
            f"{path}: this raster of the result is damaged and cannot be read ({error}).\n"
            "  Make the result again: covermap map, with the scenario."
        ) from error
