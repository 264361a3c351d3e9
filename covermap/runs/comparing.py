"""Two finished results compared, from their folders."""

from __future__ import annotations

from pathlib import Path

from covermap.outputs.coverage import Coverage, open_coverage
from covermap.planning.changes import Comparison, compare


def changes(before: str | Path | Coverage, after: str | Path | Coverage) -> Comparison:
    """Compare two results: who gains, who loses.

    before, after : result folders, or what open_coverage gave

    Raises InputError if a folder holds no finished result, or the two cannot be compared.
    """
    return compare(_opened(before), _opened(after))


def _opened(result: str | Path | Coverage) -> Coverage:
    return result if isinstance(result, Coverage) else open_coverage(result)
