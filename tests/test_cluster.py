"""The same tasks on the workers of a real scheduler on this machine, one of which is killed in the middle."""

import json
import os
import pickle
import re
import signal
import subprocess
import sys
import threading
import time

import pytest
from click.testing import CliRunner

from covermap import jobs
from covermap.cli.main import main
from covermap.errors import CovermapError, InputError
from covermap.grid.cluster import check_address, executor_of
from covermap.grid.executor import Threads
from covermap.grid.store import Store
from covermap.inputs.prepare import prepare
from covermap.jobs.check import check
from covermap.jobs.predict import run
from covermap.jobs.run_session import RunSession
from covermap.scenario import read_scenario

Client = pytest.importorskip("distributed").Client


@pytest.fixture(scope="module")
def cluster(tmp_path_factory):
    """A scheduler and two workers, each a process on loopback: (address, worker processes)."""
    yield from started_cluster(tmp_path_factory.mktemp("cluster"))


@pytest.fixture
def lone_cluster(tmp_path):
    """The same for one test alone, which kills a worker."""
    yield from started_cluster(tmp_path)


def started_cluster(folder):
    port_file = folder / "scheduler.json"
    loopback = ["--host", "127.0.0.1", "--dashboard-address", "127.0.0.1:0"]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}

    def start(name, *arguments):
        log = open(folder / f"{name}.log", "w")  # noqa: SIM115  the process writes it
        command = [sys.executable, "-m", f"distributed.cli.dask_{name.split('_')[0]}", *loopback, *arguments]
        return subprocess.Popen(command, stdout=log, stderr=log, cwd=folder, env=environment)

    scheduler = start("scheduler", "--port", "0", "--scheduler-file", str(port_file))
    for _ in range(300):
        if port_file.exists():
            break
        time.sleep(0.1)
    worker = ["--scheduler-file", str(port_file), "--no-nanny", "--nthreads", "1"]
    workers = [start(f"worker_{number}", *worker, "--name", str(number)) for number in range(2)]
    address = json.loads(port_file.read_text())["address"]
    with Client(address, timeout=60, set_as_default=False) as client:
        client.wait_for_workers(2, timeout=60)
    yield address, workers
    for process in (*workers, scheduler):
        process.kill()
        process.wait()


@pytest.fixture
def scenario(tmp_path):
    jobs.write_demo(tmp_path / "demo")
    path = tmp_path / "demo" / "scenario.toml"
    path.write_text(path.read_text("utf-8").replace("cell_m = 100", "cell_m = 400"), "utf-8")
    return path


def raster_bytes(folder):
    found = {path.relative_to(folder): path.read_bytes() for path in (folder / "rasters").rglob("*.tif")}
    assert found
    return found


@pytest.mark.parametrize(
    ("stage", "halted_from", "cell_m"), [("paths", 0.0, 400), ("reception", 1.0, 200)]
)  # the second: when the last path is done, so that tiles of reception, 4 of them, are all it can be given
def test_a_worker_killed_while_it_holds_tasks_changes_nothing(
    lone_cluster, scenario, stage, halted_from, cell_m
):
    """It is halted first, so that what the scheduler gives it stays its own until the kill."""
    address, workers = lone_cluster
    scenario.write_text(scenario.read_text("utf-8").replace("cell_m = 400", f"cell_m = {cell_m}"), "utf-8")
    prepared = prepare(read_scenario(scenario))
    folder = scenario.parent
    here = run(prepared, folder / "here", folder / "store_here", Threads(2), None)
    told, held = [], []

    with executor_of(None, address) as executor:
        client = executor._client
        client.wait_for_workers(2, timeout=60)
        there_are = client.scheduler_info()["workers"]
        at = next(at for at, facts in there_are.items() if str(facts["name"]) == "0")

        def kill_when_it_holds_tasks():
            until = time.monotonic() + 120.0
            while not held and time.monotonic() < until:
                held.extend(client.processing()[at])
                time.sleep(0.05)
            workers[0].send_signal(signal.SIGKILL)

        killer = threading.Thread(target=kill_when_it_holds_tasks)

        def halt_one(now, fraction, words):
            told.append((now, fraction))
            if now == "paths" and fraction >= halted_from and killer.ident is None:
                workers[0].send_signal(signal.SIGSTOP)
                killer.start()
            return True

        there = run(prepared, folder / "there", folder / "store_there", executor, halt_one)
        killer.join()
        assert held, "the worker was never seen with a task"
        assert any(stage_of(key) == stage for key in held)
        assert at not in client.run_on_scheduler(known_workers)
        begun_again = client.run_on_scheduler(taken_back, held)
    assert begun_again, "no task of the dead worker was ever begun on another"
    assert workers[0].wait(timeout=10) == -signal.SIGKILL
    assert there.run["blocks"] == here.run["blocks"]
    assert [fraction for now, fraction in told if now == "paths"][-1] == 1.0
    assert [fraction for now, fraction in told if now == "reception"][-1] == 1.0
    assert raster_bytes(folder / "there") == raster_bytes(folder / "here")
    blocks = sorted(path.name for path in (folder / "store_here").rglob("*.block"))
    assert blocks == sorted(path.name for path in (folder / "store_there").rglob("*.block"))


def stage_of(key):
    """Return the stage of a task, by the function that dask names it after."""
    return {"compute_task": "paths", "receive_task": "reception"}[key.split("-")[0]]


def known_workers(dask_scheduler):
    return list(dask_scheduler.workers)


def taken_back(held, dask_scheduler):
    """Return which of some tasks the scheduler took from their worker before they were done."""
    moves = dask_scheduler.transition_log
    ends = [(move.key, move.finish) for move in moves if move.start == "processing" and move.key in held]
    return [key for key, finish in ends if finish != "memory"]


def test_check_counts_the_threads_of_the_workers(cluster, scenario):
    address, workers = cluster
    living = sum(worker.poll() is None for worker in workers)
    words = jobs.check_scenario(scenario, scheduler=address).in_words()
    assert re.search(rf"Cost .* on {living} threads? of the cluster's workers", words)


def test_check_tells_less_time_for_more_threads_and_memory_of_this_machine_alone(scenario):
    read = read_scenario(scenario)
    few, many = (check(read, cluster_threads=threads).cost for threads in (1, 100))
    assert many.seconds < few.seconds
    assert many.memory_mb == few.memory_mb < check(read, workers=1).cost.memory_mb
    assert check(read, workers=4).cost.seconds < check(read, workers=1).cost.seconds


def test_check_of_a_scheduler_that_does_not_answer_ends_with_2(scenario, monkeypatch):
    monkeypatch.setattr("covermap.grid.cluster.CONNECT_S", 1)
    done = CliRunner().invoke(main, ["check", str(scenario), "--scheduler", "tcp://127.0.0.1:9"])
    assert done.exit_code == 2
    assert "--scheduler tcp://127.0.0.1:9 does not answer" in done.output
    done = CliRunner().invoke(main, ["check", str(scenario), "--scheduler", "tcp://192.0.2.7:8786"])
    assert done.exit_code == 2
    assert "without TLS" in done.output


def test_stopping_cancels_what_is_not_done(cluster):
    address, _ = cluster
    with executor_of(None, address) as executor:
        results = executor.run(time.sleep, [0.05] * 200)
        next(results)
        results.close()
        for _ in range(100):
            if not executor._client.processing() or not any(executor._client.processing().values()):
                break
            time.sleep(0.05)
        assert not any(executor._client.processing().values())


def test_what_a_task_raises_is_raised_here(cluster):
    address, _ = cluster
    with executor_of(None, address) as executor, pytest.raises(ZeroDivisionError):
        list(executor.run((1).__floordiv__, [1, 0]))


def test_a_worker_that_reads_other_inputs_says_so(scenario):
    prepared = prepare(read_scenario(scenario))
    sent = pickle.dumps(RunSession(prepared, Store(scenario.parent / "store")))
    assert len(sent) < 2000  # paths, never terrain
    scenario.write_text(scenario.read_text("utf-8").replace("cell_m = 400", "cell_m = 500"), "utf-8")
    with pytest.raises(CovermapError, match="other inputs"):
        _ = pickle.loads(sent).prepared


@pytest.mark.parametrize(
    ("address", "words"),
    [
        ("tcp://192.0.2.7:8786", "without TLS"),  # RFC 5737: an address for documentation
        ("localhost:8786", "tcp://HOST:PORT"),
        ("tcp://127.0.0.1", "tcp://HOST:PORT"),
        ("http://127.0.0.1:8786", "tcp://HOST:PORT"),
    ],
)
def test_addresses_that_are_none_or_not_safe_are_refused(address, words):
    with pytest.raises(InputError, match=words):
        check_address(address, without_tls=False)


@pytest.mark.parametrize("address", ["tcp://127.0.0.1:8786", "tcp://[::1]:8786", "tls://192.0.2.7:8786"])
def test_loopback_and_tls_are_taken(address):
    check_address(address, without_tls=False)


def test_another_machine_without_tls_only_when_told():
    check_address("tcp://192.0.2.7:8786", without_tls=True)


def test_no_scheduler_there_is_said(monkeypatch):
    monkeypatch.setattr("covermap.grid.cluster.CONNECT_S", 1)
    with pytest.raises(InputError, match="does not answer"), executor_of(None, "tcp://127.0.0.1:9"):
        pass
