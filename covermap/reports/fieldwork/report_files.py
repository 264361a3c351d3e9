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
from covermap.wording.language import ENGLISH, messages, say
from covermap.wording.retold import retold
from covermap.wording.tier_names import spoken_tier_names

_QUESTIONS = tuple(key.split(".")[-1] for key in messages(ENGLISH) if key.startswith("form.line."))
_PRIVACY = tuple(key for key in messages(ENGLISH) if key.startswith("form.privacy."))


def write_forms(coverage: Coverage, folder: Path) -> list[Path]:
    """Write the blank report form (HTML and CSV) and a blank readings table; return their paths."""
    folder.mkdir(parents=True, exist_ok=True)
    parts = [
        html.paragraph(say("form.intro")),
        html.table(
            [say("form.question"), say("form.answer")],
            [[_question(key), html.BLANK] for key in _QUESTIONS],
            "form",
        ),
        html.heading(say("form.programmes")),
        html.table(
            [say(f"form.{key}") for key in ("programme", "well", "breaks", "missing")],
            [[service, *[html.BLANK] * 3] for service in coverage.services(coverage.lists[0])],
        ),
        html.section(say("form.before"), [say(key) for key in _PRIVACY]),
    ]
    path = folder / "report_form.html"
    title = say("form.title", name=coverage.run["name"])
    write_text(path, html.page(title, parts, retold(coverage.run.get("cautions", []))))
    return [
        path,
        write_rows(folder / "reports_blank.csv", REPORT_COLUMNS, []),
        write_rows(folder / "readings_blank.csv", READING_COLUMNS, []),
    ]


def _question(key: str) -> str:
    """Return a question of the form, with what to write behind it."""
    question, hint = say(f"form.line.{key}"), say(f"form.write.{key}")
    return say("form.hint", question=question, hint=hint) if hint else question


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
    cautions = retold(coverage.run.get("cautions", []))
    with whole_file(layer) as temporary:
        pyogrio.write_dataframe(
            cells,
            temporary,
            layer="report_cells",
            driver="GPKG",
            geometry_type="Polygon",
            dataset_options={"VERSION": "1.2"},
            layer_options={"DESCRIPTION": " ".join([say("reports.layer"), *cautions])},
        )
    names = spoken_tier_names(coverage.tier_names)
    sentences = [one.in_words(names, public) for one in apart]
    hidden, doubts = int(cells["reports"].isna().sum()), retold(reports.warnings)
    parts = [
        html.paragraph(_counted(len(reports.reports), len(cells), outside, hidden)),
        html.section(say("reports.against"), sentences) or html.paragraph(say("reports.none")),
        html.section(say("fieldwork.doubts"), public_doubts(doubts) if public else doubts),
        html.section(
            say("fieldwork.left_out"), public_rows(reports.unreadable) if public else reports.unreadable
        ),
    ]
    path = folder / "reports.html"
    write_text(path, html.page(say("reports.title", name=coverage.run["name"]), parts, cautions))
    extra = write_unreadable(folder / "reports_unreadable_rows.csv", () if public else reports.unreadable)
    return [layer, path, *extra]


def _counted(reports: int, squares: int, outside: int, hidden: int) -> str:
    """Return how many reports stand in how many squares, outside the map and hidden."""
    return say(
        "reports.counted",
        reports=say("reports.reports", count=reports),
        squares=say("reports.squares", count=squares),
        outside=say("reports.outside", count=outside) if outside else "",
        hidden=say("reports.hidden", count=hidden) if hidden else "",
    )
