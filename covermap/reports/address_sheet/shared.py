"""The page and the table of a shared antenna: what it is, who is served, what it costs, cautions."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from covermap.addresses.shared import ServedHome, SharedAntenna
from covermap.planning.shared_cost import SharedCost
from covermap.reports.address_sheet.shell import bullets, page, paragraph, square, table, td, text, th
from covermap.reports.fieldwork.tables import write_rows
from covermap.result.whole_file import write_text
from covermap.wording.language import messages, say, spoken
from covermap.wording.lists import short_list_words
from covermap.wording.retold import retold
from covermap.wording.words import chance_number, chance_text, decimal, half_up, height, join

PAGE_FILE, TABLE_FILE = "shared_antenna.html", "shared_homes.csv"
TABLE_COLUMNS = (
    "id", "label", "latitude_deg", "longitude_deg", "cable_m", "cable_estimated", "outlets", "splits",
    "loss_db", "chance_percent", "served", "weakest_service", "weakest_dbuv", "weakest_spare_db",
    "strongest_service", "strongest_dbuv", "attenuator_db", "tier_with_own_antenna",
)  # fmt: skip


@dataclass(frozen=True)
class SharedFacts:
    """What the page says beside the antenna: its scenario, place, list and the run's cautions.

    cost : None without a price list; tier_names : of the tier table; height_unit : of what people read
    """

    scenario_name: str
    place: str
    services: int
    needed: int
    confidence_percent: float
    tier_names: tuple[str, ...]
    part_names: dict[str, str]
    cost: SharedCost | None
    left_out: tuple[str, ...]
    cautions: tuple[str, ...]
    height_unit: str


def write_shared(shared: SharedAntenna, facts: SharedFacts, folder: Path) -> list[Path]:
    """Write page and table into a folder; return their paths."""
    write_text(folder / PAGE_FILE, shared_html(shared, facts))
    rows = [_table_row(home) for home in shared.homes]
    return [folder / PAGE_FILE, write_rows(folder / TABLE_FILE, TABLE_COLUMNS, rows)]


def shared_html(shared: SharedAntenna, facts: SharedFacts) -> str:
    """Return the page."""
    title = say("shared.title", count=len(shared.homes))
    head = f"<header><p>{text(facts.scenario_name)}</p><h1>{text(title)}</h1></header>"
    answer, *others = shared_in_words(shared, facts)
    tier = shared.tier.tier if shared.promised else len(facts.tier_names) + 1
    columns = [
        th(say("shared.home")), th(say("shared.cable"), number=True), th(say("shared.splits")),
        th(say("shared.loss"), number=True), th(say("shared.level")), th(say("shared.chance")),
        th(say("shared.alone")),
    ]  # fmt: skip
    rows = [_row(shared, facts, home) for home in shared.homes]
    parts = [
        head,
        f'<section class="whole"><div class="big">{square(tier)}<p><b>{text(answer)}</b></p></div>',
        *(paragraph(text(sentence)) for sentence in others),
        "</section>",
        f"<section>{table(columns, rows)}{paragraph(text(say('shared.note')), 'soft')}</section>",
    ]
    if facts.left_out:
        parts.append(
            f"<section><h2>{text(say('sheet.day.left_out'))}</h2>{bullets(facts.left_out)}</section>"
        )
    told = bullets([*shared_cautions(), *retold(facts.cautions)])
    parts.append(f"<section><h2>{text(say('page.care'))}</h2>{told}</section>")
    return page(title, parts)


def shared_cautions() -> list[str]:
    """Return what must be settled before a shared antenna is built, a sentence each."""
    return [sentence for key, sentence in messages(spoken()).items() if key.startswith("shared_caution.")]


def shared_in_words(shared: SharedAntenna, facts: SharedFacts) -> list[str]:
    """Return the antenna, who it serves, what it costs and needs, in sentences."""
    aims = join([f"{half_up(aim) % 360}°" for aim in shared.aims_deg])
    aim = say("shared.aimed", aims=aims) if aims else say("shared.any_aim")
    gain = shared.amplifier.gain_db
    sentences = [
        say(
            "shared.promised" if shared.served == len(shared.homes) else "shared.not_promised",
            antenna=f"{shared.tier.tier} {facts.tier_names[shared.tier.tier - 1]}",
            amplifier=shared.amplifier.name,
            gain="" if gain is None else half_up(gain.typical),
            place=facts.place,
            aim=aim,
            list=short_list_words(facts.services, facts.needed),
            served=shared.served,
            count=len(shared.homes),
            sure=f"{facts.confidence_percent:g} %",
        )
    ]
    sentences += [say("shared.filter")] if shared.needs_filter else []
    sentences.append(_cost(shared, facts.cost))
    named = [f"{count} × {facts.part_names[part]}" for part, count in shared.parts.items()]
    cable_m, cable = half_up(shared.total_cable_m), shared.cable.name
    sentences.append(say("shared.parts", parts="; ".join(named), cable_m=cable_m, cable=cable))
    estimated = sum(home.estimated for home in shared.homes)
    return sentences + ([say("shared.estimated", count=estimated)] if estimated else [])


def _cost(shared: SharedAntenna, cost: SharedCost | None) -> str:
    if cost is None:
        return say("shared.no_prices")
    if cost.missing or math.isnan(cost.shared):
        return say("shared.no_cost", missing=join(list(cost.missing)))

    def money(value: float) -> str:
        return say("shared.unknown") if math.isnan(value) else decimal(half_up(value))

    alone = sum(_own(home) <= len(home.single.plans) for home in shared.homes if home.single is not None)
    return say(
        "shared.cost",
        shared=money(cost.shared),
        per_home=money(cost.per_home),
        single=money(cost.single),
        single_per_home=money(cost.single_per_home),
        alone=alone,
    )


def _own(home: ServedHome) -> int:
    return 0 if home.single is None else home.single.tier


def _row(shared: SharedAntenna, facts: SharedFacts, home: ServedHome) -> str:
    address, level = home.home.address, home.level
    key = "shared.spare" if level.weakest_spare_db >= 0.0 else "shared.short"
    weakest = say(key, service=level.weakest, spare=half_up(abs(level.weakest_spare_db)))
    verdict = say("shared.served" if home.served else "shared.not_served")
    if home.attenuator_db > 0.0:
        verdict = say("shared.with_attenuator", verdict=verdict, loss=math.ceil(home.attenuator_db))
    chance = f"{text(verdict)}<br><small>{text(chance_text(home.chance_percent))}</small>"
    place = f"{address.latitude_deg:.5f}, {address.longitude_deg:.5f}"
    cable = height(home.cable_m, facts.height_unit) + (" ?" if home.estimated else "")
    cells = [
        td(text(address.label or address.point_id or place)),
        td(text(cable), number=True),
        td(text(" × ".join(str(way) for way in home.ways) or say("shared.direct"))),
        td(f"{half_up(home.loss_db)} dB", number=True),
        td(text(weakest)),
        td(chance),
        td(text(_alone(facts, home))),
    ]  # fmt: skip
    return f"<tr>{''.join(cells)}</tr>"


def _alone(facts: SharedFacts, home: ServedHome) -> str:
    if home.single is None:
        return say("shared.unknown")
    tier = home.single.tier
    if tier > len(facts.tier_names):
        return say("shared.none_alone")
    return f"{tier} {facts.tier_names[tier - 1]}, {chance_number(100.0 * home.single.plan.chance)}"


def _table_row(home: ServedHome) -> Sequence[object]:
    address, level = home.home.address, home.level
    return (
        address.point_id, address.label, round(address.latitude_deg, 6), round(address.longitude_deg, 6),
        round(home.cable_m, 1), home.estimated, home.home.outlets, " x ".join(str(way) for way in home.ways),
        round(home.loss_db, 1), round(home.chance_percent, 1), home.served, level.weakest,
        round(level.weakest_dbuv, 1), round(level.weakest_spare_db, 1), level.strongest,
        round(level.strongest_dbuv, 1), round(home.attenuator_db, 1),
        None if home.single is None else home.single.tier,
    )  # fmt: skip


def shared_record(shared: SharedAntenna, facts: SharedFacts) -> dict[str, Any]:
    """Return the same as plain values; unknown numbers are null."""
    cost = None
    if facts.cost is not None:
        cost = {
            name: None if isinstance(value, float) and math.isnan(value) else value
            for name, value in vars(facts.cost).items()
        }
    return {
        "antenna": shared.tier.name,
        "promised": shared.promised,
        "aims_deg_true": [round(aim, 1) for aim in shared.aims_deg],
        "joined": shared.joined,
        "needs_filter": shared.needs_filter,
        "amplifier": shared.amplifier.device_id,
        "cable": shared.cable.device_id,
        "total_cable_m": round(shared.total_cable_m, 1),
        "parts": shared.parts,
        "served": shared.served,
        "homes": [dict(zip(TABLE_COLUMNS, _table_row(home), strict=True)) for home in shared.homes],
        "cost": cost,
        "left_out": list(facts.left_out),
        "cautions": [*shared_cautions(), *facts.cautions],
    }
