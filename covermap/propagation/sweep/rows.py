"""Names of the rows of the sweep's work arrays.

`items` is (ITEM_ROWS, items): what depends on the place alone. `rays` is (heights, RAY_ROWS, items): the
geometry of the path to one place at one receiving height. `terms` is (TERM_ROWS, items): what the height
at hand adds, overwritten height by height.

Loops over columns go to the end of a whole block (BLOCK), so that every item passes through the vector
instructions of a loop and none through its remainder, which can round otherwise: an item's answer is the
same bit for bit whichever items stand beside it. The columns past the items hold numbers without meaning.
"""

from covermap.propagation.vector_math import vector_kernel

(
    STEP,  # of the item, a whole number kept as float64
    DISTANCE_KM,
    END_M,  # ground at the end of the item's own path
    MID_LATITUDE_DEG,
    SEA_SHARE,  # omega of P.1812
    LAND_KM,  # longest section of land, dtm
    INLAND_KM,  # longest section inland, dlm
    RX_COAST_KM,
    FIT_TX_M,  # fitted surface at the mast, equation (85)
    FIT_RX_M,  # and at the item, equation (86)
    BETA0_PERCENT,
    LOG_BETA0_OVER_50,  # to base 10
    BETA0_NORMAL,  # value that a normal variable exceeds with probability beta0
    INLAND_FACTOR,  # tau
    DISTANCE_BLEND,  # Fk
    DISTANCE_DB,  # 20 log10 of the distance in km
    DISTANCE_POWER_3_1,
    DISTANCE_POWER_1_13,  # times 1e-6
) = range(18)
ITEM_ROWS = 18

(
    NU_MEDIAN,  # of Bullington's edge at 1 m wavelength, median Earth radius
    NU_BETA0,  # the same at the radius exceeded for beta0 % of time; next to NU_MEDIAN
    TX_SMOOTH_M,  # antenna above the smooth surface of diffraction
    RX_SMOOTH_M,
    THETA_MRAD,  # angular distance
    TX_MRAD,  # theta_t
    RX_MRAD,  # theta_r
    TX_HORIZON_KM,  # dlt
    RX_HORIZON_KM,  # dlr
    TX_EFFECTIVE_M,  # hte, antenna above the fitted surface
    RX_EFFECTIVE_M,  # hre
    ROUGHNESS_M,  # hm
    FALL_M,  # level of the transmitting antenna minus level of the receiving one
    NU_BARE,  # as NU_MEDIAN, over ground without clutter; empty where there is no clutter and it is the same
    IN_THE_WAY,  # class of the path, but for scatter; at the lowest height only
) = range(15)
RAY_ROWS = 15

(
    FREE_SPACE_DB,  # at 1 GHz
    MULTIPATH_DB,  # times log10(p/50)
    ANGLE_BLEND,  # Fj
    TROPOSCATTER_DB,  # without frequency, n0 and time percentage
    DUCT_DB,  # coupling without frequency
    LOG_BETA,  # log10 of the corrected beta, percent
    GAMMA,  # exponent of A(p)
    DUCT_FREQUENCY_DB,  # part of ducting that depends on frequency
    DIFFRACTION_MEDIAN_DB,
    DIFFRACTION_BETA0_DB,  # next to DIFFRACTION_MEDIAN_DB
    SCRATCH,
    LOSS_DB,
) = range(12)
TERM_ROWS = 12

BLOCK = 16  # columns; a multiple of what the compiler takes at once (4 or 8 numbers, once or twice)

(
    SMOOTH_CLEARANCE_M,  # hse; 0 beyond the horizon
    SMOOTH_NEEDED_M,  # hreq at 1 m wavelength; 1 beyond the horizon
    SMOOTH_RADIUS_KM,  # for the first term: effective, or grazing within line of sight
    SMOOTH_POINT_KM,  # d1, where the clearance is smallest
    SMOOTH_NU,  # Bullington's edge of the smooth path at 1 m wavelength
    SMOOTH_ABOVE,  # horizon slope minus slope towards the other antenna, m/km
) = range(6)
SMOOTH_ROWS = 6

# `earth` is (EARTH_ROWS, items): only the items for which the spherical earth can count, side by side.
(
    EARTH_DISTANCE_KM,
    EARTH_TX_M,
    EARTH_RX_M,
    EARTH_NU,
    EARTH_RADIUS_ROOT,  # radius to the power -1/3
    EARTH_CLEARANCE_M,
    EARTH_NEEDED_M,
    EARTH_SEA_SHARE,
) = range(8)
EARTH_ROWS = 8

# `by_time` is (BY_TIME_ROWS, time percentages, items).
(
    INTERPOLATION,  # Fi
    DUCT_TIME_DB,  # coupling without frequency plus A(p)
) = range(2)
BY_TIME_ROWS = 2


@vector_kernel
def whole_blocks(count):
    """Return the smallest multiple of BLOCK that is at least count."""
    return (count + BLOCK - 1) // BLOCK * BLOCK


@vector_kernel
def copy_row(count, row, into):
    """Copy the first count numbers. A loop: assigning a slice would add seconds of compiling."""
    for i in range(count):
        into[i] = row[i]
