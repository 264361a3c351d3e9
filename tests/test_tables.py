"""Tables: published figures row by row, and what is said of a user's own copy."""

import csv
import math

import pytest

from covermap.errors import InputError
from covermap.scenario.channels import plan_names, read_channel_plan
from covermap.scenario.systems import systems
from covermap.tables import load_table, table_names, table_text
from covermap.tables.land_cover import read_land_cover_table
from covermap.tables.noise import read_external_noise
from covermap.tables.tiers import read_tiers
from tests.reference import reference_rows


@pytest.mark.parametrize("name", table_names())
def test_every_row_of_every_table_has_a_source(name):
    rows = load_table(name)
    assert rows
    assert all(row["source"].strip() for row in rows)


def test_table_that_does_not_exist_is_refused_by_name():
    with pytest.raises(InputError, match=r"no table 'tires'. The tables are: .*tiers"):
        load_table("tires")


# trade.md's own plan checks, which are 47 CFR 73.603(a): 9 -> 189, 14 -> 473, 36 -> 605 MHz
@pytest.mark.parametrize(("channel", "centre_mhz"), [("9", 189.0), ("14", 473.0), ("36", 605.0)])
def test_us_channel_centres(channel, centre_mhz):
    assert read_channel_plan("us_6mhz").channels[channel].centre_mhz == centre_mhz


# files of published channel edges: 47 CFR 73.603(a); GE06/CCIR; ARIB; ACMA
@pytest.mark.parametrize(
    ("plan", "file", "centre"),
    [
        ("us_6mhz", "us_canada_6mhz.csv", "centre_mhz"),
        ("europe_8mhz", "europe_ccir.csv", "centre_mhz"),
        ("japan_6mhz", "japan_isdbt.csv", "isdbt_centre_mhz"),
        ("australia_7mhz", "australia_7mhz.csv", "centre_mhz"),
    ],
)
def test_channel_plan_equals_the_published_one(plan, file, centre):
    channels = read_channel_plan(plan).channels
    published = reference_rows(f"channels/{file}")
    assert len(channels) == len(published)
    for row in published:
        channel = channels[row["channel"]]
        assert channel.lower_mhz == float(row["lower_mhz"])
        assert channel.centre_mhz == float(row[centre])
        assert channel.upper_mhz == float(row["upper_mhz"])


def test_brazilian_channel_14_has_the_isdbt_centre():
    # 47 CFR 73.603(a) edges 470 to 476 MHz; ARIB STD-B31: centre = 473 + 1/7 MHz = 473.142857
    channel = read_channel_plan("brazil_6mhz").channels["14"]
    assert channel.centre_mhz == pytest.approx(473.0 + 1.0 / 7.0, abs=1e-6)


@pytest.mark.parametrize("plan", plan_names())
def test_band_follows_the_frequency_in_every_plan(plan):
    # ITU Radio Regulations article 2: VHF 30 to 300 MHz, UHF from 300 MHz; low VHF is bands I and II
    for channel in read_channel_plan(plan).channels.values():
        if channel.centre_mhz > 300.0:
            assert channel.band == "uhf"
        else:
            assert channel.band == ("low_vhf" if channel.centre_mhz < 108.0 else "high_vhf")


@pytest.mark.parametrize(
    ("file", "family", "column"),
    [
        ("dvbt_cn.csv", "dvbt", "cn_ricean_db"),  # ETSI EN 300 744 Annex A
        ("dvbt2_cn.csv", "dvbt2", "cn_ricean_db"),  # ITU-R BT.2033-2 table 2
        ("isdbt_cn.csv", "isdbt", "cn_gaussian_db"),  # ARIB STD-B31 / ITU-R BT.1368
        ("atsc3_cn.csv", "atsc3", "cn_awgn_db"),  # ATSC A/327
    ],
)
def test_required_cn_equals_the_published_one(file, family, column):
    for row in reference_rows(f"planning_factors/{file}"):
        name = f"{family}_{row['modulation'].lower()}_{row['code_rate'].replace('/', '_')}"
        assert systems()[name].required_cn_db == float(row[column])


def test_8vsb_needs_the_rules_ratio_rounded():
    # 47 CFR 73.623(c)(3) prints 15.19 dB; the table keeps one decimal
    assert systems()["atsc1_8vsb"].required_cn_db == pytest.approx(15.19, abs=0.05)


@pytest.mark.parametrize(
    ("width_mhz", "bandwidth_mhz"),
    [(7.0, 6.66), (8.0, 7.61)],  # GE06 Annex 2: noise bandwidths of DVB-T
)
def test_noise_bandwidth_of_dvbt(width_mhz, bandwidth_mhz):
    assert systems()["dvbt_64qam_2_3"].bandwidth_in(width_mhz) == pytest.approx(bandwidth_mhz, abs=0.005)


def test_clutter_heights_are_those_of_p1812():
    # ITU-R P.1812-8 Table 2: water and open 0, suburban 10, urban and trees 15, dense urban 20 m
    table = read_land_cover_table()
    heights = dict(zip(table.category, table.clutter_height_m, strict=True))
    assert heights == {
        "water or sea": 0.0,
        "open or rural": 0.0,
        "suburban": 10.0,
        "trees or forest": 15.0,
        "urban": 15.0,
        "dense urban": 20.0,
    }


def test_height_gain_form_of_each_class_is_that_of_p2108():
    # ITU-R P.2108-1 section 3.1, default table: (2b) for water and open, (2a) elsewhere
    forms = {
        row["clutter_type"]: row["height_gain_equation"]
        for row in reference_rows("propagation/p2108/default_clutter.csv")
    }
    names = {
        "water or sea": "water_sea",
        "open or rural": "open_rural",
        "suburban": "suburban",
        "trees or forest": "urban_trees_forest",
        "urban": "urban_trees_forest",
        "dense urban": "dense_urban",
    }
    table = read_land_cover_table()
    for category, open_land in zip(table.category, table.open_land, strict=True):
        assert open_land == (forms[names[category]] == "2b")


def test_external_noise_is_the_curve_at_vhf_and_a_number_at_uhf():
    noise_db = read_external_noise()
    # ITU-R P.372 gives a curve up to 250 MHz; above it judgement: 1 dB outdoors, 3 dB indoors
    assert all(math.isnan(noise_db[band, "city"][0]) for band in ("low_vhf", "high_vhf"))
    assert {noise_db["uhf", place] for place in ("city", "residential", "rural", "quiet_rural")} == {
        (1.0, 3.0)
    }


def test_planning_front_to_back_ratios_stand_in_the_outdoor_tiers():
    # FCC Sixth Report and Order, Appendix A section I: 10, 12, 14 dB
    for tier in read_tiers().tiers[3:]:
        assert tier.front_to_back_db == {"low_vhf": 10.0, "high_vhf": 12.0, "uhf": 14.0}


def test_tiers_get_dearer_and_mount_no_lower_from_one_to_seven():
    tiers = read_tiers().tiers
    assert [tier.tier for tier in tiers] == [1, 2, 3, 4, 5, 6, 7]
    costs = [tier.cost_order for tier in tiers]
    heights_m = [tier.height_m for tier in tiers]
    assert costs == sorted(costs)
    assert heights_m == sorted(heights_m)
    assert [tier.has_amplifier for tier in tiers] == [False] * 5 + [True] * 2
    assert [tier.indoors for tier in tiers] == [True] * 3 + [False] * 4


def test_directivity_is_the_gain_but_at_least_that_of_a_dipole():
    shelf, rooftop = read_tiers()[1], read_tiers()[5]
    assert shelf.directivity_dbd == {"low_vhf": 0.0, "high_vhf": 0.0, "uhf": 0.0}
    assert rooftop.directivity_dbd == rooftop.gain_dbd
    assert math.isnan(shelf.beamwidth_deg["low_vhf"])


def _tier_file(tmp_path, change):
    """Write the built-in tier table with change(rows) applied, and return its path."""
    rows = list(csv.DictReader(table_text("tiers").splitlines()))
    change(rows)
    path = tmp_path / "tiers.csv"
    with open(path, "w", newline="", encoding="utf-8") as handle:
        writer = csv.DictWriter(handle, rows[0].keys())
        writer.writeheader()
        writer.writerows(rows)
    return path


def test_users_copy_of_the_tiers_reads_as_the_built_in_table(tmp_path):
    assert read_tiers(_tier_file(tmp_path, lambda rows: None)).tiers[5] == read_tiers().tiers[5]


def test_only_a_line_end_ends_a_row(tmp_path):
    name = "indoor\u2028panel\x85"
    path = _tier_file(tmp_path, lambda rows: rows[0].update(name=name + "x"))
    assert read_tiers(path).tiers[0].name == name + "x"


def test_a_line_is_counted_as_an_editor_does(tmp_path):
    path = _tier_file(tmp_path, lambda rows: rows[2].update(height_m="6 m", name="gable"))
    path.write_text(path.read_text("utf-8").replace("\n", "\n\n", 1), "utf-8")
    with pytest.raises(InputError, match=r"tiers.csv, line 5, column height_m"):
        read_tiers(path)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (
            lambda rows: rows.pop(),
            r"tiers.csv, column tier: found 1, 2, 3, 4, 5, 6. The rows must be tiers 1 to 7",
        ),
        (lambda rows: rows.reverse(), r"column tier: found 7, 6.*in order.*Correct the column"),
        (
            lambda rows: rows[2].update(height_m="6 m"),
            r'tiers.csv, line 4, column height_m: found "6 m". It must be a number from 0.5 to 100. Correct',
        ),
        (
            lambda rows: rows[2].update(indoors="maybe"),
            r'line 4, column indoors: found "maybe". Write yes or no',
        ),
        (
            lambda rows: rows[2].update(amp_in_max_dbm="-15"),
            r"column amp_in_max_dbm: found.*without amplifier_gain_db",
        ),
        (
            lambda rows: rows[5].update(amp_in_max_dbm=""),
            r"line 7, column amp_in_max_dbm: found nothing beside",
        ),
        (lambda rows: [row.pop("gain_uhf_dbd") for row in rows], r"missing gain_uhf_dbd. Add the column"),
        (lambda rows: rows[0].update(gain_uhf_dbd="nan"), r'column gain_uhf_dbd: found "nan"'),
    ],
)
def test_wrong_tier_table_is_refused_with_the_cell(tmp_path, change, message):
    with pytest.raises(InputError, match=f"(?s){message}"):
        read_tiers(_tier_file(tmp_path, change))


@pytest.mark.parametrize(
    ("read", "rows", "words"),
    [
        (
            read_land_cover_table,
            "class,category,clutter_height_m,open_land,water,built_up\n1,sea,0,yes,yes,no\n1,sand,0,yes,no,no\n",
            r"table.csv, line 3, column class: found 1 a second time.*Delete one",
        ),
        (
            read_external_noise,
            "band,environment,outdoor_noise_db,indoor_noise_db\nuhf,city,1,3\n",
            r"table.csv: found no row for low_vhf city.*Add a row",
        ),
    ],
    ids=["a class of land cover twice", "noise without a pair"],
)
def test_a_row_too_many_or_too_few_is_refused(tmp_path, read, rows, words):
    path = tmp_path / "table.csv"
    path.write_text(rows)
    with pytest.raises(InputError, match=words):
        read(path)
