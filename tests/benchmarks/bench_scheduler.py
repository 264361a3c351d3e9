"""What a scheduler takes of each task: bench_scheduler.py [--tasks 200] [--workers 1 2].

A scheduler and worker processes of one thread each on this machine, the scheduler in this process. Tasks that
work for some milliseconds and return some megabytes, as a run's do. Printed is processor time, which other
programs on the machine do not move as they move wall time: of this process a task, of everything that is not
the tasks' own work, and how much of all processor time was that work.
"""

from __future__ import annotations

import argparse
import time
from functools import partial

import numpy as np
from distributed import Client, LocalCluster

from covermap.grid.cluster import ClusterThreads


def work(work_ms, megabytes, _):
    """Use the processor for a time, return some bytes."""
    end = time.process_time() + work_ms / 1000.0
    while time.process_time() < end:
        pass
    return np.zeros(int(megabytes * 1e6), dtype=np.uint8)


def worker_s(client):
    """Return the processor time that all workers have used."""
    return sum(client.run(time.process_time).values())


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


if __name__ == "__main__":
    main()
