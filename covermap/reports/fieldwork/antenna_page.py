"""What `covermap antenna-test` writes: a page with the picture, the pairs and the figures as tables."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from covermap.addresses.bench_paths import BenchPath
from covermap.errors import InputError
from covermap.measurements.antenna_matrix import Matrix
from covermap.measurements.antenna_test import AntennaTest
from covermap.measurements.band_result import BandResult, kind_words
from covermap.measurements.far_readings import FarReading
from covermap.measurements.percent_readings import percent_scales_csv
from covermap.measurements.tier_row import KnownGain, measured_gains, tier_table_csv
from covermap.reports.fieldwork import page as html
from covermap.reports.fieldwork.antenna_matrix import differences_section, matrix_section, sentences
from covermap.reports.fieldwork.far_readings import far_section
from covermap.reports.fieldwork.next_steps import after_antenna_test
from covermap.reports.fieldwork.pictures import antenna_picture, as_png, as_svg
from covermap.reports.fieldwork.tables import write_rows, write_unreadable
from covermap.result.whole_file import whole_file, write_text
from covermap.scenario.settings import DisplaySettings
from covermap.wording.cautions import STANDING
from covermap.wording.language import say
from covermap.wording.lists import band_words
from covermap.wording.retold import retold
from covermap.wording.words import decimal, file_safe, signed

OF_A_TEST = ("bench.page.here_only", "bench.page.moment")
PAIR_COLUMNS = (
    "session_id", "station_id", "band", "device_id", "scale_kind", "candidate", "reference",
    "difference_low_db", "difference_high_db", "reference_level_db", "readings", "left_out_because",
)  # fmt: skip
BAND_COLUMNS = (
    "candidate", "reference", "band", "device_id", "scale_kind", "mean_db", "low_95_db", "high_95_db",
    "standard_error_db", "station_sd_db", "session_sd_db", "stations", "sessions", "pairs", "pairs_censored",
    "pairs_unknown", "pairs_left_out", "verdict",
)  # fmt: skip


@dataclass(frozen=True)
class BesideTheTest:
    """What stands on the page of a test beside its figures.

    pairs : of every two antennas; paths : by site, of the log's stations; empty where they are not known
    written : what was put into a catalogue and what not, a sentence each
    far : what the reference read far off what is predicted; display : units of lengths, without it metric
    """

    pairs: Sequence[BandResult]
    matrices: Sequence[Matrix]
    paths: Mapping[str, Mapping[str, BenchPath]]
    written: Sequence[str] = ()
    far: Sequence[FarReading] = ()
    display: DisplaySettings | None = None


def write_antenna_test(test: AntennaTest, folder: Path, beside: BesideTheTest) -> list[Path]:
    """Write antenna_test.html, a PNG a candidate and scale, and the tables; return their paths."""
    folder.mkdir(parents=True, exist_ok=True)
    files = [
        write_rows(folder / "differences.csv", PAIR_COLUMNS, _pair_rows(test)),
        write_rows(folder / "bands.csv", BAND_COLUMNS, [_band_row(result) for result in test.bands]),
        *write_unreadable(folder / "unreadable_rows.csv", test.unreadable),
    ]
    if test.scales:
        files.append(folder / "percent_scales.csv")
        write_text(files[-1], percent_scales_csv(test.scales))
    pictures = []
    for key in dict.fromkeys((b.candidate, b.device, b.kind) for b in test.bands):
        figure = antenna_picture(test, *key)
        path = folder / f"differences_{file_safe('_'.join(key))}.png"
        with whole_file(path) as temporary:
            temporary.write_bytes(as_png(figure))
        files.append(path)
        pictures.append(f"<figure>{as_svg(figure)}</figure>")
    path = folder / "antenna_test.html"
    write_text(path, antenna_page(test, pictures, beside))
    return [path, *files]


def write_tier_table(
    test: AntennaTest,
    path: Path,
    known_gain: Mapping[str, tuple[float, float]],
    candidate: str | None,
    like_tier: int,
) -> None:
    """Write the built-in tier table with one tier's gains as measured.

    known_gain : band -> gain of the reference and its standard uncertainty. [dBd, dB]
    candidate : which antenna; may be None where there is only one
    Raises InputError if the candidate is not clear or nothing was measured.
    """
    names = list(dict.fromkeys(b.candidate for b in test.bands))
    if candidate is None and len(names) > 1:
        raise InputError(f"The log compares {', '.join(names)}. Name one with --candidate.")
    chosen = candidate or names[0]
    if chosen not in names:
        raise InputError(f"--candidate is {chosen!r}; the log compares {', '.join(names)}.")
    known = {band: KnownGain(*values) for band, values in known_gain.items()}
    gains = measured_gains(test, chosen, known)
    write_text(path, tier_table_csv(test, chosen, like_tier, gains))


def in_words(test: AntennaTest, page: Path, beside: BesideTheTest) -> str:
    """Return the answer for the terminal."""
    lines = [*sentences(beside.pairs, len(test.log.sites)), test.verdict, *test.notes, *beside.written]
    lines += after_antenna_test(test, beside.written)
    lines += [say("fieldwork.told_doubt", sentence=one) for one in retold(test.warnings)]
    left_out = [" ".join(one.split()) for one in test.unreadable]
    lines += [say("row.left_out", sentence=one) for one in left_out]
    return "\n".join([*lines, say("fieldwork.open", file=page)])


def antenna_page(test: AntennaTest, pictures: list[str], beside: BesideTheTest) -> str:
    """Return the page; pictures are HTML."""
    site = ", ".join(test.log.sites)
    with_reference = [result for result in beside.pairs if result.reference == test.reference]
    told, first = (sentences(pairs, len(test.log.sites)) for pairs in (beside.pairs, with_reference))
    parts = [
        *(html.paragraph(sentence, "answer") for sentence in first),
        html.section(say("fieldwork.next"), after_antenna_test(test, beside.written)),
        differences_section(beside.pairs, [one for one in told if one not in first]),
        matrix_section(beside.matrices, beside.paths, beside.display),
        far_section(beside.far),
        html.section(say("bench.into_catalogue"), beside.written),
        *pictures,
        html.heading(say("bench.page.figures")),
        html.table(_figure_headings(), [_figure_row(result) for result in test.bands]),
        html.paragraph(say("bench.page.unit")),
        html.section(say("bench.page.read"), test.notes),
        html.section(say("fieldwork.doubts"), retold(test.warnings)),
        html.section(say("fieldwork.left_out"), test.unreadable),
    ]
    title = say("bench.page.title_at", site=site) if site else say("bench.page.title")
    return html.page(title, parts, [*(say(key) for key in OF_A_TEST), *retold(STANDING)])


def _figure_headings() -> list[str]:
    of_page = [say(f"bench.page.{key}") for key in ("mean", "interval", "between", "stations")]
    return [say("bench.page.antenna"), say("bench.page.band"), say("bench.by"), *of_page]


def _figure_row(result: BandResult) -> list[str]:
    by = f"{kind_words(result.kind)}, {result.device}"
    start = [result.candidate, band_words(result.band), by]
    mean = result.mean
    if mean is None:
        return [*start, result.verdict, "", "", str(result.stations)]
    return [
        *start,
        f"{signed(mean.mean_db, 1)} dB",
        say("bench.verdict.range", low=signed(mean.low_db, 1), high=signed(mean.high_db, 1)),
        f"{decimal(mean.station_sd_db, 1)} dB",
        say("bench.page.bounds", stations=mean.stations, bounds=mean.censored, pairs=mean.values),
    ]


def _pair_rows(test: AntennaTest) -> list[list[object]]:
    return [
        [
            p.session, p.station, p.band, p.device, p.kind, p.candidate, p.reference, _bound(p.low_db),
            _bound(p.high_db), _bound(p.reference_db), p.readings, p.left_out,
        ]
        for p in test.pairs.differences
    ]  # fmt: skip


def _bound(value: float) -> float | None:
    """Return a number for the table; no bound is empty."""
    return round(value, 3) if math.isfinite(value) else None


def _band_row(result: BandResult) -> list[object]:
    mean = result.mean
    figures: list[object] = [None] * 9
    if mean is not None:
        figures = [
            *(round(v, 3) for v in (mean.mean_db, mean.low_db, mean.high_db, mean.standard_error_db)),
            round(mean.station_sd_db, 3), _bound(mean.session_sd_db), mean.stations, mean.sessions,
            mean.values,
        ]  # fmt: skip
    figures[6] = result.stations
    censored = mean.censored if mean is not None else None
    start = [result.candidate, result.reference, result.band, result.device, result.kind]
    return [*start, *figures, censored, result.unknown, result.left_out, result.verdict]
