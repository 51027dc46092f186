"""From outages and day waves to how far each clock is ahead of the others, with bounds."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime
from itertools import combinations

import numpy as np
import polars as pl
from numpy.typing import NDArray

from coldsift.clocks.day_waves import day_wave_offsets
from coldsift.clocks.spelled import in_words
from coldsift.intake.times import FAR
from coldsift.schema import CLOCKS

Array = NDArray[np.float64]

SLACK = 60.0
"""Stamps are cut or rounded to the minute, and no two clocks agree to the second. [s]"""

LARGEST = 14 * 3600.0
"""Offsets searched, either way: those of the time zones. [s]"""

FASTEST = 180.0
"""Largest drift thought of, gained or lost; common practice, no source. [s/d]"""

FEWEST = 5
"""So many units must agree on an event before a clock is held against it."""

AGREEING = 0.85
"""An event is where so many agree, of the most that agree anywhere. Others may be a little off."""

DAY = 86_400.0


def compare_clocks(
    outages: pl.DataFrame, voyage_events: pl.DataFrame, marks: pl.DataFrame, spans: pl.DataFrame
) -> pl.DataFrame:
    """Estimate how far each unit's clock is ahead of the other units'.

    Parameters
    ----------
    outages
        From :func:`coldsift.clocks.outages`, of all units of the voyage.
    voyage_events
        :data:`coldsift.schema.VOYAGE_EVENTS`.
    marks
        From :func:`coldsift.features.clock_marks`, sorted by container and time.
    spans
        From :func:`coldsift.peers.peer_span`.

    Returns
    -------
    polars.DataFrame
        :data:`coldsift.schema.CLOCKS`, by container.

    Notes
    -----
    When the ship lost power is where the brackets of most units overlap (the agreement of most clocks, as
    NTP chooses among its servers: RFC 5905, 11.2.1). A unit's outage is the ship's when it is as long, and
    of its outages those are taken that most events of the ship agree on, at one offset. Each leaves a range
    of offsets; a clock that runs evenly meets all of them on a straight line, no steeper than ``FASTEST``,
    and the bounds at the last of them are those of all such lines. The day wave tells where no power cut
    does, or where one alone contradicts it.
    """
    matched = _matched(outages, _events(outages, voyage_events))
    cuts = {name: rows for (name,), rows in matched.group_by("container", maintain_order=True)}
    waves = {name: tuple(wave) for name, *wave in day_wave_offsets(marks).iter_rows()}
    away = _away(spans)
    rows = [
        _judged(str(name), cuts.get(name), waves.get(name), away.get(name, ""))
        for name in spans["container"].unique().sort()
    ]
    schema = {column.name: column.dtype for column in CLOCKS.columns}
    return CLOCKS.conform(pl.DataFrame(rows, schema=schema))


# What the ship shared.
def _events(outages: pl.DataFrame, voyage_events: pl.DataFrame) -> pl.DataFrame:
    """The ship's own outages: ``event``, and when each began and ended, by most clocks. [s]"""
    own = _seconds(outages)
    found = []
    for start, end in voyage_events.sort("start", "end").select("start", "end").iter_rows():
        begin, last = start.timestamp(), end.timestamp()
        near = own.filter(pl.col("off_after") < last, pl.col("on_by") > begin)
        off = _agreed(near["off_after"].to_numpy() - SLACK, near["off_by"].to_numpy() + SLACK)
        on = _agreed(near["on_after"].to_numpy() - SLACK, near["on_by"].to_numpy() + SLACK)
        if off and on and off[0] < on[1]:
            found.append((*off, *on))
    # The same cut shows as lost power in some logs and as missing readings in others.
    names = ("lost_low", "lost_high", "back_low", "back_high")
    events = pl.DataFrame(found, schema=dict.fromkeys(names, pl.Float64), orient="row").sort(names)
    apart = (pl.col("lost_low") > pl.col("back_high").shift(1).cum_max()).fill_null(True)
    return events.filter(apart).with_row_index("event")


def _agreed(low: Array, high: Array) -> tuple[float, float] | None:
    """The range that most of some ranges have in common; None where too few have any."""
    if len(low) < FEWEST:
        return None
    at = np.concatenate([low, high])
    change = np.concatenate([np.ones(len(low)), -np.ones(len(high))])
    # Ranges that only touch have the one point in common: beginnings first.
    order = np.lexsort((-change, at))
    count = np.cumsum(change[order])
    most = count.max()
    if most < max(FEWEST, len(low) / 2):
        return None
    # Clocks that are a little off must not narrow it: what nearly as many have in common is taken.
    enough = np.flatnonzero(count >= AGREEING * most)
    return float(at[order][enough[0]]), float(at[order][enough[-1] + 1])


def _seconds(outages: pl.DataFrame) -> pl.DataFrame:
    edges = pl.col("off_after", "off_by", "on_after", "on_by")
    return outages.with_columns(edges.dt.epoch("us") / 1e6)


# What each unit shows of it.
def _matched(outages: pl.DataFrame, events: pl.DataFrame) -> pl.DataFrame:
    """The outages of each unit that are the ship's.

    Returns
    -------
    polars.DataFrame
        ``container, event, at`` (when, by the ship), ``low, high``: how far the clock may then have been
        ahead. [s]
    """
    slack = pl.lit(SLACK)
    pairs = (
        _seconds(outages)
        .join(events, how="cross")
        # As long as the ship's.
        .filter(
            pl.col("on_after") - pl.col("off_by") - slack <= pl.col("back_high") - pl.col("lost_low"),
            pl.col("on_by") - pl.col("off_after") + slack >= pl.col("back_low") - pl.col("lost_high"),
        )
        .select(
            "container",
            "event",
            at=(pl.col("lost_low") + pl.col("back_high")) / 2,
            low=pl.max_horizontal(
                pl.col("off_after") - pl.col("lost_high"), pl.col("on_after") - pl.col("back_high")
            )
            - slack,
            high=pl.min_horizontal(
                pl.col("off_by") - pl.col("lost_low"), pl.col("on_by") - pl.col("back_low")
            )
            + slack,
        )
        .filter(pl.col("low") <= pl.col("high"), pl.col("low") <= LARGEST, pl.col("high") >= -LARGEST)
        .sort("container", "event", "low")
        .with_row_index("pair")
    )
    # Two of them go together where one clock, drifting no faster than FASTEST, shows both.
    moved = (pl.col("at") - pl.col("at_other")).abs() / DAY * FASTEST
    together = pairs.join(pairs, on="container", suffix="_other", maintain_order="left").filter(
        pl.col("low") <= pl.col("high_other") + moved, pl.col("high") >= pl.col("low_other") - moved
    )
    far = (pl.col("low") + pl.col("high")).abs() / 2
    best = (
        together.group_by("container", "pair", maintain_order=True)
        .agg(pl.col("event_other").n_unique().alias("events"), far.first().alias("far"))
        # Where as many speak for either, the clock is taken to be right.
        .sort("container", "events", "far", "pair", descending=[False, True, False, False])
        .unique("container", keep="first", maintain_order=True)
    )
    nearest = ((pl.col("low_other") + pl.col("high_other")) - (pl.col("low") + pl.col("high"))).abs()
    return (
        together.join(best.select("pair"), on="pair", how="semi")
        .sort("container", "event_other", nearest, "pair_other")
        .unique(["container", "event_other"], keep="first", maintain_order=True)
        .select("container", event="event_other", at="at_other", low="low_other", high="high_other")
        .sort("container", "at")
    )


# What that says of the clock.
def _judged(
    container: str, cuts: pl.DataFrame | None, wave: tuple[float, float, float] | None, away: str
) -> dict[str, object]:
    row: dict[str, object] = {"container": container, "power_cuts": 0, "by_day_wave": False}
    if cuts is not None:
        row |= _by_power_cuts(*cuts.select("at", "low", "high").to_numpy().T)
    if wave is not None:
        low, high = row.get("lower", -np.inf), row.get("upper", np.inf)
        assert isinstance(low, float) and isinstance(high, float)
        apart = max(low, wave[1]) > min(high, wave[2])
        if row["power_cuts"] == 0 or (row["power_cuts"] == 1 and apart):
            row = {"container": container, "power_cuts": 0, "by_day_wave": True}
            row |= {"offset": wave[0], "lower": wave[1], "upper": wave[2]}
    lower, upper = row.get("lower", 0.0), row.get("upper", 0.0)
    assert isinstance(lower, float) and isinstance(upper, float)
    return row | {"apart": bool(away) or not lower <= 0 <= upper, "words": in_words(row, away)}


def _by_power_cuts(at: Array, low: Array, high: Array) -> dict[str, object]:
    """Offset at the last instant, and drift, of a clock that was ahead by ``low`` to ``high`` at these."""
    days = (at[-1] - at) / DAY
    slowest, fastest = -FASTEST, FASTEST
    for one, other in combinations(range(len(at)), 2):
        apart = days[one] - days[other]
        slowest = max(slowest, (low[other] - high[one]) / apart)
        fastest = min(fastest, (high[other] - low[one]) / apart)
    if slowest > fastest:
        # No even drift: the clock was set between them.
        at, low, high, days = at[-1:], low[-1:], high[-1:], days[-1:]
        slowest, fastest = -FASTEST, FASTEST
    lower, upper = (low + slowest * days).max(), (high + fastest * days).min()
    for one, other in combinations(range(len(at) - 1), 2):
        ahead = days[other] / (days[one] - days[other])
        lower = max(lower, low[other] + (low[other] - high[one]) * ahead)
        upper = min(upper, high[other] + (high[other] - low[one]) * ahead)
    found = _between(float(lower), float(upper)) | {
        "power_cuts": len(at),
        "at": datetime.fromtimestamp(round(float(at[-1])), UTC),
    }
    if len(at) > 1:
        found |= {"drift_lower": slowest, "drift_upper": fastest}
    if not slowest <= 0 <= fastest:
        found["drift"] = (slowest + fastest) / 2
    return found


def _between(lower: float, upper: float) -> dict[str, object]:
    return {"offset": (lower + upper) / 2, "lower": lower, "upper": upper}


def _away(spans: pl.DataFrame) -> dict[str, str]:
    """Units that log more than a year from the middle one, and when: their clocks were never set."""
    if spans.height < FEWEST:
        return {}
    first, last = (pl.col(edge).quantile(0.5, "higher") for edge in ("first", "last"))
    far = spans.filter((pl.col("first") > last + FAR) | (pl.col("last") < first - FAR))
    return dict(_told(far))


def _told(far: pl.DataFrame) -> Iterator[tuple[str, str]]:
    for container, first, last in far.select("container", "first", "last").iter_rows():
        yield container, f"{first:%Y-%m-%d} to {last:%Y-%m-%d}"
