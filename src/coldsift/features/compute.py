"""All features of all units, in one pass over the timeline."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import replace

import polars as pl

from coldsift.features.box import BOX_FEATURES, warm_up_features
from coldsift.features.catalogue import OWN, RECENT_HOURS, SETTLING_HOURS, Feature, View
from coldsift.features.circuit import CIRCUIT_FEATURES, REFUSED
from coldsift.features.data import DATA_FEATURES, clock_features, with_readings_before
from coldsift.features.defrost import DEFROST_FEATURES, defrost_features
from coldsift.features.hold import HOLD_FEATURES
from coldsift.features.onset import onset_features, onset_values
from coldsift.features.pull_down import PULL_DOWN_FEATURES, pull_down_features
from coldsift.regimes import SET_POINT_STEP
from coldsift.schema import CHANNELS, TABLES

SHIFT_SCALE = 0.25
TREND_SCALE = 0.125
"""A unit differs less from its own past than from its like: the smallest difference that means something,
as a share of that between units, and of that a day. Chosen on simulated fleets, seeds 11 to 14."""


def _with_views(base: tuple[Feature, ...]) -> Iterator[Feature]:
    """Each feature, then its views: now, against its own past, as a trend."""
    recent = f"last {RECENT_HOURS:.0f} h"
    for feature in base:
        yield feature
        if not feature.watched:
            continue
        view = replace(feature, watched=False, minimum=max(4, feature.minimum // 2), base=feature.name)
        yield replace(
            view,
            name=f"{feature.name}_now",
            view=View.NOW,
            words=f"{feature.words}, {recent}",
            formula=f"{feature.formula}, over the {recent} of the log",
        )
        yield replace(
            view,
            name=f"{feature.name}_shift",
            view=View.SHIFT,
            unit=feature.unit_of_change,
            words=f"{feature.words}, {recent} against before",
            formula=f"{feature.formula}: over the {recent} minus over the time before",
            scale=feature.scale * SHIFT_SCALE,
            against=f"{feature.against}_shift" if feature.against else None,
            usual=(0.0, 0.0),
        )
        yield replace(
            view,
            name=f"{feature.name}_trend",
            view=View.TREND,
            unit=f"{feature.unit_of_change or 1}/d",
            words=f"{feature.words}, trend",
            formula=f"Theil–Sen slope of the daily values of: {feature.formula}",
            source="slope estimator of Theil (1950) and Sen (1968), from memory",
            scale=feature.scale * TREND_SCALE,
            against=None,
            usual=(0.0, 0.0),
        )


_BASE = (
    *HOLD_FEATURES,
    *CIRCUIT_FEATURES,
    *BOX_FEATURES,
    *PULL_DOWN_FEATURES,
    *DEFROST_FEATURES,
    *DATA_FEATURES,
)
_ONSET = onset_features(_BASE)

FEATURES: Mapping[str, Feature] = {feature.name: feature for feature in (*_with_views(_BASE), *_ONSET)}
"""Every feature by name."""

BASES: Mapping[str, str] = {name: feature.base or name for name, feature in FEATURES.items()}
"""Feature that each feature is a view of, or itself."""

_TREND_DAYS = 4
"""A trend needs as many days with a value."""


def unit_features(
    timeline: pl.DataFrame, defrosts: pl.DataFrame, most_needed: int | None = None
) -> pl.DataFrame:
    """Take every feature of every unit.

    Parameters
    ----------
    timeline
        From :func:`coldsift.regimes.build_timeline`, with ``shared`` from
        :func:`coldsift.regimes.mark_shared` and the columns of
        :func:`coldsift.features.with_saturation`.
    defrosts
        From :func:`coldsift.regimes.find_defrosts`.
    most_needed
        No feature asks for more readings than this, as in a test of minutes; None leaves it to each.

    Returns
    -------
    polars.DataFrame
        :data:`coldsift.schema.FEATURES` with the peer columns still empty: one row per container and
        feature, the value null with a reason where the log does not give it.
    """
    unit = "container"
    last = pl.col("time").max().over(unit)
    present = pl.col("set_point").forward_fill().last().over(unit)
    at_present = ((pl.col("set_point") - present).abs() <= SET_POINT_STEP).fill_null(True)
    since = pl.col("time").filter(at_present).min().over(unit)
    long = last - since > pl.duration(hours=2 * SETTLING_HOURS + RECENT_HOURS)
    rows = with_readings_before(timeline.lazy()).with_columns(
        recent=pl.col("time") > last - pl.duration(hours=RECENT_HOURS),
        settled=(pl.col("time") >= since + pl.duration(hours=SETTLING_HOURS)) | ~long,
        # What a unit did at another set point says little of what it does at this one.
        at_present_set_point=at_present,
        day=pl.col("time").dt.date(),
    )
    # A log no longer than "now" has no past to be held against.
    rows = rows.with_columns(has_past=(~pl.col("recent")).any().over(unit))
    values = pl.concat(
        [
            _expressions(rows),
            _trends(rows),
            defrost_features(timeline, defrosts).with_columns(pl.col("samples").cast(pl.Int64)),
            pull_down_features(timeline).with_columns(pl.col("samples").cast(pl.Int64)),
            onset_values(rows, _BASE),
            warm_up_features(timeline),
            clock_features(timeline),
        ]
    )
    return TABLES["features"].conform(_explained(timeline, values, most_needed).collect())


def _expressions(rows: pl.LazyFrame) -> pl.LazyFrame:
    unit = "container"
    measured = [feature for feature in _BASE if feature.of is not None]
    aggregates: list[pl.Expr] = []
    for feature in measured:
        assert feature.of is not None and feature.where is not None
        views = {feature.name: feature.where}
        if feature.watched:
            views[f"{feature.name}_now"] = feature.where & pl.col("recent") & pl.col("has_past")
            views[f"{feature.name}_before"] = feature.where & ~pl.col("recent") & pl.col("settled")
        for name, where in views.items():
            chosen = feature.of.filter(where & feature.of.is_not_null())
            hours = pl.col("hours").filter(where & feature.of.is_not_null())
            aggregates.append(feature.statistic.of(chosen, hours).cast(pl.Float64).alias(f"{name}|value"))
            aggregates.append(chosen.len().cast(pl.Float64).alias(f"{name}|samples"))
    wide = rows.group_by(unit, maintain_order=True).agg(aggregates)
    wide = wide.with_columns(
        expression
        for feature in measured
        if feature.watched
        for expression in (
            (pl.col(f"{feature.name}_now|value") - pl.col(f"{feature.name}_before|value")).alias(
                f"{feature.name}_shift|value"
            ),
            pl.min_horizontal(f"{feature.name}_now|samples", f"{feature.name}_before|samples").alias(
                f"{feature.name}_shift|samples"
            ),
        )
    )
    split = pl.col("column").str.split_exact("|", 1)
    return (
        wide.unpivot(index=unit, variable_name="column", value_name="value")
        .with_columns(feature=split.struct.field("field_0"), kind=split.struct.field("field_1"))
        .group_by(unit, "feature", maintain_order=True)
        .agg(
            value=pl.col("value").filter(pl.col("kind") == "value").first(),
            samples=pl.col("value").filter(pl.col("kind") == "samples").first().cast(pl.Int64),
        )
        .filter(~pl.col("feature").str.ends_with("_before"))
        .select(unit, "feature", "value", "samples")
    )


def _trends(rows: pl.LazyFrame) -> pl.LazyFrame:
    """Theil–Sen slope of daily values: the median slope over all pairs of days."""
    unit = "container"
    watched = [feature for feature in _BASE if feature.watched]
    aggregates: list[pl.Expr] = []
    for feature in watched:
        assert feature.of is not None and feature.where is not None
        kept = feature.where & feature.of.is_not_null()
        daily = feature.statistic.of(feature.of.filter(kept), pl.col("hours").filter(kept))
        aggregates.append(daily.cast(pl.Float64).alias(f"{feature.name}_trend"))
    days = (
        rows.filter(OWN & pl.col("settled"))
        .group_by(unit, "day")
        .agg(aggregates)
        .unpivot(index=[unit, "day"], variable_name="feature", value_name="value")
        .drop_nulls("value")
    )
    pairs = days.join(days, on=[unit, "feature"], suffix="_later").filter(pl.col("day_later") > pl.col("day"))
    slope = (pl.col("value_later") - pl.col("value")) / (pl.col("day_later") - pl.col("day")).dt.total_days()
    slopes = pairs.group_by(unit, "feature").agg(value=slope.median())
    counts = days.group_by(unit, "feature").agg(samples=pl.len().cast(pl.Int64))
    return counts.join(slopes, on=[unit, "feature"], how="left").select(unit, "feature", "value", "samples")


def _explained(timeline: pl.DataFrame, values: pl.LazyFrame, most_needed: int | None) -> pl.LazyFrame:
    """Every container × feature; a value only where there is enough behind it, else the reason."""
    unit = "container"
    logged = timeline.lazy().group_by(unit).agg(pl.col(name).is_not_null().any() for name in CHANNELS)
    refusals = timeline.lazy().group_by(unit).agg(pl.col(REFUSED).drop_nulls().mode().sort().first())
    missing = logged.select(
        unit,
        *(
            pl.concat_list(
                pl.when(~pl.col(channel)).then(pl.lit(CHANNELS[channel].label.lower()))
                for channel in feature.needs
            )
            .list.drop_nulls()
            .list.join(", ")
            .alias(feature.name)
            if feature.needs
            else pl.lit("").alias(feature.name)
            for feature in FEATURES.values()
        ),
    ).unpivot(index=unit, variable_name="feature", value_name="missing")
    catalogue = pl.LazyFrame(
        {
            "feature": list(FEATURES),
            "unit": [feature.unit for feature in FEATURES.values()],
            "regime": [feature.regime for feature in FEATURES.values()],
            "minimum": [
                _TREND_DAYS if name.endswith("_trend") else feature.minimum
                for name, feature in FEATURES.items()
            ],
            "saturated": [feature.saturated for feature in FEATURES.values()],
            "place": list(range(len(FEATURES))),
        }
    )
    if most_needed is not None:
        catalogue = catalogue.with_columns(pl.col("minimum").clip(upper_bound=most_needed))
    enough = (pl.col("samples") >= pl.col("minimum")) & (pl.col("missing") == "")
    usable = enough & pl.col("value").is_finite()
    return (
        missing.join(catalogue, on="feature")
        .join(values, on=[unit, "feature"], how="left")
        .join(refusals, on=unit, how="left")
        .with_columns(pl.col("samples").fill_null(0))
        .with_columns(
            value=pl.when(usable).then("value"),
            reason=pl.when(pl.col("missing") != "")
            .then(pl.format("not logged: {}", "missing"))
            .when(~usable.fill_null(False) & pl.col("saturated") & pl.col(REFUSED).is_not_null())
            .then(pl.format("no saturation temperature: a pressure is {}", REFUSED))
            .when(~enough)
            .then(pl.format("{} of at least {} readings in: {}", "samples", "minimum", "regime"))
            .when(~usable.fill_null(False))
            .then(pl.format("the readings in {} do not give it", "regime")),
        )
        .sort(unit, "place")
    )
