"""Parts of a job that do not need each other, on threads."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from contextvars import copy_context
from functools import partial
from typing import ParamSpec, Protocol, TypeVar

Given = ParamSpec("Given")
Found = TypeVar("Found")


class Begin(Protocol):
    """Begins a part of the work; what it returns waits for the part and gives what that returned."""

    def __call__(
        self, work: Callable[Given, Found], *given: Given.args, **named: Given.kwargs
    ) -> Callable[[], Found]:
        """Begin work(*given)."""
        ...


@contextmanager
def side_by_side(threads: int) -> Iterator[Begin]:
    """Give what begins parts of the work, in the language that is spoken here.

    GDAL, kernels, zlib and numpy's larger steps leave Python to the others meanwhile. An error in a part is
    raised where it is waited for; parts that have not begun are then dropped and running ones awaited.
    """
    pool = ThreadPoolExecutor(threads, thread_name_prefix="part")

    def begin(work: Callable[Given, Found], *given: Given.args, **named: Given.kwargs) -> Callable[[], Found]:
        return pool.submit(partial(copy_context().run, work, *given, **named)).result

    try:
        yield begin
    finally:
        pool.shutdown(wait=True, cancel_futures=True)
