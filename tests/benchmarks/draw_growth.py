"""Draw how a run grows: python tests/benchmarks/draw_growth.py [--cells 100 200 ...] [--data growth.json].

Runs invented maps (see bench_map.py) that differ in one thing at a time, each on an empty store with kernels
warm: cells on a side, stations, workers; and the stage of paths alone by the distance of cells from the mast
(see bench_paths.py). Draws core-seconds of paths, reception and outputs to docs/images/growth.png. Figures
are kept in --data, from which --draw-only draws them again.
"""

from __future__ import annotations

import argparse
import json
import os
import platform
import shutil
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
import bench_paths
from bench_map import run
from invented_map import write_scenario

IMAGE = Path(__file__).resolve().parents[2] / "docs" / "images" / "growth.png"
STAGES = ("paths", "reception", "outputs")
COLOURS = {"paths": "#1b6ca8", "reception": "#c1541c", "outputs": "#4f7f3a"}
MARKS = {"paths": "o", "reception": "s", "outputs": "^"}
DISTANT_CELLS = 256  # on a side, of the group whose paths are timed by distance


def measured(folder, cells, stations, workers):
    """Return stage -> [wall seconds, core-seconds] of a map on an empty store."""
    place = Path(tempfile.mkdtemp(dir=folder))
    scenario = write_scenario(place / "map", cells, stations)
    times = run(scenario, place / "out", place / "store", workers)
    shutil.rmtree(place)
    print(cells, stations, workers, {stage: round(times[stage][1], 2) for stage in STAGES}, flush=True)
    return {stage: list(times[stage]) for stage in STAGES}


def figures(asked, folder):
    """Run everything and return the figures by what grows."""
    measured(folder, 60, max(asked.stations), 1)  # compiles, or reads the compiled
    load = [os.getloadavg()[0]]
    found = {
        "cells": {n: measured(folder, n, asked.few, 1) for n in asked.cells},
        "stations": {n: measured(folder, asked.side, n, 1) for n in asked.stations},
        "workers": {n: measured(folder, max(asked.cells), asked.few, n) for n in asked.workers},
    }
    bench_paths.GROUP_CELLS = DISTANT_CELLS
    prepared = bench_paths.read(folder / "long", max(asked.distances) + DISTANT_CELLS)
    found["distance"] = bench_paths.cell_us_by_distance(prepared, asked.distances, folder, asked.rounds)
    load.append(os.getloadavg()[0])
    found["about"] = {
        "few": asked.few,
        "side": asked.side,
        "largest": max(asked.cells),
        "machine": f"{os.cpu_count()} cores, {platform.machine()}, Python {platform.python_version()}",
        "load": f"load {min(load):.1f} to {max(load):.1f}",
    }
    return json.loads(json.dumps(found))  # keys as they are read back


def draw(found, image):
    """Draw the four curves."""
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot

    about = found["about"]
    figure, ((cells, stations), (distance, workers)) = pyplot.subplots(2, 2, figsize=(10, 7.5))
    curves(cells, {int(n) ** 2: times for n, times in found["cells"].items()}, 1)
    cells.set(xscale="log", yscale="log", xlabel="cells", ylabel="core-seconds")
    cells.set_xticks([int(n) ** 2 for n in found["cells"]], [f"{n}\u00b2" for n in found["cells"]])
    cells.set_xticks([], minor=True)
    cells.set_title(f"Cells ({about['few']} stations)")
    slope(cells)
    curves(stations, {int(n): times for n, times in found["stations"].items()}, 1)
    stations.set(xlabel="stations, all in one wanted list", ylabel="core-seconds", xlim=0, ylim=0)
    stations.set_title(f"Stations ({about['side']} x {about['side']} cells)")
    points = [int(n) for n in found["distance"]]
    distance.plot(points, list(found["distance"].values()), color=COLOURS["paths"], marker="o")
    distance.set(xlabel="profile points from the mast", ylabel="microseconds a cell", xlim=0, ylim=0)
    distance.set_title("Length of the profile (paths alone)")
    curves(workers, {int(n): times for n, times in found["workers"].items()}, 0, STAGES[:2])
    workers.set(xlabel="workers", ylabel="seconds of wall time", ylim=0)
    workers.set_xticks([int(n) for n in found["workers"]])
    workers.set_title(f"Workers ({about['largest']} x {about['largest']} cells, {about['few']} stations)")
    for axes in (cells, stations, distance, workers):
        axes.grid(alpha=0.3)
    handles, names = stations.get_legend_handles_labels()
    figure.legend(handles, names, loc="upper center", ncols=3, frameon=False)
    figure.text(0.5, 0.01, f"{about['machine']}; {about['load']}", ha="center", fontsize=9)
    figure.tight_layout(rect=(0, 0.03, 1, 0.95))
    image.parent.mkdir(exist_ok=True)
    figure.savefig(image, dpi=110)


def curves(axes, times_by_number, which, stages=STAGES):
    """Draw each stage's wall (which 0) or core-seconds (1); outputs do not use workers."""
    for stage in stages:
        values = [times[stage][which] for times in times_by_number.values()]
        axes.plot(list(times_by_number), values, label=stage, color=COLOURS[stage], marker=MARKS[stage])


def slope(axes):
    """Draw in grey what grows as the cells do, through the last point of the paths."""
    numbers, seconds = axes.lines[0].get_data()
    axes.plot(
        numbers, [seconds[-1] * n / numbers[-1] for n in numbers], color="grey", ls=":", label="as the cells"
    )
    middle = numbers[len(numbers) // 2]
    place = (middle, seconds[-1] * middle / numbers[-1])
    axes.annotate("in step with cells", place, color="grey", xytext=(-6, 6), textcoords="offset points",
                  fontsize=9, ha="right")  # fmt: skip


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--cells", type=int, nargs="+", default=[100, 200, 400, 700, 1000], help="on a side")
    parser.add_argument("--stations", type=int, nargs="+", default=[2, 5, 10, 15, 20])
    parser.add_argument("--distances", type=int, nargs="+", default=[300, 1000, 2000, 3000])
    parser.add_argument("--workers", type=int, nargs="+", default=[1, 2])
    parser.add_argument("--side", type=int, default=300, help="cells where another thing grows")
    parser.add_argument("--few", type=int, default=5, help="stations where another thing grows")
    parser.add_argument("--rounds", type=int, default=3)
    parser.add_argument("--data", type=Path, default=Path(tempfile.gettempdir()) / "growth.json")
    parser.add_argument("--image", type=Path, default=IMAGE)
    parser.add_argument("--draw-only", action="store_true")
    asked = parser.parse_args()
    if not asked.draw_only:
        folder = Path(tempfile.mkdtemp(prefix="draw_growth_"))
        try:
            asked.data.write_text(json.dumps(figures(asked, folder)), "utf-8")
        finally:
            shutil.rmtree(folder, ignore_errors=True)
    draw(json.loads(asked.data.read_text("utf-8")), asked.image)
    print(asked.image)


if __name__ == "__main__":
    main()
