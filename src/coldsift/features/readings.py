"""Features that readings give: each set of rows is cut out once, and all its features are taken from it.

Goes in: the timeline. Comes out: for each feature its value over the whole log, over the last days, against
the unit's own past, as a trend, and how abruptly it changed.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import chain

import polars as pl

from coldsift.features.catalogue import OWN, RECENT_HOURS, SETTLING_HOURS, Feature, Statistic
from coldsift.features.data import with_readings_before
from coldsift.features.onset import ONSET_OF, SLOT_HOURS, onset_values
from coldsift.regimes import SET_POINT_STEP
from coldsift.regimes.numbered import IN_MEMORY, NUMBER, run_number, starts

VALUES = (NUMBER, "feature", "value", "samples")
"""Columns of the features of a batch of units."""

_AT_ONCE = 10
"""Features cut out together: more take more memory, fewer cut the same rows out more often."""

_STAGES = 3
_APART, _BEFORE, _NOW = range(_STAGES)
"""Stages of a log in their order: what is no past to be held against, the past, the last days."""


def reading_features(numbered: pl.DataFrame, base: Iterable[Feature]) -> pl.DataFrame:
    """Take every feature that has an expression, and its views.

    Parameters
    ----------
    numbered
        The timeline with ``unit_number``, from :func:`coldsift.regimes.numbered.with_numbers`.
    base
        All features that are not views of others.

    Returns
    -------
    polars.DataFrame
        ``unit_number``, ``feature``, ``value``, ``samples``; no row where there is no reading.
    """
    rows = _with_stages(with_readings_before(numbered.lazy())).collect(engine=IN_MEMORY)
    of_rows = [_of_rows(rows, features) for features in _by_rows(base)]
    values, days, slots = (pl.concat(chain.from_iterable(parts)) for parts in zip(*of_rows, strict=True))
    found: pl.DataFrame = pl.concat([values, _trends(days), onset_values(slots, base).select(VALUES)])
    return found


_Frames = list[pl.DataFrame]


def _of_rows(rows: pl.DataFrame, features: Sequence[Feature]) -> tuple[_Frames, _Frames, _Frames]:
    """Features over the same rows: their values, their daily values and those of their slots."""
    readings = _cut(rows, features)
    settled = readings.filter("settled")
    taken: _Frames = []
    days: _Frames = []
    slots: _Frames = []
    for feature in features:
        taken.append(_taken(readings, feature, NUMBER))
        if feature.watched:
            taken += _now_and_shift(_taken(readings, feature, "stage"), feature.name)
            days.append(_taken(settled, feature, "day_number", NUMBER, "day"))
        if feature.name in ONSET_OF:
            median = replace(feature, statistic=Statistic.MEDIAN)
            slots.append(_taken(settled, median, "slot_number", NUMBER, "slot"))
    return [frame.select(VALUES) for frame in taken], days, slots


def _with_stages(rows: pl.LazyFrame) -> pl.LazyFrame:
    """Say of each reading in which stage of its log it was taken, on which day, and in which slot.

    The numbers of stages, days and slots rise from unit to unit too. ``settled`` readings are the unit's own,
    taken once the cargo had given off its warmth.
    """
    time, set_point = pl.col("time"), pl.col("set_point")
    last = time.last().over(NUMBER)
    present = set_point.forward_fill().last().over(NUMBER)
    long = last - pl.col("since") > pl.duration(hours=2 * SETTLING_HOURS + RECENT_HOURS)
    stage = (
        pl.when(pl.col("recent") & pl.col("has_past"))
        .then(_NOW)
        .when(~pl.col("recent") & pl.col("settled"))
        .then(_BEFORE)
        .otherwise(_APART)
    )
    return (
        rows.with_columns(
            # What a unit did at another set point says little of what it does at this one.
            at_present_set_point=((set_point - present).abs() <= SET_POINT_STEP).fill_null(True),
            recent=time > last - pl.duration(hours=RECENT_HOURS),
            day=time.dt.date(),
            slot=time.dt.truncate(f"{SLOT_HOURS}h"),
        )
        .with_columns(
            since=time.filter("at_present_set_point").first().over(NUMBER),
            # A log no longer than "now" has no past to be held against.
            has_past=(~pl.col("recent")).any().over(NUMBER),
            day_number=run_number(starts("day")),
            slot_number=run_number(starts("slot")),
        )
        .with_columns(settled=(time >= pl.col("since") + pl.duration(hours=SETTLING_HOURS)) | ~long)
        .with_columns(
            stage=(_STAGES * pl.col(NUMBER) + stage).set_sorted(),
            settled=OWN & pl.col("settled"),
        )
    )


def _by_rows(base: Iterable[Feature]) -> Iterator[list[Feature]]:
    """Features with an expression, those over the same rows together, ``_AT_ONCE`` at most."""
    together: dict[str, list[Feature]] = {}
    for feature in base:
        if feature.of is not None:
            together.setdefault(str(feature.where), []).append(feature)
    for features in together.values():
        for first in range(0, len(features), _AT_ONCE):
            yield features[first : first + _AT_ONCE]


def _cut(rows: pl.DataFrame, features: Sequence[Feature]) -> pl.DataFrame:
    """The rows that the features are taken over, and their values."""
    where = features[0].where
    assert where is not None
    values = {feature.name: feature.of.cast(pl.Float64) for feature in features if feature.of is not None}
    return (
        rows.lazy()
        .filter(where)
        .select(NUMBER, "stage", "settled", "day", "day_number", "slot", "slot_number", "hours", **values)
        .collect(engine=IN_MEMORY)
    )


def _taken(readings: pl.DataFrame, feature: Feature, by: str, *also: str) -> pl.DataFrame:
    """Take a feature of each stretch of readings."""
    return (
        readings.select(by, *also, "hours", value=feature.name)
        .drop_nulls()
        .group_by(by, maintain_order=True)
        .agg(
            pl.col(also).first(),
            value=feature.statistic.of(pl.col("value"), pl.col("hours")),
            samples=pl.len().cast(pl.Int64),
        )
        .with_columns(feature=pl.lit(feature.name))
    )


def _now_and_shift(stages: pl.DataFrame, name: str) -> Iterator[pl.DataFrame]:
    """The last days, and how they differ from the time before."""
    stages = stages.with_columns((pl.col("stage") // _STAGES).alias(NUMBER), stage=pl.col("stage") % _STAGES)
    now, before = (stages.filter(pl.col("stage") == stage) for stage in (_NOW, _BEFORE))
    yield now.with_columns(feature=pl.lit(f"{name}_now"))
    yield now.join(before, on=NUMBER, suffix="_before").select(
        NUMBER,
        feature=pl.lit(f"{name}_shift"),
        value=pl.col("value") - pl.col("value_before"),
        samples=pl.min_horizontal("samples", "samples_before"),
    )


def _trends(days: pl.DataFrame) -> pl.DataFrame:
    """Theil–Sen slope of daily values: the median slope over all pairs of days.

    Parameters
    ----------
    days
        ``unit_number``, ``feature``, ``day``, ``value``: feature by feature, sorted by unit and day.
    """
    days = days.with_columns(series=run_number(starts("feature"))).with_row_index("place")
    later = pl.int_ranges(pl.col("place") + 1, pl.col("place").last().over("series") + 1, dtype=pl.UInt32)
    pairs = days.select("series", "place", later=later).explode("later", empty_as_null=False)
    rise, time = (
        values.gather(pairs["later"]) - values.gather(pairs["place"])
        for values in (days["value"], days["day"].to_physical())
    )
    slopes = (
        pairs.select("series", slope=rise / time)
        .group_by("series", maintain_order=True)
        .agg(value=pl.col("slope").median())
    )
    return (
        days.group_by("series", maintain_order=True)
        .agg(
            pl.col(NUMBER).first(),
            feature=pl.format("{}_trend", pl.col("feature").first()),
            samples=pl.len().cast(pl.Int64),
        )
        .join(slopes, on="series", how="left", maintain_order="left")
        .select(VALUES)
    )
