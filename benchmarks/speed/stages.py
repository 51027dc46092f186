"""Which stage of a screening takes how long.

Goes in: a function. Comes out: the seconds that it spent in each of coldsift's stages. Every few milliseconds
it is looked at which stage called whatever is being done, so no stage needs to know that it is timed.
"""

from __future__ import annotations

import sys
import threading
from collections.abc import Callable, Mapping
from time import perf_counter
from types import FrameType

LOOKED_EVERY = 0.004
"""[s]"""

REST = "tables, manifest and the engine itself"

STAGES: Mapping[str, str] = {
    "intake": "intake",
    "regimes": "regimes",
    "features": "features",
    "excursions": "excursions",
    "days": "excursions",
    "cargo": "cargo",
    "protocols": "cargo",
    "peers": "peers",
    "causes": "causes, ranking, round",
    "ranking": "causes, ranking, round",
    "set_points": "causes, ranking, round",
    "rounds": "causes, ranking, round",
    "parts": "causes, ranking, round",
    "repairs": "causes, ranking, round",
    "changes": "causes, ranking, round",
    "report": "report pages",
}
"""Package of coldsift to the stage as the page names it; everything else is ``REST``."""


def seconds_by_stage(work: Callable[[], object]) -> dict[str, float]:
    """Do the work and tell the time by stage.

    Parameters
    ----------
    work
        Does everything in the calling thread.

    Returns
    -------
    dict
        Stage to seconds, in the order of the stages; their sum is the whole time.
    """
    spent = dict.fromkeys([*STAGES.values(), REST], 0.0)
    worker, ended = threading.get_ident(), threading.Event()

    def watch() -> None:
        since, last = perf_counter(), False
        while not last:
            last = ended.wait(LOOKED_EVERY)
            now = perf_counter()
            spent[stage_of(sys._current_frames().get(worker))] += now - since
            since = now

    watcher = threading.Thread(target=watch, daemon=True)
    watcher.start()
    try:
        work()
    finally:
        ended.set()
        watcher.join()
    return spent


def stage_of(frame: FrameType | None) -> str:
    """The outermost stage that a frame was called from."""
    stage = REST
    while frame is not None:
        package, _, module = str(frame.f_globals.get("__name__")).partition(".")
        if package == "coldsift":
            stage = STAGES.get(module.partition(".")[0], stage)
        frame = frame.f_back
    return stage
