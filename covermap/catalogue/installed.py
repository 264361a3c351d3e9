"""What of a catalogue is put up together: one antenna or two, at a mount, with and without an amplifier."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from difflib import get_close_matches

from covermap.catalogue.mounting import MOUNTS, as_tier, mount_of
from covermap.catalogue.records import Antenna, AntennaCatalogue, Device, Span
from covermap.errors import InputError
from covermap.reception.tiers import Tier, TierTable

JOINS, AT = "+", "@"
BESIDE_THE_SET = ("shelf", "window")  # mounts where nobody puts up an amplifier of its own
PREFERRED = (
    "rooftop",
    "gable",
    "loft",
    "mast",
    "window",
    "shelf",
)  # where an antenna goes that suits several


@dataclass(frozen=True)
class Installed:
    """One or two antennas of a catalogue at a mount.

    key : as it was asked for, ID, ID+ID or ID@mount. name : of the antennas
    antennas, mount, diplexer : what it is; the diplexer None for one antenna
    amplifier : the one named beside it; None where it has its own
    plain : without that amplifier. amplified : with it, None without one
    low, high : plain with every gain at the end of its span
    """

    key: str
    name: str
    antennas: tuple[Antenna, ...]
    mount: str
    diplexer: Device | None
    amplifier: Device | None
    plain: Tier
    amplified: Tier | None
    low: Tier
    high: Tier

    @property
    def variants(self) -> tuple[Tier, ...]:
        """Return it without an amplifier, and with one where there is one."""
        return (self.plain,) if self.amplified is None else (self.plain, self.amplified)

    @property
    def price(self) -> float:
        """Return what its antennas and diplexer cost, NaN where one has no price."""
        parts = [antenna.price for antenna in self.antennas]
        return sum(parts) + (0.0 if self.diplexer is None else self.diplexer.price)

    @property
    def has_range(self) -> bool:
        """Return whether any gain has a span."""
        spans = [gain.gain_dbd for antenna in self.antennas for gain in antenna.gains]
        return any(span.high > span.low for span in spans)


def installed(
    spec: str,
    catalogue: AntennaCatalogue,
    tiers: TierTable,
    *,
    amplifier: Device | None = None,
    height_m: float = math.nan,
) -> Installed:
    """Return what a word asks for: ID, or ID+ID for two behind a diplexer, and @mount where it goes.

    amplifier : tried beside it; left out where an antenna has its own, or stands beside the set
    height_m : instead of the mount's own
    Without a mount the antenna goes to the first of PREFERRED that it suits.

    Raises InputError for an id the catalogue does not have, more than two antennas, and a mount that does not
    suit them.
    """
    named, _, asked_mount = spec.partition(AT)
    antennas = tuple(antenna_of(part.strip(), catalogue) for part in named.split(JOINS))
    if len(antennas) > 2:
        raise InputError(
            f'"{spec}": found {len(antennas)} antennas. One or two stand on one cable; name two.'
        )
    mount = _mount(spec, antennas, asked_mount.strip())
    diplexer = device_of_kind("diplexer", catalogue) if len(antennas) == 2 else None
    at = mount_of(tiers, mount)
    if not math.isnan(height_m):
        at = replace(at, height_m=height_m)
    own = any(antenna.amplifier is not None for antenna in antennas)
    used = None if own or mount in BESIDE_THE_SET else amplifier

    def tier(of: Sequence[Antenna], with_it: Device | None) -> Tier:
        second = of[1] if len(of) == 2 else None
        return as_tier(of[0], at, amplifier=with_it, second=second, diplexer=diplexer)

    return Installed(
        key=spec,
        name=" + ".join(antenna.name for antenna in antennas),
        antennas=antennas,
        mount=mount,
        diplexer=diplexer,
        amplifier=used,
        plain=tier(antennas, None),
        amplified=None if used is None else tier(antennas, used),
        low=tier([_at_end(antenna, "low") for antenna in antennas], None),
        high=tier([_at_end(antenna, "high") for antenna in antennas], None),
    )


def antenna_of(antenna_id: str, catalogue: AntennaCatalogue) -> Antenna:
    """Return an antenna by its id. Raises InputError where the catalogue has none of it."""
    if antenna_id not in catalogue.antennas:
        near = get_close_matches(antenna_id, catalogue.antennas, 1)
        hint = f" Did you mean {near[0]}?" if near else ""
        raise InputError(
            f'the catalogue has no antenna "{antenna_id}".{hint} Its antennas are '
            f"{', '.join(catalogue.antennas)}."
        )
    return catalogue.antennas[antenna_id]


def device_by_id(device_id: str, kind: str, catalogue: AntennaCatalogue) -> Device:
    """Return a device by its id. Raises InputError where there is none of it, or it is of another kind."""
    found = catalogue.devices.get(device_id)
    if found is None or found.kind != kind:
        ids = [device.device_id for device in catalogue.devices.values() if device.kind == kind]
        known = ", ".join(ids) or "none; add one to devices.csv"
        raise InputError(f'the catalogue has no {kind} "{device_id}". It has {known}.')
    return found


def device_of_kind(kind: str, catalogue: AntennaCatalogue) -> Device | None:
    """Return the first device of a kind, None where there is none."""
    return next((device for device in catalogue.devices.values() if device.kind == kind), None)


def _mount(spec: str, antennas: Sequence[Antenna], asked: str) -> str:
    suits = [mount for mount in PREFERRED if all(mount in antenna.mounts for antenna in antennas)]
    if not suits:
        raise InputError(f'"{spec}": there is no mount that suits both antennas. Choose another pair.')
    if not asked:
        return suits[0]
    if asked not in suits:
        known = ", ".join(mount for mount in MOUNTS if mount in suits)
        raise InputError(f'"{spec}": found the mount "{asked}". It must be one of {known}.')
    return asked


def _at_end(antenna: Antenna, end: str) -> Antenna:
    """Return an antenna with every gain at the low or high end of its span."""

    def moved(span: Span) -> Span:
        value = getattr(span, end)
        return Span(value, value, value)

    return replace(
        antenna, gains=tuple(replace(gain, gain_dbd=moved(gain.gain_dbd)) for gain in antenna.gains)
    )
