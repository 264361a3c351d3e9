"""What the strongest stations do to the ports of an installation, and which stations disturb which."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from covermap.addresses.report import Ports, StrongSignal
from covermap.reception import AimPlan, ReceiverSignals, Tier
from covermap.reception.aim import columns_of
from covermap.reception.bands import band_of
from covermap.reception.overload import (
    LOAD_CROSS_DB,
    LOAD_FLOOR_DB,
    LOAD_ROLLOFF,
    POWER_DB,
    TUNER_DB,
    Loads,
    load_figures,
    loads_of,
)
from covermap.reception.plan_columns import JOINED
from covermap.reception.plan_loss import plan_loss_db
from covermap.scenario.records import Station

MOST_NAMED = 4
NEARLY_ALL_DB = 10.0  # judgement: fainter by this than the strongest, a station adds under half a dB
WORTH_NAMING_DB = 1.0  # judgement: less interference than this nobody sees


def ports_of(signals: ReceiverSignals, stations: Sequence[Station], tier: Tier, plan: AimPlan) -> Ports:
    """Return the power at each port of an installation with a plan's aims.

    stations : those of the signals, in their order. Fields at half of the time, at the mount.

    Source: limits as covermap.reception.overload.
    """
    loads = _loads(signals, tier)
    front_dbm = _front_dbm(signals, tier, plan, loads)
    total_dbm = 10.0 * math.log10(float(np.sum(10.0 ** (front_dbm / 10.0))))
    # Stable: of equal stations the first of the list is named, on every machine.
    order = np.argsort(-front_dbm, kind="stable")[:MOST_NAMED]
    strongest = tuple(
        StrongSignal(
            stations[index].station_id, stations[index].service, stations[index].mast, float(front_dbm[index])
        )
        for index in order
        if front_dbm[index] >= front_dbm[order[0]] - NEARLY_ALL_DB
    )
    return Ports(
        input_dbm=total_dbm if tier.has_amplifier else math.nan,
        output_dbm=total_dbm + tier.amplifier_gain_db,
        tuner_dbm=float(np.max(front_dbm + loads.figures[0, 0, TUNER_DB])),
        excess_db=plan.overload_db,
        port=plan.overload_port,
        spread_db=plan.overload_spread_db,
        strongest=strongest,
    )


def tuner_dbm(signals: ReceiverSignals, tier: Tier, plan: AimPlan) -> NDArray[np.float64]:
    """Return each station's power at the tuner with a plan's aims, at half of the time, shape (S,). [dBm]"""
    loads = _loads(signals, tier)
    return _front_dbm(signals, tier, plan, loads) + loads.figures[0, 0, TUNER_DB]


def _loads(signals: ReceiverSignals, tier: Tier) -> Loads:
    around = np.array([float(signals.clutter_height_m)]), np.array([bool(signals.open_land)])
    figures = load_figures((tier,), signals.facts, *around, signals.options)
    return loads_of((tier,), signals.facts, figures, signals.options)


def _front_dbm(
    signals: ReceiverSignals,
    tier: Tier,
    plan: AimPlan,
    loads: Loads,
    field_dbuvm: NDArray[np.float64] | None = None,
) -> NDArray[np.float64]:
    """Return each station's power in front of amplifier or cable, at half of the time unless given, (S,)."""
    if field_dbuvm is None:
        # Half of the time, not the time rule's field: what a set stands is a matter of every day.
        field_dbuvm = signals.field_dbuvm if signals.median_dbuvm is None else signals.median_dbuvm
    figures, columns = loads.figures[0, 0], columns_of(plan)
    front_db = float(loads.front_db[int(columns[JOINED])])
    loss_db = [
        plan_loss_db(
            columns,
            band_of(float(signals.facts.frequency_mhz[station])) == "uhf",
            False,
            float(signals.bearing_deg[station]) % 360.0,
            float(figures[LOAD_ROLLOFF, station]),
            float(figures[LOAD_FLOOR_DB, station]),
            float(figures[LOAD_CROSS_DB, station]),
            # cross-polar loss for each way an antenna can be turned: two figures in a row
            float(figures[LOAD_CROSS_DB + 1, station]),
        )
        for station in range(len(field_dbuvm))
    ]
    return np.asarray(field_dbuvm, np.float64) + figures[POWER_DB] - np.array(loss_db) - front_db
