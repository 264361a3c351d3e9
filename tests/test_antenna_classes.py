"""The tier table's antennas beside published and handbook classes, and on a tuner's percent scale."""

from dataclasses import replace

import pytest
from reception_places import TIERS
from reference import reference_rows

from covermap.reception import receiving_chain
from covermap.reception.external_noise import external_noise_db

# a tuner's percent scale from attenuator steps: 0/-3/-6/-9 dB read 92/84/75/66 % (one tuner, measured)
DB_PER_POINT = 0.345

# class of antenna of each tier: (tier, band) -> rows of the table of classes
CLASS_OF = {
    (1, "high_vhf"): ("indoor whip / small loop",),
    (1, "uhf"): ("indoor loop / flat panel",),
    (2, "high_vhf"): ("indoor whip / small loop",),
    (2, "uhf"): ("indoor loop / flat panel",),
    (3, "high_vhf"): ("log-periodic", "combination VHF/UHF"),
    (3, "uhf"): ("log-periodic, small", "bowtie panel, 2-bay with reflector"),
    (4, "high_vhf"): ("combination VHF/UHF", "log-periodic"),
    (4, "uhf"): ("wideband yagi, 10 elements", "bowtie panel, 2-bay with reflector"),
    (5, "low_vhf"): ("combination VHF/UHF",),
    (5, "high_vhf"): ("combination VHF/UHF",),
    (5, "uhf"): ("combination VHF/UHF", "wideband yagi, 10 elements", "bowtie panel, 4-bay with reflector"),
    (7, "low_vhf"): ("combination VHF/UHF",),
    (7, "high_vhf"): ("6-element yagi", "10 to 12-element yagi"),
    (7, "uhf"): ("wideband yagi, 18-20 elements", "bowtie panel, 8-bay with reflector"),
}


def classes():
    return reference_rows("hardware/antenna_gain_by_class.csv")


def rows_for(names, band):
    fits = {"high_vhf": ("high_vhf", "vhf", "single", "any"), "low_vhf": ("low_vhf", "vhf"), "uhf": ("uhf",)}
    return [
        row
        for row in classes()
        if row["class"] in names and any(row["band"].startswith(start) for start in fits[band])
    ]


@pytest.mark.parametrize(("tier", "band"), CLASS_OF)
def test_gains_lie_within_their_classes(tier, band):
    rows = rows_for(CLASS_OF[tier, band], band)
    low = min(float(row["gain_dbd_low"]) for row in rows)
    high = max(float(row["gain_dbd_high"]) for row in rows)
    assert low <= TIERS[tier].gain_dbd[band] <= high


@pytest.mark.parametrize(("band", "gain_within_db"), [("low_vhf", 2.0), ("high_vhf", 1.0), ("uhf", 0.0)])
def test_rooftop_antenna_beside_the_planning_antennas(band, gain_within_db):
    # 4/6/10 dBd and 10/12/14 dB (ISED BPR-10 App. 8; FCC Sixth Report and Order App. A)
    planned = {row["band"]: row for row in classes() if row["class"] == "planning antenna ATSC"}
    row = planned[band]
    assert TIERS[5].gain_dbd[band] == pytest.approx(float(row["gain_dbd_typical"]), abs=gain_within_db)
    assert TIERS[5].front_to_back_db[band] == float(row["front_to_back_db_typical"])


@pytest.mark.parametrize("band", ["low_vhf", "high_vhf", "uhf"])
def test_larger_antennas_have_more_gain_and_narrower_beams(band):
    gains = [tier.gain_dbd[band] for tier in TIERS]
    assert gains == sorted(gains)
    beams = [tier.beamwidth_deg[band] for tier in TIERS]
    beams = [360.0 if beam != beam else beam for beam in beams]  # NaN: all directions alike
    assert beams == sorted(beams, reverse=True)


def carrier_db(antenna, mount, frequency_mhz):
    """Return C/N less the field with one tier's antenna at another tier's mount, outdoors residential."""
    tier = replace(
        TIERS[mount],
        gain_dbd=TIERS[antenna].gain_dbd,
        directivity_dbd=TIERS[antenna].directivity_dbd,
    )
    noise_db = external_noise_db(frequency_mhz, "residential", False)
    return receiving_chain(tier, frequency_mhz, external_noise_db=noise_db).cn_minus_field_db


def points(better, other, mount, frequency_mhz):
    """Return by how many points of the percent scale one antenna reads above another at one mount."""
    gain_db = carrier_db(better, mount, frequency_mhz) - carrier_db(other, mount, frequency_mhz)
    return gain_db / DB_PER_POINT


def test_a_large_antenna_reads_higher_on_high_vhf_than_small_ones():
    # common practice, no source: roughly 10 to 20 points; only the order is asked for, nothing is fitted
    spacing = {small: points(5, small, 5, 195.0) for small in (1, 2, 3, 4)}
    assert spacing[1] > spacing[2] > spacing[3] > spacing[4] > 0.0
    assert spacing[3] > 0.0
    # an amplifier leaves less between them: outside noise sets the limit, but never turns the order
    amplified = {small: points(5, small, 6, 195.0) for small in (1, 2, 3, 4)}
    assert amplified[1] > amplified[2] > amplified[3] > amplified[4] > 0.0
    assert amplified[1] < spacing[1]


def test_the_antenna_of_both_bands_is_weaker_than_those_of_uhf_alone():
    # handbook ranges: at UHF a combination antenna stands below panels and long yagis made for it, at high
    # VHF above what is not made for that band
    typical = {(row["class"], row["band"]): row["gain_dbd_typical"] for row in classes()}
    both = float(typical["combination VHF/UHF", "uhf"])
    for name, band in (
        ("bowtie panel, 4-bay with reflector", "uhf"),
        ("bowtie panel, 8-bay with reflector", "uhf"),
        ("wideband yagi, 18-20 elements", "uhf 470-700"),
    ):
        assert both < float(typical[name, band])
    assert float(typical["combination VHF/UHF", "high_vhf"]) > float(
        typical["indoor whip / small loop", "vhf"]
    )
    # the table's rooftop antenna is of that kind: not above what is made for UHF alone
    assert TIERS[5].gain_dbd["uhf"] <= float(typical["bowtie panel, 4-bay with reflector", "uhf"])
