"""The sheet's second section as HTML: the choices, what one class lower keeps, giving one up, high VHF."""

from __future__ import annotations

from covermap.addresses.report import AddressReport, TierPlan
from covermap.constants import TIER_COUNT
from covermap.reports.address_sheet import wording as words
from covermap.reports.address_sheet.shell import bullets, paragraph, section, square, table, td, text, th
from covermap.wording.language import say
from covermap.wording.lists import capital, spelled
from covermap.wording.verdicts import one_lower_words, services_by_class_words
from covermap.wording.words import chance_in_words, chance_number, chance_text, join

LEAST_NAMED_PERCENT = 10.0  # plans less sure are named together in one line


def choices_section(report: AddressReport) -> str:
    """Return section 2: the plans with what each loses, and giving one up."""
    if not report.plans:
        return section(2, say("sheet.choices"), paragraph(say("sheet.unknown_above")))
    shown = [plan for plan in report.plans if _is_named(report, plan)]
    rest = [plan for plan in report.plans if plan not in shown]
    title = capital(words.whole_list(report))
    head = [th(), th(say("sheet.table.antenna")), th(say("sheet.table.best_aim"), number=True), th(title)]
    head.append(th(say("sheet.table.lost")))
    parts = [table(head, [_plan_row(report, plan) for plan in shown])]
    weak = [plan for plan in rest if plan.chance_percent < LEAST_NAMED_PERCENT]
    overloaded = [plan for plan in rest if plan not in weak and plan.overloads]
    others = [plan for plan in rest if plan not in weak and plan not in overloaded]
    for key, plans in (("weak", weak), ("as_sure", others), ("overloaded", overloaded)):
        names = join([words.tier_name(report, plan.tier) for plan in plans])
        parts.append(paragraph(text(say(f"sheet.table.{key}", names=names)), "soft") if names else "")
    parts += [_one_lower(report), _give_up(report), _by_class(report), _high_vhf(report)]
    return section(2, say("sheet.choices"), *parts, whole=True)


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
    aim = join([words.true_deg(aim) for aim in plan.aims_deg]) if plan.directional else say("sheet.table.any")
    said = chance_in_words(plan.chance_percent, highest=plan.tier == TIER_COUNT)
    number = text(chance_number(plan.chance_percent))
    chance = f'<span class="k1">{number}</span><br><small>{text(said)}</small>'
    lost = ", ".join(plan.lost) if plan.lost else say("sheet.table.nothing")
    remarks = [
        say(f"sheet.{key}")
        for key, holds in (
            ("table.on_one_cable", plan.joined == "combined"),
            ("table.by_band", plan.joined == "diplexed"),
            ("table.overloads", plan.overloads),
            ("may_overload", plan.may_overload),
            ("lost_at_night", _only_by_day(report, plan)),
        )
        if holds
    ]
    name = text(words.plain_name(report, plan.tier)) + "".join(
        f"<br><small>{text(remark)}</small>" for remark in remarks
    )
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
    lower = report.plans[report.tier - 2]
    said = one_lower_words(
        words.tier_name(report, lower.tier),
        report.kept_one_lower,
        report.services,
        report.confidence_percent,
        lower.chance_percent,
    )
    return paragraph(text(said))


def _by_class(report: AddressReport) -> str:
    """Return which services each class brings, of all that the stations carry."""
    if not report.services_by_class:
        return ""
    classes = [
        (words.tier_name(report, one.tier), one.services, one.adds) for one in report.services_by_class
    ]
    enough = report.little_gained_after
    said = services_by_class_words(classes, None if enough is None else words.tier_name(report, enough))
    return _heading("by_class") + paragraph(text(said))


def _heading(key: str) -> str:
    return f"<h3>{text(say(f'sheet.table.{key}'))}</h3>"


def _high_vhf(report: AddressReport) -> str:
    """Return whether the antenna must be made for high VHF, and how large its part for it is."""
    found = report.high_vhf
    title = _heading("high_vhf")
    if found is None:
        return title + paragraph(text(say("sheet.table.no_high_vhf")))
    comes = say("sheet.table.comes", services=join(list(found.services)), count=len(found.services))
    if not found.needs_own:
        return title + paragraph(text(say("sheet.table.strong_enough", comes=comes)))
    together = say("sheet.table.together", list=words.whole_list(report))
    sentences = [
        say(
            "sheet.table.no_uhf_only",
            comes=comes,
            shelf=words.tier_name(report, 1),
            whole=say("sheet.table.it") if len(report.services) == 1 else together,
            alone=chance_text(found.uhf_only_chance_percent),
        )
    ]
    if found.smallest is not None:
        size, gain = words.tier_name(report, found.smallest.tier), words.signed(found.smallest.gain_dbd)
        sentences.append(say("sheet.table.smallest", size=size, gain=gain))
    return title + paragraph(text(" ".join(sentences)))


def _give_up(report: AddressReport) -> str:
    """Return what giving one service up saves, those that change nothing in one sentence."""
    if not report.without or report.tier is None:
        if report.needed < len(report.services):
            return paragraph(text(say("sheet.table.any_enough", needed=spelled(report.needed))))
        return ""
    same = report.tier, report.joined
    saves = [one for one in report.without if (one.tier, one.joined) != same]
    idle = [one.service for one in report.without if (one.tier, one.joined) == same]
    lines = [
        say(
            "sheet.table.without",
            service=one.service,
            antenna=words.tier_name(report, one.tier),
            chance=chance_in_words(one.chance_percent),
        )
        for one in saves
    ]
    if idle:
        several = f" {say('sheet.table.or')} ".join(
            [", ".join(idle[:-1]), idle[-1]] if len(idle) > 1 else idle
        )
        key = "sheet.table.idle" if len(idle) > 1 else "sheet.table.idle_one"
        lines.append(say(key, services=several))
    return _heading("give_up") + bullets(lines)
