"""Blank report forms for a community group, and what its reports gave."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import geopandas as gpd
import pyogrio

from covermap.measurements.readings import READING_COLUMNS
from covermap.measurements.reports import REPORT_COLUMNS, ReportDisagreement, Reports
from covermap.reports.fieldwork import page as html
from covermap.reports.fieldwork.public_rows import public_doubts, public_rows
from covermap.reports.fieldwork.tables import write_rows, write_unreadable
from covermap.result.coverage import Coverage
from covermap.result.whole_file import whole_file, write_text

FORM_LINES = (
    ("Report number", "the group gives it; no names"),
    ("Date and time", ""),
    ("Where", "latitude and longitude, or the address for the group only; it is never published"),
    ("Antenna stands", "shelf, window, loft, gable wall, rooftop, rooftop with amplifier, tall mast"),
    ("Antenna", "kind or model, as far as known"),
    ("Amplifier", "none, at the antenna, at the set"),
    ("Programmes seen well", "as the set numbers them"),
    ("Programmes missing or breaking up", ""),
    ("Make of the set, and which bar is read", "strength or quality; one set is not like another"),
    ("Reading", "with its unit"),
    ("Weather; leaves on the trees", ""),
    ("Since when; only at times", "evenings, wind, rain, hot days"),
    ("After a new search for programmes", "same or better"),
)
PRIVACY = (
    "The group keeps the address; what is published is counts in squares, and none of under five reports.",
    "Do not write names or telephone numbers on this sheet.",
    "Read what the set shows; nobody needs to climb for this form.",
)


def write_forms(coverage: Coverage, folder: Path) -> list[Path]:
    """Write the blank report form (HTML and CSV) and a blank readings table; return their paths."""
    folder.mkdir(parents=True, exist_ok=True)
    parts = [
        html.paragraph(
            "One sheet a home. It helps to tell weak signals from noise, old antennas and old lists."
        ),
        html.table(
            ["Question", "Answer"],
            [[question if not hint else f"{question} ({hint})", html.BLANK] for question, hint in FORM_LINES],
            "form",
        ),
        html.heading("Programmes on the list"),
        html.table(
            ["Programme", "Seen well", "Breaks up", "Missing"],
            [[service, *[html.BLANK] * 3] for service in coverage.services(coverage.lists[0])],
        ),
        html.section("Before you fill it in", PRIVACY),
    ]
    path = folder / "report_form.html"
    title = f"{coverage.run['name']}: what do you receive?"
    write_text(path, html.page(title, parts, coverage.run.get("cautions", [])))
    return [
        path,
        write_rows(folder / "reports_blank.csv", REPORT_COLUMNS, []),
        write_rows(folder / "readings_blank.csv", READING_COLUMNS, []),
    ]


def write_reports(
    reports: Reports,
    cells: gpd.GeoDataFrame,
    apart: Sequence[ReportDisagreement],
    outside: int,
    coverage: Coverage,
    folder: Path,
    public: bool,
) -> list[Path]:
    """Write report_cells.gpkg and the list of disagreements; return their paths."""
    folder.mkdir(parents=True, exist_ok=True)
    layer = folder / "report_cells.gpkg"
    cautions = coverage.run.get("cautions", [])
    with whole_file(layer) as temporary:
        pyogrio.write_dataframe(
            cells,
            temporary,
            layer="report_cells",
            driver="GPKG",
            geometry_type="Polygon",
            dataset_options={"VERSION": "1.2"},
            layer_options={
                "DESCRIPTION": "Reports counted in squares, never as points. " + " ".join(cautions)
            },
        )
    sentences = [one.in_words(coverage.tier_names, public) for one in apart]
    hidden = int(cells["reports"].isna().sum())
    parts = [
        html.paragraph(
            f"{len(reports.reports)} reports in {len(cells)} squares"
            + (f"; {outside} outside the map" if outside else "")
            + (f"; counts of {hidden} squares are hidden because they are small" if hidden else "")
            + ". Those who report are not all who receive: the counts are no shares of homes."
        ),
        html.section("Reports the map speaks against, to look into", sentences)
        or html.paragraph("No report speaks against the map."),
        html.section("Doubts", public_doubts(reports.warnings) if public else reports.warnings),
        html.section("Rows left out", public_rows(reports.unreadable) if public else reports.unreadable),
    ]
    path = folder / "reports.html"
    write_text(path, html.page(f"{coverage.run['name']}: reports against the map", parts, cautions))
    extra = write_unreadable(folder / "reports_unreadable_rows.csv", () if public else reports.unreadable)
    return [layer, path, *extra]
