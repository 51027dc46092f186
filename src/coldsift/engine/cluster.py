"""The same work on a cluster of machines, or on a small one started for the run.

Frames stay in the workers' memory, where Dask's scheduler knows how each was made: what a lost worker held is
made again by another.
"""

from __future__ import annotations

import logging
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from importlib import metadata
from operator import itemgetter
from typing import TYPE_CHECKING, Any

import polars as pl

import coldsift
from coldsift.engine.running import (
    Kept,
    Runner,
    RunnerError,
    Small,
    Task,
    cores,
    deaf_to_interrupts,
    one_thread_each,
)

if TYPE_CHECKING:
    from distributed import Client, Future

LOCAL = "local"
"""Address that stands for workers of this machine, started for the run."""

AHEAD = 4
"""Calls for each worker that are under way or waiting."""

REACHED_WITHIN = 15
"""Time for a cluster to answer, and for its first worker to come. [s]"""


class OnCluster:
    """A frame in a worker's memory."""

    def __init__(self, future: Future) -> None:
        self.future = future

    def frame(self) -> pl.DataFrame:
        """Fetch it."""
        with _told():
            fetched: pl.DataFrame = self.future.result()
        return fetched


class OnWorkers:
    """Calls on the workers of a cluster.

    Parameters
    ----------
    client
        Connected.
    """

    def __init__(self, client: Client) -> None:
        self._client = client

    def each(self, work: Callable[..., Small], tasks: Iterable[Task]) -> Iterator[Small]:
        """See :class:`coldsift.engine.running.Runner`."""
        for _, small in self._in_order(work, tasks):
            yield small

    def each_kept(
        self, work: Callable[..., tuple[Small, pl.DataFrame]], tasks: Iterable[Task]
    ) -> Iterator[tuple[Small, Kept]]:
        """See :class:`coldsift.engine.running.Runner`."""
        for whole, small in self._in_order(work, tasks, itemgetter(0)):
            yield small, OnCluster(self._client.submit(itemgetter(1), whole, pure=False))

    def _in_order(
        self, work: Callable[..., Any], tasks: Iterable[Task], part: Callable[[Any], Any] | None = None
    ) -> Iterator[tuple[Future, Any]]:
        """What each call makes on its worker, and of that what is fetched: all of it, or the part."""
        waiting: deque[tuple[Future, Future]] = deque()

        def first() -> tuple[Future, Any]:
            whole, wanted = waiting.popleft()
            with _told():
                return whole, wanted.result()

        for task in tasks:
            with _told():
                most = AHEAD * max(1, len(self._client.nthreads()))
                whole = self._client.submit(work, *(_futures(value) for value in task), pure=False)
                wanted = self._client.submit(part, whole, pure=False) if part else whole
            waiting.append((whole, wanted))
            if len(waiting) >= most:
                yield first()
        while waiting:
            yield first()


def _futures(value: Any) -> Any:
    """An argument as Dask takes it: frames that are kept as their futures, also inside lists."""
    if isinstance(value, OnCluster):
        return value.future
    return [_futures(each) for each in value] if isinstance(value, list) else value


@contextmanager
def on_cluster(address: str) -> Iterator[Runner]:
    """Workers of a cluster.

    Parameters
    ----------
    address
        ``local`` for a process a core of this machine, else the scheduler's address, such as
        ``tcp://192.0.2.7:8786``. The workers must have this version of coldsift, and see the logs under the
        same paths.

    Raises
    ------
    RunnerError
        When it cannot be reached, has no workers, or workers with another coldsift.
    """
    try:
        from distributed import Client, LocalCluster
    except ImportError as error:
        raise RunnerError(
            "--cluster needs the package distributed, which is not installed: pip install "
            "'coldsift[cluster]'."
        ) from error
    if address == LOCAL:
        with one_thread_each():
            with deaf_to_interrupts():
                # Nothing of it can be reached from outside this machine.
                workers = LocalCluster(
                    n_workers=cores(),
                    threads_per_worker=1,
                    host="127.0.0.1",
                    dashboard_address="127.0.0.1:0",
                    scheduler_kwargs={"dashboard": False},
                    # What goes wrong is told by the calls.
                    silence_logs=logging.CRITICAL,
                )
            with workers, Client(workers) as client:
                yield OnWorkers(client)
        return
    try:
        client = Client(address, timeout=REACHED_WITHIN)
    except (OSError, ValueError, TimeoutError) as error:
        raise RunnerError(
            f"No cluster can be reached at {address}. Check the address and that its scheduler runs; without "
            "--cluster the work is done on this machine."
        ) from error
    with client:
        _check_workers(client, address)
        yield OnWorkers(client)


def _check_workers(client: Client, address: str) -> None:
    try:
        client.wait_for_workers(1, timeout=REACHED_WITHIN)
    except TimeoutError as error:
        raise RunnerError(
            f"The cluster at {address} has no workers. Start some: dask worker {address}."
        ) from error
    try:
        versions = set(client.run(_version).values())
    except Exception as error:
        raise RunnerError(
            f"The workers of {address} cannot load coldsift ({error}). Install this version, "
            f"{coldsift.__version__}, on each."
        ) from error
    if versions != {_version()}:
        raise RunnerError(
            f"The workers of {address} have other versions (coldsift, polars, numpy: {versions}) than this "
            f"machine ({_version()}). Install the same on each, or the outcome could differ."
        )


def _version() -> tuple[str, ...]:
    return (coldsift.__version__, metadata.version("polars"), metadata.version("numpy"))


@contextmanager
def _told() -> Iterator[None]:
    """What goes wrong on a cluster, in words."""
    from distributed import CancelledError
    from distributed.client import FutureCancelledError
    from distributed.scheduler import KilledWorker

    try:
        yield
    except KilledWorker as error:
        raise RunnerError(
            "Worker after worker was lost over the same piece of work, most likely for want of memory. Give "
            "the workers more, or start fewer on each machine. Nothing was written."
        ) from error
    except MemoryError as error:
        raise RunnerError(
            "A worker has too little memory. Give the workers more, or start fewer on each machine. Nothing "
            "was written."
        ) from error
    except (CancelledError, FutureCancelledError, OSError) as error:
        raise RunnerError(
            f"The cluster was lost in the middle of the run ({type(error).__name__}). Nothing was written; "
            "start it again."
        ) from error
