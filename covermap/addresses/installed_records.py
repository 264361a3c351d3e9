"""Antennas of the catalogue at a point, as plain records."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class InstallationAtPlace:
    """One or two antennas of the catalogue at a height of a point, with or without an amplifier.

    key, name, mount : as Installed; amplifier : its name, "" without one beside the antenna
    amplifier_price : NaN unknown
    chance_percent : of the list with its best plan; holds : whether that reaches the confidence
    directional : False where every aim is alike; aims_deg, joined, polarization : of that plan
    needs_filter : strong signals pass a limit of it
    lost : services of the list that alone miss the confidence
    unserved : services of the list at whose frequencies it has no gain
    weakest : the one with the lowest chance, weakest_percent
    services : that arrive of all of the file, each alone, at the aim that brings most
    price : of antennas, diplexer and amplifier, NaN where one has none
    """

    key: str
    name: str
    mount: str
    height_m: float
    amplifier: str
    amplifier_price: float
    chance_percent: float
    holds: bool
    aims_deg: tuple[float, ...]
    directional: bool
    joined: str
    polarization: str
    needs_filter: bool
    lost: tuple[str, ...]
    unserved: tuple[str, ...]
    weakest: str
    weakest_percent: float
    services: tuple[str, ...]
    price: float


@dataclass(frozen=True)
class Recommended:
    """One of the few installations worth buying: why, and its one weakness.

    reason : cheapest, no_amplifier, one_antenna, lower_mount, surer, next, next_with_mast or, where none
        holds, surest
    weakness : filter, amplifier, two_antennas, mast or weakest (its least sure service)
    """

    at: InstallationAtPlace
    reason: str
    weakness: str
