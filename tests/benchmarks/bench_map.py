"""Time a whole map: python tests/benchmarks/bench_map.py [--cells 1000] [--workers 1 2] [--stations 20].

An invented map of cells x cells at 100 m, 5 masts, 2 path heights, 50 and 10 % of time, 7 tiers, one list.
Prints core-seconds (processor time of the process) and wall time of reading, paths, reception and outputs,
answers a second of the paths, and the direct path sampled in the same run: the exact path of random cells,
one answer a call, scaled to every answer of the map. Kernels are warmed by a small map first, whose time is
printed apart. With several numbers of workers, how much faster each is than the first, by wall time; and
whether a run on the warm store takes no more than the first one's reception and outputs plus a tenth.
"""

from __future__ import annotations

import argparse
import platform
import shutil
import sys
import tempfile
import time
from contextlib import contextmanager
from importlib import import_module
from pathlib import Path

import numba
import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
from invented_map import write_scenario

from covermap import jobs

predict = import_module("covermap.jobs.predict")
timed = predict.timed
SAMPLE = 60  # paths of which the direct time is taken


class Stages:
    """Notes wall and processor time of reading, paths, reception and the rest, which is outputs."""

    def __init__(self):
        self.times = {}
        self.clocks = time.perf_counter(), time.process_time()

    def note(self, stage):
        """Give a stage the time since the last one was noted."""
        clocks = time.perf_counter(), time.process_time()
        before = self.times.get(stage, (0.0, 0.0))
        self.times[stage] = tuple(
            so_far + now - then for so_far, now, then in zip(before, clocks, self.clocks, strict=True)
        )
        self.clocks = clocks

    @contextmanager
    def timed(self, counts, stage):
        """Stand in for the run's own timing of a stage: also note what comes before the first as reading."""
        if not self.times:
            self.note("reading")
        with timed(counts, stage):
            yield
        self.note(stage)


def run(scenario, output, store, workers):
    """Run the map and return stage -> (wall, core) seconds."""
    stages = Stages()
    predict.timed = stages.timed
    try:
        jobs.map_scenario(scenario, output, store=store, workers=workers)
    finally:
        predict.timed = timed
    stages.note("outputs")
    return stages.times


def direct_s_per_answer(scenario):
    """Return the processor time of the exact path to one cell at one frequency, height and percentage."""
    from covermap.grid.exact_path import exact_loss, point_profile
    from covermap.inputs.prepare import prepare
    from covermap.scenario import read_scenario

    prepared = prepare(read_scenario(scenario))
    rng = np.random.default_rng(3)
    longitude, latitude = prepared.grid.centres_lonlat(prepared.grid.whole)
    cells = rng.integers(0, prepared.grid.cells, SAMPLE + 1)
    for number, cell in enumerate(cells):
        if number == 1:
            begin = time.process_time()
        request = prepared.requests[number % len(prepared.requests)]
        profile = point_profile(
            prepared.terrain,
            request.latitude_deg,
            request.longitude_deg,
            latitude.flat[cell],
            longitude.flat[cell],
        )
        exact_loss(
            profile, tx_height_m=request.tx_height_m, rx_height_m=10.0,
            frequency_mhz=request.frequencies[0][0], vertical=False, time_percent=50.0, dn=request.dn,
            n0=request.n0,
        )  # fmt: skip
    return (time.process_time() - begin) / SAMPLE


def print_stages(heading, times):
    print(f"{heading}:")
    for stage, (wall, core) in times.items():
        print(f"  {stage:<10} {core:>8.2f} core-s {wall:>8.2f} s")


def print_ratios(times, direct_core_s):
    """Print what each stage takes of the cold run, a cell, and how many times less than direct paths."""
    total = sum(core for _, core in times.values())
    for stage, (_, core) in times.items():
        print(f"  {stage:<10} {core:>8.2f} core-s, {100 * core / total:>3.0f} % of the whole")
    print(f"ratio of direct paths to the stage of paths: {direct_core_s / times['paths'][1]:.0f}")
    print(f"ratio of direct paths to the whole map: {direct_core_s / total:.0f}")


def print_what_if(cold, warm):
    """Print the warm run beside the cold one's reception and outputs."""
    allowed = 1.1 * sum(cold[stage][1] for stage in ("reception", "outputs"))
    found = sum(core for _, core in warm.values())
    print(f"  warm run {found:.2f} core-s; reception and outputs of the cold one plus a tenth: {allowed:.2f}")


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--cells", type=int, default=1000, help="on a side")
    parser.add_argument("--stations", type=int, default=20)
    parser.add_argument("--workers", type=int, nargs="+", default=[1])
    asked = parser.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="bench_map_"))
    try:
        small = write_scenario(folder / "small", 60, asked.stations)
        begin = time.perf_counter()
        run(small, folder / "small_out", folder / "small_store", asked.workers[0])
        print(f"{platform.machine()}, Python {platform.python_version()}, numba {numba.__version__}")
        print(
            f"first small map, with imports and compiling or its cache: {time.perf_counter() - begin:.1f} s"
        )
        scenario = write_scenario(folder / "map", asked.cells, asked.stations)
        answers = asked.cells**2 * asked.stations * 4
        cold, warm = {}, {}
        for workers in asked.workers:
            shutil.rmtree(folder / "store", ignore_errors=True)
            cold[workers] = run(scenario, folder / "out", folder / "store", workers)
            warm[workers] = run(scenario, folder / "out", folder / "store", workers)
            print_stages(f"cold store, {workers} workers", cold[workers])
            print_stages(f"warm store, {workers} workers", warm[workers])
            print_what_if(cold[workers], warm[workers])
        first = cold[asked.workers[0]]
        for workers in asked.workers[1:]:
            faster = {stage: first[stage][0] / cold[workers][stage][0] for stage in ("paths", "reception")}
            print(f"{workers} workers: " + ", ".join(f"{s} {f:.2f} times faster" for s, f in faster.items()))
        print(f"paths: {answers / first['paths'][1] / 1e6:.2f} million answers a core-second")
        direct = direct_s_per_answer(scenario)
        print(f"direct path: {direct * 1e3:.3f} ms an answer, {direct * answers:.0f} core-s for all of them")
        print_ratios(first, direct * answers)
    finally:
        shutil.rmtree(folder, ignore_errors=True)


if __name__ == "__main__":
    main()
