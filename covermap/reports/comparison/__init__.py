"""comparison: what two results differ in, as a layer, tables and a small page."""

from covermap.reports.comparison.write import write_comparison

__all__ = ["write_comparison"]
