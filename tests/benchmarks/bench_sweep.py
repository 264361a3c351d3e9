"""Time the sweep: python tests/benchmarks/bench_sweep.py [FOLDER].

Prints a table: million answers a second (an answer is the loss at one place, height, frequency and time
percentage), of the sweep and of the path kernel, and the first call, which compiles, on its own. With the
FOLDER of another checkout, the sweep of that one too, in turns in the same run, and the ratio of the two.
The other's sweep is read from covermap/propagation/sweep/radial_sweep.py there; a FOLDER with
p1812_sweep.py (class Sweep) is taken as well. One core; medians of several runs of processor time, so
that waiting for other work on the machine does not count.
"""

from __future__ import annotations

import argparse
import importlib
import importlib.util
import json
import os
import platform
import statistics
import subprocess
import sys
import time
from pathlib import Path

import numba
import numpy as np

ROOT = Path(__file__).resolve().parents[2]
STEP_KM = 0.1
HEIGHTS_M = (1.5, 4.0, 10.0, 20.0)
FREQUENCIES_MHZ = (98.0, 174.0, 202.0, 498.0, 562.0, 634.0, 690.0, 1490.0)
CASES = (
    ("1 f, 1 h, 50 %", HEIGHTS_M[2:3], FREQUENCIES_MHZ[5:6], (50.0,)),
    ("1 f, 4 h, 50+10 %", HEIGHTS_M, FREQUENCIES_MHZ[5:6], (50.0, 10.0)),
    ("8 f, 4 h, 50 %", HEIGHTS_M, FREQUENCIES_MHZ, (50.0,)),
    ("8 f, 4 h, 50+10 %", HEIGHTS_M, FREQUENCIES_MHZ, (50.0, 10.0)),
)
LANDS = (("clutter, sea", True, 0.35), ("bare land", False, 0.0))


def radials(steps, clutter, sea):
    """Return ground, clutter, zone and end heights of eight invented radials."""
    sys.path.insert(0, str(ROOT / "tests"))
    from fractal_terrain import fractal_radial

    profiles = [fractal_radial(steps, 150.0, seed, clutter, sea) for seed in range(8)]
    return [(ground, cover, zone, ground[2:].copy()) for ground, cover, zone in profiles]


def this_sweep(steps, heights_m, frequencies_mhz, time_percents):
    """Return a function that sweeps one of radials' profiles with the RadialSweep found on sys.path."""
    from covermap.propagation.sweep.radial_sweep import RadialSweep

    horizontal = [False] * len(frequencies_mhz)
    sweep = RadialSweep(steps, steps, heights_m, frequencies_mhz, horizontal, time_percents)
    item_step = np.arange(2, steps + 1, dtype=np.int32)
    latitude_deg = np.linspace(50.0, 51.0, steps + 1)

    def run(ground_m, clutter_m, zone, end_m):
        sweep.run(
            ground_m, clutter_m, zone, STEP_KM, latitude_deg, 60.0, item_step, end_m, 45.0, 325.0
        )  # fmt: skip

    return run


def plain_sweep(steps, heights_m, frequencies_mhz, time_percents):
    """Return the same for a folder that holds p1812_sweep.py."""
    sweep = importlib.import_module("p1812_sweep").Sweep(
        steps, len(heights_m), len(frequencies_mhz), len(time_percents)
    )
    latitude_deg = np.linspace(50.0, 51.0, steps + 1)
    settings = np.array(heights_m), np.array(frequencies_mhz) / 1000.0, np.array(time_percents)

    def run(ground_m, clutter_m, zone, end_m):
        sweep.run(ground_m, clutter_m, zone, STEP_KM, latitude_deg, 60.0, *settings)

    return run


def path_answers_per_s(steps):
    """Return how many answers a second the path kernel gives over one radial of steps."""
    from covermap.propagation.p1812 import p1812_path
    from covermap.propagation.terms import TERM_COUNT

    ground_m, clutter_m, zone, _ = radials(steps, True, 0.35)[0]
    distance_km = np.arange(steps + 1) * STEP_KM
    clutter_m = clutter_m.astype(np.float64)
    terms = np.zeros(TERM_COUNT)

    def once():
        begin = time.process_time()
        p1812_path(
            distance_km, ground_m, clutter_m, zone, 60.0, 10.0, 0.634, 50.0, False, 45.0, 325.0, 50.0, 500.0,
            500.0, terms,
        )  # fmt: skip
        return time.process_time() - begin

    once()
    return 1.0 / statistics.median(once() for _ in range(50))


def serve():
    """Answer requests on standard input: one JSON request a line, one time in seconds a line."""
    prepared = {}
    for line in sys.stdin:
        steps, case, land = json.loads(line)
        if (steps, case, land) not in prepared:
            make, clutter_type = this_sweep, np.float32
            if importlib.util.find_spec("p1812_sweep"):
                make, clutter_type = plain_sweep, np.float64
            # converted here, so that neither side pays for a copy within the time taken
            profiles = [
                (ground_m, clutter_m.astype(clutter_type), zone, end_m)
                for ground_m, clutter_m, zone, end_m in radials(steps, *LANDS[land][1:])
            ]
            prepared[steps, case, land] = make(steps, *CASES[case][1:]), profiles
        run, profiles = prepared[steps, case, land]
        begin = time.process_time()
        for profile in profiles:
            run(*profile)
        print(time.process_time() - begin, flush=True)


class Server:
    """A sweep in a process of its own, so that two checkouts never meet."""

    def __init__(self, folder):
        environment = dict(os.environ, PYTHONPATH=str(folder), NUMBA_NUM_THREADS="1")
        self.process = subprocess.Popen(
            [sys.executable, "-P", __file__, "--serve"],
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env=environment,
        )  # fmt: skip

    def seconds(self, steps, case, land):
        self.process.stdin.write(json.dumps([steps, case, land]) + "\n")
        self.process.stdin.flush()
        return float(self.process.stdout.readline())


def print_table(servers, lengths, rounds):
    """Print one row a case: answers a second of each server, and their ratio."""
    print(f"{'steps':>6} {'asked':<18} {'land':<13} {'million/s':>9}" + "  other  ratio" * (len(servers) - 1))
    for steps in lengths:
        for case, (name, heights_m, frequencies_mhz, time_percents) in enumerate(CASES):
            for land, (land_name, _, _) in enumerate(LANDS):
                seconds = [
                    [server.seconds(steps, case, land) for server in servers] for _ in range(rounds + 1)
                ]
                median = np.median(seconds[1:], axis=0)  # the first run warms up
                answers = 8 * (steps - 1) * len(heights_m) * len(frequencies_mhz) * len(time_percents)
                row = f"{steps:>6} {name:<18} {land_name:<13} {answers / median[0] / 1e6:>9.2f}"
                if len(servers) > 1:
                    ratio = np.median([other / ours for ours, other in seconds[1:]])
                    row += f" {answers / median[1] / 1e6:>6.2f} {ratio:>6.2f}"
                print(row, flush=True)


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("folder", nargs="?", type=Path, help="another checkout to compare with")
    parser.add_argument("--steps", type=int, nargs="+", default=[100, 300, 1000, 3000])
    parser.add_argument("--rounds", type=int, default=9)
    parser.add_argument("--serve", action="store_true", help=argparse.SUPPRESS)
    arguments = parser.parse_args()
    if arguments.serve:
        serve()
        return
    print(f"{platform.machine()}, Python {platform.python_version()}, numba {numba.__version__}, one core")
    servers = [Server(ROOT)] + ([Server(arguments.folder)] if arguments.folder else [])
    print("first call: " + ", ".join(f"{s.seconds(arguments.steps[0], 0, 0):.1f} s" for s in servers))
    print_table(servers, arguments.steps, arguments.rounds)
    sys.path.insert(0, str(ROOT))
    for steps in arguments.steps:
        print(f"{steps:>6} path kernel, one answer a call {path_answers_per_s(steps) / 1e6:>9.4f}")


if __name__ == "__main__":
    main()
