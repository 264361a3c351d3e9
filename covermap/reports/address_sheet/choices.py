"""The sheet's second section as HTML: the choices, what one class lower keeps, giving one up, high VHF."""

from __future__ import annotations

from covermap.addresses.report import AddressReport, TierPlan
from covermap.constants import TIER_COUNT
from covermap.reports.address_sheet import wording as say
from covermap.reports.address_sheet.shell import paragraph, section, square, table, td, text, th
from covermap.wording.lists import capital, spelled
from covermap.wording.verdicts import one_lower_words, services_by_class_words
from covermap.wording.words import chance_in_words, chance_number, chance_text, join

LEAST_NAMED_PERCENT = 10.0  # plans less sure are named together in one line


def choices_section(report: AddressReport) -> str:
    """Return section 2: the plans with what each loses, and giving one up."""
    if not report.plans:
        return section(2, "Choices", paragraph("Unknown, as above."))
    shown = [plan for plan in report.plans if _is_named(report, plan)]
    rest = [plan for plan in report.plans if plan not in shown]
    title = capital(say.whole_list(report))
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
    parts += [_one_lower(report), _give_up(report), _by_class(report), _high_vhf(report)]
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
    number, words = (
        chance_number(plan.chance_percent),
        chance_in_words(plan.chance_percent, highest=plan.tier == TIER_COUNT),
    )
    chance = f'<span class="k1">{number}</span><br><small>{words}</small>'
    lost = ", ".join(plan.lost) if plan.lost else "nothing"
    remarks = [
        words
        for words, holds in (
            ("two antennas on one cable", plan.joined == "combined"),
            ("two antennas joined by band", plan.joined == "diplexed"),
            ("overloads without a filter", plan.overloads),
            ("may overload", plan.may_overload),
            ("fine most of the time, lost on some nights", _only_by_day(report, plan)),
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
    lower = report.plans[report.tier - 2]
    words = one_lower_words(
        say.tier_name(report, lower.tier),
        report.kept_one_lower,
        report.services,
        report.confidence_percent,
        lower.chance_percent,
    )
    return paragraph(text(words))


def _by_class(report: AddressReport) -> str:
    """Return which services each class brings, of all that the stations carry."""
    if not report.services_by_class:
        return ""
    classes = [(say.tier_name(report, one.tier), one.services, one.adds) for one in report.services_by_class]
    enough = report.little_gained_after
    words = services_by_class_words(classes, None if enough is None else say.tier_name(report, enough))
    return "<h3>What one antenna of each class brings</h3>" + paragraph(text(words))


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
            some = f"Any {spelled(report.needed)} of the list are enough, so no single one decides."
            return paragraph(text(some))
        return ""
    same = report.tier, report.joined
    saves = [one for one in report.without if (one.tier, one.joined) != same]
    idle = [one.service for one in report.without if (one.tier, one.joined) == same]
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
