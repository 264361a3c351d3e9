"""result: a result folder written and read back: rasters, run.json, tables. It computes no physics."""

from covermap.result.coverage import Coverage, open_coverage

__all__ = ["Coverage", "open_coverage"]
