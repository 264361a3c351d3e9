"""What stands between one antenna and several outlets: a splitter, or taps along one line."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from covermap.catalogue import Device
from covermap.constants import BANDS
from covermap.errors import InputError
from covermap.reception.chain import cable_loss_db
from covermap.reception.tiers import Distribution, Tier

COMMON_SHARE = 0.5  # of the shortest run, up to splitter or amplifier (judgement)
CONNECTORS = 3  # pairs on the way: antenna, splitter or tap, outlet (judgement)
PASSING = 2  # pairs at a tap that the line passes: in and out
LINE, STAR = "line", "star"
WAYS = (STAR, LINE)  # to wire a home
# where television's bands begin, ITU Radio Regulations, region 1: there a cable takes least
BEGINS_MHZ = dict(zip(BANDS, (47.0, 174.0, 470.0), strict=True))


@dataclass(frozen=True)
class Wiring:
    """What stands between one antenna and the sets of a home.

    cable_m : from the antenna to each outlet
    common_m : the part of it that all share, up to the splitter or, on a line, to where an amplifier stands
    splitter : None for one outlet or a line; taps : one an outlet of a line, empty otherwise
    outlet, connector : on the way; amplifier : in front of splitter or line
    """

    cable_m: tuple[float, ...]
    common_m: float
    splitter: Device | None
    taps: tuple[Device, ...]
    outlet: Device
    connector: Device
    amplifier: Device

    @property
    def worst(self) -> int:
        """Return the outlet that gets least, from 0: with the longest run, on a line the last."""
        # The number decides between equal runs: on a line the last outlet also stands behind every tap.
        return max(range(len(self.cable_m)), key=lambda number: (self.cable_m[number], number))

    def passive_loss_db(self, number: int) -> dict[str, float]:
        """Return what all but the cable takes on the way to an outlet, counted from 0, in each band."""
        splitters = [] if self.splitter is None else [self.splitter]
        passed = self.taps[:number]
        connectors = [self.connector] * (CONNECTORS + PASSING * len(passed))
        loss_db = loss_by_band([self.outlet, *connectors, *splitters, *self.taps[number : number + 1]])
        return {band: loss_db[band] + sum(through_db(tap) for tap in passed) for band in BANDS}

    def at(self, tier: Tier, number: int, *, amplified: bool) -> Tier:
        """Return an installation as an outlet, counted from 0, sees it."""
        cable_m = self.cable_m[number]
        wired = replace(tier, cable_m=cable_m, passive_loss_by_band=self.passive_loss_db(number))
        if not amplified:
            return wired
        return replace(
            wired,
            # With an amplifier in the house the rest of the cable belongs to what stands behind it.
            cable_m=self.common_m,
            distribution=as_distribution(self.amplifier, cable_m - self.common_m),
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


def wiring(outlets: int, cable_m: Sequence[float], devices: Iterable[Device], way: str = STAR) -> Wiring:
    """Return the wiring of a home.

    outlets : sets that can be fed. cable_m : from the antenna to each outlet, or one length for all
    devices : of a catalogue. way : a star, from which the smallest splitter with enough ways is taken, or a
        line from outlet to outlet, with a tap at each

    Raises InputError for a number of lengths that fits neither, lengths that fall along a line, or where the
    catalogue lacks a part.
    """
    devices = tuple(devices)
    runs = _runs_m(outlets, cable_m, way)
    return Wiring(
        cable_m=runs,
        common_m=COMMON_SHARE * min(runs),
        splitter=splitter_of(outlets, devices) if outlets > 1 and way == STAR else None,
        taps=taps_of(runs, devices) if outlets > 1 and way == LINE else (),
        outlet=device_of("outlet", devices),
        connector=device_of("connector", devices),
        amplifier=device_of("distribution_amplifier", devices),
    )


def _runs_m(outlets: int, cable_m: Sequence[float], way: str) -> tuple[float, ...]:
    """Return the cable from the antenna to each outlet; arguments and errors as wiring()."""
    if way == LINE and len(cable_m) != outlets:
        raise InputError(
            f"--cable was given {len(cable_m)} times for {outlets} outlets on one line. Give one an outlet: "
            "metres of the line from the antenna up to it, nearest first."
        )
    if len(cable_m) not in (1, outlets):
        raise InputError(
            f"--cable was given {len(cable_m)} times for {outlets} outlets. Give one length for all, or one "
            "an outlet."
        )
    for number, (before_m, here_m) in enumerate(pairwise(cable_m), start=2):
        if way == LINE and here_m < before_m:
            raise InputError(
                f"--cable of outlet {number} is {here_m:g} m, that of the one before it {before_m:g} m. "
                "Along one line lengths count from the antenna and do not fall; give them nearest first."
            )
    return tuple(cable_m) * (outlets if len(cable_m) == 1 else 1)


def taps_of(cable_m: Sequence[float], devices: Iterable[Device]) -> tuple[Device, ...]:
    """Return the tap of each outlet of a line, nearest to the antenna first.

    The last outlet has the tap with the least loss, its way on closed by a resistor. Each one before it has
    the tap with the most loss with which it still gets at least what the last one gets, wherever the bands
    begin: there a cable takes least, so that it holds at every frequency.

    Raises InputError where the catalogue has no tap, or one without its loss to the next.
    """
    devices = tuple(devices)
    device_of("tap", devices)  # told where there is none
    taps = sorted((one for one in devices if one.kind == "tap"), key=_by_loss)
    passing_db = loss_by_band([device_of("connector", devices)] * PASSING)
    found = [taps[0]]
    to_last_db = loss_by_band(found)  # from the line in front of a tap to the last outlet
    for near_m, far_m in reversed(tuple(pairwise(cable_m))):
        behind_db = {
            band: to_last_db[band] + passing_db[band] + float(cable_loss_db(mhz, far_m - near_m))
            for band, mhz in BEGINS_MHZ.items()
        }
        # Never empty: the last outlet's own tap, with the least loss, always fits, since behind_db only
        # grows.
        fitting = (tap for tap in taps if _leaves_enough(tap, behind_db))
        found.insert(0, max(fitting, key=_by_loss))
        to_last_db = {band: loss + through_db(found[0]) for band, loss in behind_db.items()}
    return tuple(found)


def _by_loss(tap: Device) -> tuple[float, float]:
    return loss_by_band([tap])["uhf"], -through_db(tap)


def _leaves_enough(tap: Device, behind_db: dict[str, float]) -> bool:
    """Return whether a tap's outlet gets at least what the last one gets; behind_db : from its way on."""
    own_db = loss_by_band([tap])
    return all(own_db[band] <= through_db(tap) + behind_db[band] for band in BANDS)


def through_db(tap: Device) -> float:
    """Return what a tap usually takes on the way to the next. Raises InputError where that is not known."""
    if tap.through_db is None:
        raise InputError(f"{tap.name} ({tap.device_id}): found no through_db. Fill it in devices.csv.")
    return tap.through_db.typical


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
