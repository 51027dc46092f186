"""The air that the cargo felt, step by step, with what is not known of it.

Goes in: the timeline. Comes out: an :class:`AirCourse`, arrays of steps by units ready for stepping all units
at once. Where readings are missing nothing is bridged in silence: a gap is marked, so that every member can
fill it in a way of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from coldsift.cargo.properties import Array
from coldsift.regimes.numbered import IN_MEMORY, NUMBER, with_numbers
from coldsift.regimes.timeline import GAP_FACTOR

LONGEST_STEP = 0.25
"""Longer log intervals are divided. [h]"""

SHORTEST_STEP = "5m"
"""Readings of a log that writes more often are taken together into steps of about this length: no cargo warms
in less. Its divisions of the clock."""

GAP_STEP, MOST_GAP_STEPS = 1.0, 48
"""Gaps are divided into steps of this length [h], but into no more than so many."""

FLOW_EXPONENT = 0.6
"""Heat transfer rises with this power of the fan speed. Forced convection, between 0.5 and 0.8: common
practice, no source."""

LEAST_FLOW = 0.2
"""Lowest share of full fan speed that still counts as blown air."""

BEGINNING_HOURS = 6.0
"""The air of the log's first hours tells how warm the cargo may have been loaded. [h]"""


PROBES = tuple(f"cargo_probe_{number}" for number in range(1, 5))
"""Channels of the cargo probes."""


@dataclass(frozen=True, slots=True)
class AirCourse:
    """Air of some units; arrays have the shape (steps, units) unless they say otherwise.

    Attributes
    ----------
    containers
        Their numbers, sorted; units without any air reading are not among them.
    seconds
        Length of each step, 0 after a unit's log has ended. [s]
    supply
        Mean supply air over the step; straight across defrosts and gaps. [°C]
    split
        Return less supply air. [K]
    otherwise
        What the air may have been instead, less ``supply`` and its share of the split: as measured in
        defrosts, as before it in gaps. [K]
    flow
        Factor on the heat transfer for the fan speed.
    still
        Fans stopped: in defrosts and without power.
    gap_place
        Place in a gap, 0 to 1; nan outside gaps.
    outside
        Ambient air; nan where it is not known. [°C]
    rows
        Readings with air, sorted: ``unit`` (its place in ``containers``), ``step`` (steps before it),
        ``supply_then`` [°C] and ``split_then`` [K] with defrosts bridged, and from the log what else is asked
        of it.
    begin
        One row a unit, of the log's first hours: ``coldest``, ``warmest`` and ``first`` air [°C],
        ``pulling_down``, ``set_point`` [°C], ``both_probes`` (supply and return air are logged).
    """

    containers: tuple[str, ...]
    seconds: Array
    supply: Array
    split: Array
    otherwise: Array
    flow: Array
    still: NDArray[np.bool_]
    gap_place: Array
    outside: Array
    rows: pl.DataFrame
    begin: pl.DataFrame

    def of(self, units: Sequence[int]) -> AirCourse:
        """Some units alone, numbered anew, without the steps in which none of them has a log."""
        chosen = list(units)
        lasting = np.flatnonzero((self.seconds[:, chosen] > 0).any(axis=1))
        steps = int(lasting[-1]) + 1 if len(lasting) else 0

        def part(values: NDArray[Any]) -> NDArray[Any]:
            return np.ascontiguousarray(values[:steps, chosen])

        number = pl.DataFrame({"unit": chosen, "number": range(len(chosen))}, schema_overrides=_NUMBERS)
        rows = self.rows.join(number, on="unit", how="inner", maintain_order="left")
        return AirCourse(
            containers=tuple(self.containers[unit] for unit in chosen),
            seconds=part(self.seconds),
            supply=part(self.supply),
            split=part(self.split),
            otherwise=part(self.otherwise),
            flow=part(self.flow),
            still=part(self.still),
            gap_place=part(self.gap_place),
            outside=part(self.outside),
            rows=rows.with_columns(unit="number").drop("number"),
            begin=self.begin[chosen],
        )


_NUMBERS = {"unit": pl.Int64(), "number": pl.Int64()}


def air_course(timeline: pl.DataFrame) -> AirCourse:
    """Lay the air of every unit out in steps.

    Parameters
    ----------
    timeline
        From :func:`coldsift.regimes.build_timeline`.
    """
    known = _known_air(timeline).collect(engine=IN_MEMORY)
    containers = tuple(known["container"].unique(maintain_order=True))
    steps = _steps(known.lazy()).collect(engine=IN_MEMORY)
    unit, step = steps["unit"].to_numpy(), steps["step"].to_numpy()
    shape = (int(step.max(initial=-1)) + 1, len(containers))

    def lay_out(column: str, rest: float) -> Array:
        laid = np.full(shape, rest)
        laid[step, unit] = steps[column].cast(pl.Float64).fill_null(np.nan).to_numpy()
        return laid

    return AirCourse(
        containers=containers,
        seconds=lay_out("seconds", 0.0),
        supply=lay_out("supply", 0.0),
        split=lay_out("split", 0.0),
        otherwise=lay_out("otherwise", 0.0),
        flow=lay_out("flow", 1.0),
        still=lay_out("still", 0.0) > 0.5,
        gap_place=lay_out("gap_place", np.nan),
        outside=lay_out("outside", np.nan),
        rows=known.select(
            "unit",
            "time",
            "still",
            "powered",
            "flow",
            "set_point",
            "ambient_air",
            *PROBES,
            step="steps_before",
            supply_then="supply",
            split_then="split",
        ),
        begin=_begin(known),
    )


_NEEDED = (
    "container",
    "time",
    "set_point",
    "supply_air",
    "return_air",
    "ambient_air",
    "evaporator_fan_speed",
    "usual_hours",
    "powered",
    "defrost",
    "regime",
)


def _known_air(timeline: pl.DataFrame) -> pl.LazyFrame:
    """Readings with air, one of the two probes standing in for the other at the unit's usual split."""
    usual_split = (pl.col("return_air") - pl.col("supply_air")).median().over(NUMBER)
    lines = (
        pl.when(~pl.col("defrost"))
        .then(pl.col(name))
        .interpolate_by("time")
        .forward_fill()
        .backward_fill()
        .over(NUMBER)
        .fill_null(pl.col(name))
        .alias(f"{name}_line")
        for name in ("supply", "back")
    )
    step_hours = (_next("time") - pl.col("time")).dt.total_microseconds() / 3.6e9
    return (
        timeline.lazy()
        .select(*_NEEDED, *PROBES)
        .filter(pl.col("supply_air").is_not_null() | pl.col("return_air").is_not_null())
        .pipe(with_numbers)
        .with_columns(
            supply=pl.coalesce("supply_air", pl.col("return_air") - usual_split, "return_air"),
            back=pl.coalesce("return_air", pl.col("supply_air") + usual_split, "supply_air"),
            both_probes=usual_split.is_not_null(),
        )
        .with_columns(*lines, step_hours=step_hours, unit=pl.col(NUMBER).cast(pl.Int64))
        .with_columns(
            split=pl.col("back_line") - pl.col("supply_line"),
            # In a defrost the supply probe feels the warm coil; the return probe is nearer to the cargo.
            otherwise=pl.col("back") - pl.col("back_line"),
            supply=pl.col("supply_line"),
            gap=(pl.col("step_hours") > GAP_FACTOR * pl.col("usual_hours")).fill_null(False),
            still=pl.col("defrost") | ~pl.col("powered"),
            flow=(pl.col("evaporator_fan_speed") / 100)
            .clip(LEAST_FLOW, 1.0)
            .pow(FLOW_EXPONENT)
            .fill_null(1.0),
        )
        .with_columns(
            parts=pl.when(pl.col("gap"))
            .then((pl.col("step_hours") / GAP_STEP).ceil().clip(1, MOST_GAP_STEPS))
            .otherwise((pl.col("step_hours") / LONGEST_STEP).ceil().clip(1))
            .fill_null(0)
            .cast(pl.Int64)
        )
        .with_columns(begins=_begins())
        # Several readings of one step are before its end, all of them.
        .with_columns(steps_before=pl.when("begins").then("parts").otherwise(0).cum_sum().over(NUMBER))
        .with_columns(pl.col("steps_before") - pl.when("begins").then("parts").otherwise(1))
    )


def _begins() -> pl.Expr:
    """Readings with which a step begins: all but the further ones of a short time, in a log that has them."""
    often = pl.col("usual_hours") < pl.duration(minutes=5).dt.total_microseconds() / 3.6e9
    slot = pl.col("time").dt.truncate(SHORTEST_STEP)
    goes_on = pl.all_horizontal(
        slot == slot.shift(1),
        *(pl.col(name) == pl.col(name).shift(1) for name in (NUMBER, "still")),
        ~pl.col("gap"),
        ~pl.col("gap").shift(1),
        pl.col("parts") == 1,
    )
    return ~(often & goes_on).fill_null(False)


def _next(column: str) -> pl.Expr:
    """Value of the unit's next row, null at its last."""
    return pl.when(pl.col(NUMBER) == pl.col(NUMBER).shift(-1)).then(pl.col(column).shift(-1))


def _steps(known: pl.LazyFrame) -> pl.LazyFrame:
    """One row a step, between two readings or in a part of a long interval."""
    place = (pl.col("part") + 0.5) / pl.col("parts")

    def halfway(column: str) -> pl.Expr:
        return pl.col(column) + place * (pl.col(f"{column}_next") - pl.col(column))

    def mean(column: str) -> pl.Expr:
        known = pl.col("seconds").filter(pl.col(column).is_not_null())
        return ((pl.col(column) * pl.col("seconds")).sum() / known.sum()).alias(column)

    following = ("supply", "split", "otherwise", "ambient_air", "flow", "still")
    held = pl.col("supply") - halfway("supply")
    steps = (
        known.with_columns(_next(name).alias(f"{name}_next") for name in following)
        .filter(pl.col("parts") > 0)
        .with_columns(part=pl.int_ranges(0, pl.col("parts")))
        .explode("part")
        .select(
            "unit",
            step=pl.col("steps_before") + pl.col("part"),
            seconds=3600 * pl.col("step_hours") / pl.col("parts"),
            supply=halfway("supply"),
            split=halfway("split"),
            otherwise=pl.when(pl.col("gap")).then(held).otherwise(halfway("otherwise")),
            flow=pl.when(pl.col("gap")).then(1.0).otherwise((pl.col("flow") + pl.col("flow_next")) / 2),
            still=pl.col("still") & ~pl.col("gap"),
            gap_place=pl.when(pl.col("gap")).then(place),
            outside=pl.coalesce(halfway("ambient_air"), "ambient_air", "ambient_air_next"),
        )
    )
    whole = pl.len().over("unit", "step") == 1
    together = (
        steps.filter(~whole)
        .group_by("unit", "step", maintain_order=True)
        .agg(
            *map(mean, ("supply", "split", "otherwise", "flow", "outside")),
            pl.col("seconds").sum(),
            pl.col("still", "gap_place").first(),
        )
    )
    return pl.concat([steps.filter(whole), together.select(steps.collect_schema().names())])


def _begin(known: pl.DataFrame) -> pl.DataFrame:
    unit = "unit"
    first_hours = pl.col("time") <= pl.col("time").min().over(unit) + pl.duration(
        minutes=round(60 * BEGINNING_HOURS)
    )
    pulling_down = pl.col("regime").cast(pl.String) == "pull_down"
    return (
        known.lazy()
        .filter(first_hours)
        .group_by(unit)
        .agg(
            coldest=pl.min_horizontal(pl.col("supply").min(), (pl.col("supply") + pl.col("split")).min()),
            warmest=pl.max_horizontal(pl.col("supply").max(), (pl.col("supply") + pl.col("split")).max()),
            first=(pl.col("supply") + pl.col("split") / 2).first(),
            pulling_down=pulling_down.any(),
            set_point=pl.col("set_point").first(ignore_nulls=True),
            both_probes=pl.col("both_probes").any(),
        )
        .sort(unit)
        .collect(engine=IN_MEMORY)
    )
