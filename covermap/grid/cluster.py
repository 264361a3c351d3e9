"""Running the same tasks on the workers of a dask.distributed scheduler."""

from __future__ import annotations

import ipaddress
import socket
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from typing import Any
from urllib.parse import urlsplit

from covermap.errors import CovermapError, InputError
from covermap.grid.executor import Executor, Threads, workers_or_default

CONNECT_S = 20
WORKERS_WAIT_S = 60  # for the first worker
AHEAD = 2  # tasks begun for each thread of the workers, as on this machine


class ClusterThreads:
    """Tasks on the threads of a cluster's workers. Work and items are pickled; so is what comes back.

    A task whose worker dies is begun again on another; see docs/cluster.md.
    """

    def __init__(self, client: Any) -> None:
        self._client = client

    def run(self, work: Callable[[Any], Any], items: Sequence[Any]) -> Iterator[Any]:
        """Yield work(item) of every item, in order; see covermap.grid.executor.run_tasks.

        When the caller stops asking, tasks not yet finished are cancelled. Raises what work raises, and
        CovermapError when the scheduler or all workers are lost.
        """
        from dask.distributed import KilledWorker

        waiting: deque[Any] = deque()
        begun = 0
        try:
            for _ in range(len(items)):
                while begun < len(items) and len(waiting) < self._most_waiting():
                    # pure=False: otherwise dask names a task by its arguments and may hand out an earlier
                    # run's result.
                    waiting.append(self._client.submit(work, items[begun], pure=False))
                    begun += 1
                yield waiting[0].result()
                waiting.popleft()
        except KilledWorker as error:
            raise CovermapError(
                f"One task ended several workers, the last {error.last_worker}. They may lack memory; see "
                "their logs. The same command carries on where this one stopped."
            ) from error
        except (OSError, TimeoutError) as error:
            raise CovermapError(f"The scheduler was lost: {error}. The same command carries on.") from error
        finally:
            if waiting:
                # The scheduler outlives this command: what is left waiting there would still be worked
                # through.
                self._client.cancel(list(waiting), force=True)

    @property
    def threads_here(self) -> int:
        """Return how many threads of this machine may work at what is not given away: one a processor."""
        return workers_or_default(None)

    @property
    def threads(self) -> int:
        """Return how many threads the workers have together, 1 at least."""
        return max(1, sum(self._client.nthreads().values()))

    def _most_waiting(self) -> int:
        return AHEAD * self.threads


@contextmanager
def executor_of(workers: int | None, scheduler: str | None, without_tls: bool = False) -> Iterator[Executor]:
    """Give what runs tasks: threads of this machine or, with a scheduler, its workers.

    scheduler : tcp://HOST:PORT of this machine, or tls://HOST:PORT with the certificates that dask's own
        configuration names
    without_tls : also take a tcp:// scheduler on another machine, where anyone on the way can read along
        and whoever reaches it can run programs as its user

    Raises InputError when the address is none, not allowed, or nobody answers.
    """
    if scheduler is None:
        yield Threads(workers)
        return
    check_address(scheduler, without_tls)
    client = _connect(scheduler)
    try:
        yield ClusterThreads(client)
    finally:
        client.close()


def worker_threads(scheduler: str, without_tls: bool = False) -> int:
    """Return how many threads a scheduler's workers have together.

    Raises InputError when the address is none, not allowed, or nobody answers; see executor_of.
    """
    check_address(scheduler, without_tls)
    client = _connect(scheduler)
    try:
        return ClusterThreads(client).threads
    finally:
        client.close()


def check_address(scheduler: str, without_tls: bool) -> None:
    """Raise InputError for an address that is no scheduler's, or would be used without TLS."""
    try:
        parts = urlsplit(scheduler)
        host, port = parts.hostname, parts.port
    except ValueError:
        host = port = None
    if host is None or port is None or parts.scheme not in ("tcp", "tls"):
        raise InputError(f"--scheduler is {scheduler!r}. It must be tcp://HOST:PORT or tls://HOST:PORT.")
    if parts.scheme == "tcp" and not without_tls and not is_loopback(host):
        raise InputError(
            f"--scheduler {scheduler} is on another machine and without TLS: anyone on the way could read "
            "and change what is sent.\n  Use tls:// (docs/cluster.md says how), or add "
            "--scheduler-without-tls on a network where everyone is trusted."
        )


def is_loopback(host: str) -> bool:
    """Return whether a host name or address stands for this machine alone."""
    try:
        found = {str(entry[4][0]) for entry in socket.getaddrinfo(host, None)}
    except OSError:
        return False
    # every address of the name, as the connection may take any of them
    return bool(found) and all(ipaddress.ip_address(address).is_loopback for address in found)


def _connect(scheduler: str) -> Any:
    """Return a client of the scheduler with a worker at least. Raises InputError."""
    try:
        from dask.distributed import Client
    except ImportError as error:
        raise InputError("--scheduler needs dask: pip install 'covermap[cluster]'.") from error
    try:
        # set_as_default=False: dask's own functions in the caller's program must not land on this scheduler.
        client = Client(scheduler, timeout=CONNECT_S, set_as_default=False)
    except (OSError, TimeoutError, ValueError, TypeError, RuntimeError) as error:
        raise InputError(
            f"--scheduler {scheduler} does not answer: {error}. Is it running, and is the address right?"
        ) from error
    try:
        client.wait_for_workers(1, timeout=WORKERS_WAIT_S)
    except TimeoutError as error:
        client.close()
        raise InputError(
            f"--scheduler {scheduler} has no worker. Start one: dask worker {scheduler}."
        ) from error
    return client
