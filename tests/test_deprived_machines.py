"""Machines that withhold something: rights, a cache for kernels, a writable store, a clock that goes forward.

Each is deprived in earnest: by the system's own rights and mounts, or by a C library's clock that goes back.
"""

import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest
from commands_in_trouble import COMMAND, content, ended, environment, hidden, start_map, write_coarse_demo
from same_results import assert_same_results

import covermap
from covermap import jobs
from covermap.kernel_cache import cache_folder

PACKAGE = Path(covermap.__file__).parent
OTHER_USER = 65534  # whom no system gives files to
# may read what root may, since Python itself may stand in root's home, but writes only where it has the right
AS_OTHER_USER = (
    "setpriv", f"--reuid={OTHER_USER}", "--clear-groups",
    "--inh-caps=+dac_read_search", "--ambient-caps=+dac_read_search",
)  # fmt: skip
# in a name space of its own, where the package is a disk that may only be read
READ_ONLY_PACKAGE = (
    "unshare", "--mount", "sh", "-c",
    'mount --bind "$0" "$0" && mount -o remount,bind,ro "$0" && exec "$@"', str(PACKAGE),
)  # fmt: skip
HALF_COMPILED = "import covermap; print(covermap.knife_edge_loss(0.0))"
CLOCK = """
#define _GNU_SOURCE
#include <dlfcn.h>
#include <time.h>
/* every question after the time of day is answered with a minute less than the one before */
int clock_gettime(clockid_t clock, struct timespec *now) {
    static long asked = 0;
    static int (*real)(clockid_t, struct timespec *) = 0;
    if (!real) real = dlsym(RTLD_NEXT, "clock_gettime");
    int status = real(clock, now);
    if (clock == CLOCK_REALTIME) now->tv_sec -= 60 * ++asked;
    return status;
}
"""


def needs(*programs):
    if os.geteuid() != 0:
        pytest.skip("only root may take rights away")
    for program in programs:
        if shutil.which(program) is None:
            pytest.skip(f"{program} is not on this machine")


def works(*command):
    return subprocess.run(command, capture_output=True, check=False).returncode == 0


@pytest.fixture(scope="module")
def scenario(tmp_path_factory):
    return write_coarse_demo(tmp_path_factory.mktemp("deprived") / "demo")


@pytest.fixture(scope="module")
def whole(scenario):
    jobs.map_scenario(scenario, scenario.parent / "whole", store=scenario.parent / "store", workers=2)
    return scenario.parent / "whole"


@pytest.fixture(scope="module")
def for_all(scenario, whole):
    """A folder that everybody may read: the demo, a whole store and a result; pytest's own are closed."""
    needs("setpriv")
    with tempfile.TemporaryDirectory(prefix="covermap_test_") as name:
        folder = Path(name)
        shutil.copytree(scenario.parent, folder / "demo")
        for path in [folder, *folder.rglob("*")]:
            path.chmod(0o755 if path.is_dir() else 0o644)
        yield folder / "demo"


@pytest.fixture
def given(for_all):
    """A folder of the other user, with compiled kernels of its own, so that it need not compile."""
    folder = for_all.parent / "given"
    shutil.copytree(cache_folder(), folder / "kernels")
    for path in [folder, *folder.rglob("*")]:
        os.chown(path, OTHER_USER, OTHER_USER)
    yield folder
    shutil.rmtree(folder)


def map_as_other_user(for_all, given, output):
    told = environment(NUMBA_CACHE_DIR=str(given / "kernels"), HOME=str(given), TMPDIR=str(given))
    command = (*AS_OTHER_USER, *COMMAND)
    return ended(start_map(for_all / "scenario.toml", output, for_all / "store", command=command, env=told))


@pytest.fixture
def read_only_store(scenario, whole, tmp_path):
    """The finished store on a disk that may only be read."""
    needs("mount")
    folder = tmp_path / "store"
    folder.mkdir()
    if not works("mount", "-t", "tmpfs", "-o", "size=8m", "covermap_test", folder):
        pytest.skip("mounting a disk is not allowed here")
    shutil.copytree(scenario.parent / "store", folder, dirs_exist_ok=True)
    subprocess.run(["mount", "-o", "remount,ro", folder], check=True)
    yield folder
    subprocess.run(["umount", "--lazy", folder], check=True)


def test_a_read_only_store_with_all_paths_serves_a_run(scenario, whole, read_only_store, tmp_path):
    assert ended(start_map(scenario, tmp_path / "out", read_only_store))[0] == 0
    assert_same_results(whole, tmp_path / "out")


def test_a_read_only_store_that_lacks_paths_is_said_and_nothing_is_written(
    scenario, whole, read_only_store, tmp_path
):
    subprocess.run(["mount", "-o", "remount,rw", read_only_store], check=True)
    sorted(read_only_store.rglob("*.block"))[0].unlink()
    subprocess.run(["mount", "-o", "remount,ro", read_only_store], check=True)
    status, _, wrong = ended(start_map(scenario, tmp_path / "out", read_only_store))
    assert status == 1
    assert f"The store {read_only_store} cannot be written: Read-only file system" in wrong
    assert not (tmp_path / "out").exists()


def test_another_user_may_run_on_somebody_elses_scenario_and_store(whole, for_all, given):
    """Its blocks are root's and may only be read."""
    status, _, wrong = map_as_other_user(for_all, given, given / "out")
    assert status == 0, wrong
    assert (given / "out" / "map.html").stat().st_uid == OTHER_USER
    assert_same_results(whole, given / "out")


def test_another_user_is_refused_where_it_may_not_write(for_all, given):
    before = content(for_all / "whole")
    status, _, wrong = map_as_other_user(for_all, given, for_all / "whole")
    assert status == 2
    assert f"{for_all / 'whole'} cannot be written to: Permission denied" in wrong
    assert wrong.endswith("Nothing was written.")
    assert content(for_all / "whole") == before
    assert hidden(for_all) == []


@pytest.mark.parametrize("closed_to", ["HOME", "NUMBA_CACHE_DIR"])
def test_a_kernel_cache_that_cannot_be_written_costs_time_and_is_said(given, closed_to):
    """Neither beside the package nor in the user's own cache; nor where NUMBA_CACHE_DIR points."""
    closed = given / "closed"
    closed.mkdir(mode=0o555)
    told = {"HOME": str(closed), "XDG_CACHE_HOME": "", "NUMBA_CACHE_DIR": "", closed_to: str(closed)}
    done = subprocess.run(
        [*AS_OTHER_USER, sys.executable, "-c", HALF_COMPILED],
        capture_output=True,
        text=True,
        check=False,
        env=environment(**told, TMPDIR=str(given)),
    )
    assert done.returncode == 0, done.stderr
    # ITU-R P.526-16, section 4.1: J(0) = 6.9 + 20 log(sqrt(0.01 + 1) - 0.1) = 6.03 dB
    assert float(done.stdout) == pytest.approx(6.03, abs=0.005)
    assert "Compiled kernels cannot be kept in" in done.stderr
    assert "NUMBA_CACHE_DIR" in done.stderr
    assert list(given.glob("covermap_kernels_*")) == []  # what stood in for the cache went with the process


@pytest.mark.slow
def test_an_installation_that_may_only_be_read_keeps_its_kernels_in_the_users_cache(
    scenario, whole, tmp_path
):
    needs("unshare", "mount")
    if not works(*READ_ONLY_PACKAGE, "true"):
        pytest.skip("mounting is not allowed here")
    assert not works(*READ_ONLY_PACKAGE, "touch", PACKAGE / "constants.py")
    told = environment(XDG_CACHE_HOME=str(tmp_path / "cache"))
    told.pop("NUMBA_CACHE_DIR", None)
    before = content(PACKAGE)
    for _ in range(2):
        running = start_map(
            scenario,
            tmp_path / "out",
            scenario.parent / "store",
            command=(*READ_ONLY_PACKAGE, *COMMAND),
            env=told,
        )
        assert ended(running)[0] == 0
        assert_same_results(whole, tmp_path / "out")
        assert list((tmp_path / "cache" / "covermap").rglob("*.nbc"))
    assert set(content(PACKAGE)) == set(before)


def test_a_clock_that_goes_back_changes_no_result(scenario, whole, tmp_path):
    """And files of the time to come: blocks, and the lock of a run that died, all of the year 2090."""
    needs("cc")
    (tmp_path / "clock.c").write_text(CLOCK)
    library = tmp_path / "clock.so"
    subprocess.run(["cc", "-shared", "-fPIC", "-o", library, tmp_path / "clock.c", "-ldl"], check=True)
    goes_back = "import time; first = time.time(); print(time.time() < first - 50)"
    told = environment(LD_PRELOAD=str(library))
    asked = subprocess.check_output([sys.executable, "-c", goes_back], env=told, text=True)
    assert asked == "True\n"
    shutil.copytree(scenario.parent / "store", tmp_path / "store")
    lock = tmp_path / "out" / ".covermap_unfinished" / "running.json"
    lock.parent.mkdir(parents=True)
    lock.write_text('{"pid": 1, "host": "mill"}')
    in_2090 = 3_800_000_000
    for path in [lock, *(tmp_path / "store").rglob("*")]:
        os.utime(path, (in_2090, in_2090))
    assert ended(start_map(scenario, tmp_path / "out", tmp_path / "store", env=told))[0] == 0
    assert_same_results(whole, tmp_path / "out")
