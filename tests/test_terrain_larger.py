"""Terrain larger than memory: mapped from files beside the store, read within a limit on memory."""

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from terrain_files import land_cover_table, settings, write_raster

from covermap.errors import CovermapError
from covermap.terrain import read_terrain
from covermap.terrain.space import TerrainSpace, is_mapped, release

ROWS, COLS = 8000, 7000  # 224 MB of heights, 56 MB of classes
LIMIT_MB = 150  # that the process may take beyond what it holds once everything is imported

READ_WITHIN_LIMIT = """
import resource, sys
from pathlib import Path
sys.path.insert(0, sys.argv[1])
import numpy as np
from terrain_files import settings, write_raster, land_cover_table
from covermap.terrain import read_terrain, space
folder = Path(sys.argv[2])
small = write_raster(folder / "small.tif", np.ones((9, 9), np.float32))
read_terrain(settings(small)).summary()   # imports and compiles what reading needs
taken = {line.split(":")[0]: line for line in open("/proc/self/status")}["VmData"]
limit = int(taken.split()[1]) * 1024 + int(sys.argv[3]) * 2**20
resource.setrlimit(resource.RLIMIT_DATA, (limit, limit))   # private memory; mapped files do not count
try:
    np.ones(int(sys.argv[3]) * 2**20 * 2, np.uint8)
    sys.exit("the limit does not hold")
except MemoryError:
    pass
space.IN_MEMORY_BYTES = int(sys.argv[4])
asked = settings(folder / "north.tif", folder / "south.tif", land_cover=folder / "cover.tif")
terrain = read_terrain(asked, land_cover_table(), folder)
print(terrain.elevation[0].array.shape, terrain.summary(), terrain.digest)
"""


@pytest.fixture(scope="module")
def large(tmp_path_factory):
    """Two elevation rasters that make one, and land cover over both."""
    folder = tmp_path_factory.mktemp("large")
    heights = np.tile(np.arange(ROWS // 2, dtype=np.float32)[:, None] / 10, (1, COLS))
    from affine import Affine

    half_m = ROWS // 2 * 100.0
    write_raster(folder / "north.tif", heights, compress="deflate", tiled=True)
    south = Affine(100.0, 0.0, 500_000.0, 0.0, -100.0, 5_000_000.0 - half_m)
    write_raster(folder / "south.tif", heights, transform=south, compress="deflate", tiled=True)
    write_raster(folder / "cover.tif", np.full((ROWS, COLS), 2, np.uint8), compress="deflate", tiled=True)
    return folder


def read_apart(large, in_memory_bytes):
    here = Path(__file__).parent
    arguments = [str(here), str(large), str(LIMIT_MB), str(in_memory_bytes)]
    return subprocess.run(
        [sys.executable, "-c", READ_WITHIN_LIMIT, *arguments],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": str(here.parent)},
        timeout=200,
    )


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="needs the limits and /proc of Linux")
@pytest.mark.slow
def test_terrain_larger_than_memory_is_read(large):
    mapped = read_apart(large, 20_000_000)
    assert mapped.returncode == 0, mapped.stderr
    assert f"({ROWS}, {COLS}) 0 to 400 m, no gaps" in mapped.stdout
    assert read_apart(large, 10**9).returncode != 0  # the same in memory does not fit


def test_only_what_does_not_fit_is_mapped_and_beside_the_store(tmp_path):
    space = TerrainSpace(tmp_path / "not" / "yet" / "there", in_memory_bytes=1000)
    assert space.folder == tmp_path
    assert not is_mapped(space.array(10, 10, np.float32))
    beyond = space.array(100, 10, np.float32)
    assert is_mapped(beyond)
    assert not is_mapped(space.array(60, 10, np.uint8))  # 600 bytes still fit
    beyond[:] = 7.0
    release(beyond)
    assert (beyond == 7.0).all()
    assert list(tmp_path.iterdir()) == []  # the file has no name


def test_mapped_terrain_is_the_same_terrain(tmp_path, monkeypatch):
    from covermap.terrain import space

    rng = np.random.default_rng(4)
    heights = write_raster(tmp_path / "e.tif", rng.random((40, 30)).astype(np.float32))
    cover = write_raster(tmp_path / "c.tif", rng.integers(1, 4, (40, 30)).astype(np.uint8))
    in_memory = read_terrain(settings(heights, land_cover=cover), land_cover_table())
    monkeypatch.setattr(space, "IN_MEMORY_BYTES", 0)
    mapped = read_terrain(settings(heights, land_cover=cover), land_cover_table(), tmp_path)
    assert is_mapped(mapped.elevation[0].array)
    assert is_mapped(mapped.land_cover.layer.array)
    assert mapped.digest == in_memory.digest
    assert mapped.summary() == in_memory.summary()


def test_a_disk_without_room_is_said_before_anything_is_read(tmp_path, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "posix_fallocate", full, raising=False)
    with pytest.raises(CovermapError, match="--store"):
        TerrainSpace(tmp_path, in_memory_bytes=0).array(10, 10, np.float32)
