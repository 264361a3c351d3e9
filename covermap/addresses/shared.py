"""One antenna for several homes: what the network takes on the way to each, and who is served."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from covermap.addresses.answer import Answer, answer_of
from covermap.addresses.house import outlet_level
from covermap.addresses.house_levels import OutletLevel
from covermap.addresses.plans import Question, as_aimed
from covermap.addresses.shared_homes import SharedHome
from covermap.addresses.wiring import CONNECTORS, as_distribution, device_of, loss_by_band, splitter_of
from covermap.catalogue import Device
from covermap.reception.bands import band_of
from covermap.reception.chain import cable_loss_db
from covermap.reception.tiers import Tier

DETOUR = 1.3  # cable over straight distance, where no length is given (judgement)
MIDDLE_MHZ = 600.0  # at which cables are compared
TO_AMPLIFIER_M = 10.0  # of cable from the antenna to the launch amplifier (judgement)
TRUNK = "cable_11"  # where the catalogue has it; else its cable with the least loss


@dataclass(frozen=True)
class ServedHome:
    """One home behind the shared antenna.

    cable_m : along the network; estimated : from the straight distance
    ways : of the splitters on the way; loss_db : of all behind the amplifier, at 600 MHz
    chance_percent : of the list at its set; served : it reaches the confidence
    level : at its set. single : the answer for an antenna of its own, None unknown
    """

    home: SharedHome
    cable_m: float
    estimated: bool
    ways: tuple[int, ...]
    loss_db: float
    chance_percent: float
    served: bool
    level: OutletLevel
    single: Answer | None

    @property
    def attenuator_db(self) -> float:
        """Return what must be taken from the signals at its set, 0 where they are not too strong."""
        return max(0.0, -self.level.strongest_spare_db)

    @property
    def own_high_vhf(self) -> bool:
        """Return whether its own antenna must be made for high VHF."""
        return self.single is not None and "own_high_vhf" in self.single.record.remarks


@dataclass(frozen=True)
class SharedAntenna:
    """What one antenna brings several homes.

    tier : of mount and antenna; promised : whether the home with the most loss holds the list
    aims_deg, joined : of its antennas; needs_filter : strong signals overload the amplifier or a set
    amplifier, cable : devices of the network; parts : device id -> how many; total_cable_m : of all homes
    """

    tier: Tier
    promised: bool
    aims_deg: tuple[float, ...]
    joined: str
    needs_filter: bool
    amplifier: Device
    cable: Device
    parts: dict[str, int]
    total_cable_m: float
    homes: tuple[ServedHome, ...]

    @property
    def served(self) -> int:
        """Return how many homes hold the list."""
        return sum(home.served for home in self.homes)


@dataclass(frozen=True)
class _Run:
    """A home's way from the amplifier: its cable, the splitters on it, and what its parts take by band."""

    cable_m: float
    estimated: bool
    ways: tuple[int, ...]
    passive_db: dict[str, float]


def shared_antenna(
    asked: Question,
    homes: Sequence[SharedHome],
    distance_m: Sequence[float],
    singles: Sequence[Answer | None],
    devices: Iterable[Device],
) -> SharedAntenna:
    """Return what one antenna brings several homes.

    asked : of the antenna's place. distance_m : straight, to each home. singles : the answer of each home for
    an antenna of its own. devices : of a catalogue

    The class is the least costly outdoor one that, with a launch amplifier behind it, holds the list at the
    home with the most loss; where none does, the largest.

    Source: Friis' formula and limits as everywhere in reception; losses of the catalogue's devices.
    """
    parts = tuple(devices)
    launch, cable = device_of("launch_amplifier", parts), _trunk(parts)
    runs = [_run(home, far_m, len(homes), parts) for home, far_m in zip(homes, distance_m, strict=True)]
    losses = [_loss_db(run, cable) for run in runs]
    # At one frequency in the middle of UHF: the home that loses most is nearly always the same at all of
    # them.
    worst = runs[max(range(len(runs)), key=losses.__getitem__)]
    mounts = _outdoors(asked.tiers)
    # Numbered by their places: an answer finds its plan by the number of its installation.
    ladder = (replace(mount, tier=own.tier) for mount, own in zip(mounts, asked.tiers, strict=True))
    answer = answer_of(replace(asked, tiers=tuple(_behind(tier, launch, cable, worst) for tier in ladder)))
    chosen = mounts[answer.installation.tier - 1]
    found = []
    for home, run, loss_db, single in zip(homes, runs, losses, singles, strict=True):
        tier = _behind(chosen, launch, cable, run)
        plan = as_aimed(asked.signals(tier), tier, answer.plan)
        level = outlet_level(asked, tier, plan, run.cable_m)
        served = asked.reaches(plan)
        found.append(
            ServedHome(
                home,
                run.cable_m,
                run.estimated,
                run.ways,
                loss_db,
                100.0 * plan.chance,
                served,
                level,
                single,
            )
        )
    return SharedAntenna(
        tier=chosen,
        promised=answer.tier <= len(mounts),
        aims_deg=answer.plan.azimuths_deg,
        joined=answer.plan.joined,
        needs_filter=answer.plan.overloads,
        amplifier=launch,
        cable=cable,
        parts=_parts(runs, homes, parts, launch),
        total_cable_m=sum(run.cable_m for run in runs),
        homes=tuple(found),
    )


def star(homes: int, devices: Iterable[Device]) -> tuple[int, ...]:
    """Return the ways of the splitters in a row that give every home an output of its own."""
    most = max((one.ways for one in devices if one.kind == "splitter"), default=1)
    ways: list[int] = []
    left = homes
    while left > 1:
        step = min(left, most)
        ways.append(step)
        # Built from the homes back to the antenna; told the other way round.
        left = math.ceil(left / step)
    return tuple(reversed(ways))


def _run(home: SharedHome, distance_m: float, homes: int, devices: Sequence[Device]) -> _Run:
    ways = home.splits or star(homes, devices)
    inside = () if home.outlets == 1 else (home.outlets,)
    parts = [splitter_of(number, devices) for number in (*ways, *inside)]
    parts += [device_of("outlet", devices)]
    # two at each splitter: in and out
    parts += [device_of("connector", devices)] * (CONNECTORS + 2 * len(ways))
    estimated = math.isnan(home.cable_m)
    return _Run(DETOUR * distance_m if estimated else home.cable_m, estimated, ways, loss_by_band(parts))


def _trunk(devices: Sequence[Device]) -> Device:
    """Return the cable of the network: the one for trunks, else that with the least loss."""
    cables = [device for device in devices if device.kind == "cable"]
    named = next((device for device in cables if device.device_id == TRUNK), None)
    if named is not None:
        return named
    return min(
        cables,
        key=lambda one: one.loss_db(MIDDLE_MHZ).typical,
        default=device_of("cable", devices) if not cables else cables[0],
    )


def _loss_db(run: _Run, cable: Device) -> float:
    return cable.loss_db(MIDDLE_MHZ, run.cable_m).typical + run.passive_db[band_of(MIDDLE_MHZ)]


def _behind(mount: Tier, launch: Device, cable: Device, run: _Run) -> Tier:
    """Return the shared antenna as a home sees it; its cable as long as the chain's with the same loss."""
    # A distribution knows its cable only as metres of the chain's own sort. Exact at 600 MHz; elsewhere as
    # far as both cables' losses grow alike with frequency.
    per_metre_db = cable.loss_db(MIDDLE_MHZ, 1.0).typical / float(cable_loss_db(MIDDLE_MHZ, 1.0))
    return replace(
        mount,
        cable_m=TO_AMPLIFIER_M,
        passive_loss_by_band=run.passive_db,
        distribution=as_distribution(launch, run.cable_m * per_metre_db),
    )


def _outdoors(tiers: Sequence[Tier]) -> tuple[Tier, ...]:
    """Return the ladder with its easiest outdoor class in place of the indoor ones: nobody shares those."""
    outdoor = next((tier for tier in tiers if not tier.indoors), tiers[-1])
    return tuple(outdoor if tier.indoors else tier for tier in tiers)


def _parts(
    runs: Sequence[_Run], homes: Sequence[SharedHome], devices: Sequence[Device], launch: Device
) -> dict[str, int]:
    """Return how many of each device the network has; splitters passed by several homes count once.

    In a row of splitters all homes pass the first; behind one of w ways there are up to w of the next.
    """
    counts: Counter[str] = Counter({launch.device_id: 1})
    for ways, sharing in Counter(run.ways for run in runs).items():
        behind = sharing
        # From the homes up: as many splitters as are needed for those that hang on the level below.
        for number in reversed(ways):
            behind = math.ceil(behind / number)
            counts[splitter_of(number, devices).device_id] += behind
    for home in homes:
        if home.outlets > 1:
            counts[splitter_of(home.outlets, devices).device_id] += 1
        counts[device_of("outlet", devices).device_id] += home.outlets
    return dict(counts)
