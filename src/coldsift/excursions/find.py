"""Finding excursions: which readings make one, and between which it began and ended."""

from __future__ import annotations

import polars as pl

from coldsift.excursions.doubt import gathered, named, sensor_doubt, usual_stand, with_traces
from coldsift.excursions.gaps import possible_air
from coldsift.excursions.measuring import as_read, at_most
from coldsift.excursions.readings import of_last, read_air, with_errors
from coldsift.excursions.straight import crossing
from coldsift.regimes.numbered import IN_MEMORY, NUMBER
from coldsift.schema import EXCURSIONS

GRACE_HOURS = 1.0
"""Shorter stretches out of the band are not excursions. [h] Common practice, no source."""

LONGEST_BRIDGE_HOURS = 24.0
"""An excursion does not go on across a longer gap, nor is its begin or end drawn into one. [h]"""

_RUN = ["container", "run"]


def find_excursions(timeline: pl.DataFrame, grace_hours: float = GRACE_HOURS) -> pl.DataFrame:
    """Find every excursion of the controlling air.

    Parameters
    ----------
    timeline
        From :func:`coldsift.regimes.build_timeline`, with ``shared``.
    grace_hours
        Shortest stretch that counts. [h]

    Returns
    -------
    polars.DataFrame
        :data:`coldsift.schema.EXCURSIONS`: times UTC, temperatures °C, areas K h. The air is taken as
        straight between readings; a gap adds to ``gap_hours`` and to the bounds, and to nothing else.

    Notes
    -----
    Readings in a defrost, and within ``AFTER_DEFROST_HOURS`` of one, neither begin nor end an excursion.
    The first pull-down counts as ``initial_warm_load``, the way to a new set point as
    ``after_set_point_change``; both are listed, apart. ``possible_excursion``: seen outside for no longer
    than the grace time, with a gap beside it or in it that leaves open whether it was longer.

    The earliest start is the last reading that is inside by more than its error can be, the latest the first
    that is outside by more (:func:`coldsift.excursions.readings.with_errors` tells the error); ends likewise.
    A reading soon after power came back is sure of nothing: the air that the fans begin to stir may cross the
    edge several times.
    Hours and areas are what the readings show, gaps taken out. At least: from the latest start to the
    earliest end, and the area less the error of reading. At most: outside from the earliest start to
    the latest end; between readings the air as far out as the slopes beside them lead, in a gap as
    far as :func:`coldsift.excursions.find_gaps` says; and the error of reading on top. Bounds of excursions
    that share a gap, or between which no reading is surely inside, overlap.
    """
    readings = with_errors(_of_units_outside(read_air(timeline)))
    runs = _runs(readings)
    runs = runs.join(as_read(readings, runs), on=_RUN, how="left", maintain_order="left").with_columns(
        pl.col("hours", "gap_hours", "degree_hours", "area_error").fill_null(0.0)
    )
    hours_between = (pl.col("after_or_last") - pl.col("before_or_first")).dt.total_microseconds() / 3.6e9
    short = pl.col("hours") <= grace_hours
    runs = runs.filter(~short | (pl.col("gaps_beside") > 0) & (hours_between > grace_hours)).with_columns(
        kind=pl.when(short & (pl.col("kind") == "excursion"))
        .then(pl.lit("possible_excursion"))
        .otherwise("kind")
    )
    surely = (pl.col("end_earliest") - pl.col("start_latest")).dt.total_microseconds() / 3.6e9
    bounds = at_most(readings, runs, possible_air(timeline, readings))
    return EXCURSIONS.conform(
        runs.join(bounds, on=_RUN, how="left", maintain_order="left")
        .with_columns(
            peak=pl.when(pl.col("side") > 0).then("highest").otherwise("lowest"),
            hours_at_least=(surely - pl.col("gap_hours")).clip(0.0, pl.col("hours")),
            # Where it may have lasted no time at all, it has no area at least either.
            degree_hours_at_least=pl.when(surely > pl.col("gap_hours"))
            .then((pl.col("degree_hours") - pl.col("area_error")).clip(0.0))
            .otherwise(0.0),
            band_edge="first_edge",
            along_with=named(
                {
                    "power off on the whole ship": pl.col("power_off") & pl.col("shared"),
                    "power off": pl.col("power_off") & ~pl.col("shared"),
                    "set-point change": pl.col("set_point_change"),
                    "alarm": pl.col("alarm"),
                    "gap in the log": pl.col("gap_within_bounds") | (pl.col("gaps_beside") > 0),
                    "readings missing": pl.col("losses_beside") > 0,
                }
            ),
            **sensor_doubt(),
        )
        .sort("container", "start")
    )


def _of_units_outside(readings: pl.DataFrame) -> pl.DataFrame:
    """All readings of the units of which one is outside the band: the others have no excursion."""
    outside = readings.filter(pl.col("side") != 0, ~pl.col("apart"))["container"].unique()
    return readings.filter(pl.col("container").is_in(outside.implode()))


def _kind() -> pl.Expr:
    return (
        pl.when(pl.col("regime") == "pull_down")
        .then(pl.lit("initial_warm_load"))
        .when(
            (pl.col("regime") == "set_point_step")
            | ((pl.col("regime") == "recovery") & (pl.col("recovering_from") == "set_point"))
        )
        .then(pl.lit("after_set_point_change"))
        .otherwise(pl.lit("excursion"))
    )


def _runs(readings: pl.DataFrame) -> pl.DataFrame:
    """Every stretch of readings on one side of the band, however short.

    One row each, with its first and last crossing, the brackets around them, what lies beside it, and what
    its readings show together.
    """
    unit = "container"
    side, beyond, tolerance = pl.col("side"), pl.col("beyond"), pl.col("tolerance")
    new = (
        (side != of_last("side"))
        | (pl.col("kind") != of_last("kind"))
        | (pl.col("breaks") != of_last("breaks"))
    )
    speed = (pl.col("air") - of_last("air")).abs() / (
        (pl.col("time") - of_last("time")).dt.total_microseconds() / 3.6e9
    ).clip(0.5)
    slim = ("container", NUMBER, "time", "place", "air", "side", "above", "below", "tolerance")
    kept = (
        readings.lazy()
        .select(
            *slim,
            "apart",
            "stirred",
            kind=_kind(),
            breaks=_so_far(pl.col("unseen") & (pl.col("step") > LONGEST_BRIDGE_HOURS)),
            gaps=_so_far(pl.col("unseen")),
            losses=_so_far(pl.col("lost")),
        )
        .filter(~pl.col("apart") | (side == 0))
        .with_columns(run=new.fill_null(True).cum_sum(), speed=speed)
        .with_row_index("order")
        .with_columns(order=pl.col("order").cast(pl.Int64))
        .collect(engine=IN_MEMORY)
    )
    outside = (
        readings.filter(side != 0, ~pl.col("apart"))
        .join(
            kept.select("place", "order", "run", "speed", "kind", "breaks", "gaps", "losses"),
            on="place",
            how="left",
            maintain_order="left",
        )
        .with_columns(
            beyond=pl.when(side > 0).then("above").otherwise("below"),
            edge=pl.when(side > 0).then("band_high").otherwise("band_low"),
        )
    )
    runs = (
        with_traces(outside, usual_stand(readings))
        .group_by(unit, "run", "side", "kind", maintain_order=True)
        .agg(
            first_order=pl.col("order").first(),
            last_order=pl.col("order").last(),
            first_time=pl.col("time").first(),
            last_time=pl.col("time").last(),
            first_beyond=beyond.first(),
            last_beyond=beyond.last(),
            first_edge=pl.col("edge").first(),
            **{f"first_{name}": pl.col(name).first() for name in ("breaks", "gaps", "losses")},
            **{f"last_{name}": pl.col(name).last() for name in ("breaks", "gaps", "losses")},
            # Readings that the error of reading may have put outside bracket nothing.
            sure_first=pl.col("time").filter(beyond > tolerance, ~pl.col("stirred")).first(),
            sure_last=pl.col("time").filter(beyond > tolerance, ~pl.col("stirred")).last(),
            highest=pl.col("air").max(),
            lowest=pl.col("air").min(),
            power_off=(~pl.col("powered")).any(),
            shared=pl.col("shared").any(),
            set_point_change=pl.col("set_point").n_unique() > 1,
            alarm=(pl.col("alarms").list.len() > 0).any(),
            resolution=pl.col("resolution").first(),
            noise=pl.col("noise").first(),
            **gathered(),
        )
    )
    runs = _with_neighbours(kept, runs)
    from_other_side = (pl.col("before_side") != side).fill_null(False)
    to_other_side = (pl.col("after_side") != side).fill_null(False)
    return (
        runs.with_columns(
            from_inside=from_other_side & (pl.col("before_breaks") == pl.col("first_breaks")),
            to_inside=to_other_side & (pl.col("after_breaks") == pl.col("last_breaks")),
            **{
                f"{name}_beside": pl.coalesce(f"after_{name}", f"last_{name}")
                - pl.coalesce(f"before_{name}", f"first_{name}")
                for name in ("gaps", "losses")
            },
        )
        .with_columns(
            start=pl.when("from_inside")
            .then(crossing("before_time", "first_time", "before_beyond", "first_beyond"))
            .otherwise("first_time"),
            end=pl.when("to_inside")
            .then(crossing("last_time", "after_time", "last_beyond", "after_beyond"))
            .otherwise("last_time"),
            # Outside on the other side of a long gap, or under another name: the reading beside it.
            start_earliest=pl.when(from_other_side).then("sure_before").otherwise("before_time"),
            end_latest=pl.when(to_other_side).then("sure_after").otherwise("after_time"),
            start_latest=pl.coalesce("sure_first", "last_time"),
            end_earliest=pl.coalesce("sure_last", "first_time"),
            before_or_first=pl.coalesce("before_time", "first_time"),
            after_or_last=pl.coalesce("after_time", "last_time"),
        )
        .with_columns(
            from_time=pl.coalesce("start_earliest", "log_begin"),
            to_time=pl.coalesce("end_latest", "log_end"),
        )
    )


def _so_far(flag: pl.Expr) -> pl.Expr:
    """How many steps before each reading have the flag; only differences within a unit mean anything."""
    return flag.cast(pl.Int64).shift(1, fill_value=0).cum_sum()


def _with_neighbours(kept: pl.DataFrame, runs: pl.DataFrame) -> pl.DataFrame:
    """Add the readings beside each run, and the nearest ones that are surely inside against its edge."""
    unit, order = "container", pl.col("order")
    # Order of the last, and the next, reading surely inside: of whatever unit, told apart below.
    surely_inside = {
        side: pl.when(pl.col(side) <= -pl.col("tolerance"), ~pl.col("stirred")).then(order)
        for side in ("above", "below")
    }
    beside = kept.select(
        "order",
        unit,
        *("time", "air", "side", "above", "below", "breaks", "gaps", "losses"),
        **{f"sure_before_{side}": nearest.forward_fill() for side, nearest in surely_inside.items()},
        **{f"sure_after_{side}": nearest.backward_fill() for side, nearest in surely_inside.items()},
    )
    log = kept.group_by(unit).agg(log_begin=pl.col("time").first(), log_end=pl.col("time").last())
    next_to = beside.filter(
        order.is_in(pl.concat([runs["first_order"] - 1, runs["last_order"] + 1]).implode())
    )
    sure = [name for name in beside.columns if name.startswith("sure_")]
    instants = kept.select("order", unit, "time").filter(
        order.is_in(pl.concat(next_to[name] for name in sure).implode())
    )

    def of_side(name: str) -> pl.Expr:
        return pl.when(pl.col("side") > 0).then(f"{name}_above").otherwise(f"{name}_below")

    for which, neighbour in (("before", pl.col("first_order") - 1), ("after", pl.col("last_order") + 1)):
        columns = {
            name: f"{which}_{name}"
            for name in ("time", "air", "side", "above", "below", "breaks", "gaps", "losses")
        }
        runs = (
            runs.with_columns(order=neighbour)
            .join(
                next_to.select("order", unit, f"sure_{which}_above", f"sure_{which}_below", *columns).rename(
                    columns
                ),
                on=["order", unit],
                how="left",
                maintain_order="left",
            )
            .with_columns(order=of_side(f"sure_{which}"), **{f"{which}_beyond": of_side(which)})
            .join(
                instants.rename({"time": f"sure_{which}"}),
                on=["order", unit],
                how="left",
                maintain_order="left",
            )
        )
    return runs.join(log, on=unit, how="left", maintain_order="left")
