"""What `covermap calibrate` writes: calibration.toml, a page and the readings against the prediction."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

from covermap.inputs.calibration import calibration_toml
from covermap.measurements.calibrate import NORMAL_95, CalibrationReport, public_calibration
from covermap.measurements.offsets import Offset
from covermap.measurements.reports import FEWEST_SHOWN
from covermap.reports.fieldwork import page as html
from covermap.reports.fieldwork.pictures import as_svg, residual_picture
from covermap.reports.fieldwork.public_rows import public_doubts, public_rows
from covermap.reports.fieldwork.tables import write_rows, write_unreadable
from covermap.result.whole_file import write_text
from covermap.wording.language import say
from covermap.wording.lists import band_words
from covermap.wording.retold import retold
from covermap.wording.words import decimal, signed

COLUMNS = (
    "point_id", "latitude_deg", "longitude_deg", "station_id", "mast", "band", "kind", "height_m",
    "predicted_dbuvm", "measured_minus_predicted_low_db", "measured_minus_predicted_high_db", "distance_km",
    "loss_over_free_space_db", "ridges", "path_class",
)  # fmt: skip
MOST_DISAGREEMENTS = 30
PRIVATE_FILES = ("calibration_readings.csv", "calibration_unreadable_rows.csv")


def write_calibration(
    report: CalibrationReport, folder: Path, cautions: Sequence[str], public: bool, steps: Sequence[str] = ()
) -> list[Path]:
    """Write what a calibration gave and return the paths; calibration.toml only where it is not refused.

    steps : what to do next, of after_calibration()
    public : no points by name or place: the table of readings is not written (and one of an earlier run
        removed), areas are whole squares, rows go by their line
    """
    folder.mkdir(parents=True, exist_ok=True)
    files = []
    calibration = public_calibration(report) if public else report.calibration
    if calibration is not None:
        files.append(folder / "calibration.toml")
        write_text(files[0], calibration_toml(calibration))
    files.append(folder / "calibration.html")
    write_text(files[-1], calibration_page(report, cautions, public, steps))
    if public:
        for name in PRIVATE_FILES:
            (folder / name).unlink(missing_ok=True)
    else:
        files.append(write_rows(folder / PRIVATE_FILES[0], COLUMNS, _rows(report)))
        files += write_unreadable(folder / PRIVATE_FILES[1], report.unreadable)
    return files


def calibration_page(
    report: CalibrationReport, cautions: Sequence[str], public: bool, steps: Sequence[str] = ()
) -> str:
    """Return the page."""
    words = report.in_words().splitlines()
    answer = words[-1] if not report.refused else say("calibration.not_written", words=words[-1])
    apart = [d.words_without_place if public else d.words for d in report.disagreements]
    offsets = [o for o in report.offsets if not public or o.points >= FEWEST_SHOWN]
    more = len(apart) - MOST_DISAGREEMENTS
    parts = [
        html.paragraph(answer, "answer"),
        html.section(say("fieldwork.next"), steps),
        html.heading(say("calibration.read")),
        html.bullets([line for line in words[:2] if "±" not in line]),
        f"<figure>{as_svg(residual_picture(report, public))}</figure>" if report.residuals else "",
        html.heading(say("calibration.offsets")),
        html.table(
            [
                *(say(f"calibration.{key}") for key in ("mast", "band", "offset")),
                "95 %",
                say("calibration.points"),
            ],
            [_offset_row(offset) for offset in offsets],
        ),
        html.section(say("calibration.untrusted"), _untrusted(report, public)),
        html.section(
            say("calibration.unexplained"),
            [
                *apart[:MOST_DISAGREEMENTS],
                *([say("calibration.more", count=more)] if more > 0 else []),
            ],
        ),
        html.section(say("fieldwork.doubts"), _doubts(report, public)),
        html.section(say("fieldwork.left_out"), _left_out(report, public)),
    ]
    return html.page(say("calibration.title"), parts, retold(cautions))


def _offset_row(offset: Offset) -> list[object]:
    reach = f"±{decimal(NORMAL_95 * offset.sd_db, 1)} dB"
    name = offset.mast, band_words(offset.band)
    return [*name, f"{signed(offset.offset_db, 1)} dB", reach, offset.points]


def _untrusted(report: CalibrationReport, public: bool) -> list[str]:
    return [*report.cautions, *([say("calibration.public")] if public else [])]


def _doubts(report: CalibrationReport, public: bool) -> list[str]:
    doubts = retold(report.warnings)
    return public_doubts(doubts) if public else doubts


def _left_out(report: CalibrationReport, public: bool) -> list[str]:
    return public_rows(report.unreadable) if public else list(report.unreadable)


def in_words(
    report: CalibrationReport, files: Sequence[Path], public: bool = False, steps: Sequence[str] = ()
) -> str:
    """Return the answer for the terminal."""
    lines = [report.in_words(), *_untrusted(report, public)]
    lines += [say("fieldwork.told_doubt", sentence=one) for one in _doubts(report, public)]
    left_out = [" ".join(one.split()) for one in _left_out(report, public)]
    lines += [say("row.left_out", sentence=one) for one in left_out]
    lines += [say("fieldwork.told_next", sentence=step) for step in steps]
    if report.calibration is None:
        lines.append(say("calibration.no_file", file=files[0]))
    else:
        lines.append(say("calibration.use_file", path=files[0], file=files[0].name))
    return "\n".join(lines)


def _rows(report: CalibrationReport) -> list[list[object]]:
    return [
        [
            r.reading.point, round(r.reading.latitude_deg, 6), round(r.reading.longitude_deg, 6),
            r.reading.station.station_id, r.reading.station.mast, r.reading.station.band, r.reading.kind,
            r.reading.height_m, round(r.predicted_dbuvm, 2), _bound(r.low_db), _bound(r.high_db),
            round(r.distance_km, 3), round(r.excess_db, 2), r.ridge_count, r.path_class,
        ]
        for r in report.residuals
    ]  # fmt: skip


def _bound(value: float) -> float | None:
    return round(value, 2) if math.isfinite(value) else None
