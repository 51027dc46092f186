"""The treatment day by day, and what set it back.

Goes in: a :class:`~coldsift.protocols.reckoning.Reckoning`. Comes out:
:data:`coldsift.schema.TREATMENT_DAYS`, and every :class:`Break`.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import numpy as np
import polars as pl

from coldsift.protocols.count import DAY, MINUTE, SAME, Array, stretches
from coldsift.protocols.declaration import BeyondGap, Protocol
from coldsift.protocols.reckoning import ALL, Gap, Reckoning
from coldsift.protocols.words import instant, label
from coldsift.schema import TREATMENT_DAYS

HOLDS, BREAK, CANNOT_JUDGE = "holds", "break", "cannot_judge"


@dataclass(frozen=True, slots=True)
class Break:
    """What sets the count of a probe back, or leaves it open.

    From the first reading concerned to the last, or from the last reading before a gap to the first after it;
    ``warmest`` [°C] is None where nothing was read.
    """

    probe: str
    start: datetime
    end: datetime
    warmest: float | None
    words: str


def find_breaks(reckoning: Reckoning) -> tuple[Break, ...]:
    """Every break, in order of time."""
    found = [each for name in reckoning.probes for each in _breaks(reckoning, name)]
    return tuple(sorted(found, key=lambda each: (each.start, each.probe)))


def _breaks(reckoning: Reckoning, name: str) -> Iterator[Break]:
    times, readings, offences = reckoning.own(name)
    for first, last in stretches(offences) if reckoning.started else ():
        warmest = float(readings[first : last + 1].max())
        passed = [step for step in reckoning.protocol.ladder if warmest > step.at_or_below + SAME]
        words = f"{warmest:.2f} °C, above {passed[-1].exactly}"
        yield Break(name, instant(int(times[first])), instant(int(times[last])), warmest, words)
    for gap in reckoning.gaps[name]:
        if gap.start < reckoning.end:
            yield Break(name, instant(gap.start), instant(gap.end), None, gap.words)


def tabulate_days(reckoning: Reckoning, container: str, lacking: Sequence[str]) -> pl.DataFrame:
    """The days of every probe, and of all of them.

    Parameters
    ----------
    reckoning
        One container's.
    container
        Its number.
    lacking
        Why the probes are not those that the protocol asks for; empty when they are.

    Returns
    -------
    polars.DataFrame
        :data:`coldsift.schema.TREATMENT_DAYS`.
    """
    begins = np.arange(reckoning.first, max(reckoning.end, reckoning.first + 1), DAY)
    ends = np.minimum(begins + DAY, reckoning.end).tolist()
    days = {name: _days(reckoning, name, begins, ends) for name in reckoning.probes}
    together = [
        _together([rows[place] for rows in days.values()], _credited(reckoning, ALL, end) / DAY, lacking)
        for place, end in enumerate(ends)
    ]
    return TREATMENT_DAYS.conform(
        pl.DataFrame([row for rows in (*days.values(), together) for row in rows], infer_schema_length=None)
        .join(_bounds(begins, ends), on="day", maintain_order="left")
        .with_columns(container=pl.lit(container), protocol=pl.lit(reckoning.protocol.id))
    )


def _credited(reckoning: Reckoning, name: str, end: int) -> int:
    """What counts after a day. [µs].

    A reading at the very end of a day is the next day's; that at the end of the treatment is its own.
    """
    return reckoning.credited(name, end, before=end != reckoning.end)[1]


def _bounds(begins: Array, ends: Sequence[int]) -> pl.DataFrame:
    return pl.DataFrame(
        {
            "day": range(1, len(begins) + 1),
            "start": [instant(each) for each in begins.tolist()],
            "end": [instant(each) for each in ends],
        }
    )


def _days(reckoning: Reckoning, name: str, begins: Array, ends: Sequence[int]) -> list[dict[str, Any]]:
    times, readings, offences = reckoning.own(name)
    read = {
        row["day"]: row
        for row in pl.DataFrame(
            {
                "day": np.minimum((times - reckoning.first) // DAY, len(begins) - 1),
                "reading": readings,
                "against": offences,
            }
        )
        .group_by("day")
        .agg(
            readings=pl.len(),
            coldest=pl.col("reading").min(),
            warmest=pl.col("reading").max(),
            against=pl.col("against").any(),
        )
        .iter_rows(named=True)
    }
    silences = _silences(times, reckoning)
    rows = []
    for place, (start, end) in enumerate(zip(begins.tolist(), ends, strict=True)):
        day = read.get(place, {"readings": 0, "coldest": None, "warmest": None, "against": False})
        gaps = [gap for gap in reckoning.gaps[name] if gap.start < end and gap.end > start]
        credited = _credited(reckoning, name, end)
        verdict, reason = _verdict(reckoning, day, gaps, credited)
        rows.append(
            {
                "probe": name,
                "day": place + 1,
                "verdict": verdict,
                "readings": day["readings"],
                "coldest": day["coldest"],
                "warmest": day["warmest"],
                "longest_gap_minutes": silences.get(place, 0) / MINUTE,
                "credited_days": credited / DAY,
                "reason": reason,
            }
        )
    return rows


def _silences(times: Array, reckoning: Reckoning) -> dict[int, int]:
    """The longest time between two readings that touches each day. [µs]."""
    marks = np.concatenate([[reckoning.first], times, [reckoning.end]])
    spans = pl.DataFrame({"start": marks[:-1] - reckoning.first, "end": marks[1:] - reckoning.first})
    return dict(
        spans.lazy()
        .filter(pl.col("end") > pl.col("start"))
        .select(
            length=pl.col("end") - pl.col("start"),
            day=pl.int_ranges(pl.col("start") // DAY, (pl.col("end") - 1) // DAY + 1),
        )
        .explode("day")
        .group_by("day")
        .agg(pl.col("length").max())
        .collect()
        .iter_rows()
    )


def _verdict(
    reckoning: Reckoning, day: Mapping[str, Any], gaps: Sequence[Gap], credited: int
) -> tuple[str, str]:
    """Verdict of a probe's day, and why."""
    protocol, warmest = reckoning.protocol, day["warmest"]
    words = "; ".join(dict.fromkeys(gap.words for gap in gaps))
    if not reckoning.started:
        if warmest is None:
            return CANNOT_JUDGE, words or "no readings"
        return BREAK, f"the clock has not started; warmest {warmest:.2f} °C"
    if day["against"]:
        return BREAK, f"up to {warmest:.2f} °C: the count starts again"
    if gaps and (protocol.beyond_gap is not BeyondGap.EXTEND or warmest is None):
        broken = protocol.beyond_gap is BeyondGap.BREAK
        return (BREAK, f"{words}: the count starts again") if broken else (CANNOT_JUDGE, words)
    if credited == 0 and protocol.start_at_or_below is not None and not gaps:
        return BREAK, f"the clock waits for {protocol.start_at_or_below:.2f} °C"
    return HOLDS, _held(protocol, warmest) + (f"; {words}: that time does not count" if words else "")


def _held(protocol: Protocol, warmest: float | None) -> str:
    if warmest is None:
        return "between two readings that hold"
    step = next((each for each in protocol.ladder if warmest <= each.at_or_below + SAME), protocol.ladder[-1])
    return f"at or below {step.name} ({step.days:g} days)"


def _together(
    rows: Sequence[Mapping[str, Any]], credited_days: float, lacking: Sequence[str]
) -> dict[str, Any]:
    """The day of all probes: it breaks where one breaks, and holds where every one does."""
    verdicts = {row["verdict"] for row in rows}
    verdict = BREAK if BREAK in verdicts else CANNOT_JUDGE if lacking or CANNOT_JUDGE in verdicts else HOLDS
    telling = [f"{label(row['probe'])}: {row['reason']}" for row in rows if row["verdict"] == verdict]
    readings = [row for row in rows if row["warmest"] is not None]
    return {
        "probe": ALL,
        "day": rows[0]["day"],
        "verdict": verdict,
        "readings": min(row["readings"] for row in rows),
        "coldest": min((row["coldest"] for row in readings), default=None),
        "warmest": max((row["warmest"] for row in readings), default=None),
        "longest_gap_minutes": max(row["longest_gap_minutes"] for row in rows),
        "credited_days": None if lacking else credited_days,
        "reason": "every probe holds" if verdict == HOLDS else "; ".join(telling or lacking),
    }
