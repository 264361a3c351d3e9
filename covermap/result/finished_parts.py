"""Parts of a map that a run had finished when it was stopped: the next run of the same inputs keeps them.

Beside the parts' folders stands a mark for each, written when its rasters are whole and on the disk; it says
what they were made from and what was counted. Marks stand where unfinished files do, so no result has them.
"""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import numpy as np

from covermap.grid.frame import Tile
from covermap.result.parts import PARTS_FOLDER, part_folder
from covermap.result.raster_catalogue import RASTERS_FOLDER
from covermap.result.run_counts import RunCounts
from covermap.result.whole_file import TEMPORARY_FOLDER, files_below, flush, write_text


def keep_part(result: Path, part: Tile, origin: str, counts: RunCounts) -> None:
    """Mark a part whose rasters stand in an unfinished result as finished."""
    flush(files_below(_rasters(result, part)))
    told = {
        "origin": origin,
        "computed": counts.computed,
        "read": counts.read,
        "stages_s": counts.stages_s,
        "other_tiers": counts.other_tiers.tolist(),
    }
    mark = _mark(result, part)
    mark.parent.mkdir(parents=True, exist_ok=True)
    write_text(mark, json.dumps(told))
    flush([mark])


def finished_part(result: Path, part: Tile) -> RunCounts | None:
    """Return what was counted of a part that an unfinished result holds; None where it does not."""
    try:
        told = json.loads(_mark(result, part).read_text(encoding="utf-8"))
    except FileNotFoundError:
        return None
    return RunCounts(
        told["computed"], told["read"], told["stages_s"], other_tiers=np.array(told["other_tiers"], np.int64)
    )


def drop_unfinished(result: Path, origin: str | None) -> None:
    """Remove everything of an unfinished result but the parts finished from an origin; None is all of it."""
    parts = Path(result) / RASTERS_FOLDER / PARTS_FOLDER
    marks = () if origin is None else (parts / TEMPORARY_FOLDER).glob("*.json")
    kept = {mark.stem for mark in marks if _origin(mark) == origin}
    _remove_all_but({RASTERS_FOLDER} if kept else set(), result)
    _remove_all_but({PARTS_FOLDER}, parts.parent)
    _remove_all_but(kept | {TEMPORARY_FOLDER}, parts)
    _remove_all_but({f"{name}.json" for name in kept}, parts / TEMPORARY_FOLDER)
    if not kept:
        shutil.rmtree(result, ignore_errors=True)


def _remove_all_but(names: set[str], folder: Path) -> None:
    for path in folder.iterdir() if folder.is_dir() else ():
        if path.name in names:
            continue
        if path.is_dir():
            shutil.rmtree(path, ignore_errors=True)
        else:
            path.unlink(missing_ok=True)


def _origin(mark: Path) -> str | None:
    """Return what a mark says its part was made from; None where it cannot be read."""
    try:
        return str(json.loads(mark.read_text(encoding="utf-8"))["origin"])
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _rasters(result: Path, part: Tile) -> Path:
    return Path(result) / RASTERS_FOLDER / part_folder(part)


def _mark(result: Path, part: Tile) -> Path:
    folder = _rasters(result, part)
    return folder.parent / TEMPORARY_FOLDER / f"{folder.name}.json"
