"""The layers of a result as GeoParquet files."""

from __future__ import annotations

import importlib.util
from collections.abc import Collection
from pathlib import Path

from covermap.errors import InputError
from covermap.result.coverage import GEOPACKAGE_FILE, Coverage
from covermap.result.whole_file import whole_file

PARQUET = "parquet"
FORMATS = (PARQUET,)  # that layers are written in beside the GeoPackage


def require_formats(formats: Collection[str]) -> None:
    """Raise InputError for a format that is none of FORMATS or needs what is not installed."""
    for name in formats:
        if name not in FORMATS:
            raise InputError(f"also is {name!r}. It must be of {', '.join(FORMATS)}.")
    if PARQUET in formats and importlib.util.find_spec("pyarrow") is None:
        raise InputError("pyarrow is not installed. Run: pip install 'covermap[parquet]'.")


def write_geoparquet(coverage: Coverage, folder: Path) -> list[Path]:
    """Write every layer of coverage.gpkg as GeoParquet into a folder, NAME.parquet; return the paths.

    Raises InputError if pyarrow is not installed, or the result has no GeoPackage.
    """
    import pyogrio

    require_formats([PARQUET])
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
