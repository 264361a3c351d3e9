"""`covermap address --shared`: one antenna for the homes of a block or a hamlet."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np

from covermap.addresses.answer import Answer
from covermap.addresses.compute_report import Asked, answer_at
from covermap.addresses.plans import Question
from covermap.addresses.report import Note
from covermap.addresses.shared import SharedAntenna, shared_antenna
from covermap.addresses.shared_homes import SharedHomes, read_shared_homes
from covermap.catalogue import AntennaCatalogue
from covermap.errors import InputError
from covermap.grid.geodesy import mast_geometry
from covermap.jobs.address_sheets import AddressBook, open_book
from covermap.jobs.addresses import DEFAULT_FOLDER, AddressAnswer
from covermap.planning.prices import Price, read_prices
from covermap.planning.shared_cost import SharedCost, shared_cost
from covermap.planning.stock import items_of
from covermap.reception.tiers import TierTable
from covermap.reports.address_sheet.shared import SharedFacts, shared_in_words, shared_record, write_shared
from covermap.reports.address_sheet.wording import note
from covermap.result.result_folder import require_writable
from covermap.scenario import read_scenario
from covermap.scenario.coordinates import read_position
from covermap.wording.language import say, speaking
from covermap.wording.tier_names import spoken_tier_names
from covermap.wording.words import path_in_words


def write_shared_antenna(
    scenario_path: Path,
    *,
    at: str | None,
    homes: Path,
    output: Path | None = None,
    label: str = "",
    wanted: str | None = None,
    as_json: bool = False,
    progress: Callable[[str, float, str], bool] | None = None,
) -> AddressAnswer:
    """Write page and table of an antenna that several homes share; return words or JSON, and remarks.

    at : 'LAT,LON' of the antenna. homes : a row a home, of read_shared_homes()
    output : default, a folder addresses beside the scenario; with as_json page and table need it to be given

    Raises InputError when an input is wrong, or nothing is known of the antenna's place; nothing is written
    then.
    """
    if at is None:
        raise InputError("--shared needs --at LAT,LON: the place of the antenna.")
    latitude_deg, longitude_deg = read_position(at, "--at")
    listed = read_shared_homes(homes)
    scenario = read_scenario(scenario_path)
    with speaking(scenario.settings.display.language):
        folder = Path(output) if output is not None else scenario.path.parent / DEFAULT_FOLDER
        writes = output is not None or not as_json
        if writes:
            require_writable(folder)
        addresses = [home.address for home in listed.homes]
        places = [
            (latitude_deg, longitude_deg),
            *((one.latitude_deg, one.longitude_deg) for one in addresses),
        ]
        book = open_book(scenario, places, wanted=wanted)
        asked, _, reason = _answer(book, latitude_deg, longitude_deg)
        if reason is not None:
            why = note(scenario.settings.display, reason)
            raise InputError(f"--at {at}: {why} Choose another place for the antenna.")
        singles = []
        for done, one in enumerate(addresses, start=1):
            singles.append(_answer(book, one.latitude_deg, one.longitude_deg)[1])
            if progress is not None and progress("homes", done / len(addresses), one.point_id) is False:
                raise KeyboardInterrupt
        catalogue = book.prepared.catalogue
        seen = mast_geometry(
            latitude_deg,
            longitude_deg,
            np.array([one.longitude_deg for one in addresses]),
            np.array([one.latitude_deg for one in addresses]),
        )
        found = shared_antenna(
            asked, listed.homes, (1000.0 * seen.distance_km).tolist(), singles, catalogue.devices.values()
        )
        facts = _facts(book, asked, found, listed, label or f"{latitude_deg:.5f}, {longitude_deg:.5f}")
        files = write_shared(found, facts, folder) if writes else []
        remarks = (
            *(say("row.left_out", sentence=sentence) for sentence in listed.left_out),
            *listed.warnings,
        )
        if as_json:
            return AddressAnswer(
                json.dumps(shared_record(found, facts), indent=2, ensure_ascii=False), remarks
            )
        sentences = [*shared_in_words(found, facts), say("fieldwork.open", file=path_in_words(files[0]))]
        return AddressAnswer("\n".join(sentences), remarks)


def _answer(
    book: AddressBook, latitude_deg: float, longitude_deg: float
) -> tuple[Question, Answer | None, Note | None]:
    return answer_at(book.site_at(latitude_deg, longitude_deg), Asked(latitude_deg, longitude_deg))


def _facts(
    book: AddressBook, asked: Question, found: SharedAntenna, listed: SharedHomes, place: str
) -> SharedFacts:
    scenario, tiers = book.prepared.scenario, book.prepared.tiers
    business = scenario.settings.business
    cost = None
    if business is not None and business.prices is not None:
        cost = _cost(read_prices(business.prices), tiers, found, book.prepared.catalogue)
    devices = book.prepared.catalogue.devices
    return SharedFacts(
        scenario_name=scenario.name,
        place=place,
        services=len(asked.wanted.services),
        needed=asked.wanted.needed,
        confidence_percent=asked.options.confidence_percent,
        tier_names=tuple(spoken_tier_names(tuple(tier.name for tier in tiers))),
        part_names={part: devices[part].name for part in found.parts},
        cost=cost,
        left_out=listed.left_out,
        cautions=book.cautions,
        height_unit=scenario.settings.display.height,
    )


def _cost(
    prices: dict[str, Price],
    tiers: TierTable,
    found: SharedAntenna,
    catalogue: AntennaCatalogue,
) -> SharedCost:
    """Return what the network and single antennas cost."""
    antenna = items_of(found.tier, len(found.aims_deg), False)
    used = [(catalogue.devices[part], float(count)) for part, count in found.parts.items()]
    parts = [(device.name, count, device.price) for device, count in used]
    parts.append((found.cable.name, found.total_cable_m, found.cable.price))
    singles = [
        items_of(tiers[home.single.tier], len(home.single.plan.azimuths_deg), home.own_high_vhf)
        for home in found.homes
        if home.single is not None and home.single.tier <= len(tiers)
    ]
    return shared_cost(prices, antenna, parts, found.served, singles)
