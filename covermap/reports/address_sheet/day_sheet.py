"""The day sheet: every address of a list on one page, in its order, for a phone or paper."""

from __future__ import annotations

from collections.abc import Sequence

from covermap.addresses.report import AddressReport
from covermap.reports.address_sheet import wording as words
from covermap.reports.address_sheet.installed import load_words
from covermap.reports.address_sheet.map_square import cell_sentence
from covermap.reports.address_sheet.sections import GAP, head_words
from covermap.reports.address_sheet.shell import bullets, page, paragraph, square, text
from covermap.wording.language import say
from covermap.wording.retold import retold


def day_sheet_html(
    reports: Sequence[tuple[AddressReport, str]], left_out: Sequence[str], cautions: Sequence[str]
) -> str:
    """Return the page.

    reports : (report, file name of its sheet); left_out : rows that could not be read, a sentence each
    """
    first = reports[0][0]
    title = say("sheet.day.title", count=len(reports), scenario=first.scenario_name)
    head = f"<header><p>{GAP.join(head_words(first))}</p><h1>{text(title)}</h1></header>"
    every = [report for report, _ in reports]
    served = [report for report in every if report.tier is not None and report.tier <= len(report.plans)]
    others = [report for report in every if report not in served]
    told = [say("sheet.day.take", kinds="; ".join(_kinds(served))) if served else ""]
    told += [say("sheet.day.nothing", kinds="; ".join(_kinds(others))) if others else "", load_words(every)]
    parts = [head, *(paragraph(text(sentence)) for sentence in told if sentence)]
    parts += [_entry(number, report, name) for number, (report, name) in enumerate(reports, start=1)]
    if left_out:
        parts.append(f"<section><h2>{text(say('sheet.day.left_out'))}</h2>{bullets(left_out)}</section>")
    parts.append(
        f'<section class="whole basis"><h2>{text(say("page.care"))}</h2>{bullets(retold(cautions))}</section>'
    )
    return page(title, parts)


def _kinds(reports: Sequence[AddressReport]) -> list[str]:
    """Return how many of each class the day needs, easiest first, two antennas and filters told apart."""
    counts: dict[tuple[int, int, bool], int] = {}
    names = {}
    for report in reports:
        kind = (report.tier or 99, len(report.aims_deg), report.needs_filter)
        counts[kind] = counts.get(kind, 0) + 1
        names[kind] = say("sheet.unknown") if report.tier is None else words.plain_name(report, report.tier)
        if report.tier is not None and report.tier <= len(report.plans):
            names[kind] = words.built(names[kind], len(report.aims_deg), report.needs_filter)
    return [f"{counts[kind]} × {names[kind]}" for kind in sorted(counts)]


def _id(report: AddressReport) -> str:
    """Return the id of an address as HTML, where it says more than the title."""
    if report.point_id in ("", report.label):
        return ""
    return f"{text(say('sheet.day.id', point=report.point_id))} &nbsp; "


def _entry(number: int, report: AddressReport, name: str) -> str:
    first, rest = words.answer(report)
    place = f"{report.latitude_deg:.5f}, {report.longitude_deg:.5f}"
    title = f"{number}. {text(report.label or report.point_id or place)}"
    parts = [
        f'<section class="whole"><h2>{title}</h2>',
        paragraph(f"{_id(report)}{place}", "soft"),
        f'<div class="big">{square(report.tier)}<p><b>{text(first)}</b> {text(rest)}</p></div>',
    ]
    decides = words.decider(report)
    parts.append(paragraph(text(decides)) if decides else "")
    parts += [paragraph(text(remark), "note") for remark in words.remarks(report)]
    parts.append(bullets(_by_mast(report)))
    parts.append(paragraph(text(cell_sentence(report)), "soft"))
    parts.append(paragraph(f'<a href="{text(name)}">{text(say("sheet.day.open"))}</a>', "link"))
    return "".join([*parts, "</section>"])


def _by_mast(report: AddressReport) -> list[str]:
    """Return a line a mast: bearing, and how sure each service of the list is."""
    lines: dict[str, list[str]] = {}
    for station in report.stations:
        if not station.on_list or station is not words.best_station(report, station.service):
            continue
        key = f"{station.mast}, {words.bearing(report, station.azimuth_deg)}"
        word = words.in_words(report, station.chance_percent)
        name = words.named(report, station.station_id, station.service)
        lines.setdefault(key, []).append(f"{name} {words.channel_lines(station)[0]}: {word}")
    return [f"{mast}. {'; '.join(members)}" for mast, members in lines.items()]
