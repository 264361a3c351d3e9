"""The sheet's last five sections as HTML: why, amplifier, changes, check on the day, basis."""

from __future__ import annotations

import math
from collections.abc import Sequence

from covermap.addresses.report import AddressReport, Amplifier, Change, Ports
from covermap.addresses.station_records import MastPath, StationAtSite
from covermap.reports.address_sheet import wording as say
from covermap.reports.address_sheet.pictures import profile_svg
from covermap.reports.address_sheet.shell import (
    bullets,
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
from covermap.wording.language import say as words_of
from covermap.wording.verdicts import amplifier_words
from covermap.wording.words import chance_number, half_up, join

MOST_MASTS = 6  # with a profile of their own; more would hide the ones that matter
MOST_ABREAST = 3  # profiles side by side on paper
COLUMNS_A_ROW = 8  # stations side by side
DAY_COLUMNS = ("Level and unit", "MER dB", "Picture", "Height, m", "Aim °")  # height as readings.csv has it


def why_section(report: AddressReport, dn: float, with_clutter: bool) -> str:
    """Return section 5: a profile a mast, the hills, and the losses in a column a station.

    dn : fall of refractivity, for the curve of the earth; with_clutter : the whole path counts land cover
    """
    listed = [path for path in report.masts if any(s.on_list for s in path.stations)]
    drawn = [_mast(report, path, dn) for path in listed[:MOST_MASTS]]
    abreast = min(len(drawn), MOST_ABREAST)
    parts = [f'<div class="paths of{abreast}">{"".join(drawn)}</div>']
    if not drawn:
        return section(6, "Why", paragraph("No path to a station of the list is known."))
    if len(listed) > MOST_MASTS:
        parts.append(paragraph(f"Farther from the aim: {text(join([p.mast for p in listed[MOST_MASTS:]]))}."))
    ground = "Hills: bare earth. " + (
        "The whole path also counts trees and buildings of the land cover."
        if with_clutter
        else "No trees or buildings are counted on the way."
    )
    parts.append(
        paragraph(
            f"{ground} Solid blue: the taut string over the ground. Dashed: the straight line. Both sag by "
            "the curve of the earth. Losses of single hills do not add up to the whole.",
            "soft",
        )
    )
    return section(6, "Why", *parts, kind="why")


def _mast(report: AddressReport, path: MastPath, dn: float) -> str:
    stations = [s for s in path.stations if s.on_list]
    first = path.stations[0]
    hills = ("From here", "Over the line") if first.ridges else ("", "")
    head = [th(), *(th(column, number=True) for column in hills)]
    head += [th(f"{s.letter} {half_up(s.frequency_mhz)} MHz", number=True) for s in stations]
    rows = []
    for number, ridge in enumerate(reversed(first.ridges), start=1):
        cells = [
            td(f"<b>{number}</b>", number=True),
            td(say.distance(report, ridge.distance_km), number=True),
            td(say.height(report, ridge.height_above_line_m), number=True),
        ]
        cells += [td(_ridge_loss(s, number, len(first.ridges)), number=True) for s in stations]
        rows.append(f"<tr>{''.join(cells)}</tr>")
    whole = [td(f"<b>{half_up(s.obstacle_db)} dB</b>", number=True) for s in stations]
    rows.append(f"<tr>{td()}{td('All obstacles together, whole path', span=2)}{''.join(whole)}</tr>")
    title = f"<h3>{text(path.mast)}: {text(say.path_words(report, first))}</h3>"
    drawn = picture(profile_svg(path, dn, report.display))
    return f'<div class="path">{title}{drawn}{table(head, rows, "k")}</div>'


def _ridge_loss(station: StationAtSite, number: int, count: int) -> str:
    """Return a ridge's loss; a station whose own count of ridges differs shows none."""
    if len(station.ridges) != count:
        return ""
    return f"{half_up(station.ridges[count - number].loss_db)} dB"


def amplifier_section(report: AddressReport) -> str:
    """Return section 6: what an amplifier at the antenna changes, in dB a station."""
    amplifier = report.amplifier
    if amplifier is None:
        return section(7, "Amplifier", paragraph("No class of antenna here has an amplifier, or unknown."))
    stations = [s for s in report.stations if s.station_id in amplifier.effect_db]
    tables = []
    for start in range(0, len(stations), COLUMNS_A_ROW):
        some = stations[start : start + COLUMNS_A_ROW]
        head = [th(), *(th(s.letter, number=True) for s in some)]
        cells = [td(_decibels(amplifier.effect_db[s.station_id]), number=True) for s in some]
        label = "Adds" if start == 0 else ""
        tables.append(table(head, [f"<tr>{td(label)}{''.join(cells)}</tr>"], "k"))
    intro = "What an amplifier at the antenna adds to what each station has to spare, in dB:"
    verdict = paragraph(text(_verdict(report, amplifier)))
    return section(7, "Amplifier", paragraph(intro), *tables, verdict, whole=True)


def _decibels(value: float) -> str:
    if not math.isfinite(value):
        return "none"
    whole = half_up(value)
    return f"{whole:+d}" if whole else "0"


def _bringing(report: AddressReport) -> list[StationAtSite]:
    """Return the stations at the point but for those whose service another one brings better."""
    return [one for one in report.stations if say.best_station(report, one.service) in (None, one)]


def _verdict(report: AddressReport, amplifier: Amplifier) -> str:
    """Return what an amplifier is good for here, why not, and how near which port is to its limit."""
    sentences = [amplifier_words(amplifier.verdict)]
    for ids, why in (
        (amplifier.noise_limited, "Noise from outside limits {names}; no amplifier betters that."),
        (amplifier.interference_limited, "Other stations limit {names}; an amplifier lifts both alike."),
    ):
        names = [say.named(report, s.station_id, s.service) for s in _bringing(report) if s.station_id in ids]
        sentences.append(why.format(names=join(names)) if names else "")
    ports, bare = amplifier.ports, amplifier.ports_without
    if not math.isnan(ports.input_dbm):
        sentences.append(
            f"All stations together: {_level(ports.input_dbm)} at its input, {_level(ports.output_dbm)} at "
            f"its output; the strongest at the tuner {_level(ports.tuner_dbm)}."
        )
        sentences.append(_limit(report, ports))
        sentences.append(f"Without it: {_limit(report, bare)}" if ports.excess_db > 0.0 else "")
    return " ".join(sentence for sentence in sentences if sentence)


def _limit(report: AddressReport, ports: Ports) -> str:
    """Return how far the nearest limit is, and the strongest stations where it is close."""
    spare = half_up(-ports.excess_db)
    if ports.excess_db + ports.spread_db > 0.0:
        return say.overload_words(report, ports)
    strongest = join([say.named(report, s.station_id, s.service) for s in ports.strongest])
    return f"{spare} dB to spare at the {ports.port}; strongest: {strongest}."


def _level(power_dbm: float) -> str:
    return f"{say.signed(power_dbm)} dBm"


def changes_section(report: AddressReport) -> str:
    """Return section 7: what each change would need."""
    if not report.changes:
        return section(8, "What would change this", paragraph("Unknown, as above."))
    words = say.whole_list(report)
    head = [th("If"), th(), th("Needed then"), th(words[0].upper() + words[1:])]
    rows = [
        f"<tr>{td(text(say.change_words(report, change)))}{td(square(change.tier))}"
        f"{td(text(_needed(report, change)))}"
        f"{td(chance_number(change.chance_percent), kept=True)}</tr>"
        for change in report.changes
    ]
    return section(8, "What would change this", table(head, rows, "if"), whole=True)


def _needed(report: AddressReport, change: Change) -> str:
    """Return what a change would need; tier 8 names no antenna."""
    name = say.plain_name(report, change.tier)
    if change.tier > len(report.plans):
        return name
    return say.built(name, len(change.aims_deg), change.needs_filter)


def check_section(report: AddressReport, readings_file: str) -> str:
    """Return section 8: blank boxes that are rows of a file of readings.

    readings_file : name of the blank file beside the sheet
    """
    stations = [s for s in report.stations if s.on_list]
    head = [th("Station"), th("Channel"), *(th(column) for column in DAY_COLUMNS)]
    rows = [
        f"<tr>{td(letter(s.letter) + ' ' + text(s.service))}{td(text(_rf(s)))}{td() * len(DAY_COLUMNS)}</tr>"
        for s in stations
    ]
    form = (
        "Date and time ________________ &nbsp; Antenna ________________ &nbsp; Meter ________________ &nbsp; "
        "Leaf on / off"
    )
    note = (
        f"Point {text(report.point_id or 'here')}. The same rows stand in {text(readings_file)}; filled in, "
        "<code>covermap calibrate</code> reads it back. Picture: yes, breaking or no."
    )
    return section(4, "Check on the day", table(head, rows, "day"), paragraph(form), paragraph(note, "soft"))


def _rf(station: StationAtSite) -> str:
    if station.rf_channel is not None:
        return f"RF {station.rf_channel}"
    return f"{station.frequency_mhz:g} MHz"


def basis_section(report: AddressReport, cautions: Sequence[str]) -> str:
    """Return section 9: what it was computed with, and the cautions."""
    sentences = [*report.basis, say.cell_sentence(report)]
    if any(one.on_list and one.path_class in ("two_ridges", "many_ridges") for one in report.stations):
        sentences.append(words_of("chance.behind_hills"))
    basis = " ".join(sentences)
    own = "For a typical roof at this point; yours can differ by 10 dB either way."
    return section(
        9, "Basis and cautions", paragraph(text(basis)), bullets([*cautions, own]), whole=True, kind="basis"
    )
