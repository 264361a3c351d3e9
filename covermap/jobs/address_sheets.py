"""Addresses of a scenario: the report of a point, and its cell from a result or by the same sweep."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta, timezone

import numpy as np
from numpy.typing import NDArray

from covermap.addresses.compute_report import Asked, compute_report
from covermap.addresses.installed import Shop
from covermap.addresses.report import AddressReport, CellValue
from covermap.addresses.site import Site
from covermap.addresses.wiring import Wiring
from covermap.constants import UNKNOWN_UINT8
from covermap.errors import InputError
from covermap.grid.frame import Tile
from covermap.inputs.preparation import Preparation
from covermap.inputs.prepare import prepare_places
from covermap.jobs.path_stage import computed_blocks
from covermap.jobs.tile_reception import TileResult, receive_tile
from covermap.reception import ReceptionOptions
from covermap.reception.signals import DIPLEXED, LOST_AT_NIGHT, MAY_OVERLOAD, NEEDS_FILTER, OWN_HIGH_VHF
from covermap.reports.address_sheet.basis import basis_sentences
from covermap.result.coverage import Coverage, open_coverage
from covermap.result.raster_catalogue import AIM_UNKNOWN, OUTSIDE_FLAG
from covermap.result.result_folder import read_record
from covermap.result.run_inputs import run_id_of
from covermap.result.run_json import scenario_cautions
from covermap.scenario import Scenario
from covermap.scenario.coordinates import HIGHEST_LATITUDE_DEG
from covermap.tables.field_curves import read_field_curves
from covermap.tables.foliage import read_foliage

SUN_HOURS = (9, 12, 15)  # local times at which the sheet tells where the sun stands


@dataclass(eq=False)
class AddressBook:
    """A scenario read once for any number of addresses.

    prepared : for all places the book was opened for
    chosen : name of the wanted list
    coverage : the finished result of this very scenario, None where there is none; then a cell is computed
        by the same sweep, alone
    """

    prepared: Preparation
    chosen: str
    coverage: Coverage | None
    cautions: tuple[str, ...]

    @property
    def site(self) -> Site:
        """Return what all addresses are computed from, every station that counts at any of them."""
        return _site(self.prepared, self.chosen, self.prepared.reception_options)

    def report(
        self,
        latitude_deg: float,
        longitude_deg: float,
        *,
        point_id: str = "",
        label: str = "",
        on: date | None = None,
        utc_offset_h: float | None = None,
        home: Wiring | None = None,
        shop: Shop | None = None,
    ) -> AddressReport:
        """Return the report of one address.

        home : the wiring of several outlets behind the antenna; shop : antennas of a catalogue
        on : the day of declination and sun, default today
        utc_offset_h : of the sun's times, default the whole hour nearest to the sun's own time
        """
        _check_position(latitude_deg, longitude_deg)
        day = on or date.today()
        asked = Asked(
            latitude_deg,
            longitude_deg,
            point_id=point_id,
            label=label,
            on=day,
            sun_at=sun_times(day, longitude_deg, utc_offset_h),
        )
        here = self.prepared.at(latitude_deg, longitude_deg)
        cell = self._cell(here, latitude_deg, longitude_deg)
        site = _site_at(here, self.chosen, latitude_deg, longitude_deg)
        basis = basis_sentences(here, site.options)
        return compute_report(site, asked, cell, basis, self.cautions, home, shop)

    def site_at(self, latitude_deg: float, longitude_deg: float) -> Site:
        """Return what one address is computed from: the stations that count there, its noise and building."""
        _check_position(latitude_deg, longitude_deg)
        here = self.prepared.at(latitude_deg, longitude_deg)
        return _site_at(here, self.chosen, latitude_deg, longitude_deg)

    def cell(self, latitude_deg: float, longitude_deg: float) -> CellValue:
        """Return what the map's cell says at a place."""
        return self._cell(self.prepared.at(latitude_deg, longitude_deg), latitude_deg, longitude_deg)

    def _cell(self, here: Preparation, latitude_deg: float, longitude_deg: float) -> CellValue:
        site = _site(here, self.chosen, here.reception_options)
        where = here.grid.cell_at(latitude_deg, longitude_deg)
        source = "computed" if self.coverage is None else "result"
        if where is None:
            return CellValue("outside", source)
        if self.coverage is not None:
            return _from_result(self.coverage, site, *where)
        tile = Tile(*where, 1, 1)
        return _from_tile(receive_tile(here, tile, computed_blocks(here, tile)), site, *where)


def open_book(
    scenario: Scenario, places_deg: Sequence[tuple[float, float]] = (), *, wanted: str | None = None
) -> AddressBook:
    """Read what the addresses of a scenario need, and nothing that lies beside their paths.

    places_deg : (latitude, longitude) of each place that will be asked for; default anywhere
    wanted : name of the wanted list, default the first

    Raises InputError when an input is wrong, a position is none, or there is no such list.
    """
    for latitude_deg, longitude_deg in places_deg:
        _check_position(latitude_deg, longitude_deg)
    chosen = next((w for w in scenario.wanted if wanted in (None, w.name)), None)
    if chosen is None:
        names = ", ".join(w.name for w in scenario.wanted)
        raise InputError(f"The scenario has no wanted list {wanted!r}; it has {names}.")
    prepared = prepare_places(scenario, places_deg)
    cautions = list(scenario_cautions(scenario))
    if prepared.calibration is not None:
        cautions.append(prepared.calibration.in_words())
    return AddressBook(prepared, chosen.name, _finished_result(scenario), tuple(cautions))


def bench_site(scenario: Scenario, latitude_deg: float, longitude_deg: float) -> Site:
    """Return what paths to a place are computed from.

    Raises InputError when an input is wrong or a position is none.
    """
    _check_position(latitude_deg, longitude_deg)
    prepared = prepare_places(scenario, [(latitude_deg, longitude_deg)])
    return _site_at(prepared, prepared.scenario.wanted[0].name, latitude_deg, longitude_deg)


def _site_at(prepared: Preparation, chosen: str, latitude_deg: float, longitude_deg: float) -> Site:
    """Return what an address is computed from, with the noise and the building of the place."""
    return _site(prepared, chosen, prepared.options_at(latitude_deg, longitude_deg))


def _site(prepared: Preparation, chosen: str, options: ReceptionOptions) -> Site:
    """Return what an address is computed from; options : of the place."""
    curves = prepared.scenario.settings.prediction.second_opinion == "curves"
    return Site(
        scenario=prepared.scenario,
        terrain=prepared.terrain,
        tiers=prepared.tiers,
        facts=prepared.facts,
        options=options,
        calibration=prepared.calibration,
        wanted=next(wanted for wanted in prepared.scenario.wanted if wanted.name == chosen),
        curves=read_field_curves() if curves else None,
        foliage=read_foliage(),
    )


def address(
    scenario: Scenario,
    latitude_deg: float,
    longitude_deg: float,
    *,
    wanted: str | None = None,
    label: str = "",
    on: date | None = None,
) -> AddressReport:
    """Which antenna one address needs, how surely and why, by the exact path to its own point.

    Parameters
    ----------
    scenario : Scenario
        From read_scenario.
    latitude_deg, longitude_deg : float
        The point, WGS 84; south and west are negative.
    wanted : str, optional
        Name of the wanted list; default the first.
    label : str
        What to call the place.
    on : date, optional
        Day of the magnetic declination and of the sun; default today.

    Returns
    -------
    AddressReport
        .status is "unknown" with .reason where the point or a wanted station's path is not on the elevation.
        The cell's own value stands beside it in .cell: from the finished result of this scenario, else by the
        same sweep.

    Raises
    ------
    InputError
        If an input is wrong, the position is no position, or there is no such list.
    """
    book = open_book(scenario, [(latitude_deg, longitude_deg)], wanted=wanted)
    return book.report(latitude_deg, longitude_deg, label=label, on=on)


def sun_times(day: date, longitude_deg: float, utc_offset_h: float | None = None) -> tuple[datetime, ...]:
    """Return the times at which a sheet tells the sun's bearing, with the zone they are stated in."""
    hours = round(longitude_deg / 15.0) if utc_offset_h is None else utc_offset_h
    zone = timezone(timedelta(hours=hours))
    return tuple(datetime.combine(day, time(hour), zone) for hour in SUN_HOURS)


def _check_position(latitude_deg: float, longitude_deg: float) -> None:
    if not (math.isfinite(latitude_deg) and abs(latitude_deg) <= HIGHEST_LATITUDE_DEG):
        raise InputError(
            f"latitude is {latitude_deg}; it must lie between -{HIGHEST_LATITUDE_DEG:g} and "
            f"{HIGHEST_LATITUDE_DEG:g} degrees. Latitude comes first, then longitude."
        )
    if not (math.isfinite(longitude_deg) and abs(longitude_deg) <= 180.0):
        raise InputError(
            f"longitude is {longitude_deg}; it must lie between -180 and 180 degrees, west negative."
        )


def _finished_result(scenario: Scenario) -> Coverage | None:
    """Return the scenario's result where it was made from these very inputs and options."""
    record = read_record(scenario.output)
    if record is None or record.get("run_id") != run_id_of(scenario):
        return None
    try:
        return open_coverage(scenario.output)
    except InputError:
        return None


def _from_result(coverage: Coverage, site: Site, row: int, col: int) -> CellValue:
    window = Tile(row, col, 1, 1)
    if not bool(coverage.inside_area(window)[0, 0]):
        return CellValue("outside", "result")
    fields = {
        station.station_id: float(coverage.read(f"field/{station.station_id}", window)[0, 0])
        for station in site.scenario.stations
        if coverage.has(f"field/{station.station_id}")
    }
    name = site.wanted.name

    def of(kind: str, absent: int) -> int:
        layer = f"{name}/{kind}"
        return int(coverage.read(layer, window)[0, 0]) if coverage.has(layer) else absent

    chances = coverage.read(f"{name}/tier_chance", window)[:, 0, 0]
    aims = of("aim", AIM_UNKNOWN), of("second_aim", AIM_UNKNOWN)
    two = of("two_antennas_chance", UNKNOWN_UINT8)
    return _cell_value("result", of("tier", UNKNOWN_UINT8), chances, two, aims, of("plan_flags", 0), fields)


def _from_tile(result: TileResult, site: Site, row: int, col: int) -> CellValue:
    at = row - result.tile.row, col - result.tile.col
    if result.flags[at] & OUTSIDE_FLAG:
        return CellValue("outside", "computed")
    fields = {
        station.station_id: float(result.median_dbuvm[(index, *at)])
        for index, station in enumerate(site.scenario.stations)
    }
    reception, cell = result.lists[site.wanted.name].reception, at[0] * result.tile.cols + at[1]
    return _cell_value(
        "computed",
        int(reception.tier[cell]),
        reception.tier_chance_percent[:, cell],
        int(reception.two_antennas_chance_percent[cell]),
        (int(reception.aim_deg[cell]), int(reception.second_aim_deg[cell])),
        int(reception.plan_flags[cell]),
        fields,
    )


def _cell_value(
    source: str,
    tier: int,
    chances: NDArray[np.uint8],
    two_antennas_chance: int,
    aims_deg: tuple[int, int],
    flags: int,
    fields: dict[str, float],
) -> CellValue:
    """Return a cell as a record. two_antennas_chance : of the answer, where it has two; 255 elsewhere."""
    if tier == UNKNOWN_UINT8:
        return CellValue("unknown", source, field_dbuvm=fields)
    known = tuple(None if chance == UNKNOWN_UINT8 else int(chance) for chance in chances)
    aims = tuple(aim for aim in aims_deg if aim != AIM_UNKNOWN)
    two = "diplexed" if flags & DIPLEXED else "combined"
    return CellValue(
        status="ok",
        source=source,
        tier=tier,
        chance_percent=known[min(tier, len(known)) - 1]
        if two_antennas_chance == UNKNOWN_UINT8
        else two_antennas_chance,
        tier_chance_percent=known,
        aims_deg=aims,
        joined=two if len(aims) > 1 else "single",
        needs_filter=bool(flags & NEEDS_FILTER),
        may_overload=bool(flags & MAY_OVERLOAD),
        lost_at_night=bool(flags & LOST_AT_NIGHT),
        own_high_vhf=bool(flags & OWN_HIGH_VHF),
        field_dbuvm=fields,
    )
