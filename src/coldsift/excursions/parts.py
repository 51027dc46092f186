"""Excursions divided by what the unit was doing, by who had the container, and by day."""

from __future__ import annotations

import polars as pl

from coldsift.excursions.measuring import measured
from coldsift.excursions.readings import read_air, steps_within
from coldsift.schema import EXCURSION_PARTS, TIME

_EXCURSION = ["container", "excursion"]


def divide(
    timeline: pl.DataFrame, excursions: pl.DataFrame, custody: pl.DataFrame | None = None
) -> pl.DataFrame:
    """Divide every excursion by regime and, where it is known, by custody.

    Parameters
    ----------
    timeline
        From :func:`coldsift.regimes.build_timeline`.
    excursions
        Of the same timeline, from :func:`coldsift.excursions.find_excursions`.
    custody
        :data:`coldsift.schema.CUSTODY`. A holder without an end has the container until the next one takes
        it; of two at once, the one who took it later has it.

    Returns
    -------
    polars.DataFrame
        :data:`coldsift.schema.EXCURSION_PARTS`. Hours, gap hours and degree-hours of a division add up to
        the excursion's own. By regime one row a regime, by custody one row for each stretch of one holder,
        in order; what lies between two readings is cut at the very instant of a handover.

    Notes
    -----
    What lies between two readings belongs to the regime of the first; a gap is ``unknown``. The peak of a
    part leaves readings in a defrost out, as the excursion's does, unless the part has no other.
    """
    steps = _steps(timeline, excursions)
    regime = pl.when("unseen").then(pl.lit("unknown")).otherwise(pl.col("regime").cast(pl.String))
    divisions = [_summed(steps.with_columns(part=regime), "regime", ["part"])]
    if custody is not None and not custody.is_empty():
        holdings = _holdings(custody, excursions["container"])
        held = _cut(steps.join(holdings, on="container", maintain_order="left_right"))
        divisions.append(_summed(held, "custody", ["since", "part"]))
    return EXCURSION_PARTS.conform(
        pl.concat(divisions).sort(
            *_EXCURSION, "division", "start", "part", descending=[False, False, True, False, False]
        )
    )


def by_day(timeline: pl.DataFrame, excursions: pl.DataFrame) -> pl.DataFrame:
    """Divide excursions by day.

    Parameters
    ----------
    timeline
        From :func:`coldsift.regimes.build_timeline`.
    excursions
        Of the same timeline, from :func:`coldsift.excursions.find_excursions`.

    Returns
    -------
    polars.DataFrame
        ``container``, ``day`` (UTC), ``hours`` [h] and ``degree_hours`` [K h] of all the unit's excursions on
        that day, gaps taken out; sorted. What lies between two readings is cut at midnight, the air straight
        between them, so that the days of an excursion add up to its own hours and degree-hours.
    """
    steps = _steps(timeline, excursions)
    midnight = pl.col("time").dt.truncate("1d")
    days = steps.with_columns(since=pl.datetime_ranges(midnight, "next_time", "1d", closed="left")).explode(
        "since", empty_as_null=False
    )
    return (
        measured(_cut(days.with_columns(until=pl.col("since") + pl.duration(days=1))))
        .group_by("container", day=pl.col("since").dt.date(), maintain_order=True)
        .agg(pl.col("hours", "degree_hours").sum())
        .sort("container", "day")
    )


def _steps(timeline: pl.DataFrame, excursions: pl.DataFrame) -> pl.DataFrame:
    """Every step between two readings that overlaps an excursion."""
    affected = timeline.filter(pl.col("container").is_in(excursions["container"].unique().implode()))
    return steps_within(
        read_air(affected),
        excursions.select(
            "container",
            "start",
            "end",
            excursion="start",
            # The peak lies beyond the edge that was left.
            side=(pl.col("peak") - pl.col("band_edge")).sign().cast(pl.Int8),
        ),
    )


def _holdings(custody: pl.DataFrame, containers: pl.Series) -> pl.DataFrame:
    """All of time by holder: ``since``, ``until`` (null where open), ``part`` (null: nobody is named)."""
    unit = "container"
    following = pl.col("start").shift(-1).over(unit)
    named = (
        custody.sort(unit, "start")
        .with_columns(following=following)
        .select(
            unit,
            "following",
            since="start",
            until=pl.min_horizontal("end", "following"),
            part="holder",
        )
    )
    after = named.filter(pl.col("until").is_not_null()).select(
        unit, since="until", until="following", part=pl.lit(None, pl.String)
    )
    nobody = {"since": pl.lit(None, TIME), "part": pl.lit(None, pl.String)}
    before = (
        named.group_by(unit, maintain_order=True).agg(until=pl.col("since").first()).with_columns(**nobody)
    )
    unnamed = (
        pl.DataFrame({unit: containers.unique().sort()})
        .join(named, on=unit, how="anti", maintain_order="left")
        .with_columns(until=pl.lit(None, TIME), **nobody)
    )
    return (
        pl.concat([named.drop("following"), after, before, unnamed], how="diagonal")
        .filter((pl.col("since") < pl.col("until")).fill_null(True))
        .sort(unit, "since")
    )


def _cut(steps: pl.DataFrame) -> pl.DataFrame:
    """Cut steps at ``since`` and ``until`` within the excursion; the air between two readings is straight."""
    begins = (pl.col("since") > pl.col("start")).fill_null(False)
    ends = (pl.col("until") < pl.col("end")).fill_null(False)
    cut_from = pl.when(begins).then(pl.max_horizontal("time", "since")).otherwise("time")
    cut_to = pl.when(ends).then(pl.min_horizontal("next_time", "until")).otherwise("next_time")
    whole = (pl.col("next_time") - pl.col("time")).dt.total_microseconds()

    def air_at(instant: str) -> pl.Expr:
        share = (pl.col(instant) - pl.col("time")).dt.total_microseconds() / whole
        return pl.col("air") + share * (pl.col("next_air") - pl.col("air"))

    either = pl.col("apart") | pl.col("next_apart")
    return (
        steps.filter(
            (pl.col("since") < pl.col("end")).fill_null(True),
            (pl.col("until") > pl.col("start")).fill_null(True),
        )
        .with_columns(cut_from=cut_from, cut_to=cut_to)
        .filter(pl.col("cut_from") < pl.col("cut_to"))
        .with_columns(
            step=(pl.col("cut_to") - pl.col("cut_from")).dt.total_microseconds() / 3.6e9,
            air=pl.when(pl.col("cut_from") > pl.col("time")).then(air_at("cut_from")).otherwise("air"),
            next_air=pl.when(pl.col("cut_to") < pl.col("next_time"))
            .then(air_at("cut_to"))
            .otherwise("next_air"),
            apart=pl.when(pl.col("cut_from") > pl.col("time")).then(either).otherwise("apart"),
            next_apart=pl.when(pl.col("cut_to") < pl.col("next_time")).then(either).otherwise("next_apart"),
        )
        .with_columns(time="cut_from", next_time="cut_to")
    )


def _summed(steps: pl.DataFrame, division: str, part: list[str]) -> pl.DataFrame:
    """One row for each excursion and part of it."""
    side = pl.col("side").first()
    # Nobody knows the air inside a gap.
    seen = ~pl.col("unseen")

    def furthest(first: pl.Expr, last: pl.Expr) -> pl.Expr:
        highest = pl.max_horizontal(pl.col("air").filter(first).max(), pl.col("next_air").filter(last).max())
        lowest = pl.min_horizontal(pl.col("air").filter(first).min(), pl.col("next_air").filter(last).min())
        return pl.when(side > 0).then(highest).otherwise(lowest)

    return (
        measured(steps)
        .group_by(*_EXCURSION, *part, maintain_order=True)
        .agg(
            division=pl.lit(division),
            start=pl.max_horizontal("time", "start").min(),
            end=pl.min_horizontal("next_time", "end").max(),
            hours=pl.col("hours").sum(),
            gap_hours=pl.col("gap_hours").sum(),
            degree_hours=pl.col("degree_hours").sum(),
            peak=pl.coalesce(
                furthest(seen & ~pl.col("apart"), seen & ~pl.col("next_apart")), furthest(seen, seen)
            ),
        )
        .select(*EXCURSION_PARTS.names)
    )
