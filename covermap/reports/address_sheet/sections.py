"""Three of the sheet's first sections as HTML: answer, aim, stations."""

from __future__ import annotations

import math

from covermap.addresses.paths import PATH_HEIGHT_M
from covermap.addresses.report import AddressReport
from covermap.addresses.station_records import StationAtSite
from covermap.bearings import FIRST_YEAR, LAST_YEAR
from covermap.reports.address_sheet import wording as words
from covermap.reports.address_sheet.installed import buy_words
from covermap.reports.address_sheet.map_square import cell_sentence
from covermap.reports.address_sheet.pictures import skyline_svg
from covermap.reports.address_sheet.shell import (
    letter,
    paragraph,
    picture,
    section,
    square,
    table,
    td,
    text,
    th,
)
from covermap.wording.language import say
from covermap.wording.words import day_text, half_up, join

GAP = " &nbsp; "  # between the parts of a head


def header(report: AddressReport) -> str:
    """Return the head: scenario, list, confidence; the place."""
    place = f"{report.latitude_deg:.5f}, {report.longitude_deg:.5f}"
    above, below = [text(report.scenario_name), *head_words(report)], [place]
    if not math.isnan(report.ground_m):
        below.append(text(say("sheet.ground", height=words.height(report, report.ground_m))))
    below.append(above.pop())
    return (
        f"<header><p>{GAP.join(above)}</p><h1>{text(report.label or place)}</h1>"
        f'<p class="soft">{GAP.join(below)}</p></header>'
    )


def head_words(report: AddressReport) -> list[str]:
    """Return list, confidence and the stations' date as escaped text."""
    as_of = report.stations_as_of or say("number.no_date")
    said = (
        say("sheet.list", name=report.list_name),
        say("sheet.sure", sure=f"{report.confidence_percent:g} %"),
        say("sheet.as_of", date=as_of),
    )
    return [text(one) for one in said]


def answer_section(report: AddressReport) -> str:
    """Return section 1: one sentence, then who decides, then the map's square."""
    first, rest = words.answer(report)
    parts = [f'<div class="big">{square(report.tier)}<p><b>{text(first)}</b> {text(rest)}</p></div>']
    decides = f"{words.decider(report)} {words.hard_here(report)}"
    parts.append(paragraph(text(decides.strip())) if decides else "")
    parts += [paragraph(f"<b>{text(buy_words(report, one))}</b>") for one in report.recommended[:1]]
    parts += [paragraph(text(remark), "note") for remark in words.remarks(report)]
    parts.append(paragraph(text(cell_sentence(report)), "soft"))
    parts += [paragraph(text(words.note(report.display, note)), "note") for note in report.notes]
    return section(1, say("sheet.answer"), *parts, whole=True)


def aim_section(report: AddressReport) -> str:
    """Return section 3: skyline, range of azimuths, bearings, the sun."""
    parts = [picture(skyline_svg(report)), paragraph(" ".join(_aim_sentences(report)))]
    parts.append(paragraph(text(_skyline_note(report)), "soft"))
    return section(3, say("sheet.aim"), *parts, whole=True, kind="aim")


def _aim_sentences(report: AddressReport) -> list[str]:
    plan, sentences = report.stored_plan, []
    if plan is not None and plan.directional:
        if report.aim_range_deg is None:
            sentences.append(_bold(say("sheet.aims.none", sure=f"{report.confidence_percent:g} %")))
        else:
            sentences += [_window_sentence(report, number) for number in range(len(plan.aims_deg))]
        if len(plan.aims_deg) > 1 and report.aim_range_deg is not None:
            sentences.append(say("sheet.aims.each"))
        best = join([words.bearing(report, aim) for aim in plan.aims_deg])
        sentences.append(text(say("sheet.aims.best", aims=best)))
    elif plan is not None:
        sentences.append(_bold(say("sheet.aims.all_sides")))
    turned = report.declination
    if turned is not None:
        side = "east" if turned.declination_deg >= 0.0 else "west"
        degrees = say(f"number.declination_{side}", degrees=f"{abs(turned.declination_deg):.0f}")
        sentences.append(say("sheet.aims.declination", declination=degrees, year=turned.on.year))
    else:
        sentences.append(say("sheet.aims.no_magnetic", first=FIRST_YEAR, last=LAST_YEAR))
    return [*sentences, *_sun_sentence(report)]


def _bold(sentence: str) -> str:
    return f"<b>{text(sentence)}</b>"


def _window_sentence(report: AddressReport, number: int) -> str:
    """Return how far one antenna may be turned, the other one standing; number from 0."""
    window = report.aim_ranges_deg[number]
    several = len(report.aim_ranges_deg) > 1
    of = "_of" if several else ""
    kept = words.whole_list(report)
    said = {
        "number": number + 1,
        "band": _brings(report, number),
        "keeps": say("sheet.aims.keeps", list=kept),
    }
    if window is None:
        return _bold(say(f"sheet.aims.misses{of}", sure=f"{report.confidence_percent:g} %", **said))
    if window == words.EVERY_AIM_DEG and not several:
        return _bold(say("sheet.aims.anywhere", list=kept))
    if window == words.EVERY_AIM_DEG:
        return _bold(say("sheet.aims.any_of", **said))
    turned = say(f"sheet.aims.window{of}", **said, **{"from": window[0], "to": window[1]})
    return _bold(turned) + text(say("sheet.aims.blue", magnetic=_magnetic(report, window)))


def _brings(report: AddressReport, number: int) -> str:
    """Return which band an antenna brings where two are joined by band."""
    if report.joined != "diplexed":
        return ""
    return say(("sheet.aims.for_vhf", "sheet.aims.for_uhf")[number])


def _magnetic(report: AddressReport, window: tuple[int, int]) -> str:
    if report.declination is None:
        return ""
    first, last = (half_up(report.declination.magnetic_deg(a)) % 360 for a in window)
    return say("sheet.aims.magnetic", **{"from": first, "to": last})


def _sun_sentence(report: AddressReport) -> list[str]:
    """Return where the sun stands, the day and zone stated; nothing in a polar night."""
    if not report.sun:
        return []
    moment = report.sun[0].moment
    where = ", ".join(
        say(
            "sheet.aims.sun_at",
            degrees=words.true_deg(sun.position.azimuth_deg),
            time=f"{sun.moment.hour}:{sun.moment.minute:02d}",
        )
        for sun in report.sun
    )
    said = {"day": day_text(moment.date().isoformat()), "zone": _zone(moment.strftime("%z"))}
    return [text(say("sheet.aims.sun", where=where, **said))]


def _zone(offset: str) -> str:
    """Return +0000 as UTC, -0700 as UTC-7, +0530 as UTC+5:30."""
    hours, minutes = int(offset[1:3]), offset[3:5]
    if not hours and minutes == "00":
        return "UTC"
    return f"UTC{offset[0]}{hours}" + ("" if minutes == "00" else f":{minutes}")


def _skyline_note(report: AddressReport) -> str:
    angles = report.skyline.elevation_deg[~_nan(report)]
    if angles.size == 0:
        return say("sheet.aims.no_skyline")
    at = int(angles.argmax())
    azimuth = report.skyline.azimuth_deg[~_nan(report)][at]
    angle, degrees = half_up(float(angles[at])), words.true_deg(float(azimuth))
    note = say("sheet.aims.skyline", angle=angle, degrees=degrees)
    return f"{note} {say('sheet.aims.skyline_ends')}" if _nan(report).any() else note


def _nan(report: AddressReport):
    return report.skyline.elevation_deg != report.skyline.elevation_deg


def stations_section(report: AddressReport) -> str:
    """Return section 4: stations grouped by mast, nearest to the aim first."""
    head = [
        th(), th(say("sheet.table.station")), th(say("sheet.table.channel")),
        th(say("sheet.table.field"), number=True), th(say("sheet.table.spare"), number=True),
        th(say("sheet.table.alone")),
    ]  # fmt: skip
    rows, mast = [], None
    for station in report.stations:
        if station.mast != mast:
            mast = station.mast
            rows.append(f'<tr class="g">{td(_mast_line(report, station), span=6)}</tr>')
        rows.append(_station_row(report, station))
    if not rows:
        return section(5, say("sheet.stations"), paragraph(say("sheet.table.no_station")))
    note = paragraph(text(say("sheet.table.field_note", height=words.height(report, PATH_HEIGHT_M))), "soft")
    return section(5, say("sheet.stations"), table(head, rows, "by_aim"), note)


def _mast_line(report: AddressReport, station: StationAtSite) -> str:
    bits = [
        words.bearing(report, station.azimuth_deg).replace(" (", ", ").removesuffix(")"),
        words.distance(report, station.distance_km),
        words.off_aim(station, report.stored_plan),
    ]
    return f"<b>{text(station.mast)}</b>, {text(', '.join(bit for bit in bits if bit))}"


def _station_row(report: AddressReport, station: StationAtSite) -> str:
    best = words.letter_of(report, station.service)
    shown, small = words.channel_lines(station)
    name = text(station.service) + (
        "" if station.on_list else f" <small>{text(say('sheet.table.not_on_list'))}</small>"
    )
    if station.on_list and best and station.letter != best:
        name += f" <small>{text(say('sheet.table.brings_better', letter=best))}</small>"
    channel = text(shown) + (f" <small>{text(small)}</small>" if small else "")
    if station.status not in ("ok", "near", "smooth_earth"):
        unknown = text(say("sheet.unknown"))
        why = f"{unknown}<br><small>{text(words.status_words(station))}</small>"
        cells = [td(unknown, number=True), td("", number=True), td(why)]
    else:
        field = str(half_up(station.field_dbuvm))
        if not math.isnan(station.cell_field_dbuvm):
            field += f" <small>({half_up(station.cell_field_dbuvm)})</small>"
        alone = words.in_words(report, station.chance_percent)
        reasons = [words.cause_here(report, station)]
        reasons.append(say("sheet.table.cancels") if station.margin_db == -math.inf else "")
        reasons.append(say("sheet.lost_at_night") if station.lost_at_night else "")
        told = "; ".join(reason for reason in reasons if reason)
        why = text(alone) + (f"<br><small>{text(told)}</small>" if told else "")
        cells = [td(field, number=True), td(_signed(station.margin_db), number=True), td(why)]
    return f"<tr>{td(letter(station.letter))}{td(name)}{td(channel)}{''.join(cells)}</tr>"


def _signed(value: float) -> str:
    if math.isnan(value):
        return say("sheet.unknown")
    if math.isinf(value):
        return say("sheet.table.none")
    whole = half_up(value)
    return f"{whole:+d}" if whole else "0"
