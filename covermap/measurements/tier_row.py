"""From a measured difference to a row of the tier table, with the uncertainty of its gain."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Mapping
from dataclasses import dataclass

from covermap.constants import BANDS
from covermap.errors import InputError
from covermap.measurements.antenna_test import AntennaTest
from covermap.measurements.band_result import BandResult
from covermap.measurements.scales import LEVEL
from covermap.tables import load_table

NORMAL_95 = 1.96  # normal distribution: 95 % lie within


@dataclass(frozen=True)
class KnownGain:
    """The reference antenna's gain in a band and its standard uncertainty. [dBd, dB]"""

    gain_dbd: float
    uncertainty_db: float


@dataclass(frozen=True)
class MeasuredGain:
    """A candidate's gain in a band.

    uncertainty_db : 1.96 of it are the 95 % interval: the reference's standard uncertainty, and that of the
        difference widened by Student's t for its degrees of freedom, added in squares
    """

    gain_dbd: float
    uncertainty_db: float
    stations: int

    def in_words(self) -> str:
        """Return gain with its 95 % interval."""
        return (
            f"{self.gain_dbd:.1f} ± {NORMAL_95 * self.uncertainty_db:.1f} dBd (95 %, "
            f"{self.stations} stations)"
        )


def measured_gains(
    test: AntennaTest, candidate: str, known: Mapping[str, KnownGain]
) -> dict[str, MeasuredGain]:
    """Return a candidate's gain in each band where the reference's is known and the log suffices.

    Only level readings or calibrated percent count, one set and scale: with several the level is taken.
    Raises InputError if no band has both.
    """
    gains = {}
    for band in BANDS:
        result = _best(test, candidate, band)
        if band in known and result is not None and result.mean is not None:
            reference = known[band]
            gains[band] = MeasuredGain(
                reference.gain_dbd + result.mean.mean_db,
                math.hypot(reference.uncertainty_db, result.mean.reach_db / NORMAL_95),
                result.stations,
            )
    if not gains:
        raise InputError(
            f"{test.log.file}: there is no band with a figure for {candidate!r} and a known gain of "
            f"{test.reference}. Give the reference's gain, as in --reference-gain uhf=7.5."
        )
    return gains


def _best(test: AntennaTest, candidate: str, band: str) -> BandResult | None:
    fitting = [b for b in test.bands if (b.candidate, b.band) == (candidate, band) and b.mean is not None]
    return min(fitting, key=lambda b: b.kind != LEVEL, default=None)


def tier_table_csv(
    test: AntennaTest, candidate: str, like_tier: int, gains: Mapping[str, MeasuredGain]
) -> str:
    """Return the built-in tier table as CSV, with the measured gains in one row.

    like_tier : 1 to 7, whose mount, cable and lobes the row keeps. The uncertainty stands in `source`; a
    gain of a band that was not measured stays the built-in one and the source says so.

    Raises InputError for a tier that does not exist.
    """
    rows = load_table("tiers")
    if str(like_tier) not in {row["tier"] for row in rows}:
        raise InputError(f"There is no tier {like_tier}; the table has tiers 1 to 7.")
    row = next(row for row in rows if row["tier"] == str(like_tier))
    for band, gain in gains.items():
        row[f"gain_{band}_dbd"] = f"{gain.gain_dbd:.1f}"
    spreads_db = [NORMAL_95 * gain.uncertainty_db for gain in gains.values()]
    # The row has one spread for all bands: the widest of them.
    spreads_db += [float(row["gain_spread_db"])] if len(gains) < len(BANDS) else []
    row["gain_spread_db"] = f"{max(spreads_db):.1f}"
    words = [f"{band} {gain.in_words()}" for band, gain in gains.items()]
    kept = [band for band in BANDS if band not in gains]
    site = ", ".join(test.log.sites) or "one place"
    row["source"] = f"measured at {site}: {candidate} against {test.reference}, " + "; ".join(words)
    row["source"] += f"; not measured, as built in: {', '.join(kept)}" if kept else ""
    text = io.StringIO()
    writer = csv.DictWriter(text, fieldnames=list(rows[0]), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()
