"""A catalogue of antennas and devices: what is read, what is refused, and an antenna at a mount as a tier."""

import math
import re
from dataclasses import replace

import pytest
from small_inputs import EXTRA, write_inputs

from covermap.catalogue import MOUNTS, Span, as_tier, catalogue_files, mount_of, read_catalogue
from covermap.errors import InputError
from covermap.jobs.check import check
from covermap.reception.chain import receiving_chain
from covermap.result.run_inputs import run_id_of
from covermap.scenario import read_scenario
from covermap.tables import load_table, read_tiers
from tests.reference import reference_rows

TIERS = read_tiers()
ANTENNAS = """antenna_id,name,kind,mounts,boom_m,price,amplifier,source
flat,Flat panel,indoor,shelf window,,20,,judgement
wide,Wide one,combination,rooftop/mast,2.5,90,,judgement
long,Long one,uhf,loft gable rooftop mast,1.8,70,,computed
hot,Hot one,uhf,gable,0.6,95,booster,judgement
"""
GAIN_COLUMNS = "gain_low_dbd,gain_dbd,gain_high_dbd,beamwidth_deg,front_to_back_db"
GAINS = f"""antenna_id,band,frequency_mhz,{GAIN_COLUMNS},source
flat,uhf,,-4,0,3,,,judgement
wide,high_vhf,,,7,,60,12,judgement
wide,uhf,,,10,,35,14,judgement
wide,low_vhf,,,2,,75,10,judgement
long,,600,9,10,11,40,18,computed
long,,500,7,8,9,50,14,computed
hot,uhf,,,6,,55,15,judgement
"""
DEVICE_COLUMNS = "gain_db,noise_figure_db,max_input_dbuv,loss_uhf_db,cable_root_db_per_100_m,price"
DEVICES = f"""device_id,name,kind,{DEVICE_COLUMNS},source
booster,Masthead amplifier,amplifier,18,2.5,93.75,,,55,judgement
line,Cable,cable,,,,,0.7,1,judgement
join,Diplexer,diplexer,,,,1.2,,9,judgement
"""


def write_catalogue(folder, antennas=ANTENNAS, gains=GAINS, devices=DEVICES, patterns=None):
    files = {"antennas": antennas, "antenna_gains": gains, "devices": devices, "antenna_patterns": patterns}
    for name, text in files.items():
        if text is not None:
            (folder / f"{name}.csv").write_text(text)
    return folder / "antennas.csv"


def own(tmp_path, **tables):
    return read_catalogue(write_catalogue(tmp_path, **tables))


def gain_dbd(antenna, frequency_mhz):
    found = antenna.gain_at(frequency_mhz)
    return None if found is None else found.gain_dbd.typical


# by hand from the rows above: 8 dBd at 500 and 10 at 600 MHz, 5 % beyond either still served
@pytest.mark.parametrize(
    ("antenna", "frequency_mhz", "dbd"),
    [
        ("long", 500.0, 8.0),
        ("long", 550.0, 9.0),
        ("long", 575.0, 9.5),
        ("long", 480.0, 8.0),
        ("long", 629.0, 10.0),
        ("long", 470.0, None),
        ("long", 640.0, None),
        ("long", 195.0, None),
        ("flat", 600.0, 0.0),
        ("flat", 195.0, None),
        ("wide", 195.0, 7.0),
        ("wide", 57.0, 2.0),
    ],
)
def test_gain_at_a_frequency(tmp_path, antenna, frequency_mhz, dbd):
    assert gain_dbd(own(tmp_path).antennas[antenna], frequency_mhz) == dbd


def test_low_high_and_lobe_lie_between_two_frequencies_too(tmp_path):
    gain = own(tmp_path).antennas["long"].gain_at(525.0)  # a quarter of the way from 500 to 600 MHz
    assert gain.gain_dbd == Span(7.5, 8.5, 9.5)
    assert (gain.beamwidth_deg, gain.front_to_back_db) == (47.5, 15.0)


def test_gain_over_an_isotropic_antenna_is_converted(tmp_path):
    # ITU-R P.341: a half-wave dipole has 2.15 dBi
    gains = "antenna_id,band,gain_low_dbi,gain_dbi,gain_high_dbi,source\n" + "".join(
        f"{antenna},uhf,8.15,12.15,14.15,published\n" for antenna in ("flat", "wide", "long", "hot")
    )
    found = own(tmp_path, gains=gains).antennas["long"].gain_at(600.0).gain_dbd
    assert found == pytest.approx((6.0, 10.0, 12.0))


def test_a_missing_lobe_is_told_from_the_gain_and_said(tmp_path):
    # 32 400 square degrees over the directivity: 10 dBd = 12.15 dBi = 16.4, so 44.4 degrees
    catalogue = own(tmp_path, gains=GAINS.replace(",10,,35,14,", ",10,,,,"))
    wide = catalogue.antennas["wide"].gain_at(600.0)
    assert wide.beamwidth_deg == pytest.approx(44.4, abs=0.05)
    assert wide.front_to_back_db == 14.0  # FCC Sixth Report and Order, Appendix A: UHF
    assert [warning for warning in catalogue.warnings if "line 4: no beamwidth_deg; 44 degrees" in warning]
    assert math.isnan(catalogue.antennas["flat"].gain_at(600.0).beamwidth_deg)  # 0 dBd: no lobe


def pattern(name, field):
    rows = "".join(f"{name},azimuth,{angle},{field(angle):.5f}\n" for angle in range(0, 360, 5))
    return "pattern,plane,angle_deg,relative_field\n" + rows


def test_an_own_pattern_gives_beamwidth_and_front_to_back(tmp_path):
    # cos^2 in front falls to 0.7071 of the field at acos(sqrt(0.7071)) = 32.8 degrees; 0.1 behind is 20 dB
    field = lambda angle: max(0.1, math.cos(math.radians(angle)) ** 2 if angle < 90 or angle > 270 else 0.1)  # noqa: E731
    gains = GAINS.replace("source\n", "source,pattern\n").replace("judgement\n", "judgement,\n")
    gains = gains.replace("computed\n", "computed,P\n")
    found = own(tmp_path, gains=gains, patterns=pattern("P", field)).antennas["long"].gain_at(550.0)
    assert found.beamwidth_deg == pytest.approx(65.5, abs=1.0)
    assert found.front_to_back_db == pytest.approx(20.0, abs=0.01)


def test_a_pattern_that_no_lobe_fits_is_refused_and_says_what_to_do(tmp_path):
    # a half-wave dipole hears front and back alike: cos(90 sin a) / cos a (textbook)
    def dipole(angle):
        sine, cosine = math.sin(math.radians(angle)), math.cos(math.radians(angle))
        return abs(math.cos(math.pi / 2 * sine) / cosine) if abs(cosine) > 1e-9 else 0.0

    gains = GAINS.replace("source\n", "source,pattern\n").replace("judgement\n", "judgement,\n")
    gains = gains.replace("computed\n", "computed,P\n")
    with pytest.raises(InputError) as caught:
        own(tmp_path, gains=gains, patterns=pattern("P", dipole))
    said = str(caught.value)
    assert "line 6, column pattern" in said
    assert "dB all round" in said
    assert "give beamwidth_deg and front_to_back_db" in said


def test_how_far_the_lobe_is_off_a_pattern_is_told_once(tmp_path):
    gains = GAINS.replace("source\n", "source,pattern\n").replace("judgement\n", "judgement,\n")
    gains = gains.replace("computed\n", "computed,P\n")
    told = own(
        tmp_path, gains=gains, patterns=pattern("P", lambda angle: max(0.1, math.cos(math.radians(angle))))
    )
    of_pattern = [
        warning for warning in told.warnings if warning.startswith("pattern P: counted as a lobe of")
    ]
    assert len(of_pattern) == 1  # two frequencies have it
    assert re.search(r"\d\.\d dB off in its main lobe, \d\.\d dB all round", of_pattern[0])


def test_a_difference_beside_a_gain_is_kept(tmp_path):
    header = GAINS.splitlines()[0] + ",relative_to,difference_low_db,difference_db,difference_high_db"
    rows = [row + ",,,," for row in GAINS.splitlines()[1:]]
    rows[2] = "wide,uhf,,8,10,12,35,14,measured,long,0.5,1,1.5"
    gain = own(tmp_path, gains="\n".join([header, *rows]) + "\n").antennas["wide"].gain_at(600.0)
    assert gain.gain_dbd == Span(8.0, 10.0, 12.0)
    assert (gain.relative_to, gain.difference_db) == ("long", Span(0.5, 1.0, 1.5))


def line(table, number, old, new):
    lines = table.splitlines(keepends=True)
    assert old in lines[number - 1]
    lines[number - 1] = lines[number - 1].replace(old, new)
    return "".join(lines)


# table and what stands in it -> what must be said
REFUSED = {
    "gain of no reference": (
        "gains",
        GAINS.replace("gain_dbd", "gain_db"),
        "found gain_db, which does not",
    ),
    "gain twice": (
        "gains",
        GAINS.replace(",source", ",gain_dbi,source").replace(",judgement", ",9,judgement"),
        "line 2, column gain_dbi.*in dBd too",
    ),
    "no gain": ("gains", line(GAINS, 4, ",10,", ",,"), "line 4, column gain_dbd.*does not serve has no row"),
    "no band": ("gains", line(GAINS, 3, "high_vhf", "vhf"), 'line 3, column band: found "vhf".*low_vhf'),
    "band of another frequency": (
        "gains",
        line(GAINS, 6, "long,,600", "long,high_vhf,600"),
        "line 6, column band.*600 MHz is uhf",
    ),
    "band twice": ("gains", GAINS + "wide,uhf,,,9,,35,14,x\n", "line 9, column band.*earlier row"),
    "frequency twice": ("gains", GAINS + "long,,500,,9,,35,14,x\n", "line 9, column frequency_mhz.*earlier"),
    "gain of an unknown antenna": (
        "gains",
        GAINS + "lung,uhf,,,9,,35,14,x\n",
        "found lung.*antennas.csv",
    ),
    "typical above high": (
        "gains",
        line(GAINS, 2, "-4,0,3", "-4,5,3"),
        "line 2, column gain_dbd.*from gain",
    ),
    "a lone bound": ("gains", line(GAINS, 2, "-4,0,3", "-4,0,"), "line 2.*come together"),
    "gain beyond sense": ("gains", line(GAINS, 4, ",10,", ",45,"), 'found "45".*from -30 to 30'),
    "gain without a source": ("gains", line(GAINS, 4, "judgement", ""), "line 4, column source"),
    "unknown pattern": (
        "gains",
        GAINS.replace("source\n", "source,pattern\n")
        .replace("judgement\n", "judgement,\n")
        .replace("computed\n", "computed,Q\n"),
        'column pattern: found "Q".*beside the table are: none',
    ),
    "antenna twice": (
        "antennas",
        ANTENNAS + "flat,F,uhf,loft,,,,x\n",
        "line 6, column antenna_id.*earlier",
    ),
    "antenna without gain": (
        "antennas",
        ANTENNAS + "new,N,uhf,loft,,,,x\n",
        'found "new".*gains.csv has no',
    ),
    "antenna without an id": ("antennas", ANTENNAS + ",N,uhf,loft,,,,x\n", "line 6, column antenna_id"),
    "negative price": ("antennas", line(ANTENNAS, 3, ",90,", ",-90,"), 'line 3, column price: found "-90"'),
    "unknown mount": (
        "antennas",
        line(ANTENNAS, 3, "rooftop/mast", "roof"),
        "line 3, column mounts.*shelf",
    ),
    "unknown kind": ("antennas", line(ANTENNAS, 4, ",uhf,", ",vhf,"), "line 4, column kind.*high_vhf"),
    "unknown amplifier": ("antennas", line(ANTENNAS, 5, "booster", "boster"), 'Did you mean "booster"'),
    "negative boom": ("antennas", line(ANTENNAS, 3, "2.5", "-2.5"), "line 3, column boom_m"),
    "no antennas": ("antennas", ANTENNAS.splitlines()[0] + "\n", "antennas.csv: found no rows"),
    "no column": ("antennas", ANTENNAS.replace("mounts", "place"), "missing mounts"),
    "amplifier without noise": ("devices", line(DEVICES, 2, ",2.5,", ",,"), "line 2, column noise_figure_db"),
    "cable without loss": ("devices", line(DEVICES, 3, "0.7", ""), "line 3, column cable_root"),
    "diplexer without loss": ("devices", line(DEVICES, 4, "1.2", ""), "line 4, column loss_uhf_db"),
    "negative price of a device": (
        "devices",
        line(DEVICES, 4, ",9,", ",-9,"),
        'line 4, column price.*"-9"',
    ),
    "device twice": ("devices", DEVICES + "line,C,cable,,,,,1,1,x\n", "line 5, column device_id"),
    "id that a command reads as two": (
        "antennas",
        ANTENNAS.replace("flat,", "flat+,"),
        r'line 2, column antenna_id: found "flat\+".*no blank and none of',
    ),
    "amplifier for no frequency": (
        "devices",
        line(
            DEVICES.replace(",source", ",source,lowest_mhz,highest_mhz"), 2, "judgement", "judgement,600,470"
        ),
        'line 2, column highest_mhz: found "470".*must be 600 or more',
    ),
    "pattern with a gap": (
        "patterns",
        "pattern,plane,angle_deg,relative_field\n" + "".join(f"P,azimuth,{a},1\n" for a in range(0, 300, 10)),
        "antenna_patterns.csv, pattern P .azimuth.: found no row between 290 and 0 degrees",
    ),
}


@pytest.mark.parametrize("name", REFUSED)
def test_a_wrong_catalogue_is_refused_whole(tmp_path, name):
    table, text, said = REFUSED[name]
    with pytest.raises(InputError, match=re.compile(said, re.DOTALL)):
        own(tmp_path, **{table: text})


def test_all_faults_of_a_table_are_told_at_once(tmp_path):
    gains = line(line(GAINS, 2, ",0,", ",x,"), 5, ",2,", ",99,")
    with pytest.raises(InputError) as caught:
        own(tmp_path, gains=gains)
    assert 'line 2, column gain_dbd: found "x"' in str(caught.value)
    assert 'line 5, column gain_dbd: found "99"' in str(caught.value)


def test_a_catalogue_without_gains_says_which_table_is_missing(tmp_path):
    with pytest.raises(InputError, match=r"antennas.csv has no antenna_gains.csv beside it"):
        own(tmp_path, gains=None)


def test_without_own_devices_the_generic_ones_hold(tmp_path):
    catalogue = own(tmp_path, devices=None, antennas=ANTENNAS.replace("booster", "masthead_low"))
    generic = read_catalogue().devices["masthead_low"]
    assert repr(catalogue.antennas["hot"].amplifier) == repr(generic)  # a missing price, NaN, equals nothing


def scenario_with_catalogue(tmp_path, **tables):
    write_catalogue(tmp_path, **tables)
    return write_inputs(tmp_path, extra=EXTRA + '[reception]\nantennas = "antennas.csv"\n')


def test_check_reads_the_catalogue_of_a_scenario(tmp_path):
    path = scenario_with_catalogue(tmp_path, gains=GAINS.replace("gain_dbd", "gain"))
    with pytest.raises(InputError, match="found gain, which does not say"):
        check(read_scenario(path), store=tmp_path / "store")


def test_every_table_of_a_catalogue_decides_the_run_id(tmp_path):
    scenario = read_scenario(scenario_with_catalogue(tmp_path))
    before = run_id_of(scenario)
    (tmp_path / "antenna_gains.csv").write_text(GAINS.replace(",10,", ",9,"))
    assert run_id_of(scenario) != before


# --- an antenna at a mount ---


def as_antenna(tmp_path, tier, bands=("low_vhf", "high_vhf", "uhf")):
    """Return a catalogue antenna that has a tier's figures."""
    rows = [
        f"one,{band},{tier.gain_dbd[band] - 2},{tier.gain_dbd[band]},{tier.gain_dbd[band] + 2},"
        f"{tier.beamwidth_deg[band]},{tier.front_to_back_db[band]},x\n"
        for band in bands
    ]
    header = "antenna_id,band,gain_low_dbd,gain_dbd,gain_high_dbd,beamwidth_deg,front_to_back_db,source\n"
    antennas = "antenna_id,name,kind,mounts,source\none,One,combination,gable rooftop mast,x\n"
    return own(tmp_path, antennas=antennas, gains=header + "".join(rows)).antennas["one"]


@pytest.mark.parametrize("number", [4, 5, 7])
@pytest.mark.parametrize("frequency_mhz", [57.0, 195.0, 593.0])
def test_an_antenna_with_a_tiers_figures_receives_as_the_tier(tmp_path, number, frequency_mhz):
    mount = next(word for word, tier in MOUNTS.items() if tier == number)
    bare = mount_of(TIERS, mount)
    installed = as_tier(as_antenna(tmp_path, TIERS[number]), bare)
    noise = {"external_noise_db": 8.0}
    assert receiving_chain(installed, frequency_mhz, **noise) == receiving_chain(bare, frequency_mhz, **noise)
    assert installed.at(frequency_mhz) == bare.at(frequency_mhz)
    assert not installed.has_amplifier


def test_the_chain_hears_the_gain_of_each_frequency(tmp_path):
    # by hand: the rows say 8 dBd at 500 MHz and 10 dBd at 600, so 1 dB more at 575 than at 525 MHz; field to
    # power takes 20 log10(575 / 525) = 0.79 dB back, 25 m of cable 16 (sqrt(1.15) - sqrt(1.05)) / 4 = 0.19
    long = as_tier(own(tmp_path).antennas["long"], mount_of(TIERS, "rooftop"))
    quiet = {"external_noise_db": -300.0}  # no noise from outside: the cable's loss counts in full
    difference_db = (
        receiving_chain(long, 575.0, **quiet).cn_minus_field_db
        - receiving_chain(long, 525.0, **quiet).cn_minus_field_db
    )
    assert difference_db == pytest.approx(1.0 - 0.79 - 0.19, abs=0.02)


@pytest.mark.parametrize(
    ("frequency_mhz", "receives"), [(195.0, False), (470.0, False), (480.0, True), (700.0, False)]
)
def test_a_frequency_or_band_without_gain_receives_nothing(tmp_path, frequency_mhz, receives):
    long = as_tier(own(tmp_path).antennas["long"], mount_of(TIERS, "rooftop"))
    chain = receiving_chain(long, frequency_mhz, external_noise_db=8.0)
    # no field of this world makes up for -200 dB; what an antenna with gain loses stays above -60
    assert chain.cn_minus_field_db > -60.0 if receives else chain.cn_minus_field_db < -200.0


def test_a_second_antenna_brings_its_bands_through_a_diplexer(tmp_path):
    catalogue = own(tmp_path)
    mount = mount_of(TIERS, "rooftop")
    pair = as_tier(
        catalogue.antennas["long"],
        mount,
        second=catalogue.antennas["wide"],
        diplexer=catalogue.devices["join"],
    )
    alone = as_tier(catalogue.antennas["long"], mount)
    quiet = {"external_noise_db": -300.0}
    lost_db = (
        receiving_chain(alone, 570.0, **quiet).cn_minus_field_db
        - receiving_chain(pair, 570.0, **quiet).cn_minus_field_db
    )
    # 570 MHz: 9.4 dBd of the long one against 10 of the wide one, which serves all UHF; less 1.2 dB
    assert pair.at(550.0).gain_dbd == 10.0
    assert lost_db == pytest.approx(1.2 - (10.0 - 9.4), abs=0.05)  # the antenna's own kT0 is not lost
    # the wide one's row at high VHF
    assert pair.at(195.0).gain_dbd == 7.0
    # with its own aims the diplexer is still there once
    for frequency_mhz in (195.0, 570.0):
        one = receiving_chain(pair, frequency_mhz, joined="single", **quiet)
        assert one == receiving_chain(pair, frequency_mhz, joined="diplexed", **quiet)


def test_amplifiers_named_and_built_in(tmp_path):
    catalogue = own(tmp_path)
    mount, booster = mount_of(TIERS, "gable"), catalogue.devices["booster"]
    hot = as_tier(catalogue.antennas["hot"], mount)
    assert (hot.amplifier_gain_db, hot.amplifier_noise_figure_db) == (18.0, 2.5)
    assert hot.amp_in_max_dbm == -15.0  # 93.75 dBuV in 75 ohm: dBuV = dBm + 108.75
    named = as_tier(catalogue.antennas["long"], mount, amplifier=booster)
    assert named.amplifier_gain_db == 18.0
    with pytest.raises(InputError, match="has an amplifier of its own"):
        as_tier(catalogue.antennas["hot"], mount, amplifier=booster)
    with pytest.raises(InputError, match="Name an amplifier"):
        as_tier(catalogue.antennas["long"], mount, amplifier=catalogue.devices["line"])


def test_impedance_loss_is_lost_before_the_noise_of_the_set(tmp_path):
    antenna = own(tmp_path).antennas["long"]
    mount = mount_of(TIERS, "rooftop")
    quiet = {"external_noise_db": -300.0}
    plain, lossy = (
        receiving_chain(as_tier(one, mount), 550.0, **quiet)
        for one in (antenna, replace(antenna, impedance_loss_db=1.5))
    )
    # Without noise from outside all noise is the set's, which stays while the carrier falls by 1.5 dB.
    assert plain.cn_minus_field_db - lossy.cn_minus_field_db == pytest.approx(1.5, abs=0.05)


# --- what ships ---


def test_generic_catalogue_serves_every_mount_and_band():
    catalogue = read_catalogue()
    assert not catalogue.warnings
    assert {mount for antenna in catalogue.antennas.values() for mount in antenna.mounts} == set(MOUNTS)
    for frequency_mhz in (57.0, 195.0, 593.0):
        assert any(antenna.gain_at(frequency_mhz) for antenna in catalogue.antennas.values())


def test_generic_devices_are_those_of_the_reference():
    devices = read_catalogue().devices
    for row in reference_rows("hardware/splitter_loss.csv"):
        splitter = devices[f"splitter_{row['ways']}"]
        assert splitter.loss_db(600.0) == Span(
            float(row["ideal_split_loss_db"]),
            float(row["typical_loss_db_uhf"]),
            float(row["max_loss_db_1000mhz"]),
        )
        assert splitter.loss_db(195.0).typical == float(row["typical_loss_db_vhf"])
    for row in reference_rows("hardware/coax_loss_points.csv"):
        cable = devices["cable_" + row["cable_type"].removeprefix("series_")]
        frequency_mhz = float(row["freq_mhz"])
        if frequency_mhz >= 50.0:
            assert cable.loss_db(frequency_mhz).typical == pytest.approx(
                float(row["fit_db_per_100m"]), abs=0.02
            )
            assert cable.loss_db(frequency_mhz, 25.0).typical == pytest.approx(
                float(row["loss_db_per_100m"]) / 4.0, rel=0.07
            )
    ids = {
        "masthead preamplifier, low gain": "masthead_low",
        "masthead preamplifier, high gain": "masthead_high",
        "indoor distribution amplifier": "distribution",
        "launch / head-end amplifier": "launch",
    }
    for row in reference_rows("hardware/active_devices.csv"):
        if row["device"] in ids:
            device = devices[ids[row["device"]]]
            assert device.gain_db.low == float(row["gain_db_low"])
            assert device.noise_figure_db.typical == float(row["noise_figure_db_typical"])
            # dBuV in 75 ohm = dBm + 108.75
            assert device.max_input_dbm.high == float(row["max_total_input_dbuv_75ohm_high"]) - 108.75


def test_taps_let_through_no_more_than_power_allows():
    # conservation of power: through + tap <= 1
    for row in load_table("devices"):
        if row["kind"] == "tap":
            out, through = float(row["loss_vhf_db"]), float(row["through_low_db"])
            assert 10 ** (-out / 10) + 10 ** (-through / 10) <= 1.0 + 0.002


def test_files_of_a_catalogue(tmp_path):
    path = write_catalogue(tmp_path)
    assert catalogue_files(path)["devices"] == tmp_path / "devices.csv"
