"""Where the work is done: in this process, or in processes beside it.

Goes in: a function and the arguments of every call of it. Comes out: what it returns, call by call, in their
order. A large frame stays where it was made, as a :class:`Kept`, and can be an argument of a later call.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
import tempfile
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from itertools import chain, count, islice
from multiprocessing import resource_tracker
from pathlib import Path
from typing import Any, Protocol, TypeVar, runtime_checkable

import polars as pl

from coldsift.intake.files import is_remote
from coldsift.places import OutputError, cannot_write, disk_faults, held, is_no_room, no_room

Small = TypeVar("Small")
Task = tuple[Any, ...]

AHEAD = 2
"""Calls a process that are under way or waiting: enough to keep it busy, few enough to hold their results."""


class RunnerError(Exception):
    """The work could not be done where it was to be done; says what happened and what to do."""


@runtime_checkable
class Kept(Protocol):
    """A large frame, wherever it is."""

    def frame(self) -> pl.DataFrame:
        """Fetch it."""


class Runner(Protocol):
    """Does calls, in order."""

    def each(self, work: Callable[..., Small], tasks: Iterable[Task]) -> Iterator[Small]:
        """Call ``work`` with each of ``tasks``; a :class:`Kept` among the arguments comes as its frame."""

    def each_kept(
        self, work: Callable[..., tuple[Small, pl.DataFrame]], tasks: Iterable[Task]
    ) -> Iterator[tuple[Small, Kept]]:
        """The same, for work that returns something small, and a frame to keep where it is."""


@dataclass(frozen=True, slots=True)
class Held:
    """A frame in this process's memory."""

    held: pl.DataFrame

    def frame(self) -> pl.DataFrame:
        """The frame."""
        return self.held


class Here:
    """Everything in this process; frames stay in memory."""

    def each(self, work: Callable[..., Small], tasks: Iterable[Task]) -> Iterator[Small]:
        """See :class:`Runner`."""
        for task in tasks:
            yield work(*fetched(task))

    def each_kept(
        self, work: Callable[..., tuple[Small, pl.DataFrame]], tasks: Iterable[Task]
    ) -> Iterator[tuple[Small, Kept]]:
        """See :class:`Runner`."""
        for small, frame in self.each(work, tasks):
            yield small, Held(frame)


@dataclass(frozen=True, slots=True)
class Filed:
    """A frame in a file of this machine."""

    path: Path

    def frame(self) -> pl.DataFrame:
        """Read it."""
        return pl.read_ipc(self.path)


class Processes:
    """A process a core, each with one thread; frames are kept in files.

    They are started when there is more than one call to do: a few logs are done here before a process has
    begun.

    Parameters
    ----------
    folder
        For the files; whoever made it takes it away.
    processes
        How many.
    """

    def __init__(self, folder: Path, processes: int) -> None:
        self._folder = folder
        self._numbers = count()
        self._processes = processes
        self._pool: ProcessPoolExecutor | None = None
        self._broken = False
        self._others = set(multiprocessing.active_children())

    def each(self, work: Callable[..., Small], tasks: Iterable[Task]) -> Iterator[Small]:
        """See :class:`Runner`."""
        few, every = _counted(tasks)
        if few:
            return Here().each(work, every)
        return self._in_order((_called, work, task) for task in every)

    def each_kept(
        self, work: Callable[..., tuple[Small, pl.DataFrame]], tasks: Iterable[Task]
    ) -> Iterator[tuple[Small, Kept]]:
        """See :class:`Runner`."""
        few, every = _counted(tasks)
        if few:
            return Here().each_kept(work, every)
        return self._in_order(
            (_called_and_filed, work, task, self._folder / f"{next(self._numbers):06d}.arrow")
            for task in every
        )

    def close(self) -> None:
        """End the processes; work that has not begun is dropped."""
        if self._pool:
            if self._broken:
                # One that was just being started when another was killed would be waited for for ever.
                for process in set(multiprocessing.active_children()) - self._others:
                    process.kill()
            self._pool.shutdown(cancel_futures=True)

    def _started(self) -> ProcessPoolExecutor:
        if self._pool is None:
            with one_thread_each(), deaf_to_interrupts():
                # Started anew, not forked: a copy of a process with threads may hang.
                self._pool = ProcessPoolExecutor(
                    self._processes, multiprocessing.get_context("spawn"), initializer=_end_with_parent
                )
                try:
                    for _ in range(self._processes):
                        self._pool.submit(os.getpid)
                except OSError as error:
                    if error.errno is None:
                        # Not the system's: the pool had closed its handles when one was killed meanwhile.
                        raise BrokenProcessPool(str(error)) from error
                    raise
        return self._pool

    def _in_order(self, calls: Iterable[Task]) -> Iterator[Any]:
        waiting: deque[Future[Any]] = deque()
        try:
            pool = self._started()
            for call in calls:
                waiting.append(pool.submit(*call))
                if len(waiting) >= AHEAD * self._processes:
                    yield waiting.popleft().result()
            while waiting:
                yield waiting.popleft().result()
        except BrokenProcessPool as error:
            self._broken = True
            raise RunnerError(
                "A worker process was ended from outside, most likely for want of memory. Close other "
                "programs, or screen fewer logs at a time. Nothing was written."
            ) from error
        except MemoryError as error:
            raise RunnerError(
                "There is not enough memory. Close other programs, or screen fewer logs at a time. Nothing "
                "was written."
            ) from error
        except OSError as error:
            place = self._folder.parent.parent
            why = no_room(place, self._folder) if is_no_room(error) else f"{error}."
            raise RunnerError(f"The work beside the outputs in {place} failed: {why}") from error
        finally:
            for future in waiting:
                future.cancel()


def _counted(tasks: Iterable[Task]) -> tuple[bool, Iterator[Task]]:
    """Whether there is at most one task, and all of them again."""
    every = iter(tasks)
    first = list(islice(every, 2))
    return len(first) < 2, chain(first, every)


@contextmanager
def processes(beside: Path | str) -> Iterator[Runner]:
    """Processes for all cores that this one may use, with their files in a folder beside another.

    Parameters
    ----------
    beside
        Where the outputs will be: there is the room for what is needed meanwhile. Where that is on another
        file system (``scheme://``), the files are in this machine's folder for such.

    Raises
    ------
    OutputError
        When nothing can be written there, or another run holds the place; see :func:`coldsift.places.held`.
    """
    with ExitStack() as stack:
        if is_remote(beside):
            try:
                hidden = tempfile.TemporaryDirectory(
                    prefix="coldsift.", suffix=".work", ignore_cleanup_errors=True
                )
            except OSError as error:
                raise OutputError(cannot_write(Path(tempfile.gettempdir()), error)) from error
            folder = Path(stack.enter_context(hidden))
        else:
            folder = stack.enter_context(held(Path(beside))).room("work")
        runner = Processes(folder, cores())
        stack.callback(runner.close)
        yield runner


def _end_with_parent() -> None:
    """End this process when the one that started it has ended: killed, it could not say so any more."""
    parent = multiprocessing.parent_process()

    def watch() -> None:
        if parent is not None:
            parent.join()
            os._exit(1)

    threading.Thread(target=watch, daemon=True).start()


def fetched(task: Task) -> Task:
    """The arguments of a call, with the frames of those that are kept, also inside lists."""

    def fetch(value: Any) -> Any:
        if isinstance(value, Kept):
            return value.frame()
        return [fetch(each) for each in value] if isinstance(value, list) else value

    return tuple(fetch(value) for value in task)


def _called(work: Callable[..., Small], task: Task) -> Small:
    return work(*fetched(task))


def _called_and_filed(
    work: Callable[..., tuple[Small, pl.DataFrame]], task: Task, path: Path
) -> tuple[Small, Filed]:
    small, frame = work(*fetched(task))
    with disk_faults():
        frame.write_ipc(path, compression="lz4")
    return small, Filed(path)


def cores() -> int:
    """Processor cores that this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


@contextmanager
def deaf_to_interrupts() -> Iterator[None]:
    """Processes started meanwhile take no notice of Ctrl-C: it is for this one, which ends them.

    One that comes meanwhile is heard at the end; on Windows it is lost.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
    elif hasattr(signal, "pthread_sigmask"):
        # It would open the ears again when it is started with the first process.
        resource_tracker.ensure_running()
        before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
        try:
            yield
        finally:
            signal.pthread_sigmask(signal.SIG_SETMASK, before)
    else:
        heard = signal.signal(signal.SIGINT, signal.SIG_IGN)
        try:
            yield
        finally:
            signal.signal(signal.SIGINT, heard)


@contextmanager
def one_thread_each() -> Iterator[None]:
    """Processes started meanwhile use one thread: there is one for each core already.

    The libraries read this when they are loaded, which is in the new process.
    """
    names = ("POLARS_MAX_THREADS", "OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS")
    before = {name: os.environ.get(name) for name in names}
    os.environ.update(dict.fromkeys(names, "1"))
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value
