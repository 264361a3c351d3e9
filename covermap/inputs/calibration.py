"""calibration.toml: offsets per mast and band, and where they may be used."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from covermap.errors import InputError
from covermap.inputs.local_effect import LocalEffect
from covermap.propagation.ridges import PATH_CLASSES
from covermap.scenario.records import Scenario, Station
from covermap.scenario.toml_file import read_toml

CALIBRATION_FORMAT = 1
RIDGES_CROSSED = {
    "clear": 0, "grazing": 0, "earth_bulge": 0, "one_ridge": 1, "two_ridges": 2, "many_ridges": 3,
    "scatter": 4,
}  # fmt: skip
ANY_PATH = "scatter"  # no class is worse
EXCESS_SLACK_DB = 6.0  # judgement: how much more obstructed a path may be than those that were measured


@dataclass(frozen=True, eq=False)
class TrustedOffset:
    """An offset of one mast in one band, and the paths it was learnt on.

    excess_low_db, excess_high_db : least and greatest loss over free space of the measured paths
    area_lonlat : ring of the area around the points; empty means nowhere
    worst_path : class of the measured path that crosses most ridges
    local : what the readings say of the places around them beside the offset; None where that is not told
    """

    mast: str
    band: str
    offset_db: float
    sd_db: float
    points: int
    excess_low_db: float
    excess_high_db: float
    area_lonlat: tuple[tuple[float, float], ...]
    worst_path: str = ANY_PATH
    local: LocalEffect | None = None

    def applies(
        self,
        longitude_deg: NDArray[np.float64],
        latitude_deg: NDArray[np.float64],
        excess_db: NDArray,
        path_class: NDArray[np.uint8] | None = None,
    ) -> NDArray[np.bool_]:
        """Return at which places the offset may be used: inside the area of the points, on paths that cross
        no more ridges than those measured and are no more obstructed (loss over free space, 6 dB of slack).

        path_class : as in no_worse; None where not known: obstruction alone decides
        """
        if len(self.area_lonlat) < 3:
            return np.zeros(np.shape(longitude_deg), dtype=bool)
        inside = shapely.contains_xy(shapely.Polygon(self.area_lonlat), longitude_deg, latitude_deg)
        low, high = self.excess_low_db - EXCESS_SLACK_DB, self.excess_high_db + EXCESS_SLACK_DB
        alike = inside & (excess_db >= low) & (excess_db <= high)
        return alike if path_class is None else alike & no_worse(path_class, self.worst_path)


@dataclass(frozen=True, eq=False)
class Calibration:
    """What [prediction] calibration names.

    fingerprint : of the prediction the offsets were learnt against
    """

    file: str
    readings_file: str
    readings_as_of: str
    points: int
    before_db: float
    after_db: float
    fingerprint: str
    offsets: tuple[TrustedOffset, ...]

    def adjustment_db(
        self,
        station: Station,
        longitude_deg: NDArray[np.float64],
        latitude_deg: NDArray[np.float64],
        excess_db: NDArray,
        path_class: NDArray[np.uint8] | None = None,
    ) -> NDArray[np.float32]:
        """Return what is added to a station's field at each place; 0 where the offset may not be used. [dB]

        excess_db : loss of each path over free space; NaN gives 0
        path_class : of each path, index into covermap.propagation.ridges.PATH_CLASSES, 255 unknown; None not
            known
        """
        found = next((o for o in self.offsets if (o.mast, o.band) == (station.mast, station.band)), None)
        if found is None:
            return np.zeros(np.shape(longitude_deg), dtype=np.float32)
        # infinite obstruction lies outside every range of measured paths
        known_db = np.nan_to_num(excess_db, nan=np.inf)
        used = found.applies(longitude_deg, latitude_deg, known_db, path_class)
        local_db = 0.0 if found.local is None else found.local.effect_db(longitude_deg, latitude_deg)
        return np.where(used, found.offset_db + local_db, 0.0).astype(np.float32)

    def reading_weight_percent(
        self, longitude_deg: NDArray[np.float64], latitude_deg: NDArray[np.float64]
    ) -> NDArray[np.uint8]:
        """Return how much of what places nearby share the readings tell at places, 0 to 100."""
        most = np.zeros(np.shape(longitude_deg))
        for offset in self.offsets:
            if offset.local is not None:
                most = np.maximum(most, offset.local.known(longitude_deg, latitude_deg))
        return np.rint(100.0 * most).astype(np.uint8)

    def in_words(self) -> str:
        """Return the caution that stands on every output of a map that uses it."""
        return (
            f"Fields are adjusted by readings at {self.points} points"
            + (f" (to {self.readings_as_of})" if self.readings_as_of else "")
            + " where those speak for a place; elsewhere the plain prediction stands. "
            "rasters/field holds the "
            "plain prediction, rasters/field_adjusted what the tiers were worked out from."
        )

    def doubts(self, scenario: Scenario) -> list[str]:
        """Return sentences where the scenario is no longer the one the offsets were learnt against."""
        sentences = []
        if self.fingerprint and self.fingerprint != prediction_fingerprint(scenario):
            sentences.append(
                f"{self.file} was made for other stations or another model than this scenario has now. "
                "Run covermap calibrate again."
            )
        masts = {(station.mast, station.band) for station in scenario.stations}
        gone = sorted({o.mast for o in self.offsets if (o.mast, o.band) not in masts})
        if gone:
            sentences.append(
                f"{self.file} has offsets for {', '.join(gone)}, which the scenario no longer has."
            )
        return sentences


def no_worse(path_class: NDArray[np.uint8], worst: str) -> NDArray[np.bool_]:
    """Return which paths cross no more ridges than the worst that was measured; unknown ones count as worse.

    path_class : index into covermap.propagation.ridges.PATH_CLASSES, 255 unknown
    """
    crossed = np.full(256, len(RIDGES_CROSSED), dtype=np.int64)
    crossed[: len(PATH_CLASSES)] = [RIDGES_CROSSED[name] for name in PATH_CLASSES]
    return crossed[np.asarray(path_class, dtype=np.uint8)] <= RIDGES_CROSSED[worst]


def prediction_fingerprint(scenario: Scenario) -> str:
    """Return sixteen digits that change when stations or the model change."""
    prediction = scenario.settings.prediction
    stations = [
        (
            s.mast,
            s.latitude_deg,
            s.longitude_deg,
            s.frequency_mhz,
            s.erp_kw,
            s.antenna_height_m,
            s.polarization,
        )
        for s in scenario.stations
    ]
    # sorted: the order of rows in the station file changes no field
    facts = [prediction.model, prediction.n0, prediction.dn, prediction.profile_step_m, sorted(stations)]
    terrain = scenario.settings.terrain
    # Only where it is assumed, so that calibrations made with land cover keep their fingerprint.
    facts += [] if terrain.tells_clutter else [terrain.assumed_clutter_m]
    return hashlib.sha256(json.dumps(facts).encode()).hexdigest()[:16]


def calibration_toml(calibration: Calibration) -> str:
    """Return the text of calibration.toml."""
    lines = [
        '# Written by covermap calibrate. In the scenario: [prediction] calibration = "calibration.toml"',
        "# An offset is used only inside area_lonlat and on paths whose loss over free space is "
        "like those measured.",
        f"calibration_format = {CALIBRATION_FORMAT}",
        f"readings_file = {json.dumps(calibration.readings_file, ensure_ascii=False)}",
        f"readings_as_of = {json.dumps(calibration.readings_as_of)}",
        f"points = {calibration.points}",
        f"leave_one_out_before_db = {calibration.before_db:.2f}",
        f"leave_one_out_after_db = {calibration.after_db:.2f}",
        f"fingerprint = {json.dumps(calibration.fingerprint)}",
    ]
    for offset in calibration.offsets:
        ring = ", ".join(f"[{x:.6f}, {y:.6f}]" for x, y in offset.area_lonlat)
        lines += [
            "",
            "[[offset]]",
            f"mast = {json.dumps(offset.mast, ensure_ascii=False)}",
            f"band = {json.dumps(offset.band)}",
            f"offset_db = {offset.offset_db:.2f}",
            f"sd_db = {offset.sd_db:.2f}",
            f"points = {offset.points}",
            f"excess_low_db = {offset.excess_low_db:.1f}",
            f"excess_high_db = {offset.excess_high_db:.1f}",
            f"worst_path = {json.dumps(offset.worst_path)}",
            f"area_lonlat = [{ring}]",
            *_local_lines(offset.local),
        ]
    return "\n".join(lines) + "\n"


def _local_lines(local: LocalEffect | None) -> list[str]:
    """Return the lines of what readings say around them: longitude, latitude, dB, share known."""
    if local is None:
        return []
    places = ", ".join(f"[{x:.5f}, {y:.5f}, {db:.2f}, {known:.2f}]" for x, y, db, known in local.places)
    return [f"local_range_km = {local.range_km:.2f}", f"local_effect = [{places}]"]


def read_calibration(path: Path | str) -> Calibration:
    """Read calibration.toml.

    Raises InputError if the file cannot be read, is of another format, or an entry is missing or wrong.
    """
    path = Path(path)
    values = read_toml(path, "Run covermap calibrate again.")
    found = values.get("calibration_format")
    if found != CALIBRATION_FORMAT:
        raise InputError(
            f"{path.name}: calibration_format is {found}, this version reads {CALIBRATION_FORMAT}. "
            "Run covermap calibrate again."
        )
    try:
        return Calibration(
            file=path.name,
            readings_file=str(values["readings_file"]),
            readings_as_of=str(values.get("readings_as_of", "")),
            points=int(values["points"]),
            before_db=float(values["leave_one_out_before_db"]),
            after_db=float(values["leave_one_out_after_db"]),
            fingerprint=str(values.get("fingerprint", "")),
            offsets=tuple(
                _offset(path.name, number, one) for number, one in enumerate(_tables(values), start=1)
            ),
        )
    except (KeyError, TypeError, ValueError) as error:
        # InputError is a ValueError: the clearer one must pass.
        if isinstance(error, InputError):
            raise
        raise InputError(
            f"{path.name}: {error} is missing or wrong. Run covermap calibrate again."
        ) from error


def _tables(values: dict[str, Any]) -> Sequence[dict[str, Any]]:
    return values.get("offset", [])


def _offset(file: str, number: int, values: dict[str, Any]) -> TrustedOffset:
    offset_db = float(values["offset_db"])
    if not abs(offset_db) <= 40.0:
        raise InputError(
            f"{file}, offset {number}: offset_db is {offset_db:g}. An offset over 40 dB is a "
            f"wrong station or unit; "
            "look at the transmitter's ERP and the unit of the readings."
        )
    return TrustedOffset(
        mast=str(values["mast"]),
        band=str(values["band"]),
        offset_db=offset_db,
        sd_db=float(values["sd_db"]),
        points=int(values["points"]),
        excess_low_db=float(values["excess_low_db"]),
        excess_high_db=float(values["excess_high_db"]),
        area_lonlat=tuple((float(x), float(y)) for x, y in values["area_lonlat"]),
        worst_path=_path_class(file, number, values.get("worst_path", ANY_PATH)),
        local=_local(values),
    )


def _local(values: dict[str, Any]) -> LocalEffect | None:
    if "local_effect" not in values:
        return None
    places = tuple(
        (float(x), float(y), float(db), float(known)) for x, y, db, known in values["local_effect"]
    )
    range_km = float(values["local_range_km"])
    if not range_km > 0.0:
        raise ValueError("local_range_km")
    return LocalEffect(range_km, places)


def _path_class(file: str, number: int, found: object) -> str:
    if found not in RIDGES_CROSSED:
        raise InputError(
            f"{file}, offset {number}: worst_path is {found!r}. It must be one of "
            f"{', '.join(RIDGES_CROSSED)}. Run covermap calibrate again."
        )
    return str(found)
