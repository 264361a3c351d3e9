"""The store: what goes in comes out rounded, damage is seen, old blocks go."""

import errno
import os
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import numpy as np
import pytest

from covermap.errors import CovermapError, InputError
from covermap.grid.loss_block import LossBlock, as_stored
from covermap.grid.store import Store

DIGEST = "ab" * 32


def block(seed=1, shape=(2, 3, 9, 11)):
    random = np.random.default_rng(seed)
    loss_db = random.uniform(60.0, 260.0, shape).astype(np.float32)
    spread_db = random.uniform(0.0, 40.0, shape).astype(np.float32)
    departure_deg = random.uniform(-30.0, 10.0, shape[2:]).astype(np.float32)
    loss_db[:, :, 0, 3] = spread_db[:, :, 0, 3] = departure_deg[0, 3] = np.nan
    path_class = random.integers(0, 7, shape[2:], dtype=np.uint8)
    path_class[0, 3] = 255
    return LossBlock(loss_db, spread_db, departure_deg, random.random(shape[2:]) < 0.2, path_class)


def assert_same(one, other):
    for name in ("loss_db", "spread_db", "departure_deg", "near", "path_class"):
        equal_nan = name not in ("near", "path_class")
        assert np.array_equal(getattr(one, name), getattr(other, name), equal_nan=equal_nan), name
        assert getattr(one, name).dtype == getattr(other, name).dtype, name


def test_rounding_stays_within_half_a_step():
    exact = block()
    kept = as_stored(exact)
    # Half of 0.01 dB, 0.25 dB and 0.01 degrees, and a float32's own rounding at 260 dB (1.5e-5).
    assert np.nanmax(np.abs(kept.loss_db - exact.loss_db)) <= 0.005 + 4e-5
    assert np.nanmax(np.abs(kept.spread_db - exact.spread_db)) <= 0.125 + 1e-6
    assert np.nanmax(np.abs(kept.departure_deg - exact.departure_deg)) <= 0.005 + 4e-6
    assert np.array_equal(np.isnan(kept.loss_db), np.isnan(exact.loss_db))
    assert np.array_equal(np.isnan(kept.departure_deg), np.isnan(exact.departure_deg))


def test_read_and_computed_blocks_are_the_same(tmp_path):
    store = Store(tmp_path)
    assert store.load(DIGEST) is None
    store.save(DIGEST, block())
    assert store.has(DIGEST)
    assert_same(store.load(DIGEST), as_stored(block()))
    assert_same(as_stored(as_stored(block())), as_stored(block()))
    assert (store.loaded, store.saved, store.damaged) == (1, 1, 0)


@pytest.mark.parametrize("known", [(slice(2, 6), slice(4, 9)), (slice(8, 9), slice(1)), (slice(0), slice(0))])
def test_of_a_tile_that_is_partly_beyond_reach_only_what_is_known_is_kept(tmp_path, known):
    whole, part = block(seed=4), block(seed=4)
    unknown = np.ones(whole.near.shape, bool)
    unknown[known] = False
    part.loss_db[:, :, unknown] = part.spread_db[:, :, unknown] = part.departure_deg[unknown] = np.nan
    part.near[unknown], part.path_class[unknown] = False, 255
    store = Store(tmp_path)
    store.save(DIGEST, part)
    store.save("cd" * 32, whole)
    assert_same(store.load(DIGEST), as_stored(part))
    assert np.array_equal(as_stored(part).loss_db[:, :, *known], as_stored(whole).loss_db[:, :, *known])
    assert np.isnan(store.load(DIGEST).loss_db[:, :, unknown]).all()
    cells = unknown.size - int(unknown.sum())
    # 6 losses of two bytes and one each, an angle of two, a class and a bit: 21.125 bytes a cell
    saved = store.path("cd" * 32).stat().st_size - store.path(DIGEST).stat().st_size
    assert saved == pytest.approx(21.125 * (unknown.size - cells), abs=12)  # digits of the header


def test_values_beyond_the_range_take_its_end():
    exact = block()
    exact.loss_db[0, 0, 1, 1], exact.spread_db[0, 0, 1, 1] = 900.0, 99.0
    kept = as_stored(exact)
    # The ends of int16 and uint8: 300 dB + 32767 x 0.01 dB, and 255 x 0.25 dB.
    assert kept.loss_db[0, 0, 1, 1] == pytest.approx(627.67, abs=1e-3)
    assert kept.spread_db[0, 0, 1, 1] == pytest.approx(63.75)


@pytest.mark.parametrize("position", [0, 30, 400, -1])
def test_a_damaged_block_is_seen_removed_and_counted(tmp_path, position):
    store = Store(tmp_path)
    store.save(DIGEST, block())
    path = store.path(DIGEST)
    content = bytearray(path.read_bytes())
    content[position] ^= 1
    path.write_bytes(content)
    assert store.load(DIGEST) is None
    assert store.damaged == 1
    assert not path.exists()


@pytest.mark.parametrize("length", [0, 10, 500])
def test_a_block_cut_short_is_damaged(tmp_path, length):
    store = Store(tmp_path)
    store.save(DIGEST, block())
    store.path(DIGEST).write_bytes(store.path(DIGEST).read_bytes()[:length])
    assert store.load(DIGEST) is None
    assert store.damaged == 1


def test_a_block_under_another_name_is_damaged(tmp_path):
    store = Store(tmp_path)
    store.save(DIGEST, block())
    other = "ab" + "cd" * 31
    store.path(DIGEST).rename(store.path(other))
    assert store.load(other) is None
    assert store.damaged == 1


def test_the_least_recently_used_go_first(tmp_path):
    store = Store(tmp_path)
    names = [f"{number:02x}" * 32 for number in range(10)]
    for age, name in enumerate(names):
        store.save(name, block())
        os.utime(store.path(name), (1000.0 + age, 1000.0 + age))
    size = store.path(names[0]).stat().st_size
    store.load(names[0])  # used: now the youngest
    small = Store(tmp_path, size_limit_gb=10.5 * size / 1e9)
    small.save("ff" * 32, block())
    left = {path.stem for path in tmp_path.glob("*/*.block")}
    # 11 blocks; down to 90 % of 10.5 = 9.45, so 9 stay: the two least recently used are 1 and 2.
    assert left == {names[0], *names[3:], "ff" * 32}


def test_two_writers_of_one_block_leave_one_whole_file(tmp_path):
    stores = [Store(tmp_path), Store(tmp_path)]
    with ThreadPoolExecutor(4) as pool:
        list(pool.map(lambda turn: stores[turn % 2].save(DIGEST, block()), range(40)))
    assert [path.name for path in tmp_path.glob("*/*")] == [f"{DIGEST}.block"]
    assert_same(stores[0].load(DIGEST), as_stored(block()))


def test_equal_blocks_are_equal_bytes(tmp_path):
    one, other = Store(tmp_path / "one"), Store(tmp_path / "other")
    one.save(DIGEST, block())
    other.save(DIGEST, as_stored(block()))
    assert one.path(DIGEST).read_bytes() == other.path(DIGEST).read_bytes()


def test_a_full_disk_is_said_in_words_and_leaves_nothing(tmp_path, monkeypatch):
    store = Store(tmp_path)

    def half_write(self, content):
        with open(self, "wb") as handle:
            handle.write(content[:100])
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", half_write)
    with pytest.raises(CovermapError, match="full"):
        store.save(DIGEST, block())
    assert not [path for path in tmp_path.rglob("*") if path.is_file()]


def test_old_temporary_files_are_removed_and_fresh_ones_left(tmp_path):
    folder = tmp_path / "ab"
    folder.mkdir()
    old, fresh = folder / "old.tmp", folder / "fresh.tmp"
    old.write_bytes(b"x")
    fresh.write_bytes(b"x")
    os.utime(old, (1000.0, 1000.0))
    Store(tmp_path)
    assert not old.exists()
    assert fresh.exists()


def test_a_folder_that_cannot_be_made_and_a_limit_of_nothing_are_refused(tmp_path):
    (tmp_path / "file").write_text("x")
    with pytest.raises(CovermapError, match="cannot be made"):
        Store(tmp_path / "file" / "store")
    with pytest.raises(InputError, match="size limit"):
        Store(tmp_path, size_limit_gb=0.0)
