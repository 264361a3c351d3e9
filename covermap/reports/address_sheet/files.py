"""Writes the sheets of addresses: HTML, blank readings, the day sheet, and PDF where asked."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

from covermap.addresses.report import AddressReport
from covermap.addresses.station_records import StationAtSite
from covermap.measurements.readings import READING_COLUMNS
from covermap.reports.address_sheet.choices import choices_section
from covermap.reports.address_sheet.day_sheet import day_sheet_html
from covermap.reports.address_sheet.house import house_section
from covermap.reports.address_sheet.installed import installations_section, recommended_section
from covermap.reports.address_sheet.reasons import (
    amplifier_section,
    basis_section,
    changes_section,
    check_section,
    why_section,
)
from covermap.reports.address_sheet.sections import (
    aim_section,
    answer_section,
    header,
    stations_section,
)
from covermap.reports.address_sheet.shell import page
from covermap.reports.fieldwork.tables import write_rows
from covermap.result.whole_file import whole_file, write_text
from covermap.wording.language import say
from covermap.wording.words import file_safe

READINGS_FILE = "readings.csv"
DAY_SHEET_FILE = "day_sheet.html"
DAY_PDF_FILE = "day_sheet.pdf"


def sheet_html(report: AddressReport, dn: float, with_clutter: bool) -> str:
    """Return the sheet of one address, nine sections in order, on two printed pages.

    The first holds what is decided and done on the day, the second what it rests on.

    dn : fall of refractivity of the run; with_clutter : its paths count land cover
    """
    return page(
        say("sheet.title", place=report.label or say("sheet.untitled"), scenario=report.scenario_name),
        [
            header(report),
            answer_section(report),
            choices_section(report),
            aim_section(report),
            check_section(report, READINGS_FILE),
            '<div class="second">',
            recommended_section(report),
            stations_section(report),
            why_section(report, dn, with_clutter),
            '<div class="pair">',
            amplifier_section(report),
            changes_section(report),
            "</div>",
            installations_section(report),
            house_section(report),
            basis_section(report, report.cautions),
            "</div>",
        ],
    )


def write_sheets(
    reports: Sequence[AddressReport],
    folder: Path,
    *,
    dn: float,
    with_clutter: bool,
    as_list: bool,
    left_out: Sequence[str] = (),
    printer: Callable[..., Any] | None = None,
) -> list[Path]:
    """Write a sheet each, one file of blank readings and, for a list, the day sheet; return the paths.

    printer : of pdf_printer(); None writes HTML alone
    """
    names = sheet_names(reports)
    files = []
    for report, name in zip(reports, names, strict=True):
        html = sheet_html(report, dn, with_clutter)
        write_text(folder / f"{name}.html", html)
        files.append(folder / f"{name}.html")
        if printer is not None:
            with whole_file(folder / f"{name}.pdf") as temporary:
                printer(string=html).write_pdf(temporary)
            files.append(folder / f"{name}.pdf")
    if as_list:
        linked = list(zip(reports, [f"{name}.html" for name in names], strict=True))
        day = day_sheet_html(linked, left_out, reports[0].cautions)
        write_text(folder / DAY_SHEET_FILE, day)
        if printer is not None:
            with whole_file(folder / DAY_PDF_FILE) as temporary:
                printer(string=day).write_pdf(temporary)
            files.insert(0, folder / DAY_PDF_FILE)
        files.insert(0, folder / DAY_SHEET_FILE)
    files.append(write_rows(folder / READINGS_FILE, READING_COLUMNS, _blank_readings(reports)))
    return files


def sheet_names(reports: Sequence[AddressReport]) -> list[str]:
    """Return a file name (without suffix) for each report: its id, label or place; no two alike."""
    names: list[str] = []
    for report in reports:
        place = f"{report.latitude_deg:.5f}_{report.longitude_deg:.5f}".replace(".", "p")
        written = [file_safe(text, unnamed="") for text in (report.point_id, report.label, place)]
        base = f"address_{next(text for text in written if text)}"
        name, number = base, 2
        while name.lower() in {taken.lower() for taken in names}:
            name, number = f"{base}_{number}", number + 1
        names.append(name)
    return names


def _blank_readings(reports: Sequence[AddressReport]) -> list[list[object]]:
    """Return a row a station of the list and address; level, picture and time are left to be filled in."""
    rows = []
    for report in reports:
        for station in report.stations:
            if station.on_list:
                known = _known(report, station)
                rows.append([known.get(column, "") for column in READING_COLUMNS])
    return rows


def _known(report: AddressReport, station: StationAtSite) -> dict[str, object]:
    return {
        "point_id": report.point_id or report.label,
        "latitude_deg": round(report.latitude_deg, 6),
        "longitude_deg": round(report.longitude_deg, 6),
        "station_id": station.station_id,
        "rf_channel": "" if station.rf_channel is None else station.rf_channel,
    }


def pdf_printer() -> tuple[Callable[..., Any] | None, tuple[str, ...]]:
    """Return what prints HTML as PDF, None without its library, and what to say then."""
    try:
        from weasyprint import HTML
    except (ImportError, OSError) as error:
        return None, (
            f"No PDF is written: it needs the report extra ({error}). Install it with: "
            "pip install 'covermap[report]', or print the HTML sheet from a browser.",
        )
    return HTML, ()
