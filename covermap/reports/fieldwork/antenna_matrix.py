"""Several antennas side by side on the page of an antenna test: stations by antennas, pair by pair."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from covermap.addresses.bench_paths import BenchPath
from covermap.constants import BANDS
from covermap.measurements.antenna_matrix import Matrix, MatrixCell, MatrixRow
from covermap.measurements.band_result import BandResult, kind_words
from covermap.reports.fieldwork import page as html
from covermap.scenario.settings import DisplaySettings
from covermap.wording.language import say
from covermap.wording.lists import band_words
from covermap.wording.words import bearing, distance, height, signed

BandsOf = Mapping[str, BandResult]  # band -> the figure of one pair


def sentences(pairs: Sequence[BandResult], sites: int) -> list[str]:
    """Return a sentence for each two antennas: where one brings more, and where nothing is certain."""
    best: dict[tuple[str, str], BandsOf] = {}
    for (candidate, reference, _, _), by_band in _by_pair(pairs).items():
        before = best.get((candidate, reference))
        if before is None or _figures(by_band) > _figures(before):
            best[candidate, reference] = by_band
    place = say("bench.here", count=max(sites, 1))
    return [_sentence(*names, by_band, place) for names, by_band in best.items()]


def _figures(by_band: BandsOf) -> int:
    return sum(result.mean is not None for result in by_band.values())


def matrix_section(
    matrices: Sequence[Matrix],
    paths_of: Mapping[str, Mapping[str, BenchPath]],
    display: DisplaySettings | None = None,
) -> str:
    """Return the stations by antennas, a table for each site, set and scale.

    paths_of : site -> the log's name of a station -> its path; display : units of lengths, without it metric
    """
    display = display or DisplaySettings()
    parts = [html.heading(say("bench.side_by_side"))]
    for matrix in matrices:
        paths = paths_of.get(matrix.site, {})
        with_paths = any(row.station in paths for row in matrix.rows)
        parts += [
            html.paragraph(_unit_words(matrix)),
            html.table(
                _headings(with_paths, matrix.antennas),
                [_row(matrix, row, paths.get(row.station), with_paths, display) for row in matrix.rows],
                "many",
            ),
        ]
    return "\n".join([*parts, html.paragraph(say("bench.marks"))])


def differences_section(pairs: Sequence[BandResult], others: Sequence[str]) -> str:
    """Return the difference of each two antennas by band, its interval, and whether it is within noise.

    others : sentences on pairs without the reference
    """
    if not pairs:
        return ""
    bands = [band for band in BANDS if any(result.band == band for result in pairs)]
    rows = [
        [say("bench.pair", candidate=candidate, reference=reference), f"{kind_words(kind)}, {device}"]
        + [_difference(by_band.get(band)) for band in bands]
        for (candidate, reference, device, kind), by_band in _by_pair(pairs).items()
    ]
    columns = [say("bench.two"), say("bench.by"), *map(band_words, bands)]
    return "\n".join(
        [
            html.heading(say("bench.differences")),
            html.table(columns, rows, "many"),
            html.paragraph(say("bench.within_noise")),
            html.bullets(others),
        ]
    )


def _by_pair(pairs: Sequence[BandResult]) -> dict[tuple[str, str, str, str], BandsOf]:
    found: dict[tuple[str, str, str, str], dict[str, BandResult]] = {}
    for result in pairs:
        key = result.candidate, result.reference, result.device, result.kind
        found.setdefault(key, {})[result.band] = result
    return dict(found)


def _sentence(candidate: str, reference: str, by_band: BandsOf, place: str) -> str:
    """Return "B brings 2 to 4 dB more at high VHF than A at this place; nothing certain at UHF."."""
    said: dict[str, list[str]] = {"certain": [], "uncertain": []}
    for band in BANDS:
        result = by_band.get(band)
        mean = None if result is None else result.mean
        if result is None:
            continue
        where = band_words(band)
        if mean is None or mean.low_db <= 0.0 <= mean.high_db:
            said["uncertain"].append(where)
        elif mean.low_db > 0.0:
            said["certain"].append(say("bench.more", span=_span(mean.low_db, mean.high_db), band=where))
        else:
            said["certain"].append(say("bench.less", span=_span(-mean.high_db, -mean.low_db), band=where))
    names = {"candidate": candidate, "reference": reference, "place": place}
    if not said["certain"]:
        return say("bench.nothing", bands=_joined(said["uncertain"]), **names)
    text = say("bench.brings", what=_joined(said["certain"]), **names)
    return text if not said["uncertain"] else say("bench.but", text=text, bands=_joined(said["uncertain"]))


def _joined(parts: Sequence[str]) -> str:
    return parts[0] if len(parts) == 1 else say("bench.and", first=", ".join(parts[:-1]), last=parts[-1])


def _span(low_db: float, high_db: float) -> str:
    low, high = round(low_db), round(high_db)
    if low == high:
        return say("bench.about", db=high)
    return say("bench.up_to", db=high) if low == 0 else say("bench.span", low=low, high=high)


def _difference(result: BandResult | None) -> str:
    if result is None:
        return ""
    if result.mean is None:
        return result.verdict
    mean = result.mean
    values = {"mean": mean.mean_db, "low": mean.low_db, "high": mean.high_db}
    figures = {name: signed(value, 1) for name, value in values.items()}
    certain = not mean.low_db <= 0.0 <= mean.high_db
    return say("bench.certain" if certain else "bench.uncertain", **figures)


def _unit_words(matrix: Matrix) -> str:
    device, kind = matrix.scale
    device = f"{matrix.site}, {device}" if matrix.site else device
    if matrix.in_dbm:
        return say("bench.in_dbm", device=device)
    return say(
        "bench.in_steps" if matrix.calibrated else "bench.in_points", device=device, kind=kind_words(kind)
    )


def _headings(with_paths: bool, antennas: Sequence[str]) -> list[str]:
    of_path = ("path", "hills", "field") if with_paths else ()
    return [*(say(f"bench.{name}") for name in ("station", *of_path)), *antennas]


def station_words(station: str, channel: str) -> str:
    """Return a station of a log with its channel, once where it has no other name."""
    return station if station == channel else f"{station}, {channel}"


def _row(
    matrix: Matrix, row: MatrixRow, path: BenchPath | None, with_paths: bool, display: DisplaySettings
) -> list[str]:
    cells = [_cell(matrix, row.cells.get(antenna)) for antenna in matrix.antennas]
    return [station_words(row.station, row.channel), *(_path(path, display) if with_paths else ()), *cells]


def _path(path: BenchPath | None, display: DisplaySettings) -> list[str]:
    if path is None:
        return [""] * 3
    way = f"{path.mast}, {distance(path.distance_km, display.distance)}, {bearing(path.bearing_deg)}"
    hills = "" if path.hills < 0 else str(path.hills)
    if path.hills > 0 and not math.isnan(path.highest_m):
        hills = f"{path.hills} ({height(path.highest_m, display.height)})"
    field = "" if math.isnan(path.field_dbuvm) else f"{path.field_dbuvm:.0f}"
    return [way, hills, field]


def _cell(matrix: Matrix, cell: MatrixCell | None) -> str:
    """Return a reading as people read it: "-61", "✕ lost", "✕ -82, 1 of 4 lost", "78 or more"."""
    if cell is None:
        return ""
    if cell.lost == cell.readings:
        return f"{html.CROSS} {say('bench.lost')}"
    shown = f"{cell.value:.0f}".replace("-0", "0")
    if cell.saturated:
        return say("bench.or_more", value=shown)
    if cell.lost:
        return f"{html.CROSS} {say('bench.some_lost', value=shown, lost=cell.lost, readings=cell.readings)}"
    return shown
