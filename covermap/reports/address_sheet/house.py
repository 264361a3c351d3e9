"""The rest of the house on the sheet: what every outlet gets, and whether an amplifier in the house pays."""

from __future__ import annotations

from covermap.addresses.house_levels import HousePlan, HouseReport, OutletLevel
from covermap.addresses.report import AddressReport
from covermap.reports.address_sheet import wording as words
from covermap.reports.address_sheet.shell import paragraph, table, td, text, th
from covermap.wording.language import say
from covermap.wording.words import chance_text, decimal, half_up, range_text


def house_section(report: AddressReport) -> str:
    """Return the section; nothing where no outlets were asked for."""
    house = report.house
    if house is None:
        return ""
    sentences = [_wiring(report, house), say("house.one_set", antenna=_class(report, house.one_set_tier))]
    sentences += [_holds(report, house.plain, "without"), _holds(report, house.amplified, "with")]
    pays = "pays" if house.amplifier_pays else "pays_not"
    before = say("house.before_line" if house.taps else "house.before_splitter")
    sentences.append(say(f"house.{pays}", gain=half_up(house.amplifier_gain_db), before=before))
    head = [
        th(before[:1].upper() + before[1:]), th(say("house.outlet")), th(say("house.cable"), number=True),
        th(say("house.weakest")), th(say("house.strongest")),
    ]  # fmt: skip
    rows = [
        row
        for plan, name in ((house.plain, say("house.no_amplifier")), (house.amplified, house.amplifier))
        for row in _rows(report, plan, name, house.taps)
    ]
    parts = [paragraph(text(" ".join(sentences))), table(head, rows, "outlets")]
    parts.append(paragraph(text(say("house.note")), "soft"))
    return f'<section class="whole"><h2>{text(say("house.title"))}</h2>{"".join(parts)}</section>'


def _wiring(report: AddressReport, house: HouseReport) -> str:
    runs = [outlet.cable_m for outlet in house.plain.outlets]
    cables = words.height(report, runs[0])
    if min(runs) != max(runs):
        cables = f"{range_text(min(runs), max(runs))} {report.display.height}"
    loss = _loss(house.passive_loss_db)
    if house.taps:
        return say(
            "house.line", count=len(runs), cables=cables, common=words.height(report, house.common_m),
            first=_loss(house.first_loss_db), last=loss,
        )  # fmt: skip
    if not house.splitter:
        return say("house.one", cables=cables, loss=loss)
    return say(
        "house.several", count=len(runs), cables=cables, loss=loss, splitter=house.splitter,
        common=words.height(report, house.common_m),
    )  # fmt: skip


def _loss(by_band: dict[str, float]) -> str:
    """Return a loss by band: '8.3 dB at UHF and 7.8 dB at VHF'; one where both round alike."""
    uhf, vhf = (say("house.loss", loss=decimal(by_band[band], 1)) for band in ("uhf", "high_vhf"))
    return uhf if uhf == vhf else say("house.loss_by_band", uhf=uhf, vhf=vhf)


def _class(report: AddressReport, tier: int) -> str:
    return words.tier_name(report, tier)


def _holds(report: AddressReport, plan: HousePlan, how: str) -> str:
    """Return the class that holds at the worst outlet, without or with an amplifier in the house."""
    whole, how = words.whole_list(report), say(f"house.{how}")
    if plan.tier > len(report.tier_names):
        sure = f"{report.confidence_percent:g} %"
        return say("house.none", whole=whole[0].upper() + whole[1:], sure=sure, how=how)
    return say(
        "house.class",
        antenna=_class(report, plan.tier),
        whole=whole,
        how=how,
        filter=say("house.filter") if plan.needs_filter else "",
        chance=chance_text(plan.chance_percent),
    )


def _rows(report: AddressReport, plan: HousePlan, amplifier: str, taps: tuple[str, ...]) -> list[str]:
    """Return a row an outlet, with its tap on a line; one for all where all runs are alike."""
    alike = not taps and len({outlet.cable_m for outlet in plan.outlets}) == 1 and len(plan.outlets) > 1
    shown = plan.outlets[:1] if alike else plan.outlets
    rows = []
    for number, outlet in enumerate(shown, start=1):
        which = say("house.all_outlets", count=len(plan.outlets)) if alike else str(number)
        tap = f"<br><small>{text(taps[number - 1])}</small>" if taps else ""
        cells = [
            td(text(amplifier)),
            td(text(which) + tap),
            td(text(words.height(report, outlet.cable_m)), number=True),
            *(td(cell) for cell in _levels(outlet)),
        ]
        rows.append(f"<tr>{''.join(cells)}</tr>")
    return rows


def _levels(outlet: OutletLevel) -> tuple[str, str]:
    """Return the weakest and the strongest service of an outlet as HTML: level, and what is to spare."""

    def cell(service: str, level_dbuv: float, spare_db: float, good: str, bad: str) -> str:
        level = say("house.level", service=service, level=half_up(level_dbuv))
        spare = say(f"house.{good if spare_db >= 0.0 else bad}", spare=half_up(abs(spare_db)))
        return f"{text(level)}<br><small>{text(spare)}</small>"

    weakest = cell(outlet.weakest, outlet.weakest_dbuv, outlet.weakest_spare_db, "above", "below")
    strongest = cell(
        outlet.strongest, outlet.strongest_dbuv, outlet.strongest_spare_db, "under_most", "over_most"
    )
    return weakest, strongest
