"""Peak memory by number of cells: bench_memory.py [--cells 300 600 1000] [--stations 20] [--masts 5].

Each map runs in a process of its own; prints its peak resident memory, wall time, store and result on disk,
and what `check` says beforehand, for the factor between the two.
"""

from __future__ import annotations

import argparse
import json
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
from invented_map import write_scenario


def one(cells, stations, masts, cell_m, workers):
    """Run a map here and print one JSON line of its figures."""
    from covermap import jobs
    from covermap.inputs.prepare import prepare
    from covermap.jobs.cost import Crew, estimate
    from covermap.jobs.machine_memory import peak_memory_mb
    from covermap.scenario import read_scenario

    folder = Path(tempfile.mkdtemp(prefix="bench_memory_"))
    try:
        scenario = write_scenario(folder / "map", cells, stations, masts, cell_m)
        prepared = prepare(read_scenario(scenario))
        told = estimate(prepared, Crew(workers))
        cells = prepared.grid.cells
        del prepared
        begin = time.perf_counter()
        jobs.map_scenario(scenario, folder / "out", store=folder / "store", workers=workers)
        found = {
            "seconds": time.perf_counter() - begin,
            "memory_mb": peak_memory_mb(),
            "disk_mb": sum(p.stat().st_size for n in ("out", "store") for p in (folder / n).rglob("*")) / 1e6,
        }
        stages_s = json.loads((folder / "out" / "run.json").read_text("utf-8"))["stages_s"]
        print("seconds of stages:", stages_s, file=sys.stderr, flush=True)
        both = {key: [value, getattr(told, key)] for key, value in found.items()}
        print(json.dumps({"cells": cells} | both))
    finally:
        shutil.rmtree(folder, ignore_errors=True)


def measured(cells, stations, masts, cell_m, workers):
    """Return the figures of a map in a process of its own: name -> (found, told), and the number of cells."""
    options = {
        "--cells": cells, "--stations": stations, "--masts": masts, "--cell-m": cell_m, "--workers": workers,
    }  # fmt: skip
    command = [sys.executable, __file__, "--here"]
    for name, value in options.items():
        command += [name, str(value)]
    done = subprocess.run(command, stdout=subprocess.PIPE, text=True, check=True)
    return json.loads(done.stdout.splitlines()[-1])


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--cells", type=int, nargs="+", default=[300, 600, 1000], help="on a side")
    parser.add_argument("--stations", type=int, default=20)
    parser.add_argument("--masts", type=int, default=5)
    parser.add_argument("--cell-m", type=float, default=100.0)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--here", action="store_true", help=argparse.SUPPRESS)
    asked = parser.parse_args()
    if asked.here:
        one(asked.cells[0], asked.stations, asked.masts, asked.cell_m, asked.workers)
        return
    print(
        f"{'cells':>10} {'seconds':>9} {'told':>8} {'memory MB':>10} {'told':>8} {'disk MB':>9} {'told':>8}"
    )
    for cells in asked.cells:
        found = measured(cells, asked.stations, asked.masts, asked.cell_m, asked.workers)
        grid_cells = found.pop("cells")
        row = "".join(f"{value:>10.0f} {told:>8.0f}" for value, told in found.values())
        print(f"{grid_cells:>10} {row}", flush=True)


if __name__ == "__main__":
    main()
