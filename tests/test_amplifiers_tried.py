"""Which amplifiers of a catalogue are tried: those that pass the bands, least costly first, none beaten."""

import math
from dataclasses import replace

import pytest
from small_catalogue import CATALOGUE

from covermap.catalogue import MOST_TRIED, Device, Span, amplifiers_for, installed
from covermap.tables import read_tiers

TIERS = read_tiers()


def amplifier(name, price, gain_db=14.0, noise_db=2.0, input_dbm=-16.0, **more):
    def exact(value):
        return Span(value, value, value)

    return Device(
        name, name, "amplifier", 1, exact(gain_db), exact(noise_db), None, None, None, None, exact(input_dbm),
        None, price, "x", **more,
    )  # fmt: skip


def with_devices(*devices):
    others = {key: one for key, one in CATALOGUE.devices.items() if one.kind != "amplifier"}
    return replace(CATALOGUE, devices={**others, **{one.device_id: one for one in devices}})


def tried(antennas, *devices):
    catalogue = with_devices(*devices)
    found = amplifiers_for([catalogue.antennas[name] for name in antennas.split("+")], catalogue)
    return [one.device_id for one in found]


DEAR, CHEAP = amplifier("dear", 80.0, gain_db=25.0), amplifier("cheap", 30.0)


@pytest.mark.parametrize(
    ("antennas", "devices", "expected"),
    [
        # by price, not by the order of the table
        ("both", (DEAR, CHEAP), ["cheap", "dear"]),
        # unknown prices come last
        ("both", (amplifier("?", math.nan, gain_db=40.0), CHEAP), ["cheap", "?"]),
        # one that costs more and is no better in anything is beaten; of equal ones the first stays
        ("both", (CHEAP, amplifier("same, dearer", 31.0)), ["cheap"]),
        ("both", (CHEAP, amplifier("equal", 30.0)), ["cheap"]),
        # less noise, more gain or a higher limit are each a reason
        (
            "both",
            (CHEAP, amplifier("quiet", 40.0, noise_db=1.0), amplifier("strong", 41.0, input_dbm=-6.0)),
            ["cheap", "quiet", "strong"],
        ),
        # one for UHF alone is none for an antenna that brings VHF too
        ("both", (amplifier("uhf", 10.0, lowest_mhz=470.0), CHEAP), ["cheap"]),
        ("uhf_20", (amplifier("uhf", 10.0, lowest_mhz=470.0), CHEAP), ["uhf"]),
        ("uhf_20+vhf_6", (amplifier("uhf", 10.0, lowest_mhz=470.0), CHEAP), ["cheap"]),
        ("vhf_6", (amplifier("vhf", 10.0, highest_mhz=230.0), DEAR), ["vhf", "dear"]),
        # 608 MHz would cut what stands above
        ("uhf_20", (amplifier("low", 10.0, highest_mhz=608.0), CHEAP), ["cheap"]),
        ("both", (), []),
    ],
)
def test_amplifiers_worth_trying(antennas, devices, expected):
    assert tried(antennas, *devices) == expected


def test_of_many_the_least_costly_are_tried():
    many = [amplifier(f"a{n}", 10.0 + n, gain_db=10.0 + n) for n in range(9)]
    assert tried("both", *reversed(many)) == [f"a{n}" for n in range(MOST_TRIED)]


def test_each_variant_has_its_amplifier_and_its_price():
    catalogue = with_devices(DEAR, CHEAP)
    one = installed("both", catalogue, TIERS)
    assert [variant.amplifier_name for variant in one.variants] == ["", "cheap", "dear"]
    assert [one.price(variant.amplifier) for variant in one.variants] == [90.0, 120.0, 170.0]
    assert [tier.has_amplifier for tier in one.tiers] == [False, True, True]
    assert installed("both", catalogue, TIERS, amplifier=DEAR).amplifiers == (DEAR,)
    assert installed("panel", catalogue, TIERS).amplifiers == ()  # nobody puts one up beside the set
