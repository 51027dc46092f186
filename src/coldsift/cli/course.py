"""How far a run has come, and how long it will still take."""

from __future__ import annotations

import math
import time
from collections.abc import Callable
from dataclasses import dataclass

STAGES = {
    "reading": (4.0, "Reading"),
    "sorting": (0.1, "Sorting the readings by container"),
    "regimes": (1.5, "Finding what each unit was doing"),
    "features": (6.0, "Measuring each unit and its cargo"),
    "peers": (2.0, "Comparing like units"),
    "causes": (0.6, "Weighing causes"),
    "ranking": (0.2, "Ranking"),
    "report": (5.0, "Writing the report"),
    "dossier": (12.0, "Reconstructing"),
}
"""Seconds that each stage takes, and its words.

Measured on the logs of 400 simulated units of 30 days at 15 minutes, on two cores; only their proportion
counts.
"""

ENDINGS = ("report", "dossier")
"""What a run ends with: one of these."""

COUNTED = ("reading", "regimes", "features", *ENDINGS)
"""Stages that tell how much of them is done; the others only tell that they began."""

TOLD_AFTER = 5.0
"""Time left is told from here on. [s]"""

LEAST_SHARE = 0.02
"""Share of the run from which time left is told: earlier it is anybody's guess."""

STEADY = 0.8
"""Share of the way to what is heard next, after which the bar slows down."""

CALM = 5.0
"""A new estimate takes over from the old one in about this time. [s]"""


@dataclass(frozen=True, slots=True)
class Position:
    """Where a run stands: what it does, share done (0 to 1), and time left [s] when that can be told."""

    words: str
    share: float
    left: float | None


@dataclass(frozen=True, slots=True)
class _Told:
    """The last that was heard: when, what, the share done then, and the share when more is to be heard."""

    at: float
    words: str
    share: float
    until: float


class Course:
    """One bar over the whole run.

    Stages are weighted by what they take. Between two calls of :meth:`tell` the bar goes on at the pace of
    the run so far, ever slower, and never reaches what was not told.

    Parameters
    ----------
    ending
        One of :data:`ENDINGS`.
    clock
        Seconds.
    """

    def __init__(self, ending: str = "report", clock: Callable[[], float] = time.monotonic) -> None:
        stages = [name for name in STAGES if name not in ENDINGS or name == ending]
        whole = sum(STAGES[name][0] for name in stages)
        self._spans: dict[str, tuple[float, float]] = {}
        begin = 0.0
        for name in stages:
            end = begin + STAGES[name][0] / whole
            self._spans[name] = (begin, end)
            begin = end
        self._clock = clock
        self._began = clock()
        self._told = _Told(0.0, STAGES["reading"][1], 0.0, 0.0)
        self._reading = True
        self._estimate: tuple[float, float] | None = None

    def tell(self, what: str, done: int, total: int) -> None:
        """Take in what :data:`coldsift.engine.screening.Progress` is told."""
        stage, words = what, ""
        if self._reading:
            # Files come under their names, which may be any; an empty one ends them.
            stage, words = ("reading", what) if what else ("sorting", "")
            self._reading = bool(what)
        now = self._clock() - self._began
        reached = self._share(now)
        begin, end = self._spans.get(stage, (reached, self._told.until))
        step = (end - begin) / total if stage in COUNTED and total else 0.0
        share = max(begin + done * step, reached)
        self._told = _Told(
            now,
            f"{STAGES[stage][1]} {words}".rstrip() if stage in STAGES else what,
            share,
            min(share + step, end) if step else end,
        )

    def position(self) -> Position:
        """Where the run stands now."""
        now, told = self._clock() - self._began, self._told
        share = self._share(now)
        if now < TOLD_AFTER or share < LEAST_SHARE:
            return Position(told.words, share, None)
        end = now / share
        if self._estimate is not None:
            before, earlier = self._estimate
            end = earlier + (end - earlier) * (1 - math.exp(-(now - before) / CALM))
        self._estimate = (now, end)
        return Position(told.words, share, max(end - now, 0.0))

    def _share(self, now: float) -> float:
        """Share done, as told and as far as the pace of the run so far carries since."""
        told = self._told
        room = told.until - told.share
        if told.at <= 0 or room <= 0:
            return told.share
        carried = told.share / told.at * (now - told.at) / room
        late = carried - STEADY
        return told.share + room * (
            carried if late <= 0 else 1 - (1 - STEADY) * math.exp(-late / (1 - STEADY))
        )
