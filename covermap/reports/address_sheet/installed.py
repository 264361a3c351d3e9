"""Antennas of the catalogue on the sheet: what to buy, and what some bring at some heights."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence

from covermap.addresses.installed_records import InstallationAtPlace, Recommended
from covermap.addresses.report import AddressReport
from covermap.reports.address_sheet import wording as words
from covermap.reports.address_sheet.shell import bullets, paragraph, table, td, text, th
from covermap.wording.language import say
from covermap.wording.words import chance_number, chance_text, decimal, join


def recommended_section(report: AddressReport) -> str:
    """Return what to buy from the catalogue; nothing where the scenario names none, or nothing is known.

    Nor where nothing of it holds the list: the answer has said so.
    """
    if not report.recommended or report.recommended[0].reason == "surest":
        return ""
    best, *others = report.recommended
    parts = [f"<p><b>{text(buy_words(report, best))}</b> {text(_whole(best))}</p>"]
    parts.append(bullets([_other(report, one) for one in others]) if others else "")
    return f'<section class="whole"><h2>{text(say("shop.title"))}</h2>{"".join(parts)}</section>'


def buy_words(report: AddressReport, one: Recommended) -> str:
    """Return what to buy, where to put it, where to aim it, and whether a filter is needed."""
    key = "shop.surest" if one.reason == "surest" else "shop.buy"
    return say(
        key,
        name=one.at.name,
        amplifier=_amplifier(one.at),
        mount=_place(report, one.at),
        aim=_aim(report, one.at),
        filter=say("shop.filter") if one.at.needs_filter else "",
    )


def _whole(one: Recommended) -> str:
    """Return the chance, why this one, its weakness, its price."""
    sentences = [chance_text(one.at.chance_percent), say(f"shop.reason.{one.reason}"), _weakness(one)]
    told = f"{'; '.join(sentences)}."
    if not one.at.needs_filter:
        told += f" {say('shop.no_filter')}"
    if not math.isnan(one.at.price):
        told += f" {say('shop.all_price', price=decimal(one.at.price))}"
    return told[0].upper() + told[1:]


def _other(report: AddressReport, one: Recommended) -> str:
    price = "" if math.isnan(one.at.price) else f"; {decimal(one.at.price)}"
    place = f"{_place(report, one.at)}, {_aim(report, one.at)}"
    what = f"{say('shop.also')} {one.at.name}{_amplifier(one.at)}, {place}"
    why = f"{say(f'shop.reason.{one.reason}')}; {_weakness(one)}"
    return f"{what}: {chance_text(one.at.chance_percent)}; {why}{price}."


def _weakness(one: Recommended) -> str:
    chance = chance_text(one.at.weakest_percent)
    return say(f"shop.weakness.{one.weakness}", service=one.at.weakest, chance=chance)


def _amplifier(one: InstallationAtPlace) -> str:
    if not one.amplifier:
        return ""
    if math.isnan(one.amplifier_price):
        return say("shop.with_amplifier", amplifier=one.amplifier)
    return say("shop.with_amplifier_price", amplifier=one.amplifier, price=decimal(one.amplifier_price))


def _place(report: AddressReport, one: InstallationAtPlace) -> str:
    return f"{say(f'antennas.mount_of.{one.mount}')}, {_height(report, one.height_m)}"


def _height(report: AddressReport, height_m: float) -> str:
    """Return the height of a mount; in metres with a half where it has one: '7.5 m'."""
    if report.display.height == "m" and height_m % 1.0:
        return f"{decimal(height_m, 1)} m"
    return words.height(report, height_m)


def _aim(report: AddressReport, one: InstallationAtPlace) -> str:
    if not one.directional:
        return say("shop.aim_any")
    aims = [words.bearing(report, aim) for aim in one.aims_deg]
    if len(aims) > 1:
        return say("shop.aim_two", first=aims[0], second=aims[1])
    return say("shop.aim_pair" if "+" in one.key else "shop.aim_one", aim=aims[0])


def installations_section(report: AddressReport) -> str:
    """Return the table of heights and installations; nothing where none were asked for."""
    if not report.installations:
        return ""
    of_classes = (name for one in report.services_by_class for name in one.services)
    tabled = (name for one in report.installations for name in one.services)
    every = tuple(dict.fromkeys([*of_classes, *tabled]))
    priced = any(not math.isnan(one.price) for one in report.installations)
    head = [
        th(say("shop.height"), number=True), th(say("shop.antenna")), th(say("shop.aim"), number=True),
        th(say("shop.chance")), th(say("shop.lost")), th(say("shop.services", count=len(every))),
    ]  # fmt: skip
    head += [th(say("shop.price"), number=True)] if priced else []
    rows = [_row(report, one, every, priced) for one in _tabled(report.installations)]
    note = paragraph(text(say("shop.note")), "soft")
    title = text(say("shop.table_title"))
    return f"<section><h2>{title}</h2>{table(head, rows, 'heights')}{note}</section>"


def _tabled(installations: Sequence[InstallationAtPlace]) -> list[InstallationAtPlace]:
    """Return the rows worth a line: with an amplifier only what does not hold the list without."""
    enough = {(one.key, one.height_m) for one in installations if one.holds and not one.amplifier}
    return [one for one in installations if not one.amplifier or (one.key, one.height_m) not in enough]


def _row(report: AddressReport, one: InstallationAtPlace, every: Sequence[str], priced: bool) -> str:
    aims = " / ".join(words.true_deg(aim) for aim in one.aims_deg) if one.directional else say("shop.any")
    named = f"{len(one.services)}<br><small>{text(_brings(one, every))}</small>"
    with_it = one.amplifier or say("shop.no_amplifier")
    mount = say(f"antennas.mount_of.{one.mount}")
    remark = f"<br><small>{text(mount)}; {text(with_it)}"
    remark += f"{text(say('shop.filter'))}</small>" if one.needs_filter else "</small>"
    cells = [
        td(text(_height(report, one.height_m)), number=True), td(text(one.name) + remark),
        td(text(aims), number=True), td(text(chance_number(one.chance_percent)), kept=True),
        td(text(_lost(one))), td(named),
    ]  # fmt: skip
    if priced:
        cells.append(td("" if math.isnan(one.price) else text(decimal(one.price)), number=True))
    chosen = ' class="chosen"' if one.holds else ""
    return f"<tr{chosen}>{''.join(cells)}</tr>"


def _lost(one: InstallationAtPlace) -> str:
    """Return the services of the list that are not surely kept, with those it has no gain for marked."""
    named = [say("shop.unserved", service=name) if name in one.unserved else name for name in one.lost]
    return ", ".join(named) or say("shop.all")


def _brings(one: InstallationAtPlace, every: Sequence[str]) -> str:
    """Return the services that arrive, or those that do not, whichever are fewer."""
    missing = [service for service in every if service not in one.services]
    if not one.services or not missing:
        return say("shop.none" if not one.services else "shop.every")
    if len(missing) < len(one.services):
        return say("shop.all_but", services=", ".join(missing))
    return ", ".join(one.services)


def load_words(reports: Sequence[AddressReport]) -> str:
    """Return what of the catalogue to load for the addresses of a day; empty where nothing is recommended."""
    parts: Counter[str] = Counter()
    for report in reports:
        for one in report.recommended[:1]:
            if one.reason == "surest":  # it holds the list no more than the classes do
                continue
            names = one.at.name.split(" + ")
            parts.update([*names, *([one.at.amplifier] if one.at.amplifier else [])])
            parts.update([say("sheet.day.diplexer")] * (len(names) > 1))
            parts.update([say("sheet.day.filter")] * one.at.needs_filter)
    if not parts:
        return ""
    return say("shop.load", parts=join([f"{count} × {part}" for part, count in sorted(parts.items())]))
