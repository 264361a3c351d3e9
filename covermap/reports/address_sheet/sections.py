"""Three of the sheet's first sections as HTML: answer, aim, stations."""

from __future__ import annotations

import math

from covermap.addresses.paths import PATH_HEIGHT_M
from covermap.addresses.report import AddressReport
from covermap.addresses.station_records import StationAtSite
from covermap.bearings import FIRST_YEAR, LAST_YEAR
from covermap.reports.address_sheet import wording as say
from covermap.reports.address_sheet.installed import buy_words
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
from covermap.wording.words import half_up


def header(report: AddressReport) -> str:
    """Return the head: scenario, list, confidence; the place."""
    place = f"{report.latitude_deg:.5f}, {report.longitude_deg:.5f}"
    ground = "" if math.isnan(report.ground_m) else f" &nbsp; ground {say.height(report, report.ground_m)}"
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
    decides = f"{say.decider(report)} {say.hard_here(report)}"
    parts.append(paragraph(text(decides.strip())) if decides else "")
    parts += [paragraph(f"<b>{text(buy_words(report, one))}</b>") for one in report.recommended[:1]]
    parts += [paragraph(text(remark), "note") for remark in say.remarks(report)]
    parts.append(paragraph(text(say.cell_sentence(report)), "soft"))
    parts += [paragraph(text(say.note(report.display, note)), "note") for note in report.notes]
    return section(1, "Answer", *parts, whole=True)


def aim_section(report: AddressReport) -> str:
    """Return section 3: skyline, range of azimuths, bearings, the sun."""
    parts = [picture(skyline_svg(report)), paragraph(" ".join(_aim_sentences(report)))]
    parts.append(paragraph(text(_skyline_note(report)), "soft"))
    return section(3, "Aim", *parts, whole=True, kind="aim")


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
    if window == (0, 359) and not several:
        return f"<b>Aim anywhere: {text(say.whole_list(report))} hold in every direction.</b>"
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
        th(), th("Station"), th("Channel"), th("Field dBµV/m", number=True), th("To spare, dB", number=True),
        th("Alone"),
    ]  # fmt: skip
    rows, mast = [], None
    for station in report.stations:
        if station.mast != mast:
            mast = station.mast
            rows.append(f'<tr class="g">{td(_mast_line(report, station), span=6)}</tr>')
        rows.append(_station_row(report, station))
    if not rows:
        return section(5, "Stations by aim", paragraph("No station is known."))
    note = (
        f"Field at {say.height(report, PATH_HEIGHT_M)}, half of the time, on this point's own path; in "
        "brackets the value of the map's square. To spare and chance: each station alone with the antenna of "
        "the answer at its aim, for the share of time that section 9 names."
    )
    return section(5, "Stations by aim", table(head, rows, "by_aim"), paragraph(note, "soft"))


def _mast_line(report: AddressReport, station: StationAtSite) -> str:
    bits = [
        say.bearing(report, station.azimuth_deg).replace(" (", ", ").removesuffix(")"),
        say.distance(report, station.distance_km),
        say.off_aim(station, report.stored_plan),
    ]
    return f"<b>{text(station.mast)}</b>, {text(', '.join(bit for bit in bits if bit))}"


def _station_row(report: AddressReport, station: StationAtSite) -> str:
    best = say.letter_of(report, station.service)
    shown, small = say.channel_lines(station)
    name = text(station.service) + ("" if station.on_list else " <small>not on your list</small>")
    if station.on_list and best and station.letter != best:
        name += f" <small>{text(best)} brings it better</small>"
    channel = text(shown) + (f" <small>{text(small)}</small>" if small else "")
    if station.status not in ("ok", "near", "smooth_earth"):
        why = f"unknown<br><small>{text(say.status_words(station))}</small>"
        cells = [td("unknown", number=True), td("", number=True), td(why)]
    else:
        field = str(half_up(station.field_dbuvm))
        if not math.isnan(station.cell_field_dbuvm):
            field += f" <small>({half_up(station.cell_field_dbuvm)})</small>"
        alone = say.in_words(report, station.chance_percent)
        reasons = [say.cause_here(report, station)]
        reasons.append(
            "both antennas hear it alike and may cancel it" if station.margin_db == -math.inf else ""
        )
        reasons.append("fine most of the time, lost on some nights" if station.lost_at_night else "")
        told = "; ".join(reason for reason in reasons if reason)
        why = text(alone) + (f"<br><small>{text(told)}</small>" if told else "")
        cells = [td(field, number=True), td(_signed(station.margin_db), number=True), td(why)]
    return f"<tr>{td(letter(station.letter))}{td(name)}{td(channel)}{''.join(cells)}</tr>"


def _signed(value: float) -> str:
    if math.isnan(value):
        return "unknown"
    if math.isinf(value):
        return "none"
    whole = half_up(value)
    return f"{whole:+d}" if whole else "0"
