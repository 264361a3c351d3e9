"""The sheet's sentences: how a plan, a bearing and a path are said. Plain text, not escaped."""

from __future__ import annotations

import math

from covermap.addresses.changes import HIGHER_M, IN_LEAF_DB, SHIFT_DB
from covermap.addresses.report import AddressReport, Change, Note, Ports, TierPlan
from covermap.addresses.station_records import Interferer, StationAtSite
from covermap.constants import TIER_COUNT
from covermap.reception.causes import BY_INTERFERENCE
from covermap.scenario.settings import DisplaySettings
from covermap.wording import words
from covermap.wording.causes import cause_mark, cause_words, hard_words
from covermap.wording.language import say as _say
from covermap.wording.lists import channel_words, list_words, short_list_words, together_words
from covermap.wording.notes import note_words
from covermap.wording.palette import TIERS
from covermap.wording.second_opinion import MODELS, more_or_less
from covermap.wording.verdicts import expected_of_words
from covermap.wording.words import chance_text, half_up, join

ON_AIM_DEG = 3.0  # nearer to the aim than this is "on the aim"


def tier_name(report: AddressReport, tier: int | None) -> str:
    """Return number and name of a class: '5 Rooftop'."""
    if tier is None:
        return _say("number.unknown")
    return f"{tier} {plain_name(report, tier)}"


def plain_name(report: AddressReport, tier: int) -> str:
    """Return the name of a class, that of the run's own table."""
    return report.tier_names[tier - 1] if tier <= len(report.tier_names) else TIERS[tier - 1].name


def distance(report: AddressReport, distance_km: float) -> str:
    """Return a distance in the scenario's unit: '9.4 km', '5.8 mi'."""
    return words.distance(distance_km, report.display.distance)


def height(report: AddressReport, height_m: float) -> str:
    """Return a height in the scenario's unit: '158 m', '518 ft'."""
    return words.height(height_m, report.display.height)


def whole_list(report: AddressReport) -> str:
    """Return the list where the sentence is about services already: 'all five', 'at least six of nine'."""
    return short_list_words(len(report.services), report.needed)


def wanted_list(report: AddressReport) -> str:
    """Return the list as a subject: 'all five wanted services'."""
    return list_words(len(report.services), report.needed)


def together(report: AddressReport) -> str:
    """Return who arrives together: 'All five wanted services together'; one service by its name."""
    if len(report.services) == 1:
        return named_service(report, report.services[0])
    return together_words(len(report.services), report.needed)


def true_deg(azimuth_deg: float) -> str:
    """Return a bearing in whole degrees: '149°'."""
    return f"{half_up(azimuth_deg) % 360}°"


def bearing(report: AddressReport, azimuth_deg: float) -> str:
    """Return a bearing, true and magnetic: '149° true (138° magnetic)'."""
    if report.declination is None:
        return f"{true_deg(azimuth_deg)} true"
    magnetic = report.declination.magnetic_deg(half_up(azimuth_deg))
    return f"{true_deg(azimuth_deg)} true ({true_deg(magnetic)} magnetic)"


def aims(report: AddressReport, plan: TierPlan) -> str:
    """Return where a plan's antennas look, with the polarization where it is not horizontal."""
    if not plan.directional:
        return "no aim needed, it receives from all sides alike"
    looks, mounts = [bearing(report, aim) for aim in plan.aims_deg], _mounts(plan)
    if plan.joined == "diplexed":
        return f"two antennas joined by band: for VHF aimed {looks[0]}, for UHF aimed {looks[1]}{mounts}"
    if plan.joined == "combined":
        return f"two antennas on one cable, aimed {looks[0]} and {looks[1]}{mounts}"
    return f"aimed {looks[0]}{mounts}"


def _mounts(plan: TierPlan) -> str:
    """Return which antennas are mounted for vertical polarization, empty where none is."""
    upright = [polarization == "vertical" for polarization in plan.polarizations]
    if not any(upright):
        return ""
    one = "the first " if upright[0] else "the second "
    which = "" if len(upright) == 1 else "both " if all(upright) else one
    return f", {which}mounted for vertical polarization"


def built(name: str, antennas: int, needs_filter: bool) -> str:
    """Return what is to be built: 'Rooftop, two antennas, with a filter'."""
    return name + (", two antennas" if antennas > 1 else "") + (", with a filter" if needs_filter else "")


def answer(report: AddressReport) -> tuple[str, str]:
    """Return the answer: what is needed (the first words), and the chance."""
    plan = report.stored_plan
    if plan is None or report.tier is None:
        return "Unknown.", "" if report.reason is None else note(report.display, report.reason)
    chance = chance_text(report.chance_percent, highest=report.tier >= TIER_COUNT)
    sure = f"{together(report)}: {chance} ({_say('chance.nominal')}). {_expected_of(report)}".rstrip()
    if report.tier <= len(report.plans):
        filtered = ", with a filter or attenuator in front" if report.needs_filter else ""
        return f"{plan.name}, {aims(report, plan)}{filtered}.", sure
    return (
        f"Not promised at {report.confidence_percent:g} %.",
        f"With {plan.name}, {aims(report, plan)}. {sure}",
    )


def _expected_of(report: AddressReport) -> str:
    """Return how many services arrive where some of the list are enough."""
    alone = {} if report.record is None else report.record.service_chance_percent or {}
    return expected_of_words(alone.values(), report.needed, report.confidence_percent)


def note(display: DisplaySettings, of: Note) -> str:
    """Return a note of a place in words."""
    reach = "" if of.distance_km is None else words.distance(of.distance_km, display.distance)
    return note_words(of.code, display.height, of.services, reach)


def remarks(report: AddressReport) -> list[str]:
    """Return what must be known before the answer is sold: overload, nights, high VHF."""
    found = []
    if report.needs_filter:
        found.append(f"Needs a filter or attenuator: {overload_words(report, report.ports)}")
    elif report.may_overload:
        found.append(f"May overload: {overload_words(report, report.ports)} Have an attenuator at hand.")
    if report.high_vhf is not None and report.high_vhf.needs_own:
        lost = join(list(report.high_vhf.uhf_only_lost or report.high_vhf.services))
        found.append(
            f"The antenna must be made for high VHF too: one for UHF only would be the wrong sale here, it "
            f"would not surely keep {lost}."
        )
    return [*found, *night_words(report)]


def night_words(report: AddressReport) -> list[str]:
    """Return what is fine most of the time and lost on some nights, a sentence each."""
    night, found = report.night, []
    if night is None:
        return []
    why = "when far stations on the same or a neighbouring channel come in stronger"
    if night.tier_by_day is not None:
        lower = tier_name(report, night.tier_by_day)
        found.append(f"Most of the time {lower} would do; on nights of good propagation it would not, {why}.")
    if night.services:
        found.append(
            f"Fine most of the time, lost on nights of good propagation: {join(list(night.services))}, {why}."
        )
    return found


def overload_words(report: AddressReport, ports: Ports | None) -> str:
    """Return how near the strongest stations come to the limit of which port, and which they are."""
    if ports is None or not ports.strongest or not ports.port:
        return ""
    names = join([named(report, strong.station_id, strong.service) for strong in ports.strongest])
    over = half_up(abs(ports.excess_db))
    if ports.excess_db > 0.0:
        return f"{names} would overload the {ports.port}, {over} dB over its limit."
    brings = "bring" if len(ports.strongest) > 1 else "brings"
    return f"{names} {brings} the {ports.port} within {over} dB of its limit."


def named(report: AddressReport, station_id: str, service: str) -> str:
    """Return a station by its service and letter: 'Coast TV (A)'."""
    letter = report.letters.get(station_id, "")
    return f"{service} ({letter})" if letter else service


def named_service(report: AddressReport, service: str) -> str:
    """Return a service with the letter of the station that brings it best here."""
    best = best_station(report, service)
    return service if best is None else named(report, best.station_id, service)


def decider(report: AddressReport) -> str:
    """Return which service decides and what dropping it would do, empty where none does."""
    service = report.deciding_service
    if service is None or report.tier is None or report.needed < len(report.services):
        return ""
    who = named_service(report, service)
    found = next((one for one in report.without if one.service == service), None)
    if found is not None and found.tier < report.tier:
        return f"{who} decides: without it {tier_name(report, found.tier)} would do."
    return f"{who} decides. Dropping this station alone would not allow a simpler antenna."


def letter_of(report: AddressReport, service: str) -> str:
    """Return the letter of the station that brings a service best, empty where none is known."""
    best = best_station(report, service)
    return "" if best is None else best.letter


def best_station(report: AddressReport, service: str) -> StationAtSite | None:
    """Return the station of the list that most likely brings a service, None where none is known."""
    known = [s for s in report.stations if s.service == service and s.on_list]
    known = [s for s in known if not math.isnan(s.margin_db)]
    return max(known, key=lambda s: (s.chance_percent, s.margin_db), default=None)


def cell_sentence(report: AddressReport) -> str:
    """Return what the map's square says here."""
    cell = report.cell
    if cell.status == "outside":
        return "This point is outside the mapped area; the map has no square here."
    if cell.status == "unknown" or cell.tier is None:
        return "The map's square here says: unknown."
    two = cell.joined in ("combined", "diplexed")
    says = built(tier_name(report, cell.tier), 2 if two else 1, cell.needs_filter)
    aimed = join([true_deg(aim) for aim in cell.aims_deg])
    says += f" (aimed {aimed} true)" if two else ""
    known = (
        ("may overload", cell.may_overload),
        ("fine most of the time, lost on some nights", cell.lost_at_night),
        ("needs an antenna for high VHF", cell.own_high_vhf),
    )
    noted = "".join(f"; {words}" for words, holds in known if holds)
    chance = chance_text(cell.chance_percent, highest=cell.tier >= TIER_COUNT)
    return f"The map's square here says: {says}, {chance}{noted}."


def path_words(report: AddressReport, station: StationAtSite) -> str:
    """Return the fact of a path: '2 hills; the higher stands 158 m above the line, 2.6 km from here'."""
    if station.status == "near":
        return f"within {height(report, 250.0)} of the mast"
    if station.status != "ok":
        return "path not known"
    if not station.ridges:
        beyond = station.path_class in ("earth_bulge", "scatter")
        return "the mast is beyond the horizon" if beyond else "nothing stands in the way"
    highest = max(station.ridges, key=lambda ridge: ridge.height_above_line_m)
    place = f"{distance(report, highest.distance_km)} from here"
    if highest.height_above_line_m < 0.5:
        reach = f"level with the line, {place}"
    else:
        reach = f"{height(report, highest.height_above_line_m)} above the line, {place}"
    count = len(station.ridges)
    if count == 1:
        return f"1 hill, {reach}"
    return f"{count} hills; the {'higher' if count == 2 else 'highest'} stands {reach}"


def signed(value: float) -> str:
    """Return a whole number with a true minus sign."""
    return f"{half_up(value)}".replace("-", "−")


def interferer_words(report: AddressReport, station: StationAtSite) -> str:
    """Return who interferes with a station and by how much: 'Far Coast (K), RF 24, from 214°: takes 7 dB'."""
    who = station.interferer
    if who is None:
        return ""
    lost_db = half_up(station.interference_db)
    return f"{_interferer_name(report, who)}, from {true_deg(who.azimuth_deg)}: takes {lost_db} dB"


def cause_here(report: AddressReport, station: StationAtSite) -> str:
    """Return why a station is weak, and who interferes: 'same channel: Far Coast (K), RF 24, from 214°: ...'.

    The cause is said in a few words where the station behind it is named.
    """
    who = interferer_words(report, station)
    if who and station.cause in BY_INTERFERENCE:
        return f"{cause_mark(station.cause)}: {who}"
    return "; ".join(part for part in (cause_words(station.cause), who) if part)


def hard_here(report: AddressReport) -> str:
    """Return why no simpler antenna will do, with the station behind it; empty where the simplest does."""
    who = report.main_interferer
    return hard_words(report.main_cause, "" if who is None else _interferer_name(report, who))


def _interferer_name(report: AddressReport, who: Interferer) -> str:
    """Return a station as the map has it: 'Far Coast (K), RF 24'."""
    channel = channel_words("", who.rf_channel, who.frequency_mhz, who.band)
    return f"{named(report, who.station_id, who.service)}, {channel}"


def off_aim(station: StationAtSite, plan: TierPlan | None) -> str:
    """Return how far a station stands off the aim, empty where there is no aim."""
    if plan is None or not plan.directional or math.isnan(station.off_aim_deg):
        return ""
    whose = f" of antenna {station.antenna}" if len(plan.aims_deg) > 1 else ""
    if station.off_aim_deg < ON_AIM_DEG:
        return f"on the aim{whose}"
    return f"{half_up(station.off_aim_deg)}° off the aim{whose}"


def in_words(report: AddressReport, percent: float) -> str:
    """Return a chance with the antenna of the answer in words."""
    return words.chance_in_words(percent, highest=report.tier is not None and report.tier >= TIER_COUNT)


def channel_lines(station: StationAtSite) -> tuple[str, str]:
    """Return the displayed channel and, smaller, RF channel and band."""
    small = channel_words("", station.rf_channel, station.frequency_mhz, station.band)
    return (station.displayed_channel, small) if station.displayed_channel else (small, "")


def change_words(report: AddressReport, change: Change) -> str:
    """Return what is changed: 'Everything 3 dB weaker', 'Another model says 5 dB less'."""
    if change.key == "second_opinion" and change.other_db is not None:
        return f"Another model ({MODELS[change.model]}) says {more_or_less(change.other_db)}"
    return {
        "weaker_3db": f"Everything {SHIFT_DB:g} dB weaker",
        "stronger_3db": f"Everything {SHIFT_DB:g} dB stronger",
        "higher_3m": f"{height(report, HIGHER_M)} more height",
        "in_leaf": _leaves(report, change),
        "denser": f"Cover here a class denser ({_tops(report, change)})",
        "more_open": f"Cover here a class more open ({_tops(report, change)})",
        "noisier": "Noise around the antenna one class higher",
    }[change.key]


def _leaves(report: AddressReport, change: Change) -> str:
    if change.wood_m is None:
        return (
            f"Trees in leaf in the way ({IN_LEAF_DB['uhf']:g} dB at UHF, {IN_LEAF_DB['high_vhf']:g} at VHF)"
        )
    if change.wood_m == 0.0:
        return "Woods in leaf (none before the antenna)"
    return f"Woods in leaf ({height(report, change.wood_m)} before the antenna)"


def _tops(report: AddressReport, change: Change) -> str:
    """Return what would stand there: '15 m high', 'open land'."""
    if not change.tops_m:
        return "open land"
    return f"{height(report, change.tops_m)} high"


def status_words(station: StationAtSite) -> str:
    """Return why nothing is known of a station."""
    if station.status == "out_of_reach":
        return "beyond the reach of this prediction"
    return "its path leaves the elevation data or crosses a gap in it"
