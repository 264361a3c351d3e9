"""The quick estimate: which antenna a list of the reader's own needs, from whole-dB values.

The page holds the same rules in js/estimate.js and gives the same class in every square. So that both can,
only + - * /, comparisons and tables are used, on 64-bit numbers in one order; no library's sine or logarithm.
It leaves out interference, overload and second antennas, and tries the aims of fill_aims() alone.
"""

import numpy as np
from numpy.typing import NDArray

from covermap.constants import TIER_NOT_PROMISED, UNKNOWN_UINT8
from covermap.propagation.compiling import kernel
from covermap.reports.web_map.estimate_tables import (
    ARCTAN_STEPS,
    SHARE_ENDS,
    SHARE_STEPS,
    Figures,
    Levels,
    Rules,
    Ticked,
)

CIRCLE_STEP_DEG = 5  # aims all around, beside those towards masts and between two of them
NEVER_DB = -1000.0  # margin of a transmitter that is not known here

# Rows of the work array of a square.
CLEAR_DB = 0  # of a transmitter: margin with the antenna aimed at it
BEARING_DEG = 1
MARGIN_DB = 2  # at the aim
CHOSEN = 3  # of a service: its best transmitter at the aim
BEST = 4  # and that one's margin in total deviations
HOME_ROWS = 5


@kernel
def table_value(table, position):
    """Return a table's value at a position from 0 to its last index, straight between entries."""
    if position <= 0.0:
        return table[0]
    if position >= table.size - 1.0:
        return table[table.size - 1]
    index = int(position)
    return table[index] + (table[index + 1] - table[index]) * (position - index)


@kernel
def share_below(deviation, table):
    """Return the share of a normal distribution below a deviation, from the table of normal_shares()."""
    return table_value(table, (deviation + SHARE_ENDS) * SHARE_STEPS)


@kernel
def bearing_deg(row, col, mast, rules):
    """Return the azimuth from a square to a mast, 0 to 360 degrees from true north, from pixels.

    Source: Mercator's map keeps angles; a great circle leaves a straight line on it by half the convergence
        of the meridians. Accuracy: within 0.1 degrees up to 150 km.
    """
    east, north = rules.mast_col[mast] - col, row - rules.mast_row[mast]
    across, along = abs(east), abs(north)
    if across == 0.0 and along == 0.0:
        return 0.0
    if across > along:
        angle = 90.0 - table_value(rules.arctan, along / across * ARCTAN_STEPS)
    else:
        angle = table_value(rules.arctan, across / along * ARCTAN_STEPS)
    if north < 0.0:
        angle = 180.0 - angle
    if east < 0.0:
        angle = 360.0 - angle
    angle -= rules.turn_deg * east
    if angle < 0.0:
        return angle + 360.0
    return angle - 360.0 if angle >= 360.0 else angle


@kernel
def fill_aims(towards, aims):
    """Fill aims with each mast's bearing, the bisector of every two, and a circle; return how many.

    towards : (masts,), bearings
    """
    count = 0
    for one in range(towards.size):
        aims[count] = towards[one]
        count += 1
    for one in range(towards.size):
        for other in range(one + 1, towards.size):
            middle = (towards[one] + towards[other]) * 0.5
            if abs(towards[one] - towards[other]) > 180.0:
                middle = middle + 180.0 if middle < 180.0 else middle - 180.0
            aims[count] = middle
            count += 1
    for step in range(0, 360, CIRCLE_STEP_DEG):
        aims[count] = step
        count += 1
    return count


@kernel
def _fill_clear(levels, kind, tier, row, col, wanted, figures, clear_db):
    """Fill each transmitter's margin at its own bearing with a tier's antenna."""
    for item in range(wanted.station.size):
        station = wanted.station[item]
        byte = levels[figures.height[tier], station, row, col]
        clear_db[item] = NEVER_DB if byte == UNKNOWN_UINT8 else byte - figures.need[kind, tier, station]


@kernel
def _set_aim(aim_deg, mount, kind, tier, deviation, wanted, figures, home):
    """Choose each service's best transmitter at an aim; return whether each alone is sure enough.

    deviation : least total deviations. home : rows as named above
    """
    for number in range(wanted.services):
        home[BEST, number] = NEVER_DB
    for item in range(wanted.station.size):
        station = wanted.station[item]
        apart = abs(aim_deg - home[BEARING_DEG, item])
        apart = apart if apart < 180.0 else 360.0 - apart
        loss_db = figures.rolloff[tier, station] * apart * apart
        if loss_db > figures.floor_db[tier, station]:
            loss_db = figures.floor_db[tier, station]
        if loss_db < figures.cross_db[mount, tier, station]:
            loss_db = figures.cross_db[mount, tier, station]
        home[MARGIN_DB, item] = home[CLEAR_DB, item] - loss_db
        total = home[MARGIN_DB, item] * figures.total_inverse[kind, tier, station]
        number = wanted.service[item]
        if total > home[BEST, number]:
            home[BEST, number] = total
            home[CHOSEN, number] = item
    for number in range(wanted.services):
        if home[BEST, number] < deviation:
            return False
    return True


@kernel
def _chance_of_all(kind, tier, wanted, figures, rules, home):
    """Return the chance that every service arrives with the transmitters chosen, 0 to 1.

    On one mast the worst service decides; masts are independent but for what a home's services share.
    """
    total = 0.0
    for point in range(rules.points.size):
        product = 1.0
        worst, mast = 0.0, -1
        for item in range(wanted.station.size):
            if home[CHOSEN, wanted.service[item]] != item:
                continue
            station = wanted.station[item]
            own = home[MARGIN_DB, item] * figures.own_inverse[kind, tier, station]
            shifted = own + figures.common_ratio[kind, tier, station] * rules.points[point]
            if wanted.mast[item] != mast:
                if mast >= 0:
                    product *= share_below(worst, rules.share)
                worst, mast = shifted, wanted.mast[item]
            elif shifted < worst:
                worst = shifted
        product *= share_below(worst, rules.share)
        total += rules.weights[point] * product
    return total


@kernel
def _tier_suffices(kind, tier, aim_count, aims, wanted, figures, rules, home):
    """Return whether some aim of a tier's antenna is sure enough of all."""
    for aim in range(aim_count):
        for mount in wanted.mounts:
            if not _set_aim(aims[aim], mount, kind, tier, rules.deviation, wanted, figures, home):
                continue
            if _chance_of_all(kind, tier, wanted, figures, rules, home) >= rules.confidence:
                return True
    return False


@kernel
def _reachable(kind, tier, wanted, figures, rules, home):
    """Return whether every service would be sure enough alone with the antenna aimed at it."""
    for number in range(wanted.services):
        best = NEVER_DB
        for item in range(wanted.station.size):
            if wanted.service[item] == number:
                total = home[CLEAR_DB, item] * figures.total_inverse[kind, tier, wanted.station[item]]
                best = total if total > best else best
        if best < rules.deviation:
            return False
    return True


@kernel
def _all_known(levels, row, col, wanted):
    """Return whether every service has a transmitter that is known at every height."""
    for number in range(wanted.services):
        known = False
        for item in range(wanted.station.size):
            if wanted.service[item] != number:
                continue
            whole = True
            for height in range(levels.shape[0]):
                whole = whole and levels[height, wanted.station[item], row, col] != UNKNOWN_UINT8
            known = known or whole
        if not known:
            return False
    return True


@kernel
def _fill_tiers(levels, kinds, rows, cols, wanted, figures, rules, towards, aims, home, tier_out):
    """Write the class of every square, shape (rows, cols); the other arrays are work arrays."""
    for row in range(rows.size):
        for col in range(cols.size):
            tier_out[row, col] = UNKNOWN_UINT8
            if not _all_known(levels, row, col, wanted):
                continue
            for order in range(wanted.masts.size):
                towards[order] = bearing_deg(rows[row], cols[col], wanted.masts[order], rules)
            for item in range(wanted.station.size):
                home[BEARING_DEG, item] = bearing_deg(rows[row], cols[col], wanted.mast[item], rules)
            aim_count = fill_aims(towards, aims)
            kind = kinds[row, col]
            tier_out[row, col] = TIER_NOT_PROMISED
            for tier in range(figures.height.size):
                _fill_clear(levels, kind, tier, row, col, wanted, figures, home[CLEAR_DB])
                if not _reachable(kind, tier, wanted, figures, rules, home):
                    continue
                if _tier_suffices(kind, tier, aim_count, aims, wanted, figures, rules, home):
                    tier_out[row, col] = tier + 1
                    break


def quick_estimate(levels: Levels, wanted: Ticked, figures: Figures, rules: Rules) -> NDArray[np.uint8]:
    """Return the lowest class that is sure enough of all ticked services, by the quick estimate.

    Parameters
    ----------
    levels : whole-dB levels of every station
    wanted : of ticked(); at least one service
    figures, rules : what the page holds

    Returns
    -------
    uint8, shape (rows, cols)
        1 to 7, 8 not promised, 255 unknown.
    """
    masts = wanted.masts.size
    tier = np.empty(levels.kind.shape, dtype=np.uint8)
    aims = np.empty(masts + masts * (masts - 1) // 2 + 360 // CIRCLE_STEP_DEG)
    home = np.zeros((HOME_ROWS, max(wanted.station.size, wanted.services)))
    squares = levels.level, levels.kind, levels.row, levels.col
    _fill_tiers(*squares, wanted, figures, rules, np.empty(masts), aims, home, tier)
    return tier
