"""The generic antennas that ship: against published classes, and computed anew where the solver is there."""

import importlib.util
import math
import re
from pathlib import Path

import pytest

from covermap.catalogue import read_catalogue
from tests.reference import reference_rows

ROOT = Path(__file__).resolve().parents[1]
ANTENNAS = read_catalogue().antennas
PAGE = (ROOT / "docs" / "antennas.md").read_text("utf-8")
# within this of a class's typical gain nothing is said; farther off the page gives the reason
AGREES_DB = 1.0

# antenna -> the published class that it stands for: class and band of hardware/antenna_gain_by_class.csv
CLASSES = {
    "indoor_loop": ("indoor loop / flat panel", "uhf"),
    "indoor_panel": ("indoor loop / flat panel", "uhf"),
    "indoor_whip": ("indoor whip / small loop", "vhf"),
    "high_vhf_dipole": ("half-wave dipole", "any"),
    "high_vhf_yagi_3": ("3-element yagi", "single channel"),
    "high_vhf_yagi_6": ("6-element yagi", "single channel"),
    "high_vhf_yagi_10": ("10 to 12-element yagi", "single channel / narrow group"),
    "uhf_yagi_3": ("3-element yagi", "single channel"),
    "uhf_yagi_6": ("6-element yagi", "single channel"),
    "uhf_yagi_10": ("wideband yagi, 10 elements", "uhf 470-700"),
    "uhf_yagi_20": ("wideband yagi, 18-20 elements", "uhf 470-700"),
    "uhf_log_periodic": ("log-periodic, small", "uhf 470-700"),
    "high_vhf_log_periodic": ("log-periodic", "high_vhf"),
    "uhf_bowtie_2": ("bowtie panel, 2-bay with reflector", "uhf"),
    "uhf_bowtie_4": ("bowtie panel, 4-bay with reflector", "uhf"),
    "uhf_bowtie_8": ("bowtie panel, 8-bay with reflector", "uhf"),
}


def mean_gain_dbd(antenna):
    return sum(gain.gain_dbd.typical for gain in antenna.gains) / len(antenna.gains)


def explained():
    """Return the antennas whose difference the page explains."""
    section = PAGE.split("## Where they differ", 1)[1].split("\n## ", 1)[0]
    return set(re.findall(r"`(\w+)`", section))


@pytest.mark.parametrize("antenna_id", CLASSES)
def test_generic_gain_is_within_a_decibel_of_its_class_or_the_page_says_why(antenna_id):
    name, band = CLASSES[antenna_id]
    row = next(
        row for row in reference_rows("hardware/antenna_gain_by_class.csv")
        if (row["class"], row["band"]) == (name, band)
    )  # fmt: skip
    difference_db = mean_gain_dbd(ANTENNAS[antenna_id]) - float(row["gain_dbd_typical"])
    assert (abs(difference_db) <= AGREES_DB) != (antenna_id in explained()), f"{difference_db:+.1f} dB"
    assert f"| `{antenna_id}` |" in PAGE
    shown = re.search(rf"\| `{antenna_id}` \|.*\| ([+-]\d+\.\d) \|\n", PAGE)
    assert float(shown[1]) == pytest.approx(difference_db, abs=0.06)


@pytest.mark.parametrize("one", ["uhf_yagi_10", "high_vhf_yagi_6"])
def test_stacking_a_pair_brings_what_handbooks_say(one):
    # hardware/antenna_gain_by_class.csv: two identical antennas stacked and phased, 2.5 typical, 2.9 at most
    row = next(
        row for row in reference_rows("hardware/antenna_gain_by_class.csv")
        if row["class"] == "two identical antennas stacked and phased"
    )  # fmt: skip
    brought_db = mean_gain_dbd(ANTENNAS[f"{one}_pair"]) - mean_gain_dbd(ANTENNAS[one])
    assert brought_db == pytest.approx(float(row["gain_dbd_typical"]), abs=0.4)
    assert brought_db < float(row["gain_dbd_high"])


def test_every_number_says_how_it_came_about():
    for antenna in ANTENNAS.values():
        for gain in antenna.gains:
            assert re.match(r"computed|measured|published|handbook|judgement", gain.source), gain


def script():
    pytest.importorskip("PyNEC", reason='the solver is not installed: pip install "covermap[antennas]"')
    path = ROOT / "tests" / "benchmarks" / "compute_antennas.py"
    spec = importlib.util.spec_from_file_location("compute_antennas", path)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_solver_gives_a_half_wave_dipole_its_gain():
    # exact: 2.15 dBi and 78 degrees between the half-power points (any antenna handbook; thin, half a wave)
    model = script()
    half_wave = model.dipole(0.48 * model.LIGHT_M_MHZ / 195.0, 0.003)
    found = model.figures(half_wave._replace(matched=True), 195.0)
    assert found.gain_dbd == pytest.approx(0.0, abs=0.05)
    assert found.beamwidth_deg == pytest.approx(78.0, abs=1.0)
    assert found.front_to_back_db == pytest.approx(0.0, abs=0.01)


# US National Bureau of Standards, Technical Note 688, table 1: element lengths and spacing in wavelengths
# (from memory) of the yagis whose measured gains stand in hardware/yagi_gain_by_boom_length.csv
NBS_YAGIS = {
    0.4: ([0.482, 0.47, 0.442], 0.2),
    0.8: ([0.482, 0.47, 0.428, 0.424, 0.428], 0.2),
    1.2: ([0.482, 0.47, 0.428, 0.420, 0.420, 0.428], 0.25),
    2.2: ([0.482, 0.47, 0.432, 0.415, 0.407, 0.398, 0.390, 0.390, 0.390, 0.390, 0.398, 0.407], 0.2),
    3.2: ([0.482, 0.47, 0.428, 0.420, 0.407, 0.398, 0.394, 0.390, *[0.386] * 9], 0.2),
    4.2: ([0.475, 0.46, 0.424, 0.424, 0.420, 0.407, 0.403, 0.398, 0.394, *[0.390] * 6], 0.308),
}


@pytest.mark.parametrize("boom", NBS_YAGIS)
def test_the_solver_gives_measured_yagis_their_gain(boom):
    model = script()
    lengths, step = NBS_YAGIS[boom]
    row = next(
        row for row in reference_rows("hardware/yagi_gain_by_boom_length.csv")
        if float(row["boom_wavelengths"]) == boom
    )  # fmt: skip
    assert len(lengths) == int(row["elements"])
    places = [0.0, 0.2, *(0.2 + step * number for number in range(1, len(lengths) - 1))]
    found = model.figures(model.yagi(lengths, places, 400.0, 0.0085 * 0.7495), 400.0)
    assert found.gain_dbd == pytest.approx(float(row["gain_dbd"]), abs=0.5)  # how well 1976 could measure


@pytest.mark.parametrize("antenna_id", ["high_vhf_dipole", "high_vhf_yagi_6", "uhf_log_periodic"])
def test_shipped_rows_are_what_the_script_computes(antenna_id):
    rows = script().computed_rows(antenna_id)
    shipped = ANTENNAS[antenna_id].gains
    assert len(rows) == len(shipped)
    for row, gain in zip(rows, shipped, strict=True):
        assert float(row["frequency_mhz"]) == gain.frequency_mhz
        assert float(row["gain_dbd"]) == pytest.approx(gain.gain_dbd.typical, abs=0.15)
        assert float(row["beamwidth_deg"]) == pytest.approx(gain.beamwidth_deg, abs=1.0)
        assert float(row["front_to_back_db"]) == pytest.approx(gain.front_to_back_db, abs=1.0)
    assert not any(math.isnan(gain.beamwidth_deg) for gain in shipped)
