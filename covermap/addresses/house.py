"""The rest of the house: one antenna for several outlets, what arrives at each, the class that holds."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from covermap.addresses.answer import Answer, answer_of
from covermap.addresses.house_levels import HousePlan, HouseReport, OutletLevel
from covermap.addresses.plans import Question
from covermap.addresses.strong_signals import tuner_dbm
from covermap.catalogue import Device
from covermap.constants import BANDS
from covermap.errors import InputError
from covermap.propagation.free_space import thermal_noise_dbm
from covermap.reception import AimPlan
from covermap.reception.overload import TUNER_SEVERAL_DBM
from covermap.reception.tiers import Distribution, Tier

DBUV_OF_DBM = 108.75  # dBuV = dBm + 108.75 in 75 ohm; definition of the units
COMMON_SHARE = 0.5  # of the shortest run, up to the splitter (judgement)
CONNECTORS = 3  # pairs on the way: antenna, splitter, outlet (judgement)


@dataclass(frozen=True)
class Wiring:
    """What stands between one antenna and the sets of a home.

    cable_m : from the antenna to each outlet
    to_splitter_m : the part of it that all share
    splitter : None for one outlet; outlet, connector : on the way; amplifier : in front of the splitter
    """

    cable_m: tuple[float, ...]
    to_splitter_m: float
    splitter: Device | None
    outlet: Device
    connector: Device
    amplifier: Device

    @property
    def passive_loss_db(self) -> dict[str, float]:
        """Return what splitter, outlet and connectors take together in each band."""
        splitters = [] if self.splitter is None else [self.splitter]
        return loss_by_band([self.outlet, *[self.connector] * CONNECTORS, *splitters])

    def at(self, tier: Tier, cable_m: float, *, amplified: bool) -> Tier:
        """Return an installation as an outlet at the end of a run of cable sees it."""
        wired = replace(tier, cable_m=cable_m, passive_loss_by_band=self.passive_loss_db)
        if not amplified:
            return wired
        return replace(
            wired,
            cable_m=self.to_splitter_m,
            distribution=as_distribution(self.amplifier, cable_m - self.to_splitter_m),
        )


def as_distribution(amplifier: Device, cable_m: float) -> Distribution:
    """Return an amplifier inside the house; limits that are not known are no limits."""
    limits = (amplifier.max_input_dbm, amplifier.max_output_dbm)
    input_dbm, output_dbm = (np.inf if limit is None else limit.typical for limit in limits)
    return Distribution(gain_db(amplifier), noise_figure_db(amplifier), input_dbm, output_dbm, cable_m)


def gain_db(amplifier: Device) -> float:
    """Return an amplifier's usual gain. Raises InputError where the catalogue has none."""
    if amplifier.gain_db is None:
        raise InputError(
            f"{amplifier.name} ({amplifier.device_id}): found no gain_db. Fill it in devices.csv."
        )
    return amplifier.gain_db.typical


def noise_figure_db(amplifier: Device) -> float:
    """Return an amplifier's usual noise figure. Raises InputError where the catalogue has none."""
    if amplifier.noise_figure_db is None:
        raise InputError(
            f"{amplifier.name} ({amplifier.device_id}): found no noise_figure_db. Fill it in devices.csv."
        )
    return amplifier.noise_figure_db.typical


def wiring(outlets: int, cable_m: Sequence[float], devices: Iterable[Device]) -> Wiring:
    """Return the wiring of a home.

    outlets : sets that can be fed. cable_m : from the antenna to each outlet, or one length for all
    devices : of a catalogue, from which the smallest splitter with enough ways is taken

    Raises InputError for a number of lengths that fits neither, or where the catalogue lacks a part.
    """
    devices = tuple(devices)
    if len(cable_m) not in (1, outlets):
        raise InputError(
            f"--cable was given {len(cable_m)} times for {outlets} outlets. Give one length for all, or one "
            "an outlet."
        )
    runs = tuple(cable_m) * (outlets if len(cable_m) == 1 else 1)
    return Wiring(
        cable_m=runs,
        to_splitter_m=COMMON_SHARE * min(runs),
        splitter=None if outlets == 1 else splitter_of(outlets, devices),
        outlet=device_of("outlet", devices),
        connector=device_of("connector", devices),
        amplifier=device_of("distribution_amplifier", devices),
    )


def splitter_of(ways: int, devices: Iterable[Device]) -> Device:
    """Return the smallest splitter with enough ways. Raises InputError where none has as many."""
    splitters = sorted((one for one in devices if one.kind == "splitter"), key=lambda one: one.ways)
    found = next((one for one in splitters if one.ways >= ways), None)
    if found is None:
        most = splitters[-1].ways if splitters else 0
        raise InputError(
            f"found no splitter for {ways} outlets; the largest of the catalogue has {most}. Give fewer "
            "outlets, or plan a block with --shared."
        )
    return found


def device_of(kind: str, devices: Iterable[Device]) -> Device:
    """Return the first device of a kind. Raises InputError where the catalogue has none."""
    found = next((device for device in devices if device.kind == kind), None)
    if found is None:
        raise InputError(f"the catalogue has no device of the kind {kind}. Add one to devices.csv.")
    return found


def house_report(asked: Question, answer: Answer, home: Wiring) -> HouseReport:
    """Return what the rest of a house asks of the antenna; answer : for one set."""
    return HouseReport(
        splitter="" if home.splitter is None else home.splitter.name,
        passive_loss_db=home.passive_loss_db,
        common_m=home.to_splitter_m,
        amplifier=home.amplifier.name,
        amplifier_gain_db=gain_db(home.amplifier),
        one_set_tier=answer.tier,
        plain=_plan(asked, home, amplified=False),
        amplified=_plan(asked, home, amplified=True),
    )


def _plan(asked: Question, home: Wiring, *, amplified: bool) -> HousePlan:
    """Return the class that holds at the end of the longest run, and what arrives at every outlet with it."""
    longest = max(home.cable_m)
    wired = replace(asked, tiers=tuple(home.at(t, longest, amplified=amplified) for t in asked.tiers))
    answer = answer_of(wired)
    own = asked.tiers[answer.installation.tier - 1]
    outlets = tuple(
        outlet_level(asked, home.at(own, run, amplified=amplified), answer.plan, run) for run in home.cable_m
    )
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


def loss_by_band(parts: Iterable[Device]) -> dict[str, float]:
    """Return what passive devices in a row usually take in each band.

    Where the catalogue has no loss of a device at VHF, that at UHF counts there too, which is the greater.

    Raises InputError where it has none at UHF.
    """
    parts = tuple(parts)
    return {band: sum(_loss_db(part, band) for part in parts) for band in BANDS}


def _loss_db(device: Device, band: str) -> float:
    if device.loss_uhf_db is None:
        raise InputError(
            f"{device.name} ({device.device_id}): found no loss at UHF. Fill loss_uhf_db in devices.csv."
        )
    at_vhf = device.loss_uhf_db if device.loss_vhf_db is None else device.loss_vhf_db
    return (device.loss_uhf_db if band == "uhf" else at_vhf).typical
