"""The newcomer's path as processes of their own: a table of 300 rows to a map and a sheet, nothing edited.

Run it with -s to see the seconds of each step, by the clock and of the processor; docs/release.md has a run.
"""

import hashlib
import os
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from test_station_lists import HEADINGS, published
from test_terrain_tiles import own_sources, serve_copernicus, server  # noqa: F401

import covermap

ROWS = 300
MOST_COMMANDS = 6


def a_whole_country(rows, seed=4):
    """Return rows as a regulator exports them: three masts near by, the rest far off, radio or only filed."""
    random, found = np.random.default_rng(seed), []
    for number in range(rows):
        near = number < 6
        latitude = 44.05 + 0.03 * (number % 3) if near else random.uniform(25.0, 60.0)
        west = 36.03 + 0.02 * (number % 3) if near else random.uniform(60.0, 120.0)
        status = "LIC" if near or number % 10 else "CP"
        kind = "DTV" if near or number % 7 else "FM"
        found.append(
            f"W{number:03d}|Station {number}|{number + 1}.1|{14 + number % 20}|{status}|"
            f"{degrees(latitude)} N|{degrees(west)} W|{5 + number % 40}|{60 + number % 90}|300|212|H|{kind}"
        )
    return found


def degrees(value):
    whole = int(value)
    minutes = int(60 * (value - whole))
    return f"{whole}-{minutes:02d}-{int(3600 * (value - whole - minutes / 60)):02d}"


def processor_seconds():
    """Seconds that the processes started from here have kept a processor busy."""
    used = os.times()
    return used.children_user + used.children_system


@pytest.mark.slow
def test_six_commands_from_a_regulators_table_to_a_map_and_a_sheet(tmp_path, server):  # noqa: F811
    table = published(tmp_path, HEADINGS, a_whole_country(ROWS), "stations_list.txt")
    serve_copernicus(server, (43, -37), (44, -37), (43, -36))
    sources = own_sources(tmp_path, server)
    commands = [
        "stations stations_list.txt --plan us_6mhz --accept --output work/transmitters.csv",
        "new valley --stations work/transmitters.csv --plan us_6mhz --near 44.05,-36.02 --radius-km 5 "
        "--at-least 1 --cell-m 500",
        f"terrain valley --sources {sources}",
        "check valley/scenario.toml",
        "map valley/scenario.toml",
        "address valley/scenario.toml --at 44.05,-36.02",
    ]
    assert len(commands) <= MOST_COMMANDS
    before = hashlib.sha256(table.read_bytes()).hexdigest()
    fresh = os.environ | {
        "NUMBA_CACHE_DIR": str(tmp_path / "kernels"), "PYTHONPATH": str(Path(covermap.__file__).parents[1])
    }  # fmt: skip
    seconds = {}
    for command in commands:
        start, used_s = time.perf_counter(), processor_seconds()
        done = subprocess.run(
            [sys.executable, "-m", "covermap", *command.split()],
            cwd=tmp_path, env=fresh, capture_output=True, text=True, timeout=3600, check=False,
        )  # fmt: skip
        seconds[command.split()[0]] = (
            round(time.perf_counter() - start, 1), round(processor_seconds() - used_s, 1)
        )  # fmt: skip
        assert done.returncode == 0, (command, done.stdout, done.stderr)
        if command.startswith("stations"):
            assert f"of {ROWS} kept" in done.stdout
    print("\nseconds of each step, clock and processor:", seconds)
    assert hashlib.sha256(table.read_bytes()).hexdigest() == before
    out = covermap.read_scenario(tmp_path / "valley" / "scenario.toml").output
    for made in ("map.html", "coverage.gpkg", "brief.html"):
        assert (out / made).stat().st_size > 1000, made
    assert list((tmp_path / "valley" / "addresses").glob("address_*.html"))
