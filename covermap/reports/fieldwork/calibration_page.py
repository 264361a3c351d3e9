"""What `covermap calibrate` writes: calibration.toml, a page and the readings against the prediction."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

from covermap.inputs.calibration import calibration_toml
from covermap.measurements.calibrate import NORMAL_95, CalibrationReport, public_calibration
from covermap.measurements.reports import FEWEST_SHOWN
from covermap.reports.fieldwork import page as html
from covermap.reports.fieldwork.next_steps import TITLE
from covermap.reports.fieldwork.pictures import as_svg, residual_picture
from covermap.reports.fieldwork.public_rows import public_doubts, public_rows
from covermap.reports.fieldwork.tables import write_rows, write_unreadable
from covermap.result.whole_file import write_text

COLUMNS = (
    "point_id", "latitude_deg", "longitude_deg", "station_id", "mast", "band", "kind", "height_m",
    "predicted_dbuvm", "measured_minus_predicted_low_db", "measured_minus_predicted_high_db", "distance_km",
    "loss_over_free_space_db", "ridges", "path_class",
)  # fmt: skip
MOST_DISAGREEMENTS = 30
PRIVATE_FILES = ("calibration_readings.csv", "calibration_unreadable_rows.csv")
PUBLIC_CAUTION = (
    "Made to be shown: the area of an offset is whole squares of 1.1 to 2 km that the points touch, so it "
    "reaches up to one square beyond them; losses are rounded to 5 dB; offsets on under five "
    "points are left out."
)


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
    answer = words[-1] if not report.refused else words[-1] + " No calibration.toml is written."
    apart = [d.words_without_place if public else d.words for d in report.disagreements]
    offsets = [o for o in report.offsets if not public or o.points >= FEWEST_SHOWN]
    more = len(apart) - MOST_DISAGREEMENTS
    parts = [
        html.paragraph(answer, "answer"),
        html.section(TITLE, steps),
        html.heading("What was read"),
        html.bullets([line for line in words[:2] if "±" not in line]),
        f"<figure>{as_svg(residual_picture(report, public))}</figure>" if report.residuals else "",
        html.heading("Offsets, added to the prediction"),
        html.table(
            ["Mast", "Band", "Offset", "95 %", "Points"],
            [
                [
                    o.mast,
                    o.band.replace("_", " "),
                    f"{o.offset_db:+.1f} dB",
                    f"±{NORMAL_95 * o.sd_db:.1f} dB",
                    o.points,
                ]
                for o in offsets
            ],
        ),
        html.section(
            "Where it must not be trusted", [*report.cautions, *([PUBLIC_CAUTION] if public else [])]
        ),
        html.section(
            "Readings the prediction does not explain, to look into",
            [*apart[:MOST_DISAGREEMENTS], *([f"and {more} more"] if more > 0 else [])],
        ),
        html.section("Doubts", public_doubts(report.warnings) if public else report.warnings),
        html.section("Rows left out", public_rows(report.unreadable) if public else report.unreadable),
    ]
    return html.page("Readings against the prediction", parts, cautions)


def in_words(
    report: CalibrationReport, files: Sequence[Path], public: bool = False, steps: Sequence[str] = ()
) -> str:
    """Return the answer for the terminal."""
    lines = [report.in_words(), *report.cautions, *([PUBLIC_CAUTION] if public else [])]
    doubts = public_doubts(report.warnings) if public else report.warnings
    left_out = public_rows(report.unreadable) if public else report.unreadable
    lines += [f"Doubt: {sentence}" for sentence in doubts]
    lines += [f"Left out: {' '.join(sentence.split())}" for sentence in left_out]
    lines += [f"Next: {step}" for step in steps]
    if report.calibration is None:
        lines.append(f"No calibration.toml was written. Open {files[0]}.")
    else:
        lines.append(
            f'Wrote {files[0]}; to use it, write calibration = "{files[0].name}" under [prediction].'
        )
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
