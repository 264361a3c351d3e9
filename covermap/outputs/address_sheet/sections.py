"""The sheet's first four sections as HTML: answer, choices, aim, stations."""

from __future__ import annotations

import math

from covermap.addresses.report import AddressReport, StationAtPlace, TierPlan
from covermap.bearings import FIRST_YEAR, LAST_YEAR
from covermap.outputs.address_sheet import wording as say
from covermap.outputs.address_sheet.pictures import skyline_svg
from covermap.outputs.address_sheet.shell import (
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
from covermap.outputs.words import chance_in_words, chance_number, distance, half_up, join

LEAST_NAMED_PERCENT = 10.0  # plans less sure are named together in one line


def header(report: AddressReport) -> str:
    """Return the head: scenario, list, confidence; the place."""
    place = f"{report.latitude_deg:.5f}, {report.longitude_deg:.5f}"
    ground = "" if math.isnan(report.ground_m) else f" &nbsp; ground {half_up(report.ground_m):,} m"
    as_of = report.stations_as_of or "an unknown date"
    return (
        f"<header><p>{text(report.scenario_name)} &nbsp; list “{text(report.list_name)}” &nbsp; "
        f"{report.confidence_percent:g} % sure</p><h1>{text(report.label or place)}</h1>"
        f'<p class="soft">{place}{ground} &nbsp; stations as of {text(as_of)}</p></header>'
    )


def answer_section(report: AddressReport) -> str:
    """Return section 1: one sentence, then who decides, then the map's square."""
    first, rest = say.answer(report)
    parts = [f'<div class="big">{square(report.tier)}<p><b>{text(first)}</b> {text(rest)}</p></div>']
    decides = say.decider(report)
    parts.append(paragraph(text(decides)) if decides else "")
    parts.append(paragraph(text(say.cell_sentence(report)), "soft"))
    parts += [paragraph(text(note), "note") for note in report.notes]
    return section(1, "Answer", *parts, whole=True)


def choices_section(report: AddressReport) -> str:
    """Return section 2: the plans with what each loses, and giving one up."""
    if not report.plans:
        return section(2, "Choices", paragraph("Unknown, as above."))
    shown = [plan for plan in report.plans if _is_named(report, plan)]
    rest = [plan for plan in report.plans if plan not in shown]
    words = say.whole_list(report)
    title = words[0].upper() + words[1:]
    head = [th(), th("Antenna"), th("Best aim", number=True), th(title), th("Not surely kept")]
    parts = [table(head, [_plan_row(report, plan) for plan in shown])]
    for words, weak in (("Under 10 %", True), ("Larger ones, as sure", False)):
        names = [
            say.tier_name(report, p.tier) for p in rest if (p.chance_percent < LEAST_NAMED_PERCENT) is weak
        ]
        parts.append(paragraph(f"{words}: {text(join(names))}.", "soft") if names else "")
    parts.append(_give_up(report))
    return section(2, "Choices", *parts, whole=True)


def _is_named(report: AddressReport, plan: TierPlan) -> bool:
    """Return whether a plan has a row: the answer, its neighbours, weaker ones of some chance, larger ones
    that are less sure than the answer."""
    stored = report.stored_plan
    if stored is None or plan.tier in (stored.tier - 1, stored.tier, stored.tier + 1):
        return True
    if plan.tier < stored.tier:
        return plan.chance_percent >= LEAST_NAMED_PERCENT
    return plan.chance_percent < min(stored.chance_percent, report.confidence_percent)


def _plan_row(report: AddressReport, plan: TierPlan) -> str:
    chosen = ' class="chosen"' if plan.tier == report.tier else ""
    aim = " and ".join(say.true_deg(aim) for aim in plan.aims_deg) if plan.directional else "any"
    number, words = chance_number(plan.chance_percent), chance_in_words(plan.chance_percent)
    chance = f'<span class="k1">{number}</span><br><small>{words}</small>'
    lost = ", ".join(plan.lost) if plan.lost else "nothing"
    return (
        f"<tr{chosen}>{td(square(plan.tier))}{td(text(plan.name))}{td(aim, number=True)}"
        f"{td(chance)}{td(text(lost))}</tr>"
    )


def _give_up(report: AddressReport) -> str:
    """Return what giving one service up saves, those that change nothing in one sentence."""
    if not report.without or report.tier is None:
        if report.needed < len(report.services):
            some = f"Any {say.spelled(report.needed)} of the list are enough, so no single one decides."
            return paragraph(text(some))
        return ""
    saves = [one for one in report.without if one.tier < report.tier]
    idle = [one.service for one in report.without if one.tier >= report.tier]
    lines = [
        f"<li>Without <b>{text(one.service)}</b>: {text(say.tier_name(report, one.tier))}, "
        f"{text(chance_in_words(one.chance_percent))}.</li>"
        for one in saves
    ]
    if idle:
        alone = " alone" if len(idle) > 1 else ""
        several = " or ".join([", ".join(idle[:-1]), idle[-1]] if len(idle) > 1 else idle)
        lines.append(f"<li>Giving up {text(several)}{alone} changes nothing.</li>")
    return f"<h3>Give one up</h3><ul>{''.join(lines)}</ul>"


def aim_section(report: AddressReport) -> str:
    """Return section 3: skyline, range of azimuths, bearings, the sun."""
    parts = [picture(skyline_svg(report)), paragraph(" ".join(_aim_sentences(report)))]
    parts.append(paragraph(text(_skyline_note(report)), "soft"))
    return section(3, "Aim", *parts, whole=True)


def _aim_sentences(report: AddressReport) -> list[str]:
    plan, sentences = report.stored_plan, []
    if plan is not None and plan.directional:
        keeps = f"keeps {say.whole_list(report)}"
        if report.aim_range_deg is None:
            sentences.append(f"<b>No aim reaches {report.confidence_percent:g} %.</b>")
        elif report.aim_range_deg == (0, 359):
            sentences.append(f"<b>Any aim {keeps}.</b>")
        else:
            first, last = report.aim_range_deg
            sentences.append(
                f"<b>Any aim from {first}° to {last}° true {text(keeps)}</b> (blue{_magnetic(report)})."
            )
        sentences.append(f"Best: {text(' and '.join(say.bearing(report, a) for a in plan.aims_deg))}.")
    elif plan is not None:
        sentences.append("<b>This antenna receives from all sides alike; try places, not aims.</b>")
    if report.declination is not None:
        year = report.declination.on.year
        sentences.append(f"Declination {report.declination.in_words()}, {year}.")
    else:
        sentences.append(
            f"Magnetic bearings are left out: the magnetic model holds from {FIRST_YEAR} to {LAST_YEAR}."
        )
    return [*sentences, *_sun_sentence(report)]


def _magnetic(report: AddressReport) -> str:
    if report.declination is None or report.aim_range_deg is None:
        return ""
    first, last = (half_up(report.declination.magnetic_deg(a)) % 360 for a in report.aim_range_deg)
    return f"; {first}° to {last}° magnetic"


def _sun_sentence(report: AddressReport) -> list[str]:
    """Return where the sun stands, the day and zone stated; nothing in a polar night."""
    if not report.sun:
        return []
    moment = report.sun[0].moment
    day = f"{moment.day} {moment:%B %Y}"
    where = ", ".join(
        f"{say.true_deg(sun.position.azimuth_deg)} at {sun.moment.hour}:{sun.moment.minute:02d}"
        for sun in report.sun
    )
    return [f"Without a compass, on {day} the sun stands at {where} ({text(_zone(moment.strftime('%z')))})."]


def _zone(offset: str) -> str:
    """Return +0000 as UTC, -0700 as UTC-7, +0530 as UTC+5:30."""
    hours, minutes = int(offset[1:3]), offset[3:5]
    if not hours and minutes == "00":
        return "UTC"
    return f"UTC{offset[0]}{hours}" + ("" if minutes == "00" else f":{minutes}")


def _skyline_note(report: AddressReport) -> str:
    angles = report.skyline.elevation_deg[~_nan(report)]
    if angles.size == 0:
        return "The skyline is not known here."
    at = int(angles.argmax())
    azimuth = report.skyline.azimuth_deg[~_nan(report)][at]
    note = (
        f"Skyline of the bare ground as seen from the antenna; its highest point stands "
        f"{half_up(float(angles[at]))}° above level at {say.true_deg(float(azimuth))} true."
    )
    return note + " Where nothing is drawn, the elevation data ends." if _nan(report).any() else note


def _nan(report: AddressReport):
    return report.skyline.elevation_deg != report.skyline.elevation_deg


def stations_section(report: AddressReport) -> str:
    """Return section 4: stations grouped by mast, nearest to the aim first."""
    head = [
        th(), th("Station"), th("Channel"), th("Field dBµV/m", number=True), th("Margin dB", number=True),
        th("Alone"),
    ]  # fmt: skip
    rows, mast = [], None
    for station in report.stations:
        if station.mast != mast:
            mast = station.mast
            rows.append(f'<tr class="g">{td(_mast_line(report, station), span=6)}</tr>')
        rows.append(_station_row(station, say.letter_of(report, station.service)))
    if not rows:
        return section(4, "Stations by aim", paragraph("No station is known."))
    note = (
        "Field at 10 m, half of the time, on this point's own path; below it the value of the map's square. "
        "Margin and chance: each station alone with the antenna of the answer at its aim, for the share of "
        "time that section 9 names."
    )
    return section(4, "Stations by aim", table(head, rows), paragraph(note, "soft"))


def _mast_line(report: AddressReport, station: StationAtPlace) -> str:
    bits = [
        say.bearing(report, station.azimuth_deg).replace(" (", ", ").removesuffix(")"),
        distance(station.distance_km),
        say.off_aim(station, report.stored_plan),
    ]
    return f"<b>{text(station.mast)}</b>, {text(', '.join(bit for bit in bits if bit))}"


def _station_row(station: StationAtPlace, best: str) -> str:
    """Return a station's row; best is the letter of the station that brings its service best."""
    shown, small = say.channel_words(station)
    name = text(station.service) + ("" if station.on_list else " <small>not on your list</small>")
    if station.on_list and best and station.letter != best:
        name += f" <small>{text(best)} brings it better</small>"
    channel = text(shown) + (f"<br><small>{text(small)}</small>" if small else "")
    if station.status not in ("ok", "near"):
        why = f"unknown<br><small>{text(say.status_words(station))}</small>"
        cells = [td("unknown", number=True), td("", number=True), td(why)]
    else:
        field = str(half_up(station.field_dbuvm))
        if not math.isnan(station.cell_field_dbuvm):
            field += f"<br><small>square {half_up(station.cell_field_dbuvm)}</small>"
        alone = chance_in_words(station.chance_percent)
        cause = say.cause_words(station)
        why = text(alone) + (f"<br><small>{text(cause)}</small>" if cause else "")
        cells = [td(field, number=True), td(_signed(station.margin_db), number=True), td(why)]
    return f"<tr>{td(letter(station.letter))}{td(name)}{td(channel)}{''.join(cells)}</tr>"


def _signed(value: float) -> str:
    if math.isnan(value):
        return "unknown"
    whole = half_up(value)
    return f"{whole:+d}" if whole else "0"
