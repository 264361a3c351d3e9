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
from covermap.wording.language import say
from covermap.wording.lists import channel_words, list_words, short_list_words, together_words
from covermap.wording.notes import note_words
from covermap.wording.second_opinion import more_or_less, other_model
from covermap.wording.tier_names import spoken_tier_names
from covermap.wording.verdicts import expected_of_words
from covermap.wording.words import chance_text, half_up, join

PORT_KEYS = {
    "amplifier input": "amplifier_input",
    "amplifier output": "amplifier_output",
    "tuner": "tuner",
    "distribution amplifier": "distribution",
}
EVERY_AIM_DEG = (0, 359)  # a range of aims that is the whole circle
ON_AIM_DEG = 3.0  # nearer to the aim than this is "on the aim"


def tier_name(report: AddressReport, tier: int | None) -> str:
    """Return number and name of a class: '5 Rooftop'."""
    if tier is None:
        return say("number.unknown")
    return f"{tier} {plain_name(report, tier)}"


def plain_name(report: AddressReport, tier: int) -> str:
    """Return the name of a class, that of the run's own table."""
    names = spoken_tier_names(report.tier_names)
    return names[tier - 1] if tier <= len(names) else say(f"tier.name_{tier}")


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
        return say("sheet.plan.true", degrees=true_deg(azimuth_deg))
    magnetic = true_deg(report.declination.magnetic_deg(half_up(azimuth_deg)))
    return say("sheet.plan.true_magnetic", degrees=true_deg(azimuth_deg), magnetic=magnetic)


def aims(report: AddressReport, plan: TierPlan) -> str:
    """Return where a plan's antennas look, with the polarization where it is not horizontal."""
    if not plan.directional:
        return say("sheet.plan.no_aim")
    looks, mounts = [bearing(report, aim) for aim in plan.aims_deg], _mounts(plan)
    if plan.joined in ("diplexed", "combined"):
        return say(f"sheet.plan.{plan.joined}", first=looks[0], second=looks[1], mounts=mounts)
    return say("sheet.plan.aimed", aim=looks[0], mounts=mounts)


def _mounts(plan: TierPlan) -> str:
    """Return which antennas are mounted for vertical polarization, empty where none is."""
    upright = [polarization == "vertical" for polarization in plan.polarizations]
    if not any(upright):
        return ""
    one = "_first" if upright[0] else "_second"
    which = "" if len(upright) == 1 else "_both" if all(upright) else one
    return say(f"sheet.plan.mounted{which}")


def built(name: str, antennas: int, needs_filter: bool) -> str:
    """Return what is to be built: 'Rooftop, two antennas, with a filter'."""
    name = say("sheet.plan.two_antennas", name=name) if antennas > 1 else name
    return say("sheet.plan.with_filter", name=name) if needs_filter else name


def answer(report: AddressReport) -> tuple[str, str]:
    """Return the answer: what is needed (the first words), and the chance."""
    plan = report.stored_plan
    if plan is None or report.tier is None:
        why = "" if report.reason is None else note(report.display, report.reason)
        return say("sheet.answer_of.unknown"), why
    chance = chance_text(report.chance_percent, highest=report.tier >= TIER_COUNT)
    said = {"list": together(report), "chance": chance, "nominal": say("chance.nominal")}
    sure = f"{say('sheet.answer_of.chance', **said)} {_expected_of(report)}".rstrip()
    name, looks = plain_name(report, plan.tier), _aims_needed(report, plan)
    if report.tier <= len(report.plans):
        filtered = say("sheet.answer_of.filter") if report.needs_filter else ""
        return say("sheet.answer_of.needed", name=name, aims=looks, filter=filtered), sure
    return (
        say("sheet.answer_of.not_promised", sure=f"{report.confidence_percent:g} %"),
        say("sheet.answer_of.with", name=name, aims=looks, sure=sure),
    )


def _aims_needed(report: AddressReport, plan: TierPlan) -> str:
    """Return where the answer's antennas look, unless its list holds in every direction."""
    if plan.directional and report.aim_ranges_deg == (EVERY_AIM_DEG,):
        return say("sheet.plan.any_aim")
    return aims(report, plan)


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
        found.append(say("sheet.remark.needs_filter", why=overload_words(report, report.ports)))
    elif report.may_overload:
        found.append(say("sheet.remark.may_overload", why=overload_words(report, report.ports)))
    if report.high_vhf is not None and report.high_vhf.needs_own:
        lost = join(list(report.high_vhf.uhf_only_lost or report.high_vhf.services))
        found.append(say("sheet.remark.high_vhf", lost=lost))
    return [*found, *night_words(report)]


def night_words(report: AddressReport) -> list[str]:
    """Return what is fine most of the time and lost on some nights, a sentence each."""
    night, found = report.night, []
    if night is None:
        return []
    if night.tier_by_day is not None:
        found.append(say("sheet.remark.by_day", lower=tier_name(report, night.tier_by_day)))
    if night.services:
        found.append(say("sheet.remark.at_night", services=join(list(night.services))))
    return found


def overload_words(report: AddressReport, ports: Ports | None) -> str:
    """Return how near the strongest stations come to the limit of which port, and which they are."""
    if ports is None or not ports.strongest or not ports.port:
        return ""
    names = join([named(report, strong.station_id, strong.service) for strong in ports.strongest])
    over = half_up(abs(ports.excess_db))
    said = {"names": names, "port": port_words(ports.port), "over": over}
    if ports.excess_db > 0.0:
        return say("sheet.remark.over", **said)
    return say("sheet.remark.near", count=len(ports.strongest), **said)


def port_words(port: str) -> str:
    """Return a port that may be overloaded, by the name that reception gives it: 'amplifier input'."""
    return say(f"sheet.port.{PORT_KEYS[port]}") if port in PORT_KEYS else port


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
        return say("sheet.remark.decides", name=who, lower=tier_name(report, found.tier))
    return say("sheet.remark.decides_alone", name=who)


def letter_of(report: AddressReport, service: str) -> str:
    """Return the letter of the station that brings a service best, empty where none is known."""
    best = best_station(report, service)
    return "" if best is None else best.letter


def best_station(report: AddressReport, service: str) -> StationAtSite | None:
    """Return the station of the list that most likely brings a service, None where none is known."""
    known = [s for s in report.stations if s.service == service and s.on_list]
    known = [s for s in known if not math.isnan(s.margin_db)]
    return max(known, key=lambda s: (s.chance_percent, s.margin_db), default=None)


def path_words(report: AddressReport, station: StationAtSite) -> str:
    """Return the fact of a path: '2 hills; the higher stands 158 m above the line, 2.6 km from here'."""
    if station.status == "near":
        return say("sheet.path.near", height=height(report, 250.0))
    if station.status != "ok":
        return say("sheet.path.unknown")
    if not station.ridges:
        beyond = station.path_class in ("earth_bulge", "scatter")
        return say("sheet.path.horizon" if beyond else "sheet.path.clear")
    highest = max(station.ridges, key=lambda ridge: ridge.height_above_line_m)
    place = distance(report, highest.distance_km)
    key = "level" if highest.height_above_line_m < 0.5 else "above"
    reach = say(f"sheet.path.{key}", height=height(report, highest.height_above_line_m), distance=place)
    hills = {1: "one", 2: "two"}.get(len(station.ridges), "many")
    return say(f"sheet.path.{hills}", count=len(station.ridges), reach=reach)


def signed(value: float) -> str:
    """Return a whole number with a true minus sign."""
    return f"{half_up(value)}".replace("-", "−")


def interferer_words(report: AddressReport, station: StationAtSite) -> str:
    """Return who interferes with a station and by how much: 'Far Coast (K), RF 24, from 214°: takes 7 dB'."""
    who = station.interferer
    if who is None:
        return ""
    said = {"degrees": true_deg(who.azimuth_deg), "lost": half_up(station.interference_db)}
    return say("sheet.path.interferer", name=_interferer_name(report, who), **said)


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
    key = "on_aim" if station.off_aim_deg < ON_AIM_DEG else "off_aim"
    key += "_of" if len(plan.aims_deg) > 1 else ""
    return say(f"sheet.path.{key}", degrees=half_up(station.off_aim_deg), number=station.antenna)


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
        said = {"model": other_model(change.model), "difference": more_or_less(change.other_db)}
        return say("sheet.change.other_model", **said)
    if change.key == "in_leaf":
        return _leaves(report, change)
    key = {"weaker_3db": "weaker", "stronger_3db": "stronger", "higher_3m": "higher"}.get(
        change.key, change.key
    )
    return say(
        f"sheet.change.{key}", db=f"{SHIFT_DB:g}", height=height(report, HIGHER_M), tops=_tops(report, change)
    )


def _leaves(report: AddressReport, change: Change) -> str:
    if change.wood_m is None:
        return say("sheet.change.leaves_unknown", **{band: f"{db:g}" for band, db in IN_LEAF_DB.items()})
    if change.wood_m == 0.0:
        return say("sheet.change.leaves_none")
    return say("sheet.change.leaves", height=height(report, change.wood_m))


def _tops(report: AddressReport, change: Change) -> str:
    """Return what would stand there: '15 m high', 'open land'."""
    if not change.tops_m:
        return say("sheet.change.open_land")
    return say("sheet.change.high", height=height(report, change.tops_m))


def status_words(station: StationAtSite) -> str:
    """Return why nothing is known of a station."""
    if station.status == "out_of_reach":
        return say("sheet.path.out_of_reach")
    return say("sheet.path.off_elevation")
