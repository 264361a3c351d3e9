import math

import pytest
from sure_figures import with_sure_figures

from covermap.errors import InputError
from covermap.reception import ReceptionOptions, required_field
from covermap.reception.external_noise import UHF_NOISE_DB, external_noise_db, noise_location_sd_db
from covermap.tables import read_external_noise, read_tiers

CN_DB = 15.2  # 8-VSB, 47 CFR 73.623 prints 15.19

# Needed field at 10 m (tier 7: 15 m), 50 % sure and 90 % sure, in whole dB, worked by hand from Friis'
# formula, ITU-R P.372-17 (residential outdoors, city indoors), ITU-R P.2108-1 section 3.1 with R = 10 m,
# and 1.2816 sqrt(6^2 + location^2 + entry^2 + (w noise)^2), location by ITU-R P.1812-8 section 4.7, 100 m.
TABLE = {
    1: ((70, 85), (72, 86), (79, 92)),
    2: ((64, 77), (65, 78), (71, 82)),
    3: ((59, 72), (57, 68), (64, 74)),
    4: ((47, 57), (46, 54), (55, 63)),
    5: ((41, 50), (37, 45), (44, 52)),
    6: ((40, 50), (32, 42), (33, 41)),
    7: ((38, 48), (29, 39), (29, 37)),
}


@pytest.mark.parametrize("tier", sorted(TABLE))
def test_field_a_tier_needs(tier):
    for frequency_mhz, (half_sure, ninety_sure) in zip((69.0, 195.0, 545.0), TABLE[tier], strict=True):
        installation = with_sure_figures(read_tiers()[tier])
        needed = required_field(installation, frequency_mhz, CN_DB, "residential")
        surer = required_field(installation, frequency_mhz, CN_DB, "residential", confidence_percent=90.0)
        assert needed == pytest.approx(half_sure, abs=0.51)  # half the last printed digit
        assert surer == pytest.approx(ninety_sure, abs=0.51)


# By hand at 545 MHz, residential, 100 m: s_i = 6.31 dB and no noise varies by place there. Gains are off by
# 2 / 1.96 = 1.02 dB. The rooftop's noise behind the antenna by 3 / 1.96 = 1.53 dB: 10^(14.68 / 10) = 29.4
# of 1.26 + 29.4 - 1 = 29.6 in all, so it counts whole: hypot(1.02, 1.53) = 1.84. With the amplifier (2.5 dB,
# 18 dB) 1.78 + 28.4 / 63 = 2.23 of 2.49: 0.64 dB of it by 1.78 / 2.49, and 1.53 dB by 0.46 / 2.49 of the set:
# hypot(1.02, 0.47, 0.32) = 1.17.
@pytest.mark.parametrize(("tier", "figures_db", "others_db"), [(5, 1.84, 6.31), (6, 1.17, 6.31)])
def test_what_a_tiers_figures_are_off_by_is_part_of_its_chance(tier, figures_db, others_db):
    asked = {"system": CN_DB, "noise": "residential", "confidence_percent": 90.0}
    spread, sure = (
        required_field(one, 545.0, **asked)
        for one in (read_tiers()[tier], with_sure_figures(read_tiers()[tier]))
    )
    expected_db = 1.2816 * (math.hypot(others_db, figures_db) - others_db)
    assert spread - sure == pytest.approx(expected_db, abs=0.02)


def test_what_figures_are_off_by_counts_nothing_where_outside_noise_limits():
    # low VHF: 95 % of the shelf's noise comes in through an antenna that loses 8 dB: its loss hardly matters
    shelf = read_tiers()[1]
    asked = {"system": CN_DB, "noise": "residential", "confidence_percent": 90.0}
    spread, sure = (required_field(one, 69.0, **asked) for one in (shelf, with_sure_figures(shelf)))
    assert spread - sure < 0.02


@pytest.mark.parametrize(("tier", "more_db"), [(1, 3.0), (2, 3.0), (5, 4.3), (7, 4.8)])
def test_without_land_cover_more_is_needed(tier, more_db):
    # by hand: sigma from 8 and 5.5 dB in place of 6 and 1.9
    fields = [
        required_field(
            read_tiers()[tier], 545.0, CN_DB, "residential", confidence_percent=90.0,
            options=ReceptionOptions(has_land_cover=has_land_cover),
        )
        for has_land_cover in (True, False)
    ]  # fmt: skip
    assert fields[1] - fields[0] == pytest.approx(more_db, abs=0.6)


def test_a_system_is_a_name_or_a_figure():
    tier = read_tiers()[5]
    named = required_field(tier, 545.0, "atsc1_8vsb", "residential", required_cn={"atsc1_8vsb": 15.2})
    assert named == required_field(tier, 545.0, 15.2, "residential")
    with pytest.raises(InputError, match=r"'dvbt'.*Known: atsc1_8vsb"):
        required_field(tier, 545.0, "dvbt", "residential", required_cn={"atsc1_8vsb": 15.2})


def test_wrong_noise_and_confidence_are_named():
    tier = read_tiers()[5]
    with pytest.raises(InputError, match="'loud'"):
        required_field(tier, 545.0, 15.2, "loud")
    with pytest.raises(InputError, match="got 100"):
        required_field(tier, 545.0, 15.2, "rural", confidence_percent=100.0)


@pytest.mark.parametrize(
    ("frequency_mhz", "environment", "indoors", "noise_db"),
    [
        # ITU-R P.372-17 at 69 and 195 MHz: city 25.9 and 13.4, residential 21.6 and 9.1, rural 16.3 and 3.8
        (69.0, "residential", False, 21.6),
        (69.0, "residential", True, 25.9),  # indoors one environment noisier
        (195.0, "rural", True, 9.1),
        (195.0, "city", True, 13.4),  # city stays
        (545.0, "residential", False, 1.0),  # the table (judgement)
        (545.0, "quiet_rural", True, 3.0),
    ],
)
def test_external_noise(frequency_mhz, environment, indoors, noise_db):
    for table in (None, read_external_noise()):
        assert external_noise_db(frequency_mhz, environment, indoors, table) == pytest.approx(
            noise_db, abs=0.05
        )


def test_shipped_table_says_what_stands_without_it():
    for (band, _), listed in read_external_noise().items():
        if band == "uhf":
            assert listed == UHF_NOISE_DB


@pytest.mark.parametrize(
    ("environment", "sd_db"),
    [("city", 6.6), ("residential", 4.5), ("rural", 5.3), ("quiet_rural", 5.3)],  # P.372 deciles / 1.2816
)
def test_noise_differs_between_homes(environment, sd_db):
    assert noise_location_sd_db(195.0, environment, False) == pytest.approx(sd_db, abs=0.06)
    assert noise_location_sd_db(545.0, environment, False) == 0.0
