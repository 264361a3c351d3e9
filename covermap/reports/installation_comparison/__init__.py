"""installation_comparison: what antennas of the catalogue differ in, as page, layer, raster and tables."""

from covermap.reports.installation_comparison.write import (
    RECORD_FILE,
    raster_file,
    write_installation_comparison,
)

__all__ = ["RECORD_FILE", "raster_file", "write_installation_comparison"]
