"""What a command costs: its time on the clock and on the cores, and its memory with that of its children."""

from __future__ import annotations

import os
import subprocess
import tempfile
import threading
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from time import perf_counter
from typing import Any

SAMPLED_EVERY = 0.02
"""Memory is looked at so often. [s]"""

GROWTH = 1.02
"""Resident set sizes are cheap to look at, proportional ones are not: these are asked for when those have
grown by this since the last time. Asked for at every look, they took a quarter of a core."""

CHILDREN_EVERY = 10
"""New child processes are looked for at one sample in so many."""


class Failed(Exception):
    """A command ended otherwise than it should, or cannot be run."""


@dataclass(frozen=True, slots=True)
class Cost:
    """What one run cost.

    Attributes
    ----------
    wall, cpu
        From start to end, and on all cores together, child processes with it. [s]
    peak
        Largest memory of the process and its children at one time: proportional set size where the system
        tells it, so that pages which several of them share count once; else resident set size. [byte]
    said
        What it wrote to the standard output.
    """

    wall: float
    cpu: float
    peak: int
    said: str


def cost_of(command: Sequence[str], environment: Mapping[str, str] | None = None) -> Cost:
    """Run a command and measure it.

    Parameters
    ----------
    command
        Program and arguments; runs in the present folder.
    environment
        Variables that are set otherwise than here.

    Raises
    ------
    Failed
        When it ends with another status than 0; the message ends with the last lines of its errors.
    """
    with tempfile.TemporaryFile() as said, tempfile.TemporaryFile() as errors:
        began = perf_counter()
        process = subprocess.Popen(
            command,
            stdin=subprocess.DEVNULL,
            stdout=said,
            stderr=errors,
            env={**os.environ, **(environment or {})},
        )
        with _watched(process.pid) as peak:
            _, status, used = os.wait4(process.pid, 0)
            wall = perf_counter() - began
        process.returncode = os.waitstatus_to_exitcode(status)
        said.seek(0)
        errors.seek(0)
        if process.returncode:
            last = errors.read().decode(errors="replace").strip().splitlines()[-8:]
            raise Failed("\n".join([f"{' '.join(command[:6])} … ended with {process.returncode}:", *last]))
        return Cost(wall, used.ru_utime + used.ru_stime, peak[0], said.read().decode())


@contextmanager
def _watched(pid: int) -> Iterator[list[int]]:
    """Watch the memory of a process and its children; gives a list that holds the largest sum."""
    peak, ended = [0], threading.Event()

    def watch() -> None:
        processes: list[Any] = []
        samples, highest = 0, 0
        while not ended.wait(SAMPLED_EVERY if samples else 0.0):
            if samples % CHILDREN_EVERY == 0:
                processes = _with_children(pid)
            samples += 1
            resident = sum(_resident(process) for process in processes)
            if resident > highest * GROWTH:
                highest = resident
                peak[0] = max(peak[0], sum(_proportional(process) for process in processes))

    thread = threading.Thread(target=watch, daemon=True)
    thread.start()
    try:
        yield peak
    finally:
        ended.set()
        thread.join()


def _with_children(pid: int) -> list[Any]:
    import psutil

    try:
        parent = psutil.Process(pid)
        return [parent, *parent.children(recursive=True)]
    except psutil.Error:
        return []


def _resident(process: Any) -> int:
    """Resident set size of a process, 0 when it has just ended. [byte]"""
    import psutil

    try:
        return int(process.memory_info().rss)
    except psutil.Error:
        return 0


def _proportional(process: Any) -> int:
    """Proportional set size of a process, where the system tells it; 0 when it has just ended. [byte]"""
    import psutil

    try:
        memory = process.memory_full_info()
    except psutil.Error:
        return 0
    return int(getattr(memory, "pss", memory.rss))
