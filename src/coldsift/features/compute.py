"""All features of all units, in one pass over the timeline."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

import polars as pl

from coldsift.features.box import BOX_FEATURES, warm_up_features
from coldsift.features.catalogue import RECENT_HOURS, Feature, View
from coldsift.features.circuit import CIRCUIT_FEATURES, REFUSED
from coldsift.features.data import DATA_FEATURES, clock_features, clock_marks
from coldsift.features.defrost import DEFROST_FEATURES, defrost_features
from coldsift.features.hold import HOLD_FEATURES
from coldsift.features.onset import onset_features
from coldsift.features.pull_down import PULL_DOWN_FEATURES, pull_down_features
from coldsift.features.readings import reading_features
from coldsift.regimes.numbered import IN_MEMORY, NUMBER, with_numbers
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
    timeline: pl.DataFrame,
    defrosts: pl.DataFrame,
    clocks: pl.DataFrame | None = None,
    most_needed: int | None = None,
) -> pl.DataFrame:
    """Take every feature of every unit.

    Parameters
    ----------
    timeline
        From :func:`coldsift.regimes.build_timeline`, with ``shared`` from
        :func:`coldsift.regimes.mark_shared` and the columns of
        :func:`coldsift.features.with_saturation`; sorted by container and time.
    defrosts
        From :func:`coldsift.regimes.find_defrosts`.
    clocks
        From :func:`coldsift.features.clock_features`, for these units at least: the one feature that looks
        across units. None takes these units as the whole fleet.
    most_needed
        No feature asks for more readings than this, as in a test of minutes; None leaves it to each.

    Returns
    -------
    polars.DataFrame
        :data:`coldsift.schema.FEATURES` with the peer columns still empty: one row per container and
        feature, the value null with a reason where the log does not give it.
    """
    numbered = with_numbers(timeline.lazy()).collect(engine=IN_MEMORY)
    if clocks is None:
        clocks = clock_features(clock_marks(timeline))
    values = pl.concat(
        [
            reading_features(numbered, _BASE),
            defrost_features(numbered, defrosts),
            pull_down_features(numbered),
            warm_up_features(numbered),
        ]
    )
    units = _units(numbered)
    values = pl.concat(
        [
            values.join(units.select(NUMBER, "container"), on=NUMBER, maintain_order="left").select(
                clocks.columns
            ),
            clocks,
        ]
    )
    return TABLES["features"].conform(_explained(units, values, most_needed))


def _units(numbered: pl.DataFrame) -> pl.DataFrame:
    """One row a unit: which channels it logs, and why most of its refused pressures are."""
    return (
        numbered.lazy()
        .group_by(NUMBER, maintain_order=True)
        .agg(
            pl.col("container").first(),
            pl.col(REFUSED).drop_nulls().mode().sort().first(),
            *(pl.col(name).is_not_null().any() for name in CHANNELS),
        )
        .collect(engine=IN_MEMORY)
    )


def _explained(units: pl.DataFrame, values: pl.DataFrame, most_needed: int | None) -> pl.DataFrame:
    """Every container × feature; a value only where there is enough behind it, else the reason."""
    unit = "container"
    needed = {", ".join(feature.needs): feature.needs for feature in FEATURES.values()}
    missing = units.lazy().select(
        unit,
        *(_missing(channels).alias(needs) for needs, channels in needed.items()),
    )
    catalogue = pl.LazyFrame(
        {
            "feature": list(FEATURES),
            "needs": [", ".join(feature.needs) for feature in FEATURES.values()],
            "unit": [feature.unit for feature in FEATURES.values()],
            "regime": [feature.regime for feature in FEATURES.values()],
            "minimum": [
                _TREND_DAYS if name.endswith("_trend") else feature.minimum
                for name, feature in FEATURES.items()
            ],
            "saturated": [feature.saturated for feature in FEATURES.values()],
        }
    )
    if most_needed is not None:
        catalogue = catalogue.with_columns(pl.col("minimum").clip(upper_bound=most_needed))
    enough = (pl.col("samples") >= pl.col("minimum")) & (pl.col("missing") == "")
    usable = (enough & pl.col("value").is_finite()).fill_null(False)
    return (
        units.lazy()
        .select(unit, REFUSED)
        .join(catalogue, how="cross", maintain_order="left_right")
        .join(
            missing.unpivot(index=unit, variable_name="needs", value_name="missing"),
            on=[unit, "needs"],
            how="left",
            maintain_order="left",
        )
        .join(values.lazy(), on=[unit, "feature"], how="left", maintain_order="left")
        .with_columns(pl.col("samples").fill_null(0))
        .with_columns(
            value=pl.when(usable).then("value"),
            reason=pl.when(pl.col("missing") != "")
            .then(pl.format("not logged: {}", "missing"))
            .when(~usable & pl.col("saturated") & pl.col(REFUSED).is_not_null())
            .then(pl.format("no saturation temperature: a pressure is {}", REFUSED))
            .when(~enough)
            .then(pl.format("{} of at least {} readings in: {}", "samples", "minimum", "regime"))
            .when(~usable)
            .then(pl.format("the readings in {} do not give it", "regime")),
        )
        .collect(engine=IN_MEMORY)
    )


def _missing(channels: Sequence[str]) -> pl.Expr:
    """The trade's words for those of the channels that a unit does not log."""
    words = (pl.when(~pl.col(name)).then(pl.lit(CHANNELS[name].label.lower())) for name in channels)
    return pl.concat_str(*words, separator=", ", ignore_nulls=True) if channels else pl.lit("")
