"""Inputs of absurd size or kind end soon, in words: no traceback, no waiting, no memory filled."""

import os
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from scenario_files import changed_row, station_csv
from small_inputs import CELL_M, NORTH, WEST, square, write_inputs, write_layer

from covermap.errors import InputError
from covermap.jobs.check import check
from covermap.scenario import read_scenario

MANY = range(20_000)
SOON_S = 20.0  # of processor time, so that what else runs does not count; each takes a second or two
VRT = """<VRTDataset rasterXSize="{cols}" rasterYSize="{rows}"><SRS>EPSG:32625</SRS>
<GeoTransform>{transform}</GeoTransform>
<VRTRasterBand dataType="Float32" band="1"><NoDataValue>-9999</NoDataValue></VRTRasterBand></VRTDataset>"""


def replaced(path, old, new):
    assert old in path.read_text()
    path.write_text(path.read_text().replace(old, new))


def behind(text):
    """Return a change that adds text to scenario.toml."""
    return lambda path: path.write_text(path.read_text() + text)


def table(name, content):
    return lambda path: (path.parent / name).write_text(content)


def as_(key, old, new):
    return lambda path: replaced(path, f'{key} = "{old}"', f'{key} = "{new}"')


def vrt(key, old, cols, rows, transform):
    def change(path):
        (path.parent / "a.vrt").write_text(VRT.format(cols=cols, rows=rows, transform=transform))
        replaced(path, f'{key}"{old}"', f'{key}"a.vrt"')
        if key.startswith("file"):
            replaced(path, 'count = "homes"\n', "")

    return change


def pipe(name):
    """Return a change that puts a named pipe, into which nobody writes, in place of a file."""

    def change(path):
        (path.parent / name).unlink()
        os.mkfifo(path.parent / name)

    return change


def circle(name):
    """Return a change that puts a link to a link to itself in place of a file."""

    def change(path):
        (path.parent / name).unlink()
        (path.parent / name).symlink_to("other")
        (path.parent / "other").symlink_to(name)

    return change


def many_places(path):
    write_layer(path.parent / "places.gpkg", np.full(50_000, square(5, 5).centroid), name=["Ay"] * 50_000)


def sized(transform="WEST, CELL, 0, NORTH, 0, -CELL"):
    names = {"WEST": str(WEST), "NORTH": str(NORTH), "CELL": str(CELL_M)}
    for name, value in names.items():
        transform = transform.replace(name, value)
    return transform


CASES = {
    "brackets 100 000 deep": (behind("\na = " + "[" * 100_000), "not valid TOML: brackets"),
    "tables 100 000 deep": (behind("\na = " + "{a=" * 100_000), "not valid TOML: brackets"),
    "a number of 5 000 digits": (behind("\n[x]\na = " + "9" * 5000), "not valid TOML"),
    "a key of 50 000 parts": (behind("\n[" + "a." * 50_000 + "a]\n"), "no key has that many parts"),
    "a key of 50 000 numbers": (behind("\n" + "1." * 50_000 + "1 = 2\n"), "no key has that many parts"),
    "a scenario of 6 MB": (behind("\n#" + "x" * 6_000_000), "has at most 5 MB"),
    "500 lists": (
        behind("".join(f'\n[wanted.l{n}]\nservices = ["First TV"]' for n in range(500))),
        "found 501 wanted lists",
    ),
    "a name of 5 000 letters": (as_("file", "homes.gpkg", "x" * 5000), "does not (File name too long)"),
    "a path of 5 000 letters": (as_("places", "places.gpkg", "xy/" * 2000), "does not (File name too long)"),
    "a link to itself": (circle("homes.gpkg"), "does not (Too many levels of symbolic links)"),
    "stations linked to themselves": (circle("transmitters.csv"), "(Too many levels of symbolic links)"),
    "a scenario linked to itself": (circle("scenario.toml"), "Too many levels of symbolic links"),
    "a pipe of stations": (pipe("transmitters.csv"), "is a named pipe"),
    "a pipe of homes": (pipe("homes.gpkg"), "is a named pipe"),
    "a pipe as scenario": (pipe("scenario.toml"), "is a named pipe, not a file"),
    "a device of prices": (as_("prices", "prices.csv", "/dev/zero"), "is a device"),
    "a folder of stations": (as_("file", "transmitters.csv", "."), "not readable as a vector layer"),
    "a million stations": (
        table("transmitters.csv", station_csv() + "x\n" * 1_000_000), "found 1,000,004 rows"
    ),
    "200 000 columns": (table("transmitters.csv", "a," * 200_000 + "\n"), "found 200,001 columns"),
    "20 000 wrong cells": (
        table("transmitters.csv", station_csv(*(changed_row(station_id=f"S{n}", erp_kw="x") for n in MANY))),
        "(19,999 more of this kind: line 3, line 4, line 5 and so on.)",
    ),
    "50 000 places": (many_places, "at most 20,000 can be used"),
    "cells without size": (
        vrt("[", "elevation.tif", 40, 40, sized("WEST, 0, 0, NORTH, 0, 0")), "have no size"
    ),
    "cells that are not numbers": (
        vrt("[", "elevation.tif", 40, 40, sized("WEST, nan, 0, NORTH, 0, nan")), "have no size"
    ),
    "400 000 squared cells": (
        vrt("[", "elevation.tif", 400_000, 400_000, sized()),
        "160,000,000,000 cells are more than can be read",
    ),
    "homes in cells without size": (
        vrt("file = ", "homes.gpkg", 40, 40, sized("WEST, 0, 0, NORTH, 0, 0")), "have no size"
    ),
    "homes in 400 000 squared cells": (
        vrt("file = ", "homes.gpkg", 400_000, 400_000, sized()), "cells are more than can be read"
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", CASES)
def test_absurd_inputs_end_soon_and_in_words(tmp_path, name):
    change, said = CASES[name]
    path = write_inputs(tmp_path)
    change(path)
    started = time.process_time()
    with pytest.raises(InputError) as caught:
        check(read_scenario(path), store=tmp_path / "store")
    assert time.process_time() - started < SOON_S
    message = str(caught.value)
    assert said in message
    assert len(message) < 2000
    assert "np." not in message


def test_a_path_of_5_000_letters_is_no_scenario():
    with pytest.raises(InputError, match="There is no file"):
        read_scenario(Path("x" * 5000))


IN_LITTLE_MEMORY = """
import resource, sys
resource.setrlimit(resource.RLIMIT_AS, (int(sys.argv[2]), int(sys.argv[2])))
from covermap.cli.main import main
main(["check", sys.argv[1]])
"""


def test_a_limit_on_memory_is_taken_for_the_machines(tmp_path):
    # 1 million squares need some 500 MB (docs/benchmarks.md), and a process that may have 1 GB of addresses
    # has most of them taken by libraries
    path = write_inputs(tmp_path, grid='cell_m = 20\ncrs = "EPSG:32625"\n')
    command = [sys.executable, "-c", IN_LITTLE_MEMORY, str(path), str(10**9)]
    done = subprocess.run(command, capture_output=True, text=True, timeout=300, check=False)
    assert done.returncode == 2, done.stderr
    assert "this machine has" in done.stderr
    assert "Traceback" not in done.stderr
