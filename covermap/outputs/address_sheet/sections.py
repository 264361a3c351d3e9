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
from covermap.outputs.words import chance_in_words, chance_number, chance_text, distance, half_up, join

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
    why = say.cause_words(report.main_cause)
    decides += f" Why it is hard here: {why}." if why else ""
    parts.append(paragraph(text(decides.strip())) if decides else "")
    parts += [paragraph(text(remark), "note") for remark in say.remarks(report)]
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
    weak = [plan for plan in rest if plan.chance_percent < LEAST_NAMED_PERCENT]
    overloaded = [plan for plan in rest if plan not in weak and plan.overloads]
    others = [plan for plan in rest if plan not in weak and plan not in overloaded]
    for words, plans in (
        ("Under 10 %", weak),
        ("Larger ones, as sure", others),
        ("Larger ones that strong signals would overload", overloaded),
    ):
        names = join([say.tier_name(report, plan.tier) for plan in plans])
        parts.append(paragraph(f"{words}: {text(names)}.", "soft") if names else "")
    parts += [_one_lower(report), _give_up(report), _high_vhf(report)]
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
    remarks = [
        words
        for words, holds in (
            ("two antennas on one cable", plan.joined == "combined"),
            ("two antennas joined by band", plan.joined == "diplexed"),
            ("overloads without a filter", plan.overloads),
            ("may overload", plan.may_overload),
            ("fine by day, not at night", _only_by_day(report, plan)),
        )
        if holds
    ]
    name = text(plan.name) + "".join(f"<br><small>{text(remark)}</small>" for remark in remarks)
    return (
        f"<tr{chosen}>{td(square(plan.tier))}{td(name)}{td(aim, number=True)}"
        f"{td(chance)}{td(text(lost))}</tr>"
    )


def _only_by_day(report: AddressReport, plan: TierPlan) -> bool:
    return plan.chance_percent < report.confidence_percent <= plan.chance_by_day_percent


def _one_lower(report: AddressReport) -> str:
    """Return which services one class lower surely keeps, each alone."""
    if report.tier is None or report.tier < 2:
        return ""
    lower, kept = say.tier_name(report, report.tier - 1), report.kept_one_lower
    words = "none of the list" if not kept else join(list(kept))
    if len(kept) == len(report.services):
        words = "each service alone, but not all together" if len(kept) > 1 else kept[0]
    return paragraph(f"One class lower, {text(lower)} surely keeps {text(words)}.")


def _high_vhf(report: AddressReport) -> str:
    """Return whether the antenna must be made for high VHF, and how large its part for it is."""
    found = report.high_vhf
    title = "<h3>High VHF</h3>"
    if found is None:
        return title + paragraph("Nothing of the list comes on high VHF here.")
    comes = f"{join(list(found.services))} {'comes' if len(found.services) == 1 else 'come'} on high VHF."
    if not found.needs_own:
        return title + paragraph(
            text(f"{comes} It is strong enough here for an antenna that is not made for it.")
        )
    alone = chance_text(found.uhf_only_chance_percent)
    whole = "it" if len(report.services) == 1 else f"{say.whole_list(report)} together"
    sentences = [
        comes,
        "Sell no antenna for UHF only here:",
        f"with one, hearing high VHF no better than {say.tier_name(report, 1)}, {whole} would be {alone}.",
    ]
    if found.smallest is not None:
        size = say.tier_name(report, found.smallest.tier)
        sentences.append(
            f"The smallest part for high VHF that keeps the list is that of {size}, "
            f"about {say.signed(found.smallest.gain_dbd)} dBd there."
        )
    return title + paragraph(text(" ".join(sentences)))


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
        else:
            sentences += [_window_sentence(report, number, keeps) for number in range(len(plan.aims_deg))]
        if len(plan.aims_deg) > 1 and report.aim_range_deg is not None:
            sentences.append("Each with the other one at its best.")
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


def _window_sentence(report: AddressReport, number: int, keeps: str) -> str:
    """Return how far one antenna may be turned, the other one standing; number from 0."""
    window = report.aim_ranges_deg[number]
    several = len(report.aim_ranges_deg) > 1
    whose = f"Antenna {number + 1}{_brings(report, number)}: any" if several else "Any"
    if window is None:
        return f"<b>{whose} aim misses {report.confidence_percent:g} %.</b>"
    if window == (0, 359):
        return f"<b>{whose} aim {text(keeps)}.</b>"
    return (
        f"<b>{whose} aim from {window[0]}° to {window[1]}° true {text(keeps)}</b> "
        f"(blue{_magnetic(report, window)})."
    )


def _brings(report: AddressReport, number: int) -> str:
    """Return which band an antenna brings where two are joined by band."""
    return (" for VHF", " for UHF")[number] if report.joined == "diplexed" else ""


def _magnetic(report: AddressReport, window: tuple[int, int]) -> str:
    if report.declination is None:
        return ""
    first, last = (half_up(report.declination.magnetic_deg(a)) % 360 for a in window)
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
    if station.status not in ("ok", "near", "smooth_earth"):
        why = f"unknown<br><small>{text(say.status_words(station))}</small>"
        cells = [td("unknown", number=True), td("", number=True), td(why)]
    else:
        field = str(half_up(station.field_dbuvm))
        if not math.isnan(station.cell_field_dbuvm):
            field += f"<br><small>square {half_up(station.cell_field_dbuvm)}</small>"
        alone = chance_in_words(station.chance_percent)
        reasons = [say.cause_words(station.cause), say.disturber_words(station)]
        reasons.append(
            "both antennas hear it alike and may cancel it" if station.margin_db == -math.inf else ""
        )
        reasons.append("fine by day, lost on some nights" if station.lost_at_night else "")
        why = text(alone) + "".join(f"<br><small>{text(reason)}</small>" for reason in reasons if reason)
        cells = [td(field, number=True), td(_signed(station.margin_db), number=True), td(why)]
    return f"<tr>{td(letter(station.letter))}{td(name)}{td(channel)}{''.join(cells)}</tr>"


def _signed(value: float) -> str:
    if math.isnan(value):
        return "unknown"
    if math.isinf(value):
        return "none"
    whole = half_up(value)
    return f"{whole:+d}" if whole else "0"
