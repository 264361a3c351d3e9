"""External noise at a receiving antenna: the curve, the table above it, and how homes differ."""

from __future__ import annotations

import math

from covermap.errors import InputError
from covermap.propagation.noise import ENVIRONMENTS, man_made_noise_db
from covermap.reception.bands import band_of
from covermap.reception.options import NoiseTable

UHF_NOISE_DB = (1.0, 3.0)  # outdoors, indoors, above kT0B; judgement, the shipped table's values
NOISIER = {"quiet_rural": "rural", "rural": "residential", "residential": "city", "city": "city"}

# Upper decile of the deviation with location, ITU-R P.372-17 table of man-made noise (from memory);
# quiet rural as rural, our own choice.
LOCATION_DECILE_DB = {"city": 8.4, "residential": 5.8, "rural": 6.8, "quiet_rural": 6.8}
DECILE_DEVIATE = 1.2816  # normal distribution: 90 % lie below


def external_noise_db(
    frequency_mhz: float, environment: str, indoors: bool, table: NoiseTable | None = None
) -> float:
    """Return the median external noise F_a at the antenna, in dB above kT0B.

    environment : outside the home; indoors the curve is read one environment noisier (our own rule)
    table : (band, environment) -> (outdoor, indoor), NaN for the curve; see ReceptionOptions

    Raises InputError if the environment is not known.
    Source: ITU-R P.372-17, man-made noise (VHF); above it the table (judgement).
    """
    _require_environment(environment)
    band = band_of(frequency_mhz)
    absent = UHF_NOISE_DB if band == "uhf" else (math.nan, math.nan)
    listed_db = (table or {}).get((band, environment), absent)[1 if indoors else 0]
    if not math.isnan(listed_db):
        return listed_db
    c, d = ENVIRONMENTS[NOISIER[environment] if indoors else environment]
    return float(man_made_noise_db(frequency_mhz, c, d))


def noise_location_sd_db(frequency_mhz: float, environment: str, indoors: bool) -> float:
    """Return the standard deviation of external noise between homes, in dB; 0 at UHF.

    Raises InputError if the environment is not known.
    Source: ITU-R P.372-17, deciles with location, divided by the normal deviate 1.2816.
    """
    _require_environment(environment)
    if band_of(frequency_mhz) == "uhf":
        return 0.0
    return LOCATION_DECILE_DB[NOISIER[environment] if indoors else environment] / DECILE_DEVIATE


def _require_environment(environment: str) -> None:
    if environment not in ENVIRONMENTS:
        raise InputError(f"noise must be one of {', '.join(ENVIRONMENTS)}, got {environment!r}.")
