"""The stations at a point: those of the list and the best of the others, grouped by mast."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from covermap.addresses.answer import Answer
from covermap.addresses.obstacles import cause_of, obstacles
from covermap.addresses.paths import PATH_HEIGHT_M, StationPath
from covermap.addresses.plans import NOT_KNOWN, Alone, Question, alone_at_plan
from covermap.addresses.report import CellValue, TierPlan
from covermap.addresses.station_records import Interferer, StationAtSite
from covermap.addresses.strong_signals import WORTH_NAMING_DB
from covermap.reception import ReceiverRecord, Tier
from covermap.reception.variability import prediction_sd_db
from covermap.scenario.letters import station_letters

WORTH_NAMING_PERCENT = 50.0  # chance from which a station that is not on the list is named: may work
MOST_OTHERS = 8


@dataclass(frozen=True, eq=False)
class _Around:
    """What every station of a point is told with: question, answer and its plan, cell, letters."""

    asked: Question
    mount: Tier
    record: ReceiverRecord | None
    stored: TierPlan | None
    cell: CellValue
    letters: dict[str, str]


def stations_at_site(
    asked: Question, answer: Answer | None, kept: Sequence[TierPlan], cell: CellValue
) -> tuple[StationAtSite, ...]:
    """Return the list's stations and the best of the others, grouped by mast, nearest the aim first.

    answer : None where it is unknown; kept : its plans as the report has them
    """
    # Without an answer the last class stands in: where nothing is known the ridges are still worth seeing.
    mount, record, stored, alone = asked.tiers[-1], None, None, {}
    if answer is not None:
        mount, record, stored = answer.installation, answer.record, kept[answer.installation.tier - 1]
        alone = alone_at_plan(asked, mount, answer.plan)
    around = _Around(asked, mount, record, stored, cell, station_letters(asked.place.site.scenario))
    on_list = asked.labels()
    found = []
    for index, path in enumerate(asked.place.paths):
        of_station = alone.get(index, NOT_KNOWN)
        worth_naming = path.station.use == "wanted" and of_station.chance_percent >= WORTH_NAMING_PERCENT
        if index in on_list or worth_naming:
            found.append(_station(around, index, path, of_station, index in on_list))
    others = sorted((s for s in found if not s.on_list), key=lambda s: -s.chance_percent)[MOST_OTHERS:]
    return _by_mast([station for station in found if station not in others])


def _station(around: _Around, index: int, path: StationPath, alone: Alone, on_list: bool) -> StationAtSite:
    station, azimuth_deg = path.station, path.profile.back_azimuth_deg
    site = around.asked.place.site
    prediction, confidence = site.scenario.settings.prediction, site.options.confidence_percent
    rx_height_m = max(PATH_HEIGHT_M, around.mount.height_m)
    blocked = obstacles(path, rx_height_m, prediction.dn, prediction.n0)
    weak = not alone.chance_percent >= confidence
    cause = _cause(around, index, alone) if weak and not math.isnan(alone.chance_percent) else ""
    antenna, off_aim_deg = _antenna(around.stored, station.band, azimuth_deg)
    return StationAtSite(
        station_id=station.station_id,
        service=station.service,
        mast=station.mast,
        letter=around.letters[station.station_id],
        on_list=on_list,
        displayed_channel=station.displayed_channel,
        rf_channel=station.rf_channel,
        frequency_mhz=station.frequency_mhz,
        band=station.band,
        status=path.status,
        field_dbuvm=path.median_dbuvm[PATH_HEIGHT_M],
        adjustment_db=path.adjustment_db,
        cell_field_dbuvm=around.cell.field_dbuvm.get(station.station_id, math.nan),
        prediction_sd_db=prediction_sd_db(site.options, blocked.path_class, station.band),
        margin_db=alone.margin_db,
        chance_percent=alone.chance_percent,
        interference_db=alone.interference_db,
        interferer=_interferer(around, alone),
        lost_at_night=weak and alone.chance_by_day_percent >= confidence,
        azimuth_deg=azimuth_deg,
        distance_km=path.profile.length_km,
        off_aim_deg=off_aim_deg,
        antenna=antenna,
        obstacle_db=max(0.0, path.obstacle_db[rx_height_m]),
        path_class=blocked.path_class,
        ridges=blocked.ridges,
        cause=cause,
    )


def _cause(around: _Around, index: int, alone: Alone) -> str:
    """Return why a station is weak: as the record says of a service it brings, else by the same rule."""
    service, record = around.asked.labels().get(index), around.record
    # Only of the station that brings the service: the record's cause is of that one, and its others may be
    # weak for other reasons.
    if service is not None and record is not None and (record.service_station or {}).get(service) == index:
        return (record.service_cause or {})[service]
    return cause_of(around.asked, index, around.mount, alone)


def _interferer(around: _Around, alone: Alone) -> Interferer | None:
    """Return what disturbs a station most, None where all together take less than 1 dB or it is not known."""
    # "not >=" rather than "<": NaN, where nothing is known, names nobody.
    if alone.interferer < 0 or not alone.interference_db >= WORTH_NAMING_DB:
        return None
    return interferer_of(around.asked.place.paths[alone.interferer])


def interferer_of(path: StationPath) -> Interferer:
    """Return what is told of the station of a path that interferes with another one."""
    return Interferer(
        station_id=path.station.station_id,
        service=path.station.service,
        rf_channel=path.station.rf_channel,
        frequency_mhz=path.station.frequency_mhz,
        band=path.station.band,
        azimuth_deg=path.profile.back_azimuth_deg,
    )


def _antenna(stored: TierPlan | None, band: str, azimuth_deg: float) -> tuple[int, float]:
    """Return which antenna, from 1, brings a station of a band, and the angle to its aim, 0 to 180.

    Behind a diplexer the second brings UHF and the first the rest; else the one that looks nearest. 1 and NaN
    without a plan.
    """
    if stored is None:
        return 1, math.nan
    off_deg = [abs((azimuth_deg - aim + 180.0) % 360.0 - 180.0) for aim in stored.aims_deg]
    nearest = off_deg.index(min(off_deg))
    if stored.joined == "diplexed":
        nearest = 1 if band == "uhf" else 0
    return nearest + 1, off_deg[nearest]


def _by_mast(stations: list[StationAtSite]) -> tuple[StationAtSite, ...]:
    """Return the stations mast by mast: those of the list, then nearest the aim."""
    masts: dict[str, list[StationAtSite]] = {}
    for station in stations:
        masts.setdefault(station.mast, []).append(station)

    def rank(mast: str) -> tuple[bool, int, float, float]:
        members = masts[mast]
        off_aim = members[0].off_aim_deg
        return (
            not any(s.on_list for s in members),
            members[0].antenna,
            # To the degree, so that masts one behind the other go by distance. NaN compares with nothing and
            # would leave sorted() in an order of chance: far behind instead.
            1e9 if math.isnan(off_aim) else round(off_aim),
            members[0].distance_km,
        )

    return tuple(
        station
        for mast in sorted(masts, key=rank)
        for station in sorted(masts[mast], key=lambda s: not s.on_list)
    )
