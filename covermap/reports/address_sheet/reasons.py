"""The sheet's last five sections as HTML: why, amplifier, changes, check on the day, basis."""

from __future__ import annotations

import math
from collections.abc import Sequence

from covermap.addresses.report import AddressReport, Amplifier, Change, Ports
from covermap.addresses.station_records import MastPath, StationAtSite
from covermap.reports.address_sheet import wording as words
from covermap.reports.address_sheet.map_square import cell_sentence
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
from covermap.wording.language import say
from covermap.wording.lists import capital
from covermap.wording.retold import retold
from covermap.wording.verdicts import amplifier_words
from covermap.wording.words import chance_number, half_up, join

MOST_MASTS = 6  # with a profile of their own; more would hide the ones that matter
MOST_ABREAST = 3  # profiles side by side on paper
COLUMNS_A_ROW = 8  # stations side by side
DAY_COLUMNS = ("level", "mer", "seen", "height", "aim")  # height in metres, as readings.csv has it
BLANK_LINE = "________________"
CALIBRATE = "covermap calibrate"


def why_section(report: AddressReport, dn: float, with_clutter: bool) -> str:
    """Return section 5: a profile a mast, the hills, and the losses in a column a station.

    dn : fall of refractivity, for the curve of the earth; with_clutter : the whole path counts land cover
    """
    listed = [path for path in report.masts if any(s.on_list for s in path.stations)]
    drawn = [_mast(report, path, dn) for path in listed[:MOST_MASTS]]
    abreast = min(len(drawn), MOST_ABREAST)
    parts = [f'<div class="paths of{abreast}">{"".join(drawn)}</div>']
    if not drawn:
        return section(6, say("sheet.why"), paragraph(say("sheet.reasons.no_path")))
    if len(listed) > MOST_MASTS:
        masts = join([path.mast for path in listed[MOST_MASTS:]])
        parts.append(paragraph(text(say("sheet.reasons.farther", masts=masts))))
    ground = say("sheet.reasons.ground_with" if with_clutter else "sheet.reasons.ground_without")
    parts.append(paragraph(text(f"{ground} {say('sheet.reasons.lines')}"), "soft"))
    return section(6, say("sheet.why"), *parts, kind="why")


def _mast(report: AddressReport, path: MastPath, dn: float) -> str:
    stations = [s for s in path.stations if s.on_list]
    first = path.stations[0]
    keys = ("from_here", "over_line") if first.ridges else ()
    hills = [say(f"sheet.reasons.{key}") for key in keys] or ["", ""]
    head = [th(), *(th(column, number=True) for column in hills)]
    head += [th(f"{s.letter} {half_up(s.frequency_mhz)} MHz", number=True) for s in stations]
    rows = []
    for number, ridge in enumerate(reversed(first.ridges), start=1):
        cells = [
            td(f"<b>{number}</b>", number=True),
            td(words.distance(report, ridge.distance_km), number=True),
            td(words.height(report, ridge.height_above_line_m), number=True),
        ]
        cells += [td(_ridge_loss(s, number, len(first.ridges)), number=True) for s in stations]
        rows.append(f"<tr>{''.join(cells)}</tr>")
    whole = [td(f"<b>{half_up(s.obstacle_db)} dB</b>", number=True) for s in stations]
    rows.append(f"<tr>{td()}{td(text(say('sheet.reasons.whole_path')), span=2)}{''.join(whole)}</tr>")
    title = f"<h3>{text(path.mast)}: {text(words.path_words(report, first))}</h3>"
    drawn = picture(profile_svg(path, dn, report.display))
    return f'<div class="path">{title}{drawn}{table(head, rows, "k")}</div>'


def _ridge_loss(station: StationAtSite, number: int, count: int) -> str:
    """Return a ridge's loss; a station whose own count of ridges differs shows none."""
    if len(station.ridges) != count:
        return ""
    return f"{half_up(station.ridges[count - number].loss_db)} dB"


def amplifier_section(report: AddressReport) -> str:
    """Return section 7: what an amplifier at the antenna changes, in dB a station."""
    amplifier = report.amplifier
    if amplifier is None:
        return section(7, say("sheet.amplifier"), paragraph(say("sheet.reasons.no_amplifier")))
    stations = [s for s in report.stations if s.station_id in amplifier.effect_db]
    tables = []
    for start in range(0, len(stations), COLUMNS_A_ROW):
        some = stations[start : start + COLUMNS_A_ROW]
        head = [th(), *(th(s.letter, number=True) for s in some)]
        cells = [td(_decibels(amplifier.effect_db[s.station_id]), number=True) for s in some]
        label = say("sheet.reasons.adds") if start == 0 else ""
        tables.append(table(head, [f"<tr>{td(label)}{''.join(cells)}</tr>"], "k"))
    intro = say("sheet.reasons.adds_intro")
    verdict = paragraph(text(_verdict(report, amplifier)))
    return section(7, say("sheet.amplifier"), paragraph(text(intro)), *tables, verdict, whole=True)


def _decibels(value: float) -> str:
    if not math.isfinite(value):
        return say("sheet.table.none")
    whole = half_up(value)
    return f"{whole:+d}" if whole else "0"


def _bringing(report: AddressReport) -> list[StationAtSite]:
    """Return the stations at the point but for those whose service another one brings better."""
    return [one for one in report.stations if words.best_station(report, one.service) in (None, one)]


def _verdict(report: AddressReport, amplifier: Amplifier) -> str:
    """Return what an amplifier is good for here, why not, and how near which port is to its limit."""
    sentences = [amplifier_words(amplifier.verdict)]
    for ids, why in (
        (amplifier.noise_limited, "noise_limits"),
        (amplifier.interference_limited, "others_limit"),
    ):
        names = [
            words.named(report, s.station_id, s.service) for s in _bringing(report) if s.station_id in ids
        ]
        sentences.append(say(f"sheet.reasons.{why}", names=join(names)) if names else "")
    ports, bare = amplifier.ports, amplifier.ports_without
    if not math.isnan(ports.input_dbm):
        sentences.append(
            say(
                "sheet.reasons.levels",
                input=_level(ports.input_dbm),
                output=_level(ports.output_dbm),
                tuner=_level(ports.tuner_dbm),
            )
        )
        sentences.append(_limit(report, ports))
        if ports.excess_db > 0.0:
            sentences.append(say("sheet.reasons.without_it", limit=_limit(report, bare)))
    return " ".join(sentence for sentence in sentences if sentence)


def _limit(report: AddressReport, ports: Ports) -> str:
    """Return how far the nearest limit is, and the strongest stations where it is close."""
    spare = half_up(-ports.excess_db)
    if ports.excess_db + ports.spread_db > 0.0:
        return words.overload_words(report, ports)
    strongest = join([words.named(report, s.station_id, s.service) for s in ports.strongest])
    port = words.port_words(ports.port)
    return say("sheet.reasons.limit", spare=spare, port=port, strongest=strongest)


def _level(power_dbm: float) -> str:
    return f"{words.signed(power_dbm)} dBm"


def changes_section(report: AddressReport) -> str:
    """Return section 7: what each change would need."""
    if not report.changes:
        return section(8, say("sheet.changes"), paragraph(say("sheet.unknown_above")))
    head = [th(say("sheet.change.if")), th(), th(say("sheet.change.needed"))]
    head.append(th(capital(words.whole_list(report))))
    rows = [
        f"<tr>{td(text(words.change_words(report, change)))}{td(square(change.tier))}"
        f"{td(text(_needed(report, change)))}"
        f"{td(text(chance_number(change.chance_percent)), kept=True)}</tr>"
        for change in report.changes
    ]
    return section(8, say("sheet.changes"), table(head, rows, "if"), whole=True)


def _needed(report: AddressReport, change: Change) -> str:
    """Return what a change would need; tier 8 names no antenna."""
    name = words.plain_name(report, change.tier)
    if change.tier > len(report.plans):
        return name
    return words.built(name, len(change.aims_deg), change.needs_filter)


def check_section(report: AddressReport, readings_file: str) -> str:
    """Return section 8: blank boxes that are rows of a file of readings.

    readings_file : name of the blank file beside the sheet
    """
    stations = [s for s in report.stations if s.on_list]
    head = [th(say("sheet.table.station")), th(say("sheet.table.channel"))]
    head += [th(say(f"sheet.day.{column}")) for column in DAY_COLUMNS]
    rows = [
        f"<tr>{td(letter(s.letter) + ' ' + text(s.service))}{td(text(_rf(s)))}{td() * len(DAY_COLUMNS)}</tr>"
        for s in stations
    ]
    blanks = [f"{text(say(f'sheet.day.{key}'))} {BLANK_LINE}" for key in ("date", "antenna", "meter")]
    form = paragraph(" &nbsp; ".join([*blanks, text(say("sheet.day.leaf"))]))
    point = report.point_id or say("sheet.day.here")
    note = text(say("sheet.day.point", point=point, file=readings_file, command=CALIBRATE))
    note = note.replace(CALIBRATE, f"<code>{CALIBRATE}</code>", 1)
    return section(4, say("sheet.check"), table(head, rows, "day"), form, paragraph(note, "soft"))


def _rf(station: StationAtSite) -> str:
    if station.rf_channel is not None:
        return f"RF {station.rf_channel}"
    return f"{station.frequency_mhz:g} MHz"


def basis_section(report: AddressReport, cautions: Sequence[str]) -> str:
    """Return section 9: what it was computed with, and the cautions."""
    sentences = [*report.basis, cell_sentence(report)]
    if any(one.on_list and one.path_class in ("two_ridges", "many_ridges") for one in report.stations):
        sentences.append(say("chance.behind_hills"))
    told = bullets([*retold(cautions), say("sheet.basis_of.typical_roof")])
    basis = paragraph(text(" ".join(sentences)))
    return section(9, say("sheet.basis"), basis, told, whole=True, kind="basis")
