"""Constants that more than one package needs; each with its unit and source."""

import math

EARTH_RADIUS_KM = 6371.0  # ITU-R P.1812-8 section 4.1
FIELD_FROM_LOSS_DB = 199.36  # ITU-R P.1812-8 section 4.8: E for 1 kW ERP = 199.36 + 20 log f(GHz) - Lb
DIPOLE_FACTOR_DB = -75.06  # ITU-R P.525: power in dBm of a half-wave dipole = E - 75.06 - 20 log f(MHz)
DBI_FROM_DBD = 2.15  # ITU-R P.341: gain of a half-wave dipole over an isotropic antenna
BOLTZMANN_DBM_PER_HZ = 10.0 * math.log10(1.380649e-23 * 290.0 * 1000.0)  # kT0 at T0 = 290 K, ITU-R P.372
NEAR_MAST_KM = 0.25  # ITU-R P.1812-8: the model begins at 0.25 km
METRES_A_DEGREE = 111_320.0  # of latitude, on the average; within 0.6 % of WGS 84, over 200 m a metre
CLEAR_OF_CLUTTER_KM = 0.05  # the clutter of a P.1812 profile starts 50 m from both ends; our own rule

# Result files change meaning only with this number.
RESULT_FORMAT = 2

TIER_COUNT = 7  # tiers 1 to 7 are antennas; 8 means not promised
TIER_NOT_PROMISED = 8
UNKNOWN_UINT8 = 255

BANDS = ("low_vhf", "high_vhf", "uhf")

# Radio climates of the irregular terrain model, in the order of their numbers 1 to 7.
ITM_CLIMATES = (
    "equatorial",
    "continental_subtropical",
    "maritime_subtropical",
    "desert",
    "continental_temperate",
    "maritime_temperate_land",
    "maritime_temperate_sea",
)
SILENT_DBUVM = -300.0  # field of a station that is not there
