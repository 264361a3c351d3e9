"""The rest of the house: what arrives at every outlet behind one antenna, and the class that holds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from covermap.addresses.answer import Answer, answer_of
from covermap.addresses.house_levels import HousePlan, HouseReport, OutletLevel
from covermap.addresses.plans import Question
from covermap.addresses.strong_signals import tuner_dbm
from covermap.addresses.wiring import Wiring, gain_db
from covermap.propagation.free_space import thermal_noise_dbm
from covermap.reception import AimPlan
from covermap.reception.overload import TUNER_SEVERAL_DBM
from covermap.reception.tiers import Tier

DBUV_OF_DBM = 108.75  # dBuV = dBm + 108.75 in 75 ohm; definition of the units


def house_report(asked: Question, answer: Answer, home: Wiring) -> HouseReport:
    """Return what the rest of a house asks of the antenna; answer : for one set."""
    return HouseReport(
        splitter="" if home.splitter is None else home.splitter.name,
        passive_loss_db=home.passive_loss_db(home.worst),
        common_m=home.common_m,
        amplifier=home.amplifier.name,
        amplifier_gain_db=gain_db(home.amplifier),
        one_set_tier=answer.tier,
        plain=_plan(asked, home, amplified=False),
        amplified=_plan(asked, home, amplified=True),
        taps=tuple(tap.name for tap in home.taps),
        first_loss_db=home.passive_loss_db(0),
    )


def _plan(asked: Question, home: Wiring, *, amplified: bool) -> HousePlan:
    """Return the class that holds at the worst outlet, and what arrives at every outlet with it."""
    # One antenna for all: the class is looked for at the outlet that gets least, and the others get more.
    wired = replace(asked, tiers=tuple(home.at(t, home.worst, amplified=amplified) for t in asked.tiers))
    answer = answer_of(wired)
    own = asked.tiers[answer.installation.tier - 1]
    outlets = tuple(
        outlet_level(asked, home.at(own, number, amplified=amplified), answer.plan, run)
        for number, run in enumerate(home.cable_m)
    )
    # Overload is worst elsewhere: at the outlet that gets most. The answer, which is for the worst one, would
    # not see it.
    strong = any(outlet.strongest_spare_db < 0.0 for outlet in outlets)
    needs_filter = answer.tier <= len(asked.tiers) and (answer.needs_filter or strong)
    return HousePlan(answer.tier, 100.0 * answer.plan.chance, needs_filter, outlets)


def outlet_level(asked: Question, tier: Tier, plan: AimPlan, cable_m: float) -> OutletLevel:
    """Return what of the list arrives at a set behind an installation with a plan's aims.

    Source: least level = thermal noise + noise figure + required C/N; most: ATSC A/74 (from memory), several
        strong channels.
    """
    signals = asked.signals(tier)
    level_dbm = tuner_dbm(signals, tier, plan)[plan.station]
    bandwidth_mhz = np.asarray(signals.facts.bandwidth_mhz, np.float64)[plan.station]
    noise_dbm = np.array([thermal_noise_dbm(1e6 * one) for one in bandwidth_mhz])
    least_dbm = noise_dbm + asked.options.tuner_noise_figure_db
    spare_db = level_dbm - least_dbm - np.asarray(signals.facts.required_cn_db)[plan.station]
    # Weakest by what it lacks, not by level: services need different C/N.
    weakest, strongest = int(np.argmin(spare_db)), int(np.argmax(level_dbm))
    return OutletLevel(
        cable_m=cable_m,
        weakest=plan.services[weakest],
        weakest_dbuv=float(level_dbm[weakest]) + DBUV_OF_DBM,
        weakest_spare_db=float(spare_db[weakest]),
        strongest=plan.services[strongest],
        strongest_dbuv=float(level_dbm[strongest]) + DBUV_OF_DBM,
        strongest_spare_db=TUNER_SEVERAL_DBM - float(level_dbm[strongest]),
    )
