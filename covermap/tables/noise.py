"""Reads the table of external noise: where it replaces the curve of ITU-R P.372."""

from __future__ import annotations

import math
from pathlib import Path

from covermap.constants import BANDS
from covermap.errors import InputError
from covermap.tables.user_table import read_table_rows

ENVIRONMENTS = ("city", "residential", "rural", "quiet_rural")
COLUMNS = ("band", "environment", "outdoor_noise_db", "indoor_noise_db")


def read_external_noise(path: Path | str | None = None) -> dict[tuple[str, str], tuple[float, float]]:
    """Return (band, environment) -> (outdoor, indoor) external noise F_a. [dB above kT0B]

    NaN stands for the curve of ITU-R P.372 (man-made noise), indoors one environment noisier.
    Raises InputError if a cell is wrong or one of the twelve pairs is missing.
    """
    noise_db: dict[tuple[str, str], tuple[float, float]] = {}
    rows = read_table_rows("external_noise", None if path is None else Path(path), COLUMNS)
    for row in rows:
        pair = (row.text("band"), row.text("environment"))
        if pair[0] not in BANDS or pair[1] not in ENVIRONMENTS:
            raise InputError(
                f'{row.where}: found band "{pair[0]}", environment "{pair[1]}". Bands are '
                f"{', '.join(BANDS)}; environments are {', '.join(ENVIRONMENTS)}. Correct the row."
            )
        noise_db[pair] = (
            row.number("outdoor_noise_db", 0.0, 80.0, blank=math.nan),
            row.number("indoor_noise_db", 0.0, 80.0, blank=math.nan),
        )
    rows[0].faults.tell()
    missing = [f"{band} {place}" for band in BANDS for place in ENVIRONMENTS if (band, place) not in noise_db]
    if missing:
        where = rows[0].where.rsplit(",", 1)[0]
        raise InputError(
            f"{where}: found no row for {', '.join(missing)}. Add a row for each; leave it "
            "empty for the curve of ITU-R P.372."
        )
    return noise_db
