"""Reports of a community group: what homes receive, as counts a cell and as disagreements with the map."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import pyproj
import shapely

from covermap.constants import TIER_COUNT, UNKNOWN_UINT8
from covermap.errors import InputError
from covermap.grid.frame import Grid, Tile
from covermap.measurements.field_rows import open_rows, read_each
from covermap.planning.results import Results
from covermap.scenario.coordinates import read_place
from covermap.scenario.text_table import Row
from covermap.wording.language import say
from covermap.wording.words import row_place

REPORT_COLUMNS = (
    "report_id", "date", "latitude_deg", "longitude_deg", "mount", "antenna", "amplifier", "seen",
    "services_seen", "services_missing", "set_make", "reading", "reading_scale", "weather", "leaves", "note",
)  # fmt: skip
REQUIRED = (
    ("latitude_deg", "position"),
    ("longitude_deg", "position"),
    ("mount",),
    ("seen", "services_missing"),
)
SEEN = ("all", "some", "none")
FEWEST_SHOWN = 5  # common practice, no source: smaller counts point at single homes
PUBLIC_CELL_M = 1000.0  # judgement: cells of public report counts are at least this wide
SURE_PERCENT, UNLIKELY_PERCENT = 90, 10


@dataclass(frozen=True)
class Report:
    """One home's report. tier : 1 to 7; seen : all, some or none of the listed services."""

    where: str
    report_id: str
    latitude_deg: float
    longitude_deg: float
    tier: int
    seen: str


@dataclass(frozen=True)
class Reports:
    """Reports in file order, rows left out with the reason, and doubts."""

    file: str
    reports: tuple[Report, ...]
    unreadable: tuple[str, ...]
    warnings: tuple[str, ...]


@dataclass(frozen=True)
class ReportDisagreement:
    """A report that the map speaks against.

    map_tier : what the map asks for there; chance_percent : of the whole list with the report's antenna
    """

    report: Report
    map_tier: int
    chance_percent: int

    def in_words(self, tier_names: Sequence[str], public: bool) -> str:
        """Return one sentence; in public without the report's id or place."""
        low = self.chance_percent <= UNLIKELY_PERCENT
        return say(
            "reports.apart_low" if low else "reports.apart_high",
            who="" if public else f"{self.report.report_id or row_place(self.report.where)}: ",
            tier=tier_names[self.report.tier - 1],
            seen=say(f"reports.seen_{self.report.seen}"),
            needed=tier_names[self.map_tier - 1],
        )


def read_reports(path: Path | str, tier_names: Sequence[str]) -> Reports:
    """Read reports; rows that cannot be used are listed with the reason and the rest is kept.

    tier_names : of tiers 1 to 7, as the mount may be written

    Raises InputError if the file or its header cannot be read, or if no row is usable.
    """
    rows = open_rows(
        path, ("latitude_deg", "longitude_deg", "reading"), (*REPORT_COLUMNS, "position"), REQUIRED
    )
    reports = read_each(rows, lambda row, warnings: _report(row, tier_names, warnings))
    return Reports(rows.table.file, tuple(reports), tuple(rows.unreadable), tuple(rows.warnings))


def _report(row: Row, tier_names: Sequence[str], warnings: list[str]) -> Report:
    seen = row.text("seen").lower()
    if not seen:
        missing, some = row.text("services_missing"), row.text("services_seen")
        seen = "all" if not missing else "some" if some else "none"
        if not missing and not some:
            raise row.wrong("seen", "Write all, some or none of the listed services.")
    if seen not in SEEN:
        raise row.wrong("seen", "Write all, some or none of the listed services.")
    latitude_deg, longitude_deg = read_place(row, warnings)
    return Report(
        where=row.where,
        report_id=row.text("report_id"),
        latitude_deg=latitude_deg,
        longitude_deg=longitude_deg,
        tier=_tier(row, tier_names),
        seen=seen,
    )


def _tier(row: Row, tier_names: Sequence[str]) -> int:
    text = row.text("mount").lower().replace("_", " ")
    for tier, name in enumerate(tier_names[:TIER_COUNT], start=1):
        if text in (str(tier), name.lower()):
            return tier
    for tier, name in enumerate(tier_names[:TIER_COUNT], start=1):
        if text and name.lower().startswith(text):
            return tier
    raise row.wrong(
        "mount", f"It must be one of {', '.join(tier_names[:TIER_COUNT])}, or a number from 1 to 7."
    )


def report_cells(reports: Sequence[Report], grid: Grid, public: bool) -> gpd.GeoDataFrame:
    """Return reports as cells with counts, never as points: reports, all_seen, some_seen, none_seen.

    public : cells are at least 1 km wide, and a cell with under 5 reports has no counts (missing); where only
        one cell would be hidden the next smallest is hidden too, so that a total cannot reveal it
    """
    side = max(1, round(PUBLIC_CELL_M / grid.cell_m)) if public else 1
    cells = _by_cell(reports, grid, side)
    counts = {
        cell: [len(group), *(sum(r.seen == seen for r in group) for seen in SEEN)]
        for cell, group in cells.items()
    }
    hidden = _hidden(counts) if public else set()
    rows = []
    for (row, col), values in sorted(counts.items()):
        shown = [None] * 4 if (row, col) in hidden else values
        rows.append({"cell_id": f"{row}-{col}", **dict(zip(COUNT_COLUMNS, shown, strict=True))})
    width = side * grid.cell_m
    boxes = [
        shapely.box(
            grid.x_min + col * width,
            grid.y_max - (row + 1) * width,
            grid.x_min + (col + 1) * width,
            grid.y_max - row * width,
        )
        for row, col in sorted(counts)
    ]
    frame = gpd.GeoDataFrame(rows, columns=["cell_id", *COUNT_COLUMNS], geometry=boxes, crs=grid.crs_wkt)
    return frame.astype(dict.fromkeys(COUNT_COLUMNS, "Int64"))


COUNT_COLUMNS = ("reports", "all_seen", "some_seen", "none_seen")


def _hidden(counts: dict[tuple[int, int], list[int]]) -> set[tuple[int, int]]:
    hidden = {cell for cell, values in counts.items() if values[0] < FEWEST_SHOWN}
    shown = [cell for cell in counts if cell not in hidden]
    if len(hidden) == 1 and shown:
        hidden.add(min(shown, key=lambda cell: counts[cell][0]))
    return hidden


def _by_cell(reports: Sequence[Report], grid: Grid, side: int) -> dict[tuple[int, int], list[Report]]:
    cells: dict[tuple[int, int], list[Report]] = defaultdict(list)
    for report in reports:
        place = _cell(report, grid)
        if place is not None:
            cells[place[0] // side, place[1] // side].append(report)
    return cells


def _cell(report: Report, grid: Grid) -> tuple[int, int] | None:
    to_grid = pyproj.Transformer.from_crs("EPSG:4326", grid.crs_wkt, always_xy=True)
    x, y = to_grid.transform(report.longitude_deg, report.latitude_deg)
    if not np.isfinite([x, y]).all():
        return None
    row, col = int((grid.y_max - y) // grid.cell_m), int((x - grid.x_min) // grid.cell_m)
    return (row, col) if 0 <= row < grid.rows and 0 <= col < grid.cols else None


def disagreements(
    reports: Sequence[Report], results: Results, list_name: str | None = None
) -> tuple[list[ReportDisagreement], int]:
    """Return reports the map speaks against, most surprising first, and how many lie outside the map.

    A report disagrees when all services are seen with an antenna the map gives 10 % or less, or some are
    missing with one it gives 90 % or more. This is a list to look into, not a score.

    Raises InputError if every report lies outside the map.
    """
    name = list_name or results.lists[0]
    found, outside = [], 0
    for report in reports:
        cell = _cell(report, results.grid)
        if cell is None:
            outside += 1
            continue
        tile = Tile(*cell, 1, 1)
        chance = int(results.read(f"{name}/tier_chance", tile)[report.tier - 1, 0, 0])
        tier = int(results.read(f"{name}/tier", tile)[0, 0])
        if UNKNOWN_UINT8 in (chance, tier):
            continue
        # "some" speaks against the map as "none" does: the chance is of the whole list.
        against = chance <= UNLIKELY_PERCENT if report.seen == "all" else chance >= SURE_PERCENT
        if against:
            found.append(ReportDisagreement(report, tier, chance))
    if reports and outside == len(reports):
        raise InputError(
            f"None of the {outside} reports lies on the map. Look at latitude_deg and longitude_deg."
        )
    return sorted(found, key=lambda one: -abs(one.chance_percent - 50)), outside
