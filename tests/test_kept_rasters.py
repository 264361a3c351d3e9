"""Rasters of a result kept in memory while outputs are written."""

import numpy as np
import pytest
from small_coverage import GRID, write_small_coverage

from covermap.errors import InputError
from covermap.grid.frame import Tile
from covermap.result import kept_rasters
from covermap.result.kept_rasters import KeptCoverage

WINDOWS = (None, Tile(3, 5, 7, 9), (slice(2, 30), slice(-4, None)))


@pytest.fixture
def coverage(tmp_path):
    return write_small_coverage(tmp_path)


def reads(coverage):
    """Return everything that can be read, twice over."""
    names = coverage.raster_names()
    return {(name, n): coverage.read(name, window) for name in names for n, window in enumerate(WINDOWS * 2)}


@pytest.mark.parametrize("room", [kept_rasters.MOST_BYTES, 20 * GRID.cells, 0])
def test_what_is_kept_is_what_stands_in_the_files(coverage, monkeypatch, room):
    monkeypatch.setattr(kept_rasters, "MOST_BYTES", room)
    kept = KeptCoverage(coverage)
    expected, found = reads(coverage), reads(kept)
    assert len(found) > 100
    for key, values in expected.items():
        np.testing.assert_array_equal(found[key], values, err_msg=str(key))
    held = sum(values.nbytes for values in kept._kept.values())
    assert held <= room
    assert bool(held) == bool(room)


def test_what_a_reader_changes_no_other_sees(coverage):
    kept = KeptCoverage(coverage)
    first = kept.read("main/tier")
    first[:] = 99
    assert np.array_equal(kept.read("main/tier"), coverage.read("main/tier"))


def test_a_file_is_read_once_unless_it_is_large(coverage, monkeypatch):
    monkeypatch.setattr(kept_rasters, "LARGEST_BYTES", GRID.cells)
    kept = KeptCoverage(coverage)
    kept.read("main/tier"), kept.read("main/tier_chance")
    for name in ("main/tier", "main/tier_chance"):
        coverage.path(name).rename(coverage.path(name).with_suffix(".away"))
        coverage.path(name).write_bytes(b"")
    assert kept.read("main/tier").shape == GRID.shape
    with pytest.raises(Exception, match="damaged"):
        kept.read("main/tier_chance")
    with pytest.raises(InputError, match="No raster is called"):
        kept.read("main/margin_of_nothing")
