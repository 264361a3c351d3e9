"""Runs a scenario again and again, killing it each time; a process of its own, so that it may fork.

python killed_runs.py SCENARIO OUTPUT STORE SEED: prints where each run was killed. The last one ends.
"""

import os
import random
import signal
import sys
from pathlib import Path

KILLS = 4


def killed_at(stage, fraction):
    """Return a progress function that kills the process, as nothing can stop it, at a point of the run."""

    def report(now, done, words=""):
        if now == stage and done >= fraction:
            os.kill(os.getpid(), signal.SIGKILL)
        return True

    return report


def kill_between_renames(after):
    """Kill the process at the rename of that number from now: rasters, then run.json, layers and pages."""
    rename, seen = os.replace, []

    def replace(source, target):
        if not str(target).endswith(".block"):
            seen.append(target)
        if len(seen) > after:
            os.kill(os.getpid(), signal.SIGKILL)
        rename(source, target)

    os.replace = replace


def run(scenario, output, store, progress=None):
    from covermap import jobs

    return jobs.map_scenario(scenario, output, store=store, workers=2, progress=progress)


def main():
    scenario, output, store = (Path(argument) for argument in sys.argv[1:4])
    draw = random.Random(int(sys.argv[4]))

    points = [("paths", draw.random()), ("reception", draw.random()), ("outputs", draw.random())]
    for stage, fraction in points:
        print(
            stage,
            round(fraction, 2),
            _status(lambda s=stage, f=fraction: run(scenario, output, store, killed_at(s, f))),
        )
    for after in [0, 3, *(draw.randrange(40) for _ in range(KILLS - 2))]:

        def renamed(after=after):
            kill_between_renames(after)
            run(scenario, output, store)

        print("rename", after, _status(renamed))
    print(run(scenario, output, store))


def _status(work):
    child = os.fork()
    if child == 0:
        work()
        os._exit(0)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


if __name__ == "__main__":
    main()
