"""outputs: one writer a file. It formats results; it computes no physics."""

from covermap.outputs.coverage import Coverage, open_coverage

__all__ = ["Coverage", "open_coverage"]
