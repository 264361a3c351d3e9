"""`covermap address`: one position or a list of them, to sheets, JSON and a line of words each."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from pathlib import Path

from covermap.addresses.installed import Shop
from covermap.addresses.list_file import AddressList, ListedAddress, read_addresses
from covermap.addresses.report import AddressReport
from covermap.addresses.wiring import LINE, STAR, Wiring, wiring
from covermap.errors import InputError
from covermap.jobs.address_sheets import AddressBook, open_book
from covermap.jobs.address_shop import shop_of
from covermap.planning.prices import read_prices
from covermap.reports.address_sheet import address_record, write_sheets
from covermap.reports.address_sheet.files import pdf_printer
from covermap.reports.address_sheet.table import address_table, write_address_table
from covermap.reports.address_sheet.wording import answer
from covermap.result.result_folder import require_writable
from covermap.scenario import Scenario, read_scenario
from covermap.scenario.coordinates import read_position
from covermap.tables.plain_text import with_blanks
from covermap.wording.language import say, speaking

DEFAULT_FOLDER = "addresses"


@dataclass(frozen=True)
class AddressAnswer:
    """What the command says: words or JSON for stdout, and what was left out or doubted for stderr."""

    text: str
    remarks: tuple[str, ...]


def write_address_sheets(
    scenario_path: Path,
    *,
    at: str | None = None,
    addresses: Path | None = None,
    output: Path | None = None,
    label: str = "",
    wanted: str | None = None,
    on: date | None = None,
    utc_offset_h: float | None = None,
    as_json: bool = False,
    pdf: bool = False,
    outlets: int | None = None,
    cable_m: tuple[float, ...] = (),
    way: str = STAR,
    antennas: tuple[str, ...] = (),
    heights_m: tuple[float, ...] = (),
    amplifier: str | None = None,
    progress: Callable[[str, float, str], bool] | None = None,
) -> AddressAnswer:
    """Reckon one address or a list, write the sheets, and return what to say.

    at : 'LAT,LON'; addresses : a list instead of it
    outlets, cable_m : sets behind one antenna, and the cable from it to each, or one length for all
    way : how outlets are wired, of covermap.addresses.wiring.WAYS
    antennas, heights_m, amplifier : of the catalogue, as shop_of()
    output : default, a folder addresses beside the scenario; with as_json sheets need it to be given

    Raises InputError when an input is wrong, or no row of the list is usable; nothing is written then.
    """
    if (at is None) == (addresses is None):
        raise InputError("Give either --at LAT,LON or --list addresses.csv.")
    listed = _listed(at, addresses, label)
    scenario = read_scenario(scenario_path)
    with speaking(scenario.settings.display.language):
        return _sheets(
            scenario, listed, addresses is not None, output, wanted, (on, utc_offset_h), as_json, pdf,
            (outlets, cable_m, way), (antennas, heights_m, amplifier), progress,
        )  # fmt: skip


def _sheets(
    scenario: Scenario,
    listed: AddressList,
    as_list: bool,
    output: Path | None,
    wanted: str | None,
    day: tuple[date | None, float | None],
    as_json: bool,
    pdf: bool,
    wired: tuple[int | None, tuple[float, ...], str],
    installed: tuple[tuple[str, ...], tuple[float, ...], str | None],
    progress: Callable[[str, float, str], bool] | None,
) -> AddressAnswer:
    """Return what to say of the addresses, their sheets written; arguments as write_address_sheets()."""
    folder = Path(output) if output is not None else scenario.path.parent / DEFAULT_FOLDER
    writes = output is not None or not as_json
    if writes:
        require_writable(folder)
    places_deg = [(one.latitude_deg, one.longitude_deg) for one in listed.addresses]
    book = open_book(scenario, places_deg, wanted=wanted)
    home = _home(book, *wired)
    shop = shop_of(book.prepared, *installed)
    printer, no_printer = pdf_printer() if pdf else (None, ())
    reports = []
    for done, one in enumerate(listed.addresses, start=1):
        reports.append(_report(book, one, *day, home, shop))
        if (
            progress is not None
            and progress("addresses", done / len(listed.addresses), one.point_id) is False
        ):
            raise KeyboardInterrupt
    files: list[Path] = []
    if writes:
        files = write_sheets(
            reports,
            folder,
            dn=scenario.settings.prediction.dn,
            with_clutter=book.prepared.terrain.has_clutter,
            as_list=as_list,
            left_out=listed.left_out,
            printer=printer,
        )
        if as_list:
            asked = scenario.settings.business
            prices = None if asked is None else read_prices(asked.prices)
            table = address_table(reports, book.prepared.tiers, prices)
            files += write_address_table(table, folder, reports[0].cautions)
    remarks = (
        *(say("row.left_out", sentence=sentence) for sentence in listed.left_out),
        *listed.warnings,
        *no_printer,
    )
    text = _as_json(reports, as_list) if as_json else _in_words(reports, files)
    return AddressAnswer(text, remarks)


def _listed(at: str | None, addresses: Path | None, label: str) -> AddressList:
    if addresses is not None:
        return read_addresses(addresses)
    latitude_deg, longitude_deg = read_position(at or "", "--at")
    return AddressList((ListedAddress("--at", "", with_blanks(label), latitude_deg, longitude_deg),), (), ())


def _report(
    book: AddressBook,
    one: ListedAddress,
    on: date | None,
    utc_offset_h: float | None,
    home: Wiring | None,
    shop: Shop | None,
) -> AddressReport:
    return book.report(
        one.latitude_deg,
        one.longitude_deg,
        point_id=one.point_id,
        label=one.label,
        on=on,
        utc_offset_h=utc_offset_h,
        home=home,
        shop=shop,
    )


def _home(book: AddressBook, outlets: int | None, cable_m: tuple[float, ...], way: str) -> Wiring | None:
    """Return the wiring asked for; None without. Raises InputError for outlets without a length of cable."""
    if outlets is None and not cable_m:
        if way == LINE:
            raise InputError("--wiring line needs --cable, once an outlet: metres of the line up to it.")
        return None
    if not cable_m:
        raise InputError(
            f"--outlets {outlets} needs --cable: metres from the antenna to the farthest outlet, or one "
            "--cable an outlet."
        )
    return wiring(outlets or len(cable_m), cable_m, book.prepared.catalogue.devices.values(), way)


def _as_json(reports: list[AddressReport], as_list: bool) -> str:
    records = [address_record(report) for report in reports]
    return json.dumps(records if as_list else records[0], indent=2, ensure_ascii=False)


def _in_words(reports: list[AddressReport], files: list[Path]) -> str:
    lines = []
    for report in reports:
        first, rest = answer(report)
        place = f"{report.latitude_deg:.5f}, {report.longitude_deg:.5f}"
        lines.append(f"{report.label or report.point_id or place}: {first} {rest}")
    key = "run.wrote_more" if len(files) > 1 else "run.wrote"
    lines.append(say(key, file=files[0], count=len(files) - 1))
    return "\n".join(lines)
