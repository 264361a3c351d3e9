"""Building entry of an indoor tier: its place in the house, and what the building is made of."""

from __future__ import annotations

from functools import lru_cache

from covermap.propagation.entry import COEFFICIENTS, FREQUENCY_MHZ, entry_loss_db
from covermap.reception.tiers import Tier

BUILDINGS = tuple(COEFFICIENTS)
# The tier table's figures are those of a traditional building; at UHF ITU-R P.2109-2 has 14.0 dB for it and a
# spread of 8.0 dB, which are the table's for an antenna anywhere in a room (tier 1).
OF_TABLE, OF_TABLE_MHZ = "traditional", 600.0
DECILE_DEVIATE = 1.2816  # normal distribution: 90 % lie below


def entry_db(tier: Tier, frequency_mhz: float, building: str) -> tuple[float, float]:
    """Return the median of a tier's building entry loss and its standard deviation, in dB.

    building : one of BUILDINGS. In a traditional one the tier's own figures hold. Another moves the median by
    what ITU-R P.2109-2 has between the two at the frequency, and widens the spread in the proportion it has:
    a place by the window or under the roof stays better than the middle of the room, by as much. Below
    80 MHz, where the recommendation ends, its value at 80 MHz. Outdoors the tier's own, as a rule 0.

    Source: ITU-R P.2109-2, section 3; that each place in the house keeps its distance is our own rule.
    Accuracy: of the recommendation; the figures of tiers 2 and 3 are judgement.
    """
    if not tier.indoors or building == OF_TABLE:
        return tier.entry_loss_db, tier.entry_loss_sd_db
    mhz = max(frequency_mhz, FREQUENCY_MHZ[0])
    median_db, spread_db = _of_building(building, mhz)
    return (
        max(0.0, tier.entry_loss_db + median_db - _of_building(OF_TABLE, mhz)[0]),
        tier.entry_loss_sd_db * spread_db / _of_building(OF_TABLE, OF_TABLE_MHZ)[1],
    )


@lru_cache(maxsize=1024)
def _of_building(building: str, frequency_mhz: float) -> tuple[float, float]:
    """Return the median and the standard deviation, a normal one with the same 90 %. [dB]"""
    coefficients = COEFFICIENTS[building]
    median_db = float(entry_loss_db(frequency_mhz / 1000.0, coefficients, 0.0, 0.0))
    decile_db = float(entry_loss_db(frequency_mhz / 1000.0, coefficients, DECILE_DEVIATE, 0.0))
    return median_db, (decile_db - median_db) / DECILE_DEVIATE
