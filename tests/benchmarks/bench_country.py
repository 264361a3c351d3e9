"""A country: bench_country.py [--cells 1024] [--part-cells 512] [--masts 200] [--networks 5] [--reach-km 40].

Many masts, each with a transmitter of every network, most of them beyond the reach of any one square, and one
list of the networks. The map is made in parts. Prints how many stations a square has in reach, and of the run
processor and wall time, peak memory, store and result on disk, each also by square.
"""

from __future__ import annotations

import argparse
import json
import os
import shutil
import sys
import tempfile
import time
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))
from bench_map import Stages, predict, timed
from invented_map import write_country

from covermap import jobs
from covermap.inputs.prepare import prepare
from covermap.jobs.cost import Crew, estimate
from covermap.jobs.machine_memory import peak_memory_mb
from covermap.jobs.reach_sample import sample_of_reach
from covermap.result import parts
from covermap.scenario import read_scenario


def size_mb(folder):
    """Return the size of all files below a folder in MB."""
    return sum(path.stat().st_size for path in folder.rglob("*") if path.is_file()) / 1e6


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--cells", type=int, default=1024, help="on a side")
    parser.add_argument("--part-cells", type=int, default=512, help="on a side of a part")
    parser.add_argument("--masts", type=int, default=200)
    parser.add_argument("--networks", type=int, default=5)
    parser.add_argument("--reach-km", type=float, default=40.0)
    parser.add_argument("--cell-m", type=float, default=300.0)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--scheduler", help="its address; the workers must see the temporary folder")
    parser.add_argument("--keep", type=Path, help="a folder for the map, which then stays")
    asked = parser.parse_args()
    parts.PART_CELLS = asked.part_cells
    folder = asked.keep or Path(tempfile.mkdtemp(prefix="bench_country_"))
    try:
        scenario = write_country(
            folder / "map", asked.cells, asked.masts, asked.networks, asked.cell_m, asked.reach_km
        )
        prepared = prepare(read_scenario(scenario))
        told = estimate(prepared, Crew(asked.workers))
        in_reach = sum(
            share * len(request.frequencies)
            for share, request in zip(sample_of_reach(prepared).of_requests, prepared.requests, strict=True)
        )
        cells, count = prepared.grid.cells, len(parts.parts_of(prepared.grid))
        del prepared
        print(f"{cells} squares in {count} parts; a square has {in_reach:.1f} stations in reach", flush=True)
        stages, wall = Stages(), time.perf_counter()
        predict.timed = stages.timed
        jobs.map_scenario(
            scenario, folder / "out", store=folder / "store", workers=asked.workers, scheduler=asked.scheduler
        )
        predict.timed = timed
        stages.note("outputs")
        print(f"wall {time.perf_counter() - wall:.0f} s, load {os.getloadavg()[2]:.1f} of 15 minutes")
        for stage, (wall_s, core_s) in stages.times.items():
            print(
                f"  {stage:<10} {core_s:9.1f} core-s {1e6 * core_s / cells:7.1f} us a square {wall_s:9.1f} s"
            )
        print(f"peak memory {peak_memory_mb():.0f} MB, told {told.memory_mb:.0f}")
        for name in ("store", "out"):
            mb = size_mb(folder / name)
            print(f"{name} {mb:.0f} MB, {1e6 * mb / cells:.0f} bytes a square")
        print(f"told {told.seconds:.0f} s, disk {told.disk_mb:.0f} MB")
        run = json.loads((folder / "out" / "run.json").read_text("utf-8"))
        print(f"blocks {run['blocks']}, tiers {run['tier_share_percent']}")
    finally:
        if asked.keep is None:
            shutil.rmtree(folder, ignore_errors=True)


if __name__ == "__main__":
    main()
