"""Time starting up and first runs: python tests/benchmarks/bench_start.py

Each command runs in a process of its own: --help and the check of the demo (median of five), and the demo's
map: right behind `covermap demo` on a machine where nothing is compiled (which then compiles in processes of
its own, whose processor time cannot be told), without that head start, with kernels and an empty store, and
with both: kept, made again, and made again without its catalogue of antennas.
"""

from __future__ import annotations

import json
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass, field
from pathlib import Path

ROUNDS = 5
CATALOGUE = "antennas ="
AGAIN = "map; nothing changed, made again"


@dataclass(frozen=True)
class Taken:
    """Wall and processor time of a command, in seconds; of a map also its stages and peak memory."""

    what: str
    wall_s: float
    core_s: float | None
    stages_s: dict[str, float] = field(default_factory=dict)
    peak_mb: float | None = None


def children_s():
    """Return the processor time of all children that have ended."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def seconds(cache, *arguments):
    """Return wall and processor time of a command whose kernels are kept in a folder."""
    command = [sys.executable, "-c", "from covermap.cli import main; main()", *map(str, arguments)]
    begin, before = time.perf_counter(), children_s()
    subprocess.run(
        command, check=True, capture_output=True, env={**os.environ, "NUMBA_CACHE_DIR": str(cache)}
    )
    return time.perf_counter() - begin, children_s() - before


def median_of(cache, *arguments):
    """Return the medians of wall and processor time over some rounds."""
    found = [seconds(cache, *arguments) for _ in range(ROUNDS)]
    return tuple(statistics.median(one) for one in zip(*found, strict=True))


def map_taken(what, cache, scenario, store, *options, before_s=0.0, told=True):
    """Run the map of a scenario and return what it took; before_s : what came before on the stopwatch."""
    wall_s, core_s = seconds(cache, "map", scenario, "--store", store, *options)
    run = json.loads((scenario.parent / "out" / "run.json").read_text("utf-8"))
    return Taken(what, before_s + wall_s, core_s if told else None, run["stages_s"], run["peak_memory_mb"])


def without_catalogue(scenario):
    """Take the catalogue of antennas out of a scenario."""
    lines = scenario.read_text("utf-8").splitlines()
    kept = [line for line in lines if not line.startswith(CATALOGUE)]
    assert len(kept) == len(lines) - 1
    scenario.write_text("\n".join(kept) + "\n", "utf-8")


def maps(folder):
    """Yield what the maps of the demo take, in a new folder."""
    stopwatch, scenario = folder / "kernels_of_demo", folder / "demo" / "scenario.toml"
    demo_s, _ = seconds(stopwatch, "demo", scenario.parent)
    words = "covermap demo, then map at once; nothing compiled"
    yield map_taken(words, stopwatch, scenario, folder / "a", before_s=demo_s, told=False)
    cache = folder / "kernels"
    yield map_taken("map; nothing compiled, empty store", cache, scenario, folder / "b", "--anew")
    yield map_taken("map; kernels compiled, empty store", cache, scenario, folder / "c", "--anew")
    yield Taken("map; nothing changed, kept", *seconds(cache, "map", scenario, "--store", folder / "c"))
    yield map_taken(AGAIN, cache, scenario, folder / "c", "--anew")
    without_catalogue(scenario)
    yield map_taken("map; its catalogue of antennas taken out", cache, scenario, folder / "c")
    yield Taken("check", *median_of(cache, "check", scenario))


def starts(folder):
    """Yield what every command pays."""
    for arguments in (["--help"], ["map", "--help"]):
        yield Taken(" ".join(arguments), *median_of(folder / "kernels", *arguments))


def main():
    with tempfile.TemporaryDirectory(prefix="bench_start_") as name:
        for found in (*starts(Path(name)), *maps(Path(name))):
            core = "" if found.core_s is None else f", {found.core_s:.2f} core-s"
            more = f", peak {found.peak_mb:.0f} MB, {found.stages_s}" if found.peak_mb else ""
            print(f"{found.what}: {found.wall_s:.2f} s{core}{more}", flush=True)


if __name__ == "__main__":
    main()
