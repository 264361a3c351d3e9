"""What a scheduler takes of each task: bench_scheduler.py [--tasks 200] [--workers 1 2].

A scheduler and worker processes of one thread each on this machine, the scheduler in this process. Tasks that
work for some milliseconds and return some megabytes, as a run's do. Printed is processor time, which other
programs on the machine do not move as they move wall time: of this process a task, of everything that is not
the tasks' own work, and how much of all processor time was that work. Then what the machine that hands out
the tasks takes a square to write the rasters of one list of five services and to make the finished files.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from functools import partial
from pathlib import Path

import numpy as np
import pyproj
from distributed import Client, LocalCluster
from scipy import ndimage

from covermap.grid.cluster import ClusterThreads
from covermap.grid.frame import Grid
from covermap.result.raster_catalogue import LAYERS
from covermap.result.rasters import RasterSet

WRITTEN = ("ground", "flags", "services_count", "service_tiers")  # beside the rasters of a list


def work(work_ms, megabytes, _):
    """Use the processor for a time, return some bytes."""
    end = time.process_time() + work_ms / 1000.0
    while time.process_time() < end:
        pass
    return np.zeros(int(megabytes * 1e6), dtype=np.uint8)


def worker_s(client):
    """Return the processor time that all workers have used."""
    return sum(client.run(time.process_time).values())


def writing_us():
    """Return the processor time a square of writing tiles, and of finishing the files, of one list. [us]"""
    grid = Grid(pyproj.CRS.from_epsg(32631).to_wkt(), 100.0, 400_000.0, 5_600_000.0, 1024, 1024)
    rng = np.random.default_rng(1)
    smooth = ndimage.gaussian_filter(rng.normal(size=grid.shape), 6.0)
    smooth = (smooth - smooth.min()) / np.ptp(smooth)
    services = {"main": tuple(f"Network {number}" for number in range(5)), "service_tiers": ("x",) * 5}
    kinds = [layer for layer in LAYERS.values() if layer.of_list or layer.kind in WRITTEN]
    with tempfile.TemporaryDirectory() as folder:
        rasters = RasterSet(Path(folder), grid, services=services)
        begin = time.process_time()
        for tile in grid.tiles(128):
            for layer in kinds:
                bands = layer.bands or 5
                values = (smooth[tile.window] * (90.0 if layer.dtype != "float32" else 60.0)).astype(
                    layer.dtype
                )
                array = np.repeat(values[np.newaxis], bands, axis=0) if layer.stacked else values
                rasters.write(f"main/{layer.kind}" if layer.of_list else layer.kind, tile, array)
        written = time.process_time()
        rasters.finish()
        done = time.process_time()
    return 1e6 * (written - begin) / grid.cells, 1e6 * (done - written) / grid.cells


def main():
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--tasks", type=int, default=200)
    parser.add_argument("--workers", type=int, nargs="+", default=[1, 2])
    asked = parser.parse_args()
    print(
        f"{'workers':>8} {'work ms':>8} {'MB':>5} {'here ms':>8} {'overhead ms':>12} {'useful':>7} "
        f"{'tasks/s':>8}"
    )
    for workers in asked.workers:
        with (
            LocalCluster(
                n_workers=workers, threads_per_worker=1, dashboard_address=None, host="127.0.0.1"
            ) as cluster,
            Client(cluster) as client,
        ):
            tasks = ClusterThreads(client)
            list(tasks.run(partial(work, 1.0, 0.0), range(10)))
            for work_ms, megabytes in ((0.0, 0.0), (50.0, 0.0), (50.0, 1.0), (50.0, 4.0)):
                here, there, wall = time.process_time(), worker_s(client), time.perf_counter()
                for _ in tasks.run(partial(work, work_ms, megabytes), range(asked.tasks)):
                    pass
                here_s = time.process_time() - here
                all_s, wall_s = here_s + worker_s(client) - there, time.perf_counter() - wall
                useful_s = work_ms / 1000.0 * asked.tasks
                print(
                    f"{workers:>8} {work_ms:>8.0f} {megabytes:>5.1f} {1000 * here_s / asked.tasks:>8.2f} "
                    f"{1000 * (all_s - useful_s) / asked.tasks:>12.2f} {useful_s / all_s:>7.2f} "
                    f"{asked.tasks / wall_s:>8.1f}",
                    flush=True,
                )
    write_us, finish_us = writing_us()
    print(f"writing tiles {write_us:.2f} us a square, finishing files {finish_us:.2f} us a square")


if __name__ == "__main__":
    main()
