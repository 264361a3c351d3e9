"""Tasks on threads: order, exceptions, stopping, memory."""

import threading
import time

import pytest

from covermap.errors import InputError
from covermap.grid.executor import RunStoppedError, run_tasks


@pytest.mark.parametrize("workers", [1, 2, 5, None])
def test_results_come_in_order_whatever_the_workers(workers):
    def slow_first(item):
        time.sleep(0.005 if item % 3 == 0 else 0.0)
        return item * item

    assert list(run_tasks(slow_first, range(20), workers)) == [item * item for item in range(20)]


def test_few_results_wait_while_the_first_is_slow():
    begun = []
    gate = threading.Event()

    def work(item):
        begun.append(item)
        if item == 0:
            gate.wait(5.0)
        return item

    results = run_tasks(work, range(50), 2)
    timer = threading.Timer(0.1, gate.set)
    timer.start()
    next(results)
    assert len(begun) <= 5  # two items a worker ahead, and the one that was waited for
    assert list(results) == list(range(1, 50))


def test_an_exception_comes_where_its_result_would_and_stops_the_rest():
    begun = []

    def work(item):
        begun.append(item)
        if item == 3:
            raise ValueError("third")
        return item

    results = run_tasks(work, range(100), 2)
    assert [next(results) for _ in range(3)] == [0, 1, 2]
    with pytest.raises(ValueError, match="third"):
        next(results)
    assert len(begun) < 12


def test_progress_false_stops():
    told = []
    results = run_tasks(
        lambda item: item, range(10), 2, lambda fraction: told.append(fraction) or fraction < 0.3
    )
    with pytest.raises(RunStoppedError, match="3 of 10"):
        list(results)
    assert told == [0.1, 0.2, 0.3]


def test_leaving_early_ends_the_threads():
    results = run_tasks(lambda item: item, range(100), 3)
    next(results)
    results.close()
    assert not [thread for thread in threading.enumerate() if thread.name.startswith("covermap")]


def test_no_tasks_give_no_results_and_no_workers_are_refused():
    assert list(run_tasks(lambda item: item, [], 2)) == []
    with pytest.raises(InputError, match="workers is 0"):
        run_tasks(lambda item: item, [1], 0)
