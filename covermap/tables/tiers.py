"""Reads the tier table: the built-in one or the user's own."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

from covermap.constants import BANDS, TIER_COUNT
from covermap.errors import InputError
from covermap.reception.tiers import Tier, TierTable
from covermap.tables.loader import load_table
from covermap.tables.user_table import TableRow, read_table_rows

PLAIN_COLUMNS = (
    "tier", "name", "indoors", "height_m", "entry_loss_db", "entry_loss_sd_db", "cable_m", "passive_loss_db",
    "amplifier_gain_db", "amplifier_noise_figure_db", "amp_in_max_dbm", "amp_out_max_dbm", "cross_polar_db",
    "cost_order", "source",
)  # fmt: skip
BAND_COLUMNS = ("gain_{}_dbd", "directivity_{}_dbd", "beamwidth_{}_deg", "front_to_back_{}_db")
# A table without one of these columns has the built-in one's cells. The spreads: 19 of 20 of the kind lie
# within so much of the row's gain, of its noise behind the antenna, of its amplifier's noise figure.
OPTIONAL = (
    "second_antenna_cost_order", "antennas", "gain_spread_db", "receiver_spread_db", "amplifier_spread_db",
)  # fmt: skip
DEVIATIONS = 1.96  # normal distribution: 19 of 20 lie within
COLUMNS = PLAIN_COLUMNS + tuple(column.format(band) for band in BANDS for column in BAND_COLUMNS)


def read_tiers(path: Path | str | None = None) -> TierTable:
    """Return the receiving installations, tiers 1 to 7.

    path : a CSV with the columns of the built-in table; None is the built-in table. Without one
        of the OPTIONAL columns the built-in table's cells hold; an empty cell means no second antenna, no
        spread, no antenna named

    Raises InputError if a column or cell is missing or out of range, or if the rows are not exactly
    tiers 1 to 7 in this order.
    """
    rows = read_table_rows("tiers", None if path is None else Path(path), COLUMNS)
    where = rows[0].where.rsplit(",", 1)[0]
    numbers = [row.text("tier") for row in rows]
    expected = [str(tier) for tier in range(1, TIER_COUNT + 1)]
    if numbers != expected:
        raise InputError(
            f"{where}, column tier: found {', '.join(numbers)}. The rows must be tiers 1 to {TIER_COUNT}, "
            "each once and in order (8 means not promised and has no row). Correct the column."
        )
    tiers = TierTable(tuple(_tier(row) for row in _completed(rows)))
    rows[0].faults.tell()
    return tiers


def _completed(rows: list[TableRow]) -> list[TableRow]:
    """Return the rows with the built-in table's cells in columns that their table may leave out."""
    missing = [column for column in OPTIONAL if column not in rows[0].cells]
    built_in = load_table("tiers")
    return [
        replace(row, cells=row.cells | {column: cells[column] for column in missing})
        for row, cells in zip(rows, built_in, strict=True)
    ]


def _tier(row: TableRow) -> Tier:
    gain_dbd = _by_band(row, "gain_{}_dbd", -30.0, 30.0)
    has_amplifier = bool(row.text("amplifier_gain_db"))
    _check_amplifier(row, has_amplifier)
    return Tier(
        tier=int(row.text("tier")),
        name=row.text("name"),
        indoors=row.yes_no("indoors"),
        height_m=row.number("height_m", 0.5, 100.0),
        entry_loss_db=row.number("entry_loss_db", 0.0, 60.0),
        entry_loss_sd_db=row.number("entry_loss_sd_db", 0.0, 20.0),
        cable_m=row.number("cable_m", 0.0, 300.0),
        passive_loss_db=row.number("passive_loss_db", 0.0, 40.0),
        amplifier_gain_db=row.number("amplifier_gain_db", 0.0, 50.0, blank=math.nan),
        amplifier_noise_figure_db=row.number("amplifier_noise_figure_db", 0.0, 20.0, blank=math.nan),
        amp_in_max_dbm=row.number("amp_in_max_dbm", -80.0, 30.0, blank=math.inf),
        amp_out_max_dbm=row.number("amp_out_max_dbm", -80.0, 30.0, blank=math.inf),
        cross_polar_db=row.number("cross_polar_db", 0.0, 40.0),
        cost_order=row.number("cost_order", 0.0, 10_000.0),
        source=row.text("source"),
        gain_dbd=gain_dbd,
        directivity_dbd=_directivity_dbd(row, gain_dbd),
        beamwidth_deg=_by_band(row, "beamwidth_{}_deg", 1.0, 360.0, blank=math.nan),
        front_to_back_db=_by_band(row, "front_to_back_{}_db", 0.0, 50.0),
        second_antenna_cost_order=row.number("second_antenna_cost_order", 0.0, 10_000.0, blank=math.nan),
        gain_sd_db=dict.fromkeys(BANDS, _sd_db(row, "gain_spread_db")),
        receiver_sd_db=_sd_db(row, "receiver_spread_db"),
        amplifier_sd_db=_sd_db(row, "amplifier_spread_db"),
        antennas=tuple(row.text("antennas").split()),
    )


def _sd_db(row: TableRow, column: str) -> float:
    # the column says how far 19 of 20 lie off, reception counts with one standard deviation
    return row.number(column, 0.0, 20.0, blank=0.0) / DEVIATIONS


def _by_band(
    row: TableRow, column: str, lowest: float, highest: float, blank: float | None = None
) -> dict[str, float]:
    return {band: row.number(column.format(band), lowest, highest, blank) for band in BANDS}


def _directivity_dbd(row: TableRow, gain_dbd: dict[str, float]) -> dict[str, float]:
    """Return the directivity; where the table gives none it is the gain, at least 0 dBd."""
    return {
        # A gain under 0 dBd is loss behind the pattern of a dipole, and loss dims outside noise as it dims
        # the signal.
        band: row.number(f"directivity_{band}_dbd", 0.0, 30.0, blank=max(gain, 0.0))
        for band, gain in gain_dbd.items()
    }


def _check_amplifier(row: TableRow, has_amplifier: bool) -> None:
    """Gather a fault unless an amplifier has gain, noise figure and limits, or nothing of them."""
    for column in ("amplifier_noise_figure_db", "amp_in_max_dbm", "amp_out_max_dbm"):
        if has_amplifier and not row.text(column):
            row.faults.sentences.append(
                f"{row.where}, column {column}: found nothing beside amplifier_gain_db "
                f"{row.text('amplifier_gain_db')}. An amplifier needs gain, noise figure and both limits. "
                "Fill the cell, or empty all four."
            )
        if not has_amplifier and row.text(column):
            row.faults.sentences.append(
                f'{row.where}, column {column}: found "{row.text(column)}" without amplifier_gain_db. '
                "Fill amplifier_gain_db, or empty all four amplifier cells."
            )
