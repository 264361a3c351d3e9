"""Time the whole stage of paths on one core: bench_paths.py [FOLDER] [--cells 1024] [--distances 300 3000].

Everything a run does for its paths is inside: sampling the terrain along the radials, following them to the
tiles, and writing the blocks. Prints million answers a second (an answer is the loss at one cell, height,
frequency and time percentage) of a map of cells x cells around one mast, then what a cell costs by its
distance from the mast in profile points. With a FOLDER that holds another sweep (see bench_sweep.py), that
sweep alone in the same run at the same frequencies, heights and percentages, and the ratio of the two.
"""

from __future__ import annotations

import argparse
import dataclasses
import shutil
import statistics
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
from bench_sweep import CASES, Server
from invented_map import write_scenario

COMPARED = (1, 3)  # of CASES: those with the two percentages that every map has
OTHER_STEPS = 1000
GROUP_CELLS = 512  # a side; the tiles that share a march


def request_of(prepared, case, row, col, reach_km):
    """Return the request of a mast in a cell for the frequencies and heights of a case."""
    _, heights_m, frequencies_mhz, time_percents = CASES[case]
    longitude_deg, latitude_deg = prepared.grid.lonlat_of([row], [col])
    return dataclasses.replace(
        prepared.requests[0],
        longitude_deg=float(longitude_deg[0]),
        latitude_deg=float(latitude_deg[0]),
        heights_m=tuple(heights_m),
        frequencies=tuple((mhz, False) for mhz in frequencies_mhz),
        time_percents=tuple(time_percents),
        reach_km=reach_km,
    )


def stage_s(prepared, request, groups, folder):
    """Return the processor time of computing and keeping the blocks of groups of tiles."""
    from covermap.grid.store import Store
    from covermap.jobs.path_stage import compute_task
    from covermap.jobs.run_session import RunSession

    store = Path(tempfile.mkdtemp(dir=folder))
    session = RunSession(prepared, Store(store))
    begin = time.process_time()
    for tiles in groups:
        compute_task(session, (request, tiles))
    taken = time.process_time() - begin
    shutil.rmtree(store)
    return taken


def read(folder, cells):
    """Return the preparation of an invented map of cells x cells."""
    from covermap.inputs.prepare import prepare
    from covermap.scenario import read_scenario

    return prepare(read_scenario(write_scenario(folder, cells, 1, 1)))


def print_answers(prepared, other, folder, rounds):
    """Print answers a second of the whole stage, and of the other sweep."""
    from covermap.jobs.path_stage import marches

    grid = prepared.grid
    groups = list(marches(grid.whole))
    print(f"{'map':>12} {'asked':<18} {'million/s':>9}" + ("  other  ratio" if other else ""))
    for case in COMPARED:
        name, heights_m, frequencies_mhz, time_percents = CASES[case]
        one_cell = len(heights_m) * len(frequencies_mhz) * len(time_percents)
        request = request_of(prepared, case, grid.rows // 2, grid.cols // 2, 1000.0)
        stage_s(prepared, request, groups[:1], folder)
        ours, theirs = [], []
        for _ in range(rounds):
            ours.append(grid.cells * one_cell / stage_s(prepared, request, groups, folder) / 1e6)
            if other:
                theirs.append(8 * (OTHER_STEPS - 1) * one_cell / other.seconds(OTHER_STEPS, case, 0) / 1e6)
        row = f"{grid.rows:>5} x {grid.cols:<4} {name:<18} {statistics.median(ours):>9.2f}"
        if other:
            best = statistics.median(theirs[1:] or theirs)
            row += f" {best:>6.2f} {statistics.median(ours) / best:>6.2f}"
        print(row, flush=True)


def cell_us_by_distance(prepared, distances, folder, rounds):
    """Return {profile points to the middle of a group of cells: microseconds a cell}."""
    from covermap.grid.frame import Tile
    from covermap.jobs.path_stage import TILE_CELLS

    row = prepared.grid.rows // 2 // TILE_CELLS * TILE_CELLS
    found = {}
    for points in distances:
        first = (points - GROUP_CELLS // 2) + 20
        request = request_of(prepared, COMPARED[-1], row + GROUP_CELLS // 2, 20, 1000.0)
        tiles = [
            Tile(row + down, first + right, TILE_CELLS, TILE_CELLS)
            for down in range(0, GROUP_CELLS, TILE_CELLS)
            for right in range(0, GROUP_CELLS, TILE_CELLS)
        ]
        taken = [stage_s(prepared, request, [tiles], folder) for _ in range(rounds + 1)][1:]
        found[points] = 1e6 * statistics.median(taken) / GROUP_CELLS**2
    return found


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("folder", nargs="?", type=Path, help="another sweep to compare with")
    parser.add_argument("--cells", type=int, default=1024, help="on a side")
    parser.add_argument("--distances", type=int, nargs="*", default=[300, 1000, 3000], help="profile points")
    parser.add_argument("--rounds", type=int, default=3)
    asked = parser.parse_args()
    folder = Path(tempfile.mkdtemp(prefix="bench_paths_"))
    try:
        other = Server(asked.folder) if asked.folder else None
        print_answers(read(folder / "map", asked.cells), other, folder, asked.rounds)
        if asked.distances:
            prepared = read(folder / "long", max(asked.distances) + GROUP_CELLS)
            found = cell_us_by_distance(prepared, asked.distances, folder, asked.rounds)
            for points, cell_us in found.items():
                ratio = cell_us / found[asked.distances[0]]
                print(
                    f"{points:>6} profile points away: {cell_us:.2f} us a cell, {ratio:.2f} times the first"
                )
    finally:
        shutil.rmtree(folder, ignore_errors=True)


if __name__ == "__main__":
    main()
