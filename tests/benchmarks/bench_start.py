"""Time starting up and first runs: python tests/benchmarks/bench_start.py

Each command runs in a process of its own, in wall time: --help and the check of the demo (median of five),
the demo's map with no compiled kernels and an empty store, with kernels and an empty store, and with both.
"""

from __future__ import annotations

import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROUNDS = 5


def seconds(cache, *arguments):
    """Return the wall time of a command whose kernels are kept in a folder."""
    command = [sys.executable, "-c", "from covermap.cli import main; main()", *map(str, arguments)]
    begin = time.perf_counter()
    subprocess.run(
        command, check=True, capture_output=True, env={**os.environ, "NUMBA_CACHE_DIR": str(cache)}
    )
    return time.perf_counter() - begin


def main():
    with tempfile.TemporaryDirectory(prefix="bench_start_") as folder:
        demo, cache = Path(folder) / "demo", Path(folder) / "kernels"
        scenario = demo / "scenario.toml"
        seconds(cache, "demo", demo)
        for arguments in (["--help"], ["map", "--help"]):
            took = statistics.median(seconds(cache, *arguments) for _ in range(ROUNDS))
            print(f"covermap {' '.join(arguments)}: {took:.2f} s", flush=True)
        for words, store in (("nothing", "a"), ("compiled kernels", "b"), ("kernels and paths", "b")):
            took = seconds(cache, "map", scenario, "--store", Path(folder) / store)
            run = json.loads((demo / "out" / "run.json").read_text("utf-8"))
            print(f"covermap map, {words} there: {took:.1f} s, peak {run['peak_memory_mb']:.0f} MB", end=", ")
            print(run["stages_s"], flush=True)
        took = statistics.median(seconds(cache, "check", scenario) for _ in range(ROUNDS))
        print(f"covermap check: {took:.2f} s")


if __name__ == "__main__":
    main()
