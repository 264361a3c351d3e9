"""Computes the generic antennas of covermap/tables/antenna_gains.csv by the method of moments.

    python tests/benchmarks/compute_antennas.py            # print what it finds
    python tests/benchmarks/compute_antennas.py --write    # and put it into the table
    python tests/benchmarks/compute_antennas.py --lobes    # how far a lobe is off each pattern

Needs `pip install "covermap[antennas]"`. Aluminium wires in free space, horizontal polarization, main
direction +x; no stand, no cable, an ideal harness. Shapes are our own: those of yagis were found by a search
for the most gain over their band (Nelder-Mead over five numbers), the others are round figures. Rows of the
table whose source does not begin with "computed" stay as they are.
"""

from __future__ import annotations

import argparse
import csv
import math
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np

TABLE = Path(__file__).resolve().parents[2] / "covermap" / "tables" / "antenna_gains.csv"
LIGHT_M_MHZ = 299.792458
ALUMINIUM_S_M = 3.5e7
DBI_FROM_DBD = 2.15  # ITU-R P.341
SET_OHM = 75.0
STEP_DEG = 1.0
SPREAD_DB = 1.5  # judgement: how far a made antenna lies from the computed one, 19 of 20
HIGH_VHF_MHZ = (174.0, 184.5, 195.0, 205.5, 216.0)
UHF_MHZ = (470.0, 526.0, 582.0, 638.0, 694.0)
COLUMNS = (
    "antenna_id", "band", "frequency_mhz", "gain_low_dbd", "gain_dbd", "gain_high_dbd", "beamwidth_deg",
    "front_to_back_db", "pattern", "source",
)  # fmt: skip

Point = tuple[float, float, float]


class Wire(NamedTuple):
    """A straight wire between two points in metres, cut into segments."""

    tag: int
    segments: int
    start: Point
    end: Point
    radius_m: float


class Structure(NamedTuple):
    """Wires, where they are fed (tag, segment), and lines between segments.

    lines : (tag, segment, tag, segment, impedance in ohm: negative crossed, length in m)
    matched : False where the set's 75 ohm stand at the feed and what they reflect is lost
    """

    wires: list[Wire]
    feeds: list[tuple[int, int]]
    lines: list[tuple[int, int, int, int, float, float]] = []
    matched: bool = True


class Figures(NamedTuple):
    """An antenna at one frequency; front to back: against the strongest direction 90 degrees or more off."""

    gain_dbd: float
    beamwidth_deg: float
    front_to_back_db: float


def solve(structure: Structure, mhz: float) -> tuple[np.ndarray, complex]:
    """Return gain in the horizontal plane, one a degree from the main direction; and impedance. [dBi, ohm]"""
    import PyNEC

    context = PyNEC.nec_context()
    geometry = context.get_geometry()
    for wire in structure.wires:
        geometry.wire(wire.tag, wire.segments, *wire.start, *wire.end, wire.radius_m, 1.0, 1.0)
    context.geometry_complete(0)
    context.gn_card(-1, 0, 0, 0, 0, 0, 0, 0)
    context.ld_card(5, 0, 0, 0, ALUMINIUM_S_M, 0, 0)
    for line in structure.lines:
        context.tl_card(*line, 0, 0, 0, 0)
    for tag, segment in structure.feeds:
        context.ex_card(0, tag, segment, 0, 1.0, 0, 0, 0, 0, 0)
    context.fr_card(0, 1, mhz, 0)
    context.rp_card(0, 1, round(360.0 / STEP_DEG), 0, 5, 0, 0, 90.0, 0.0, 0.0, STEP_DEG, 0.0, 0.0)
    gain_dbi = np.asarray(context.get_radiation_pattern(0).get_gain()).ravel()
    return gain_dbi, complex(np.asarray(context.get_input_parameters(0).get_impedance()).ravel()[0])


def figures(structure: Structure, mhz: float) -> Figures:
    """Return gain, half-power beamwidth and front-to-back ratio of a structure at a frequency."""
    gain_dbi, impedance = solve(structure, mhz)
    front_dbi = float(gain_dbi[0])
    half = gain_dbi.size // 2
    right, left = gain_dbi[: half + 1], np.concatenate([gain_dbi[:1], gain_dbi[: half - 1 : -1]])
    width_deg = sum(_falls_by_half_at(side) for side in (right, left))
    behind_dbi = max(float(side[round(90.0 / STEP_DEG) :].max()) for side in (right, left))
    lost_db = 0.0 if structure.matched else -10.0 * math.log10(1.0 - _reflected(impedance))
    return Figures(front_dbi - DBI_FROM_DBD - lost_db, width_deg, max(0.0, front_dbi - behind_dbi))


def _falls_by_half_at(side_dbi: np.ndarray) -> float:
    """Return the angle at which a pattern has fallen by 3.01 dB, linear between two degrees."""
    drop_db = side_dbi[0] - side_dbi - 10.0 * math.log10(2.0)
    after = int(np.flatnonzero(drop_db >= 0.0)[0])
    return STEP_DEG * (after - drop_db[after] / (drop_db[after] - drop_db[after - 1]))


def _reflected(impedance: complex) -> float:
    return abs((impedance - SET_OHM) / (impedance + SET_OHM)) ** 2


def along_y(
    tag: int, x_m: float, length_m: float, radius_m: float, segments: int = 21, z_m: float = 0.0
) -> Wire:
    """Return an element across the boom."""
    return Wire(tag, segments, (x_m, -length_m / 2.0, z_m), (x_m, length_m / 2.0, z_m), radius_m)


def dipole(length_m: float, radius_m: float) -> Structure:
    """Return a straight dipole fed in its middle, into the set's impedance."""
    return Structure([along_y(1, 0.0, length_m, radius_m)], [(1, 11)], matched=False)


def loop(diameter_m: float, radius_m: float, sides: int = 16) -> Structure:
    """Return a round loop that stands upright and is fed at its lowest point, into the set's impedance."""
    angles = [2.0 * math.pi * (corner - 0.5) / sides - math.pi / 2.0 for corner in range(sides + 1)]
    corners = [(0.0, diameter_m / 2.0 * math.cos(a), diameter_m / 2.0 * math.sin(a)) for a in angles]
    wires = [Wire(n + 1, 1, corners[n], corners[n + 1], radius_m) for n in range(sides)]
    return Structure(wires, [(1, 1)], matched=False)


def yagi(lengths: Sequence[float], positions: Sequence[float], mhz: float, diameter_m: float) -> Structure:
    """Return a yagi: reflector, fed element, directors; lengths and places in wavelengths at a frequency."""
    wave_m = LIGHT_M_MHZ / mhz
    wires = [
        along_y(tag, place * wave_m, length * wave_m, diameter_m / 2.0)
        for tag, (length, place) in enumerate(zip(lengths, positions, strict=True), start=1)
    ]
    return Structure(wires, [(2, 11)])


class YagiShape(NamedTuple):
    """A yagi by five numbers, in wavelengths: equal steps and an even taper behind the first director."""

    elements: int
    boom: float
    reflector: float
    reflector_step: float
    first_step: float
    first_director: float
    last_director: float

    def at(self, mhz: float, diameter_m: float) -> Structure:
        """Return the yagi for the middle frequency of its band; the fed element is 0.47 wavelengths."""
        directors = self.elements - 2
        lengths = [self.reflector, 0.47, *np.linspace(self.first_director, self.last_director, directors)]
        first = self.reflector_step + self.first_step
        step = (self.boom - first) / (directors - 1) if directors > 1 else 0.0
        places = [0.0, self.reflector_step, *(first + step * number for number in range(directors))]
        return yagi(lengths, places, mhz, diameter_m)


def bow_ties(bays: int, columns: int = 1, column_m: float = 0.5) -> Structure:
    """Return bow-ties of four arms of 0.2 m, 0.1 m before a screen of wires, bays stacked 0.2 m apart.

    The screen of each column: wires of 0.34 m, 0.06 m apart. Every bay is fed alike.
    """
    arm_m, spread, gap_m, before_m, stacked_m = 0.2, math.radians(30.0), 0.02, 0.1, 0.2
    width_m, pitch_m = 0.34, 0.06
    wires: list[Wire] = []
    feeds: list[tuple[int, int]] = []

    def add(segments: int, start: Point, end: Point, radius_m: float) -> int:
        wires.append(Wire(len(wires) + 1, segments, start, end, radius_m))
        return len(wires)

    rows = round((bays * stacked_m + 0.06) / pitch_m)
    for column in range(columns):
        y = (column - (columns - 1) / 2.0) * column_m
        for bay in range(bays):
            z = (bay - (bays - 1) / 2.0) * stacked_m
            feeds.append((add(1, (before_m, y - gap_m / 2, z), (before_m, y + gap_m / 2, z), 0.0015), 1))
            for side in (-1.0, 1.0):
                for up in (-1.0, 1.0):
                    root = (before_m, y + side * gap_m / 2.0, z)
                    tip_y = root[1] + side * arm_m * math.cos(spread)
                    add(7, root, (before_m, tip_y, z + up * arm_m * math.sin(spread)), 0.0015)
        for row in range(rows + 1):
            z = (row - rows / 2.0) * pitch_m
            add(13, (0.0, y - width_m / 2.0, z), (0.0, y + width_m / 2.0, z), 0.001)
    return Structure(wires, feeds)


def log_periodic(low_mhz: float, high_mhz: float, tau: float, sigma: float, diameter_m: float) -> Structure:
    """Return dipoles that shrink by tau, two sigma of their length apart, on a crossed line of 120 ohm."""
    lengths = [1.02 * LIGHT_M_MHZ / low_mhz / 2.0]
    while lengths[-1] > 0.75 * LIGHT_M_MHZ / high_mhz / 2.0:
        lengths.append(lengths[-1] * tau)
    places = [0.0]
    for length_m in lengths[:-1]:
        places.append(places[-1] + 2.0 * sigma * length_m)
    wires = [
        along_y(tag, place, length, diameter_m / 2.0, 11)
        for tag, (length, place) in enumerate(zip(lengths, places, strict=True), start=1)
    ]
    lines = [(n, 6, n + 1, 6, -120.0, places[n] - places[n - 1]) for n in range(1, len(wires))]
    return Structure(wires, [(len(wires), 6)], lines)


def stacked(one: Structure, apart_m: float) -> Structure:
    """Return two of a structure one above the other, fed alike."""
    wires: list[Wire] = []
    for number, shift_m in enumerate((-apart_m / 2.0, apart_m / 2.0)):
        for wire in one.wires:
            start, end = ((x, y, z + shift_m) for x, y, z in (wire.start, wire.end))
            wires.append(wire._replace(tag=wire.tag + number * len(one.wires), start=start, end=end))
    feeds = [(tag + number * len(one.wires), segment) for number in (0, 1) for tag, segment in one.feeds]
    return Structure(wires, feeds, matched=one.matched)


# found by search, band and boom given: five numbers each
YAGIS = {
    "high_vhf_yagi_3": YagiShape(3, 0.370, 0.525, 0.164, 0.206, 0.400, 0.400),
    "high_vhf_yagi_6": YagiShape(6, 1.0, 0.539, 0.100, 0.168, 0.406, 0.395),
    "high_vhf_yagi_10": YagiShape(10, 2.0, 0.537, 0.127, 0.136, 0.410, 0.383),
    "uhf_yagi_3": YagiShape(3, 0.346, 0.566, 0.158, 0.188, 0.354, 0.354),
    "uhf_yagi_6": YagiShape(6, 1.0, 0.571, 0.141, 0.167, 0.360, 0.349),
    "uhf_yagi_10": YagiShape(10, 1.9, 0.575, 0.135, 0.115, 0.364, 0.329),
}


def _of_yagi(antenna_id: str) -> Structure:
    high_vhf = antenna_id.startswith("high_vhf")
    return YAGIS[antenna_id].at(195.0 if high_vhf else 575.0, 0.010 if high_vhf else 0.006)


ANTENNAS: dict[str, tuple[Callable[[], Structure], tuple[float, ...], str]] = {
    "indoor_loop": (lambda: loop(0.17, 0.003), UHF_MHZ, "loop of 17 cm, into 75 ohm"),
    "high_vhf_dipole": (lambda: dipole(0.72, 0.005), HIGH_VHF_MHZ, "dipole of 72 cm, into 75 ohm"),
    **{
        name: (lambda name=name: _of_yagi(name), HIGH_VHF_MHZ if "high" in name else UHF_MHZ, "yagi")
        for name in YAGIS
    },
    "high_vhf_log_periodic": (
        lambda: log_periodic(174.0, 216.0, 0.88, 0.10, 0.010),
        HIGH_VHF_MHZ,
        "log-periodic, tau 0.88, sigma 0.10",
    ),
    "uhf_log_periodic": (
        lambda: log_periodic(470.0, 694.0, 0.90, 0.12, 0.006),
        UHF_MHZ,
        "log-periodic, tau 0.90, sigma 0.12",
    ),
    "uhf_bowtie_2": (lambda: bow_ties(2), UHF_MHZ, "two bow-ties before a screen"),
    "uhf_bowtie_4": (lambda: bow_ties(4), UHF_MHZ, "four bow-ties before a screen"),
    "uhf_bowtie_8": (lambda: bow_ties(4, columns=2), UHF_MHZ, "two columns of four bow-ties"),
    "high_vhf_yagi_6_pair": (
        lambda: stacked(_of_yagi("high_vhf_yagi_6"), 1.4),
        HIGH_VHF_MHZ,
        "two yagis 1.4 m apart",
    ),
    "uhf_yagi_10_pair": (lambda: stacked(_of_yagi("uhf_yagi_10"), 0.6), UHF_MHZ, "two yagis 0.6 m apart"),
}


def computed_rows(antenna_id: str) -> list[dict[str, str]]:
    """Return the table's rows of an antenna, one a frequency."""
    build, mhz, words = ANTENNAS[antenna_id]
    structure = build()
    found = []
    for at_mhz in mhz:
        gain_dbd, width_deg, behind_db = figures(structure, at_mhz)
        gains = (gain_dbd - SPREAD_DB, gain_dbd, gain_dbd + SPREAD_DB)
        source = f"computed (method of moments): {words}; low and high: judgement"
        numbers = (
            *(f"{round(value, 1) + 0.0:.1f}" for value in gains),
            f"{width_deg:.0f}",
            f"{behind_db:.0f}",
        )
        found.append(dict(zip(COLUMNS, (antenna_id, "", f"{at_mhz:g}", *numbers, "", source), strict=True)))
    return found


def print_lobes(names: Sequence[str]) -> None:
    """Print how far the lobe that stands for an antenna's pattern is off it, at each of its frequencies.

    Beside the fitted floor that of the strongest direction 90 degrees or more off: mean behind and over all.
    """
    from covermap.catalogue.lobes import DEEPEST_DB, fitted_lobe
    from covermap.reception.pattern import lobe_rolloff
    from covermap.scenario.records import Pattern

    figures = "all_round behind hears_more"
    print(f"antenna mhz width floor: in_lobe {figures} | with the strongest behind as floor: {figures}")
    for name in names:
        build, mhz, _ = ANTENNAS[name]
        structure = build()
        for at_mhz in mhz:
            level_db = np.maximum(solve(structure, at_mhz)[0], -60.0)
            level_db = np.append(level_db, level_db[:1]) - level_db.max()
            angle_deg = np.linspace(0.0, 360.0, level_db.size)
            lobe = fitted_lobe(Pattern(name, "azimuth", angle_deg, level_db))
            away_deg = np.minimum(angle_deg, 360.0 - angle_deg)
            counted_db, behind = np.minimum(-level_db, DEEPEST_DB), away_deg >= 90.0
            told = []
            for floor_db in (lobe.front_to_back_db, float(-level_db[behind].max())):
                off_db = np.minimum(lobe_rolloff(lobe.beamwidth_deg) * away_deg**2, floor_db) - counted_db
                told += [math.sqrt(np.mean(off_db**2)), off_db[behind].mean(), off_db.max()]
            fitted = " ".join(f"{value:.1f}" for value in (lobe.off_in_lobe_db, *told[:3]))
            other = " ".join(f"{value:.1f}" for value in told[3:])
            lobe_words = f"{at_mhz:g} {lobe.beamwidth_deg:.0f} {lobe.front_to_back_db:.1f}"
            print(name, f"{lobe_words}: {fitted} | {other}", "" if lobe.suits else "refused", flush=True)


def main() -> None:
    """Compute every antenna, print it, and write the table where asked."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--write", action="store_true", help="put the rows into the table")
    parser.add_argument("--lobes", action="store_true", help="print how far lobes are off patterns instead")
    parser.add_argument("names", nargs="*", help="antennas (default: all)")
    asked = parser.parse_args()
    if asked.lobes:
        print_lobes(asked.names or list(ANTENNAS))
        return
    rows = []
    for antenna_id in asked.names or ANTENNAS:
        rows += computed_rows(antenna_id)
        for row in [row for row in rows if row["antenna_id"] == antenna_id]:
            print(*(row[column] for column in COLUMNS[:8] if row[column]), flush=True)
    if asked.write:
        with TABLE.open(encoding="utf-8", newline="") as handle:
            new = {row["antenna_id"] for row in rows}
            old = [
                row for row in csv.DictReader(handle)
                if row["antenna_id"] not in new or not row["source"].startswith("computed")
            ]  # fmt: skip
        with TABLE.open("w", encoding="utf-8", newline="") as handle:
            writer = csv.DictWriter(handle, COLUMNS, lineterminator="\n")
            writer.writeheader()
            writer.writerows([*old, *rows])


if __name__ == "__main__":
    main()
