"""What arrives at the outlets of a house, as plain records."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class OutletLevel:
    """What arrives at one outlet, half of the time, of the services of the list.

    weakest : the service closest to what the set needs; strongest : the one with the highest level
    level in dBuV in 75 ohm; spare : above the least level the set needs, and below the most it stands
    """

    cable_m: float
    weakest: str
    weakest_dbuv: float
    weakest_spare_db: float
    strongest: str
    strongest_dbuv: float
    strongest_spare_db: float


@dataclass(frozen=True)
class HousePlan:
    """The least class that holds the list at the worst outlet: tier (8 none), its chance and levels."""

    tier: int
    chance_percent: float
    needs_filter: bool
    outlets: tuple[OutletLevel, ...]


@dataclass(frozen=True)
class HouseReport:
    """One antenna for several outlets, without and with an amplifier in front of splitter or line.

    splitter : its name, empty for one outlet and for a line; taps : names along a line, one an outlet
    passive_loss_db : band -> of splitter or taps, outlet and connectors, up to the worst outlet
    first_loss_db : the same up to the first
    common_m : the part of the cable that all outlets share, up to splitter or amplifier
    amplifier : name of the one in the house; amplifier_gain_db : its gain
    one_set_tier : the class for a single set, as the answer of the address
    """

    splitter: str
    passive_loss_db: dict[str, float]
    common_m: float
    amplifier: str
    amplifier_gain_db: float
    one_set_tier: int
    plain: HousePlan
    amplified: HousePlan
    taps: tuple[str, ...]
    first_loss_db: dict[str, float]

    @property
    def amplifier_pays(self) -> bool:
        """Return whether the amplifier in the house saves a class of antenna."""
        return self.amplified.tier < self.plain.tier
