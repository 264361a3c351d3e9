"""Reads antenna_gains.csv: what each antenna does in a band or at a frequency."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

from covermap.catalogue.cells import known, number, read_rows, source, span
from covermap.catalogue.lobes import (
    MOST_OFF_ALL_ROUND_DB,
    MOST_OFF_IN_LOBE_DB,
    fitted_lobe,
    usual_lobe,
)
from covermap.catalogue.records import AntennaGain, RelativeGain, Span
from covermap.constants import BANDS, DBI_FROM_DBD
from covermap.errors import Faults, InputError
from covermap.reception.bands import band_of
from covermap.scenario.patterns import Patterns
from covermap.scenario.text_table import Row, TextTable

NEEDED = ("antenna_id", "source")
DBD = ("gain_low_dbd", "gain_dbd", "gain_high_dbd")
DBI = ("gain_low_dbi", "gain_dbi", "gain_high_dbi")
DIFFERENCE = ("difference_low_db", "difference_db", "difference_high_db")
# television's bands with room on both sides: a frequency outside is one in another unit
LOWEST_MHZ, HIGHEST_MHZ = 40.0, 1000.0
# beyond, a gain is a slip of the pen (judgement)
LEAST_DBD, MOST_DBD = -30.0, 30.0


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
    noticed: list[str] = []
    faults = Faults()
    for row in table.rows:
        gain = faults.of(None, _gain, row, patterns, noticed)
        if gain is None:
            continue
        of_antenna = found.setdefault(row.text("antenna_id"), {})
        # NaN equals nothing, itself included, and would never be found twice
        key = gain.band, -1.0 if math.isnan(gain.frequency_mhz) else gain.frequency_mhz
        if key in of_antenna:
            column = "band" if key[1] < 0.0 else "frequency_mhz"
            faults.of(None, _refuse, row, column, "The antenna has an earlier row for it. Keep one of them.")
        of_antenna[key] = gain
    # Only here: a row with a fault is passed over until the whole file has been read.
    faults.tell()
    in_order = {name: [rows[key] for key in sorted(rows, key=_order)] for name, rows in found.items()}
    return GainTable(
        table.file,
        {name: tuple(x for x in rows if isinstance(x, AntennaGain)) for name, rows in in_order.items()},
        {
            name: tuple(one for one in rows if isinstance(one, RelativeGain))
            for name, rows in in_order.items()
        },
        (*table.warnings, *noticed),
    )


def _order(key: tuple[str, float]) -> tuple[int, float]:
    return BANDS.index(key[0]), key[1]


def _refuse(row: Row, column: str, right: str) -> None:
    raise row.wrong(column, right)


def _check_reference(table: TextTable) -> None:
    """Raise InputError unless every column of a gain says what it is measured against."""
    for column in table.columns:
        # Also one that is not needed: a gain in dB without a reference is 2.15 dB open.
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


def _gain(row: Row, patterns: Patterns, noticed: list[str]) -> AntennaGain | RelativeGain:
    if not row.text("antenna_id"):
        raise row.wrong("antenna_id", "Every row needs the id of its antenna. Fill the cell.")
    band, frequency_mhz = _place(row)
    gain_dbd, difference_db = _gain_dbd(row), span(row, DIFFERENCE, LEAST_DBD, MOST_DBD)
    # a reference written against itself says nothing
    other = "" if row.text("relative_to") == row.text("antenna_id") else row.text("relative_to")
    if gain_dbd is not None:
        lobe = _lobe(row, patterns, noticed, band, gain_dbd.typical)
        # A gain that was measured against another antenna keeps the difference: with it the two are told
        # apart more surely than by their gains.
        measured = (other, difference_db) if other and difference_db is not None else ("", None)
        return AntennaGain(band, frequency_mhz, gain_dbd, *lobe, source(row), *measured)
    if difference_db is not None and other:
        lobe = number(row, "beamwidth_deg", 1.0, 360.0), number(row, "front_to_back_db", 0.0, 50.0)
        return RelativeGain(other, band, frequency_mhz, difference_db, *lobe, source(row))
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
    row: Row, patterns: Patterns, noticed: list[str], band: str, typical_dbd: float
) -> tuple[float, float]:
    """Return beamwidth and front-to-back ratio: of the pattern named, as given, else told from the gain."""
    if row.text("pattern"):
        return _lobe_of_pattern(row, patterns, noticed)
    given = number(row, "beamwidth_deg", 1.0, 360.0), number(row, "front_to_back_db", 0.0, 50.0)
    lobe = usual_lobe(*given, band, typical_dbd)
    if math.isnan(given[0]) and not math.isnan(lobe[0]):
        noticed.append(f"{row.where}: no beamwidth_deg; {lobe[0]:.0f} degrees told from the gain.")
    return lobe


def _lobe_of_pattern(row: Row, patterns: Patterns, noticed: list[str]) -> tuple[float, float]:
    """Return the lobe fitted to the pattern that a row names; how far it is off is noticed, once a pattern.

    Raises InputError for a name that is not there, and for a pattern that no lobe can stand for.
    """
    name = row.text("pattern")
    pattern = patterns.get((name, "azimuth"))
    if pattern is None:
        names = ", ".join(name for name, plane in patterns if plane == "azimuth") or "none"
        raise row.wrong(
            "pattern", f"The patterns beside the table are: {names}. Correct the name, or add it."
        )
    lobe = fitted_lobe(pattern)
    off = f"{lobe.off_in_lobe_db:.1f} dB off in its main lobe, {lobe.off_all_round_db:.1f} dB all round (rms)"
    if not lobe.suits:
        raise row.wrong(
            "pattern",
            f"The lobe that stands for an antenna is {off}; it must be within {MOST_OFF_IN_LOBE_DB:g} and "
            f"{MOST_OFF_ALL_ROUND_DB:g} dB. An antenna that hears front and back alike has no such lobe. "
            "Correct the pattern, or empty the cell and give beamwidth_deg and front_to_back_db.",
        )
    width = "all directions alike" if math.isnan(lobe.beamwidth_deg) else f"{lobe.beamwidth_deg:.0f} degrees"
    said = f"pattern {name}: counted as a lobe of {width}, {lobe.front_to_back_db:.0f} dB behind; {off}."
    noticed += [] if said in noticed else [said]
    return lobe.beamwidth_deg, lobe.front_to_back_db
