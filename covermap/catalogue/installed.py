"""What of a catalogue is put up together: one or two antennas at a mount, and the amplifiers tried."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import NamedTuple

from covermap.catalogue.amplifiers import amplifiers_for
from covermap.catalogue.asked import read_asked
from covermap.catalogue.mounting import as_tier, mount_of
from covermap.catalogue.records import Antenna, AntennaCatalogue, Device, Span
from covermap.errors import InputError
from covermap.reception.tiers import Tier, TierTable

BESIDE_THE_SET = ("shelf", "window")  # mounts where nobody puts up an amplifier of its own


class Variant(NamedTuple):
    """An installation as a tier, without an amplifier beside it (None) or with one."""

    tier: Tier
    amplifier: Device | None

    @property
    def amplifier_name(self) -> str:
        """Return the amplifier's name, "" without one."""
        return "" if self.amplifier is None else self.amplifier.name


@dataclass(frozen=True)
class Installed:
    """One or two antennas of a catalogue at a mount.

    key : as it was asked for. name : of the antennas, with the bearing of one that is turned for good
    antennas, mount, diplexer : what it is; the diplexer None for one antenna
    variants : without an amplifier, then with each that is worth trying, least costly first
    at : the mount. turned_deg : azimuth of each antenna, NaN where each home aims it
    """

    key: str
    name: str
    antennas: tuple[Antenna, ...]
    mount: str
    diplexer: Device | None
    variants: tuple[Variant, ...]
    at: Tier
    turned_deg: tuple[float, ...]

    @property
    def plain(self) -> Tier:
        """Return it without an amplifier beside it."""
        return self.variants[0].tier

    @property
    def tiers(self) -> tuple[Tier, ...]:
        """Return its variants as tiers."""
        return tuple(variant.tier for variant in self.variants)

    @property
    def amplifiers(self) -> tuple[Device, ...]:
        """Return the amplifiers tried with it, least costly first."""
        return tuple(variant.amplifier for variant in self.variants if variant.amplifier is not None)

    def price(self, amplifier: Device | None = None) -> float:
        """Return what antennas, diplexer and amplifier cost, NaN where one has no price."""
        parts = [self.diplexer, amplifier]
        # NaN spreads through a sum: one part without a price makes the whole unknown.
        return sum((part.price for part in parts if part is not None), sum(a.price for a in self.antennas))

    @property
    def has_range(self) -> bool:
        """Return whether any gain has a span."""
        spans = [gain.gain_dbd for antenna in self.antennas for gain in antenna.gains]
        return any(span.high > span.low for span in spans)

    def serves(self, frequency_mhz: float) -> bool:
        """Return whether any of its antennas has a gain at a frequency."""
        return any(antenna.gain_at(frequency_mhz) is not None for antenna in self.antennas)

    def unserved(self, carriers: Mapping[str, Sequence[float]]) -> tuple[str, ...]:
        """Return the services that come at no frequency it has a gain at; carriers : service -> MHz."""
        return tuple(name for name, mhz in carriers.items() if not any(map(self.serves, mhz)))

    def at_ends(self) -> tuple[Tier, Tier]:
        """Return it, without an amplifier, with every gain at the low and at the high end of its span."""
        return self.with_gains(self.antennas, "low"), self.with_gains(self.antennas, "high")

    def with_gains(self, antennas: Sequence[Antenna], end: str) -> Tier:
        """Return it, without an amplifier, with other figures of its antennas, at one end of their spans."""
        moved = [_at_end(antenna, end) for antenna in antennas]
        return _tier(moved, self.at, self.diplexer, self.turned_deg, None)


def installed(
    spec: str,
    catalogue: AntennaCatalogue,
    tiers: TierTable,
    *,
    amplifier: Device | None = None,
    height_m: float = math.nan,
) -> Installed:
    """Return what a word asks for, as covermap.catalogue.asked reads it.

    amplifier : the only one to be tried; default those of the catalogue that are worth it. None is tried
        where an antenna has its own, or stands beside the set
    height_m : instead of the mount's own

    Raises InputError as read_asked().
    """
    asked = read_asked(spec, catalogue)
    diplexer = device_of_kind("diplexer", catalogue) if len(asked.antennas) == 2 else None
    at = mount_of(tiers, asked.mount)
    if not math.isnan(height_m):
        at = replace(at, height_m=height_m)
    # None first: variants[0] is the one without an amplifier, on which plain() and others count.
    tried: tuple[Device | None, ...] = (None,)
    if asked.mount not in BESIDE_THE_SET:
        tried += _tried(asked.antennas, catalogue, amplifier)
    return Installed(
        key=spec,
        name=" + ".join(map(_name, asked.antennas, asked.turned_deg)),
        antennas=asked.antennas,
        mount=asked.mount,
        diplexer=diplexer,
        variants=tuple(
            Variant(_tier(asked.antennas, at, diplexer, asked.turned_deg, device), device) for device in tried
        ),
        at=at,
        turned_deg=asked.turned_deg,
    )


def _tried(
    antennas: Sequence[Antenna], catalogue: AntennaCatalogue, named: Device | None
) -> tuple[Device, ...]:
    """Return the amplifiers tried: the one named, where none is built in, else all that are worth it."""
    if named is None:
        return amplifiers_for(antennas, catalogue)
    return () if any(antenna.amplifier is not None for antenna in antennas) else (named,)


def _name(antenna: Antenna, turned_deg: float) -> str:
    return antenna.name if math.isnan(turned_deg) else f"{antenna.name} ({turned_deg:g}°)"


def _tier(
    antennas: Sequence[Antenna],
    at: Tier,
    diplexer: Device | None,
    turned_deg: Sequence[float],
    amplifier: Device | None,
) -> Tier:
    second = antennas[1] if len(antennas) == 2 else None
    return as_tier(
        antennas[0], at, amplifier=amplifier, second=second, diplexer=diplexer, turned_deg=turned_deg
    )


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


def _at_end(antenna: Antenna, end: str) -> Antenna:
    """Return an antenna with every gain at the low or high end of its span."""

    def moved(span: Span) -> Span:
        value = getattr(span, end)
        # No span is left, so that the end is not widened a second time by its own uncertainty.
        return Span(value, value, value)

    return replace(
        antenna, gains=tuple(replace(gain, gain_dbd=moved(gain.gain_dbd)) for gain in antenna.gains)
    )
