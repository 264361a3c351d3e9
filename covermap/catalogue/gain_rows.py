"""Reads antenna_gains.csv: what each antenna does in a band or at a frequency."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from covermap.catalogue.cells import known, number, read_rows, source, span
from covermap.catalogue.records import AntennaGain, RelativeGain, Span
from covermap.constants import BANDS, DBI_FROM_DBD
from covermap.errors import Faults, InputError
from covermap.reception.bands import band_of
from covermap.scenario.patterns import Patterns
from covermap.scenario.records import Pattern
from covermap.scenario.text_table import Row, TextTable

NEEDED = ("antenna_id", "source")
DBD = ("gain_low_dbd", "gain_dbd", "gain_high_dbd")
DBI = ("gain_low_dbi", "gain_dbi", "gain_high_dbi")
DIFFERENCE = ("difference_low_db", "difference_db", "difference_high_db")
LOWEST_MHZ, HIGHEST_MHZ = 40.0, 1000.0
LEAST_DBD, MOST_DBD = -30.0, 30.0
# An antenna with less than this, and no beamwidth given, is taken to receive from all directions alike.
LEAST_LOBE_DBD = 3.0  # judgement
BEAM_AREA_DEG2 = 32_400.0  # directivity times beamwidth squared, of an antenna with one lobe; from memory
FRONT_TO_BACK_DB = {"low_vhf": 10.0, "high_vhf": 12.0, "uhf": 14.0}  # FCC Sixth Report and Order, App. A
HALF_POWER_DB = -3.0103
BEHIND_DEG = 90.0  # from here on a pattern counts as behind


@dataclass(frozen=True)
class GainTable:
    """antenna_gains.csv as read: antenna id -> its figures in order of band and frequency.

    relative : antenna id -> differences to other antennas, of rows without a gain
    """

    file: str
    gains: dict[str, tuple[AntennaGain, ...]]
    relative: dict[str, tuple[RelativeGain, ...]]
    warnings: tuple[str, ...]

    @property
    def antennas(self) -> tuple[str, ...]:
        """Return the ids of all antennas that have a row."""
        return tuple(dict.fromkeys((*self.gains, *self.relative)))


def read_gains(path: Path, patterns: Patterns) -> GainTable:
    """Read what antennas do in a band or at a frequency.

    patterns : of the antennas' own pattern file, empty without

    Raises InputError, all faults of the file together.
    """
    table = read_rows(path, NEEDED)
    _check_reference(table)
    found: dict[str, dict[tuple[str, float], AntennaGain | RelativeGain]] = {}
    guessed: list[str] = []
    faults = Faults()
    for row in table.rows:
        gain = faults.of(None, _gain, row, patterns, guessed)
        if gain is None:
            continue
        of_antenna = found.setdefault(row.text("antenna_id"), {})
        key = gain.band, -1.0 if math.isnan(gain.frequency_mhz) else gain.frequency_mhz
        if key in of_antenna:
            column = "band" if key[1] < 0.0 else "frequency_mhz"
            faults.of(None, _refuse, row, column, "The antenna has an earlier row for it. Keep one of them.")
        of_antenna[key] = gain
    faults.tell()
    in_order = {name: [rows[key] for key in sorted(rows, key=_order)] for name, rows in found.items()}
    return GainTable(
        table.file,
        {name: tuple(x for x in rows if isinstance(x, AntennaGain)) for name, rows in in_order.items()},
        {
            name: tuple(one for one in rows if isinstance(one, RelativeGain))
            for name, rows in in_order.items()
        },
        (*table.warnings, *guessed),
    )


def _order(key: tuple[str, float]) -> tuple[int, float]:
    return BANDS.index(key[0]), key[1]


def _refuse(row: Row, column: str, right: str) -> None:
    raise row.wrong(column, right)


def _check_reference(table: TextTable) -> None:
    """Raise InputError unless every column of a gain says what it is measured against."""
    for column in table.columns:
        if column.startswith("gain") and column not in (*DBD, *DBI):
            raise InputError(
                f"{table.file}, header: found {column}, which does not say what the gain is compared with. "
                f"Name it gain_dbd (over a half-wave dipole) or gain_dbi (over an isotropic one; read and "
                f"converted by {DBI_FROM_DBD:g} dB)."
            )
    if not {"gain_dbd", "gain_dbi"} & set(table.columns):
        raise InputError(
            f"{table.file}, header: found {', '.join(table.columns)}; missing gain_dbd or gain_dbi. Add one."
        )


def _gain(row: Row, patterns: Patterns, guessed: list[str]) -> AntennaGain | RelativeGain:
    if not row.text("antenna_id"):
        raise row.wrong("antenna_id", "Every row needs the id of its antenna. Fill the cell.")
    band, frequency_mhz = _place(row)
    gain_dbd, difference_db = _gain_dbd(row), span(row, DIFFERENCE, LEAST_DBD, MOST_DBD)
    if gain_dbd is not None:
        lobe = _lobe(row, patterns, guessed, band, gain_dbd.typical)
        return AntennaGain(band, frequency_mhz, gain_dbd, *lobe, source(row))
    if difference_db is not None and row.text("relative_to") not in ("", row.text("antenna_id")):
        lobe = number(row, "beamwidth_deg", 1.0, 360.0), number(row, "front_to_back_db", 0.0, 50.0)
        return RelativeGain(row.text("relative_to"), band, frequency_mhz, difference_db, *lobe, source(row))
    raise row.wrong(
        "gain_dbd" if "gain_dbd" in row.cells else "gain_dbi",
        "A row without a gain says nothing: a band that the antenna does not serve has no row. Fill the "
        "cell, or relative_to and difference_db, or remove the row.",
    )


def _place(row: Row) -> tuple[str, float]:
    """Return band and frequency; NaN where the row is for the whole band."""
    frequency_mhz = number(row, "frequency_mhz", LOWEST_MHZ, HIGHEST_MHZ)
    if math.isnan(frequency_mhz):
        return known(row, "band", BANDS, "Or give frequency_mhz."), frequency_mhz
    band = band_of(frequency_mhz)
    if row.text("band") not in ("", band):
        raise row.wrong(
            "band", f"{frequency_mhz:g} MHz is {band}. Correct one of the cells, or leave band empty."
        )
    return band, frequency_mhz


def _gain_dbd(row: Row) -> Span | None:
    dbd = span(row, DBD, LEAST_DBD, MOST_DBD)
    dbi = span(row, DBI, LEAST_DBD, MOST_DBD, minus=DBI_FROM_DBD)
    if dbd is not None and dbi is not None:
        raise row.wrong("gain_dbi", "The row has a gain in dBd too. Keep one of them.")
    return dbd or dbi


def _lobe(
    row: Row, patterns: Patterns, guessed: list[str], band: str, typical_dbd: float
) -> tuple[float, float]:
    """Return beamwidth and front-to-back ratio: of the pattern named, as given, else told from the gain."""
    if row.text("pattern"):
        return _lobe_of(row, patterns)
    given = number(row, "beamwidth_deg", 1.0, 360.0), number(row, "front_to_back_db", 0.0, 50.0)
    lobe = usual_lobe(*given, band, typical_dbd)
    if math.isnan(given[0]) and not math.isnan(lobe[0]):
        guessed.append(f"{row.where}: no beamwidth_deg; {lobe[0]:.0f} degrees told from the gain.")
    return lobe


def usual_lobe(
    beamwidth_deg: float, front_to_back_db: float, band: str, gain_dbd: float
) -> tuple[float, float]:
    """Return beamwidth and front-to-back ratio with what is missing (NaN) told from the gain. [degrees, dB]

    Source: 32 400 square degrees over the directivity, of an antenna with one lobe (from memory); front to
        back of planning antennas. Accuracy: a fifth of the width for yagis; stacks are wider one way.
    """
    lobe = gain_dbd >= LEAST_LOBE_DBD
    if math.isnan(beamwidth_deg) and lobe:
        directivity = 10.0 ** ((gain_dbd + DBI_FROM_DBD) / 10.0)
        beamwidth_deg = math.sqrt(BEAM_AREA_DEG2 / directivity)
    if math.isnan(front_to_back_db):
        front_to_back_db = FRONT_TO_BACK_DB[band] if lobe else 0.0
    return beamwidth_deg, front_to_back_db


def _lobe_of(row: Row, patterns: Patterns) -> tuple[float, float]:
    name = row.text("pattern")
    pattern = patterns.get((name, "azimuth"))
    if pattern is None:
        names = ", ".join(name for name, plane in patterns if plane == "azimuth") or "none"
        raise row.wrong(
            "pattern", f"The patterns beside the table are: {names}. Correct the name, or add it."
        )
    return lobe_of(pattern)


def lobe_of(pattern: Pattern) -> tuple[float, float]:
    """Return half-power beamwidth and front-to-back ratio of a pattern in azimuth. [degrees, dB]

    Front to back is the strongest direction 90 degrees or more off the main one, as planners take it. A
    pattern that never falls by 3 dB has a beamwidth of NaN: all directions alike.
    """
    angle_deg = np.arange(0.0, 180.5, 0.5)
    peak_deg = float(pattern.angle_deg[int(np.argmax(pattern.relative_db))])
    sides_db = [
        np.interp((peak_deg + side * angle_deg) % 360.0, pattern.angle_deg, pattern.relative_db)
        for side in (1.0, -1.0)
    ]
    behind_db = max(float(side[angle_deg >= BEHIND_DEG].max()) for side in sides_db)
    peak_db = float(pattern.relative_db.max())
    fallen = [np.flatnonzero(side < peak_db + HALF_POWER_DB) for side in sides_db]
    if any(found.size == 0 for found in fallen):
        return math.nan, 0.0
    return float(sum(angle_deg[found[0]] for found in fallen)), peak_db - behind_db
