"""What excursions measure: as the readings show them, and at most."""

from __future__ import annotations

import polars as pl

from coldsift.excursions.kinetic import from_rate
from coldsift.excursions.readings import of_last, of_next, steps_within
from coldsift.excursions.straight import mean_beyond, mean_rate_beyond, share_beyond

_RUN = ["container", "run"]


def as_read(readings: pl.DataFrame, runs: pl.DataFrame) -> pl.DataFrame:
    """Measure excursions as the readings show them, gaps taken out.

    Parameters
    ----------
    readings
        From :func:`coldsift.excursions.readings.read_air`.
    runs
        ``container``, ``run``, ``side``, ``start``, ``end``, ``resolution``, ``noise``.

    Returns
    -------
    polars.DataFrame
        ``container``, ``run``, ``hours``, ``gap_hours`` [h], ``degree_hours`` [K h], ``area_error`` (what the
        error of reading may add to or take from that area) [K h] and ``mean_kinetic_temperature`` [°C]; no
        row for a run without a step between readings.
    """
    columns = ("side", "start", "end", "resolution", "noise")
    steps = measured(steps_within(readings, runs.select(*_RUN, *columns)))
    return (
        steps.group_by(_RUN, maintain_order=True)
        .agg(
            pl.col("hours", "gap_hours", "degree_hours").sum(),
            area_error=_area_error("hours"),
            mean_rate=(pl.col("rate") * pl.col("hours")).sum() / pl.col("hours").sum(),
        )
        .with_columns(mean_kinetic_temperature=from_rate(pl.col("mean_rate")).fill_nan(None))
    )


def _area_error(hours: str) -> pl.Expr:
    """What the error of reading may add to an area, or take from it. [K h].

    Rounding may lean one way throughout; noise averages out.
    """
    rounding = pl.col("resolution").first() / 2 * pl.col(hours).sum()
    return rounding + 2 * pl.col("noise").first() * (pl.col(hours) ** 2).sum().sqrt()


def measured(steps: pl.DataFrame) -> pl.DataFrame:
    """Add to steps within excursions what each counts for.

    Parameters
    ----------
    steps
        From :func:`coldsift.excursions.readings.steps_within`, with the excursion's ``side``, ``start`` and
        ``end``.

    Returns
    -------
    polars.DataFrame
        With ``first_beyond`` and ``last_beyond`` of each step against the band at its begin [K], ``hours``
        beyond the edge, ``gap_hours`` within the excursion, ``degree_hours`` and ``rate`` (Arrhenius,
        relative).
    """
    side = pl.col("side")
    edge = pl.when(side > 0).then("band_high").otherwise("band_low")
    first, last = pl.col("first_beyond"), pl.col("last_beyond")
    return (
        steps.with_columns(
            first_beyond=(pl.col("air") - edge) * side, last_beyond=(pl.col("next_air") - edge) * side
        )
        .with_columns(
            hours=pl.when("unseen").then(0.0).otherwise(pl.col("step") * share_beyond(first, last)),
            gap_hours=pl.when("unseen")
            .then(
                (
                    pl.min_horizontal("next_time", "end") - pl.max_horizontal("time", "start")
                ).dt.total_microseconds()
                / 3.6e9
            )
            .otherwise(0.0),
        )
        .with_columns(
            degree_hours=pl.col("hours") * mean_beyond(first, last),
            rate=mean_rate_beyond(pl.col("air"), pl.col("next_air"), edge, side),
        )
    )


def at_most(readings: pl.DataFrame, runs: pl.DataFrame, possible: pl.DataFrame) -> pl.DataFrame:
    """Measure excursions at most.

    Parameters
    ----------
    readings
        From :func:`coldsift.excursions.readings.read_air`.
    runs
        ``container``, ``run``, ``side``, ``from_time`` and ``to_time`` (how far the excursion may reach),
        ``start_latest``, ``end_earliest``, ``highest`` and ``lowest`` reading, ``resolution``, ``noise``.
    possible
        From :func:`coldsift.excursions.gaps.possible_air`.

    Returns
    -------
    polars.DataFrame
        ``container``, ``run``, ``hours_at_most`` [h], ``degree_hours_at_most`` [K h], ``peak_at_most`` [°C],
        and ``gap_within_bounds``: whether a gap lies where the excursion may reach.
    """
    unit = "container"
    side, step = pl.col("side"), pl.col("step")
    first, last = pl.col("first_beyond"), pl.col("last_beyond")
    # K/h of this step and the ones beside it, positive away from the band; null beside a gap.
    slope = pl.when(~pl.col("unseen")).then((pl.col("next_air") - pl.col("air")) / step)
    readings = (
        readings.join(runs.select(unit), on=unit, how="semi", maintain_order="left")
        .with_columns(slope=slope)
        .with_columns(slope_before=of_last("slope"), slope_after=of_next("slope"))
    )
    before, now, after = (pl.col(name) * side for name in ("slope_before", "slope", "slope_after"))
    # The lines of the steps before and after go on to meet above this step's own.
    meeting = pl.when((before > now) & (now > after)).then(step * (now - after) / (before - after))
    # The air may have jumped out right after the earliest start, and back right before the latest end.
    jump_out = pl.when(pl.col("time") < pl.col("start_latest")).then(last - after.clip(0.0) * step)
    jump_back = pl.when(pl.col("time") >= pl.col("end_earliest")).then(
        first + before.clip(upper_bound=0.0) * step
    )
    columns = ("side", "start_latest", "end_earliest", "highest", "lowest", "resolution", "noise")
    steps = measured(
        steps_within(readings, runs.select(*_RUN, *columns, start="from_time", end="to_time"))
    ).join(
        possible.select(
            "place",
            "warmest_possible",
            "coldest_possible",
            "area_above",
            "area_below",
        ),
        on="place",
        how="left",
        maintain_order="left",
    )
    furthest = pl.when(side > 0).then("warmest_possible").otherwise("coldest_possible")
    steps = steps.with_columns(
        out=pl.max_horizontal(first, jump_out),
        back=pl.max_horizontal(last, jump_back),
        bulge=((before - now) * meeting).fill_null(0.0),
        tip=pl.when(~pl.col("apart") & ~pl.col("next_apart")).then(
            pl.col("air") + pl.col("slope_before") * meeting
        ),
    ).with_columns(
        area=pl.when("unseen")
        .then(pl.when(side > 0).then("area_above").otherwise("area_below"))
        .otherwise(
            step * share_beyond(pl.col("out"), pl.col("back")) * mean_beyond(pl.col("out"), pl.col("back"))
            + pl.when(pl.max_horizontal(first, last) + pl.col("bulge") > 0)
            .then(step * pl.col("bulge") / 2)
            .otherwise(0.0)
        ),
        seen_step=pl.when("unseen").then(0.0).otherwise("step"),
    )
    half = pl.col("resolution").first() / 2
    reach = pl.concat_list("tip", furthest)
    return steps.group_by(_RUN, maintain_order=True).agg(
        hours_at_most=(pl.col("end").first() - pl.col("start").first()).dt.total_microseconds() / 3.6e9,
        degree_hours_at_most=pl.col("area").sum() + _area_error("seen_step"),
        peak_at_most=pl.when(side.first() > 0)
        .then(pl.max_horizontal(pl.col("highest").first() + half, reach.list.max().max()))
        .otherwise(pl.min_horizontal(pl.col("lowest").first() - half, reach.list.min().min())),
        gap_within_bounds=pl.col("unseen").any(),
    )
