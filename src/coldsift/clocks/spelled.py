"""What is known of a clock as a sentence that a technician and a claims handler understand alike."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any


def in_words(clock: Mapping[str, Any], away: str) -> str:
    """One sentence on a row of :data:`coldsift.schema.CLOCKS`.

    Parameters
    ----------
    clock
        The row, without its words.
    away
        When a unit logs that shares no time with the others; empty for one that does.
    """
    if away:
        return f"its log runs from {away}, more than a year from the others': its clock was not set"
    offset, lower, upper = (clock.get(key) for key in ("offset", "lower", "upper"))
    if offset is None or lower is None or upper is None:
        return "not known: it shows no power cut of the whole ship, and no day wave to compare"
    rests = _rests_on(clock["power_cuts"], clock["by_day_wave"])
    if lower <= 0 <= upper:
        return f"no difference from the others seen to within {length(max(-lower, upper))}, from {rests}"
    near, far = sorted((abs(lower), abs(upper)))
    way = "ahead of" if offset > 0 else "behind"
    least, most = length(near), length(far)
    if least.split("\u00a0")[-1] == most.split("\u00a0")[-1]:
        least = least.split("\u00a0")[0]
    told = f"{length(abs(offset))} ({least} to {most}) {way} the others, from {rests}"
    drift = clock.get("drift")
    if drift is not None:
        slow, fast = sorted((abs(clock["drift_lower"]), abs(clock["drift_upper"])))
        gains = "gains" if drift > 0 else "loses"
        told += f"; it {gains} {abs(drift):.0f}\u00a0s a day ({slow:.0f} to {fast:.0f})"
    return f"{told}; its times are shown as logged"


def length(seconds: float) -> str:
    """A length of time as a person would say it."""
    minutes = round(seconds / 60)
    return f"{minutes}\u00a0min" if minutes < 300 else f"{seconds / 3600:.1f}\u00a0h"


def _rests_on(cuts: int, by_day_wave: bool) -> str:
    if by_day_wave:
        return "the day wave of its ambient air"
    return "1 power cut of the whole ship" if cuts == 1 else f"{cuts} power cuts of the whole ship"
