"""`covermap fieldwork`: where to measure next, blank forms, reports against the map."""

from __future__ import annotations

from pathlib import Path


def prepare_fieldwork(
    result: Path,
    output: Path | None = None,
    *,
    reports: Path | None = None,
    list_name: str | None = None,
    count: int = 15,
    public: bool = False,
) -> str:
    """Write where to measure next, blank forms and, with reports, what they say against the map.

    output : default, a folder fieldwork inside the result

    Raises InputError when the folder holds no result or the reports are wrong; nothing is written then.
    """
    from covermap.measurements.reports import disagreements, read_reports, report_cells
    from covermap.measurements.survey import survey_points
    from covermap.reports.fieldwork.public_rows import public_rows
    from covermap.reports.fieldwork.report_files import write_forms, write_reports
    from covermap.reports.fieldwork.survey_files import write_survey
    from covermap.result.coverage import open_coverage
    from covermap.wording.language import ENGLISH, say, speaking

    coverage = open_coverage(result)
    folder = output or coverage.folder / "fieldwork"
    name = list_name or coverage.lists[0]
    coverage.services(name)
    display = coverage.run.get("options", {}).get("display", {})
    with speaking(display.get("language", ENGLISH)):
        read = None if reports is None else read_reports(reports, coverage.tier_names)
        apart, outside = ([], 0) if read is None else disagreements(read.reports, coverage, name)
        points = survey_points(coverage, name, count)
        files = write_survey(points, coverage, folder, name)
        files += write_forms(coverage, folder)
        first, second = files[0], files[1].name
        words = [say("fieldwork.points", count=len(points), first=first, second=second)]
        if read is not None:
            cells = report_cells(read.reports, coverage.grid, public)
            files += write_reports(read, cells, apart, outside, coverage, folder, public)
            words.append(say("fieldwork.against", count=len(read.reports), apart=len(apart)))
            left_out = public_rows(read.unreadable) if public else read.unreadable
            words += [say("row.left_out", sentence=" ".join(one.split())) for one in left_out]
    return "\n".join(words)
