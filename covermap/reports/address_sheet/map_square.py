"""What the map's square says at an address, and how far it is from the address itself."""

from __future__ import annotations

from covermap.addresses.report import AddressReport
from covermap.addresses.station_records import StationAtSite
from covermap.constants import TIER_COUNT
from covermap.reports.address_sheet.wording import built, named, tier_name, true_deg
from covermap.wording.language import say
from covermap.wording.words import chance_text, half_up, join


def cell_sentence(report: AddressReport) -> str:
    """Return what the map's square says here, and how far its middle is from it where that is much."""
    cell = report.cell
    if cell.status == "outside":
        return say("sheet.outside_square")
    if cell.status == "unknown" or cell.tier is None:
        return say("sheet.unknown_square")
    two = cell.joined in ("combined", "diplexed")
    says = built(tier_name(report, cell.tier), 2 if two else 1, cell.needs_filter)
    aimed = join([true_deg(aim) for aim in cell.aims_deg])
    says = say("sheet.square_aimed", says=says, aims=aimed) if two else says
    known = (
        ("may_overload", cell.may_overload),
        ("lost_at_night", cell.lost_at_night),
        ("needs_high_vhf", cell.own_high_vhf),
    )
    noted = "".join(f"; {say(f'sheet.{key}')}" for key, holds in known if holds)
    chance = chance_text(cell.chance_percent, highest=cell.tier >= TIER_COUNT)
    return f"{say('sheet.square', says=says, chance=chance, noted=noted)} {_apart(report)}".strip()


def _apart(report: AddressReport) -> str:
    """Return how far the square's middle is from here, of the station of the list that is farthest.

    Empty where no field differs by more than the prediction of its path is usually out.
    """
    apart = [
        one for one in report.stations if one.on_list and abs(_difference_db(one)) > one.prediction_sd_db
    ]
    if not apart:
        return ""
    farthest = max(apart, key=lambda one: abs(_difference_db(one)))
    difference_db = _difference_db(farthest)
    return say(
        "sheet.square_apart_stronger" if difference_db > 0.0 else "sheet.square_apart_weaker",
        name=named(report, farthest.station_id, farthest.service),
        db=half_up(abs(difference_db)),
        spread=half_up(farthest.prediction_sd_db),
    )


def _difference_db(station: StationAtSite) -> float:
    """Return the field here less that of the square's middle, NaN where either is not known."""
    return station.field_dbuvm - station.cell_field_dbuvm
