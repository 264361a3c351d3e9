"""Running independent tasks on threads: in order, bounded in memory, and stoppable."""

from __future__ import annotations

import os
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from typing import Any, Protocol, TypeVar

from covermap.errors import CovermapError, InputError

Item = TypeVar("Item")
Result = TypeVar("Result")
Progress = Callable[[float], bool | None]


class RunStoppedError(CovermapError):
    """The caller's progress function asked the run to stop."""


class Executor(Protocol):
    """Something that runs independent tasks and yields their results in the order of the items."""

    @property
    def threads_here(self) -> int:
        """Return how many threads of this machine may work at what is not given away."""
        ...

    def run(self, work: Callable[[Any], Any], items: Sequence[Any]) -> Iterator[Any]:
        """Yield work(item) of every item, as run_tasks does."""
        ...


class Threads:
    """Tasks on threads of this process; workers as run_tasks takes them."""

    def __init__(self, workers: int | None = None) -> None:
        self.threads_here = workers_or_default(workers)

    def run(self, work: Callable[[Item], Result], items: Sequence[Item]) -> Iterator[Result]:
        """Yield work(item) of every item; see run_tasks."""
        return run_tasks(work, items, self.threads_here)


def run_tasks(
    work: Callable[[Item], Result],
    items: Sequence[Item],
    workers: int | None = None,
    progress: Progress | None = None,
) -> Iterator[Result]:
    """Yield work(item) of every item, in the order of the items.

    work : called on threads; kernels release the interpreter lock, so calls run side by side
    workers : threads, at least 1; None is one a processor. The results do not depend on it.
    progress : called after each result with the fraction done, 0 to 1; False stops the run

    At most two items a worker are begun ahead of the result that is being waited for, so memory does
    not grow with their number. An exception in work is raised where its result would come; then, as after
    an interrupt or when the caller stops asking, items not begun are dropped and the running ones awaited.
    Raises RunStoppedError when progress returns False, InputError when workers is below 1.
    """
    workers = workers_or_default(workers)
    return _results(work, items, workers, progress)


def workers_or_default(workers: int | None) -> int:
    """Return the number of threads: as asked, or one a processor. Raises InputError below 1."""
    if workers is None:
        return os.cpu_count() or 1
    if workers < 1:
        raise InputError(f"workers is {workers}. It must be at least 1.")
    return workers


def _results(
    work: Callable[[Item], Result], items: Sequence[Item], workers: int, progress: Progress | None
) -> Iterator[Result]:
    """Yield the results; a generator of its own so that run_tasks checks its arguments at once."""
    waiting: deque[Future[Result]] = deque()
    pool = ThreadPoolExecutor(max_workers=workers, thread_name_prefix="covermap")
    try:
        begun = 0
        for done in range(1, len(items) + 1):
            while begun < len(items) and len(waiting) < 2 * workers:
                waiting.append(pool.submit(work, items[begun]))
                begun += 1
            yield waiting.popleft().result()
            if progress is not None and progress(done / len(items)) is False:
                raise RunStoppedError(f"Stopped as asked after {done} of {len(items)} steps.")
    finally:
        # Awaited, not left: a running task could still write where its caller cleans up.
        pool.shutdown(wait=True, cancel_futures=True)
