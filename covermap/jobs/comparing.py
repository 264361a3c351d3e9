"""Two finished results compared, from their folders."""

from __future__ import annotations

from pathlib import Path

from covermap.planning.changes import Comparison, compare
from covermap.planning.station_changes import station_changes
from covermap.result.coverage import Coverage, open_coverage
from covermap.result.transmitters import stations_of


def changes(before: str | Path | Coverage, after: str | Path | Coverage) -> Comparison:
    """Compare two results: who gains, who loses.

    before, after : result folders, or what open_coverage gave

    Raises InputError if a folder holds no finished result, or the two cannot be compared.
    """
    old, new = _opened(before), _opened(after)
    return compare(old, new, station_changes(stations_of(old), stations_of(new)))


def _opened(result: str | Path | Coverage) -> Coverage:
    return result if isinstance(result, Coverage) else open_coverage(result)


def compare_results(before: Path, after: Path, output: Path | None = None, *, overwrite: bool = False) -> str:
    """Write what changed between two results; return it in words.

    output : default, a folder changes inside the later result

    Raises InputError when they cannot be compared or the output folder is not ours; nothing is written then.
    """
    from covermap.gis_layers.answer_styles import style_changes
    from covermap.reports.comparison import write_comparison
    from covermap.result.result_folder import require_own_record, require_writable
    from covermap.wording.language import ENGLISH, say, speaking
    from covermap.wording.words import path_in_words

    opened = open_coverage(before), open_coverage(after)
    folder = output or opened[1].folder / "changes"
    require_own_record(folder, "changes.json", overwrite)
    require_writable(folder)
    display = opened[1].run.get("options", {}).get("display", {})
    with speaking(display.get("language", ENGLISH)):
        sentences = write_comparison(changes(*opened), *opened, folder, display.get("distance", "km"))
        page, layer = (path_in_words(folder / name) for name in ("changes.html", "changes.gpkg"))
        sentences.append(say("changes.open", page=page, layer=layer))
        style_changes(folder / "changes.gpkg")
    return "\n".join(sentences)
