"""Measure again and write docs/benchmarks.md: tests/benchmarks/write_benchmarks.py [--quick] [--only PART].

Runs the parts (start, map, paths, sweep, memory) one after the other on the machine it is started on and
rewrites their tables in the document, each between two markers; what people wrote around them stays. Every
table says on which machine and when it was made, and what other programs took of the machine meanwhile:
under 3 % it is called quiet. --quick : smaller cases and no part memory, under 15 minutes on two quiet cores.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import os
import platform
import re
import statistics
import sys
import tempfile
import time
from collections.abc import Callable
from datetime import date
from pathlib import Path

import numba
import numpy as np

sys.path.insert(0, str(Path(__file__).parent))
import bench_map
import bench_memory
import bench_paths
import bench_start
import bench_sweep
from invented_map import write_scenario

DOCUMENT = Path(__file__).resolve().parents[2] / "docs" / "benchmarks.md"
QUIET_SHARE = 0.03


def machine() -> str:
    """Return what the figures were measured on, in words."""
    model = re.search(r"model name\s*:\s*(.*)", Path("/proc/cpuinfo").read_text("utf-8"))
    total = re.search(r"MemTotal:\s*(\d+)", Path("/proc/meminfo").read_text("utf-8"))
    name = re.sub(r"\s+", " ", model.group(1)) if model else platform.machine()
    memory_gb = round(int(total.group(1)) / 1e6) if total else 0
    versions = f"Python {platform.python_version()}, numpy {np.__version__}, numba {numba.__version__}"
    return f"{os.cpu_count()} cores of {name}, {memory_gb} GB; {versions}"


def busy_s() -> float:
    """Return the processor time that all programs of the machine have taken since it started."""
    values = [int(text) for text in Path("/proc/stat").read_text("utf-8").split("\n", 1)[0].split()[1:9]]
    idle = values[3] + values[4]
    return (sum(values) - idle) / os.sysconf("SC_CLK_TCK")


def own_s() -> float:
    """Return the processor time of this process and of its children that have ended."""
    return time.process_time() + bench_start.children_s()


def table(head: list[str], rows: list[list[str]]) -> str:
    """Return a table of Markdown."""
    lines = [head, ["---"] * len(head), *rows]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines)


def told(value: float | None, digits: int = 1) -> str:
    """Return a figure, or a dash."""
    return "–" if value is None else f"{value:.{digits}f}"


def start_table(folder: Path, _quick: bool) -> str:
    """Return the table of start-up and of the demo's maps."""
    found = [*bench_start.starts(folder), *bench_start.maps(folder)]
    rows = [
        [
            one.what, told(one.wall_s, 2 if one.wall_s < 10 else 1), told(one.core_s),
            *(told(one.stages_s.get(stage)) for stage in ("paths", "reception", "outputs")),
            told(one.peak_mb, 0),
        ]
        for one in found
    ]  # fmt: skip
    head = ["command", "wall s", "core-s", "paths s", "reception s", "outputs s", "peak MB"]
    wall_s = {one.what: one.wall_s for one in found}
    last = wall_s[bench_start.AGAIN]
    ratios = ", ".join(f"{what} {wall_s[what] / last:.1f}" for what in wall_s if what.startswith("map; "))
    return f"{table(head, rows)}\n\nIn times of a map made again with nothing changed, this run: {ratios}."


def map_table(folder: Path, quick: bool) -> str:
    """Return the table of an invented map by stage and number of workers, and its ratios."""
    cells, stations, crews = (400 if quick else 1000), 20, (1, 2)
    bench_map.run(write_scenario(folder / "small", 60, stations), folder / "o", folder / "s", 1)  # warms
    scenario = write_scenario(folder / "map", cells, stations)
    cold, warm = {}, {}
    for workers in crews:
        store = folder / f"store{workers}"
        cold[workers] = bench_map.run(scenario, folder / "out", store, workers)
        warm[workers] = bench_map.run(scenario, folder / "out", store, workers)
    rows = []
    for stage in cold[1]:
        figures = [told(value) for workers in crews for value in reversed(cold[workers][stage])]
        faster = cold[1][stage][0] / max(cold[2][stage][0], 1e-9)
        rows.append([stage, *figures, told(faster, 2)])
    totals = [told(sum(one[k] for one in cold[w].values())) for w in crews for k in (1, 0)]
    rows.append(["all", *totals, ""])
    head = ["stage", "1 worker: core-s", "wall s", "2 workers: core-s", "wall s", "times as fast"]
    answers = cells**2 * stations * 4
    core_s = {stage: core for stage, (_, core) in cold[1].items()}
    direct_core_s = bench_map.direct_s_per_answer(scenario) * answers
    again = sum(core for _, core in warm[1].values())
    allowed = core_s["reception"] + core_s["outputs"]
    case = f"{cells} x {cells} squares of 100 m, {stations} stations of one list on 5 masts, 7 classes"
    ratios = (
        f"Reception: {1e6 * core_s['reception'] / cells**2:.1f} us of a core a square. Paths: "
        f"{answers / core_s['paths'] / 1e6:.2f} million answers a core-second. In this run the direct "
        f"path to every square takes {direct_core_s / core_s['paths']:.0f} times the core-seconds of the "
        f"paths and {direct_core_s / sum(core_s.values()):.0f} times those of the whole map; a second run on "
        f"the kept store takes {again / allowed:.2f} times the first one's reception and outputs."
    )
    return f"{case}.\n\n{table(head, rows)}\n\n{ratios}"


def paths_table(folder: Path, quick: bool) -> str:
    """Return the table of the whole stage of paths on one core."""
    from covermap.jobs.path_stage import TILE_CELLS, TILES_A_MARCH

    prepared = bench_paths.read(folder / "map", 512 if quick else 1024)
    grid, rows = prepared.grid, []
    marched: dict[tuple[int, int], list] = {}  # tiles that share one march of each radial
    for tile in grid.tiles(TILE_CELLS):
        side = TILE_CELLS * TILES_A_MARCH
        marched.setdefault((tile.row // side, tile.col // side), []).append(tile)
    groups = list(marched.values())
    for case in bench_paths.COMPARED:
        name, heights_m, frequencies_mhz, time_percents = bench_sweep.CASES[case]
        answers = grid.cells * len(heights_m) * len(frequencies_mhz) * len(time_percents)
        request = bench_paths.request_of(prepared, case, grid.rows // 2, grid.cols // 2, 1000.0)
        bench_paths.stage_s(prepared, request, groups[:1], folder)
        taken = [bench_paths.stage_s(prepared, request, groups, folder) for _ in range(3)]
        rate = answers / statistics.median(taken) / 1e6
        server = bench_sweep.Server(bench_sweep.ROOT)
        alone = [server.seconds(1000, case, 0) for _ in range(6)][1:]
        server.process.stdin.close()
        server.process.wait()
        own_rate = 8 * 999 * answers / grid.cells / statistics.median(alone) / 1e6
        rows.append([name, told(rate, 2), told(own_rate, 2), told(rate / own_rate, 2)])
    head = [f"a map of {grid.rows} x {grid.cols} squares, one mast", "million answers a core-second",
            "the sweep of this version alone", "ratio"]  # fmt: skip
    return table(head, rows)


def sweep_table(_folder: Path, quick: bool) -> str:
    """Return the table of the sweep alone beside the direct path."""
    server = bench_sweep.Server(bench_sweep.ROOT)
    rows = []
    for steps in (300, 1000) if quick else (100, 300, 1000, 3000):
        row = [str(steps), told(bench_sweep.path_answers_per_s(steps) / 1e6, 3)]
        for case, (_, heights_m, frequencies_mhz, time_percents) in enumerate(bench_sweep.CASES):
            answers = 8 * (steps - 1) * len(heights_m) * len(frequencies_mhz) * len(time_percents)
            lands = range(len(bench_sweep.LANDS))
            taken = [[server.seconds(steps, case, land) for _ in range(6)][1:] for land in lands]
            row.append(" / ".join(told(answers / statistics.median(one) / 1e6) for one in taken))
        rows.append(row)
    server.process.stdin.close()
    server.process.wait()
    return table(["profile points", "direct path", *(case[0] for case in bench_sweep.CASES)], rows)


def memory_table(folder: Path, _quick: bool) -> str:
    """Return the table of peak memory, disk and time beside what was told beforehand."""
    rows = []
    for cells in (300, 1000):
        found = bench_memory.measured(cells, 20, 5, 100.0, 2)
        pairs = [told(value, 0) for name in ("seconds", "memory_mb", "disk_mb") for value in found[name]]
        rows.append([f"{found['cells']:,}", *pairs])
    head = ["squares", "found s", "told", "peak MB", "told", "disk MB", "told"]
    return table(head, rows)


PARTS: dict[str, Callable[[Path, bool], str]] = {
    "start": start_table,
    "map": map_table,
    "paths": paths_table,
    "sweep": sweep_table,
    "memory": memory_table,
}


def measured(part: str, quick: bool) -> str:
    """Run a part and return its table, with the state of the machine while it ran."""
    load, begin, others, ours = os.getloadavg()[0], time.perf_counter(), busy_s(), own_s()
    told_nothing = contextlib.redirect_stdout(io.StringIO())
    with tempfile.TemporaryDirectory(prefix=f"bench_{part}_") as folder, told_nothing:
        found = PARTS[part](Path(folder), quick)
    wall_s = time.perf_counter() - begin
    cores = os.cpu_count() or 1
    share = max(0.0, (busy_s() - others) - (own_s() - ours)) / (wall_s * cores)
    state = "quiet" if share < QUIET_SHARE and load < 0.5 else "NOT QUIET"
    return (
        f"{date.today():%-d %B %Y}, {machine()}. The machine was {state}: load {load:.2f} when it began, "
        f"other programs took {100 * share:.0f} % of it{', quick cases' if quick else ''}.\n\n{found}"
    )


def rewritten(text: str, part: str, found: str) -> str:
    """Return the document with what stands between a part's markers replaced."""
    begin, end = f"<!-- measured: {part} -->", "<!-- end of measured -->"
    pattern = re.compile(f"{re.escape(begin)}.*?{re.escape(end)}", re.DOTALL)
    if len(pattern.findall(text)) != 1:
        raise SystemExit(f"{DOCUMENT}: there must be one {begin} ... {end}.")
    return pattern.sub(lambda _: f"{begin}\n{found}\n{end}", text)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="smaller cases, without memory")
    parser.add_argument("--only", nargs="+", choices=list(PARTS), help="these parts alone")
    asked = parser.parse_args()
    parts = asked.only or [part for part in PARTS if not (asked.quick and part == "memory")]
    for part in parts:
        begin = time.perf_counter()
        found = measured(part, asked.quick)
        DOCUMENT.write_text(rewritten(DOCUMENT.read_text("utf-8"), part, found), "utf-8")
        print(f"{part}: {time.perf_counter() - begin:.0f} s\n{found}\n", flush=True)


if __name__ == "__main__":
    main()
