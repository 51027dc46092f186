"""What one container's log cannot tell, and the cautions that go with any reconstruction."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

import polars as pl

from coldsift.dossier.model import SourceNote
from coldsift.report.words import duration, moment, number

CAUTIONS = (
    "This is a reckoning from logged data. It advises; it decides neither on liability nor on the cargo, and "
    "it never says that a unit or a cargo is safe.",
    "Whether the cargo may be used is for those who answer for it and for the authority.",
    "Opening a unit or a container means mains voltage, refrigerant under pressure, fans that start by "
    "themselves, heights, and air that may not support life. Local rules and licensed practice come first.",
)

_FAMILIES = {
    "supply or return air": ("supply_air", "return_air"),
    "ambient air": ("ambient_air",),
    "pressures": ("suction_pressure", "discharge_pressure"),
    "currents or power": ("power", "current_1"),
    "supply (power state, voltage)": ("power_state", "voltage_1", "frequency"),
    "compressor": ("compressor_state", "compressor_frequency"),
    "alarms": ("alarms",),
}
"""What a reader would look for, and the channels that would show it."""


TELLING = ("pressures", "currents or power", "compressor")
"""Families without which most faults of the refrigerating part leave no trace."""


def not_logged(timeline: pl.DataFrame, families: Iterable[str]) -> list[str]:
    """Those of the families of which there is no reading."""
    return [
        words for words in families if all(timeline[channel].count() == 0 for channel in _FAMILIES[words])
    ]


def cannot_tell(
    timeline: pl.DataFrame,
    gaps: pl.DataFrame,
    custody: pl.DataFrame,
    sources: Sequence[SourceNote],
    left_out: int,
) -> tuple[str, ...]:
    """Sentences on what the log leaves open, the gravest first.

    Parameters
    ----------
    timeline
        One unit's readings in the window.
    gaps, custody
        Tables of :mod:`coldsift.schema`, the unit's rows.
    sources
        Files with its readings.
    left_out
        Excursions of the unit's log that do not touch the window.

    Returns
    -------
    tuple of str
        Never empty.
    """
    return tuple(_sentences(timeline, gaps, custody, sources, left_out))


def _sentences(
    timeline: pl.DataFrame,
    gaps: pl.DataFrame,
    custody: pl.DataFrame,
    sources: Sequence[SourceNote],
    left_out: int,
) -> Iterator[str]:
    if left_out:
        stretches = "1 other stretch" if left_out == 1 else f"{left_out} other stretches"
        yield f"The log has {stretches} outside the band, before or after the window that was asked for."
    probes = [name for name in timeline.columns if name.startswith("cargo_probe_") and timeline[name].count()]
    if probes:
        yield f"Where the {len(probes)} cargo probes sat in the stow is not in the log."
    else:
        yield "The cargo itself was not measured: only the air was, and the cargo is reckoned from it."
    if gaps.height:
        hours = duration(float(gaps["hours"].sum()))
        yield f"Nothing was logged for {hours} in {gaps.height} gap{'s' if gaps.height > 1 else ''}."
    first, last = timeline["time"][0], timeline["time"][-1]
    yield f"This window shows nothing before {moment(first)} and after {moment(last)} UTC."
    assumed = [source.path for source in sources if "assumed" in source.clock]
    if assumed:
        yield f"The clock's time zone is assumed, not stated, in {', '.join(assumed)}."
    missing = not_logged(timeline, _FAMILIES)
    if missing:
        yield f"Not logged: {', '.join(missing)}."
    if custody.is_empty():
        yield "Who had the container is not known: no custody events were given."
    elif custody["start"][0] > first:
        yield f"Who had the container before {moment(custody['start'][0])} UTC is not known."
    interval = number(timeline.select(60 * pl.col("usual_hours").median()).item(), 0, "min")
    yield f"What happened between two readings, {interval} apart as a rule, is taken as a straight line."
    yield (
        "Doors, seals and how the cargo was stowed are not in the log; the meaning of alarm codes is not "
        "interpreted."
    )
    yield "Chances of causes were fitted on simulated units only; no log of a real unit has been judged yet."
