"""What is measured in each part of an inspection: the features of a voyage, and what only a test shows."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import polars as pl

from coldsift.features import FEATURES, unit_features
from coldsift.features.catalogue import STANDSTILL, View, imbalance
from coldsift.pre_trip.phases import TIMED
from coldsift.regimes import SET_POINT_STEP
from coldsift.schema import CHANNELS

SETTLING_MINUTES = 15.0
"""Left out at the start of a hold: the unit finds its way. [min]"""

SETTLED = ("chilled_hold", "frozen_hold", "warm_hold")

LEAST_WAY = 8.0
"""A shorter way of the air shows no rate. [K]"""

FEWEST_IN_DEFROST = 4
"""In fewer readings the coil's highest temperature is missed by too much."""

MOST_NEEDED = 4
"""A step of a test is short: no feature asks for more readings than this."""

WHOLE = "whole"

_CURRENTS = ("current_1", "current_2", "current_3")
_VOLTAGES = ("voltage_1", "voltage_2", "voltage_3")
_CURRENT = pl.mean_horizontal(*_CURRENTS)
_ON = pl.col("powered")
_HEATING = pl.col("heater_state") & ~pl.col("running").fill_null(False)
_MAINS = pl.when(pl.col("frequency") < 55).then(50.0).otherwise(60.0)
_PROBES = tuple(f"cargo_probe_{number}" for number in range(1, 5))
_NEAR_BOX = [*_PROBES, "return_air"]


@dataclass(frozen=True, slots=True)
class Measure:
    """One number about a part of an inspection.

    Attributes
    ----------
    name, unit, formula
        Id, unit of measure, what is computed.
    needs
        Channels without which there is no value.
    minimum
        Least number of readings.
    scale
        Difference between like boxes that is still ordinary, in ``unit``.
    of, where, quantile
        Expression over readings, those it is taken over, and which quantile of it is the value; ``of`` is
        None where a phase's table or a feature gives it.
    """

    name: str
    unit: str
    formula: str
    needs: tuple[str, ...] = ()
    minimum: int = 1
    scale: float = 1.0
    of: pl.Expr | None = None
    where: pl.Expr | None = None
    quantile: float = 0.5


OWN_MEASURES: tuple[Measure, ...] = (
    Measure(
        "minutes", "min", "from the phase's first reading to the first with the air at set point", scale=10.0
    ),
    Measure(
        "minutes_from_freezing",
        "min",
        "from the last reading with the controlling air above 0 °C, or the phase's first, to the first "
        "at set point",
        scale=10.0,
    ),
    Measure("rate", "K/h", "change of the controlling air / hours of the phase, without sign", scale=2.0),
    Measure(
        "sensors_apart",
        "K",
        "median of return_air − supply_air",
        ("return_air", "supply_air"),
        3,
        0.2,
        pl.col("return_air") - pl.col("supply_air"),
        _ON,
    ),
    Measure(
        "coil_apart",
        "K",
        "median of evaporator_temperature − return_air",
        ("evaporator_temperature", "return_air"),
        3,
        0.5,
        pl.col("evaporator_temperature") - pl.col("return_air"),
        _ON,
    ),
    Measure(
        "ambient_apart",
        "K",
        "median of return_air − ambient_air",
        ("return_air", "ambient_air"),
        3,
        1.0,
        pl.col("return_air") - pl.col("ambient_air"),
        _ON,
    ),
    Measure(
        "probes_apart",
        "K",
        "median of the largest distance between cargo probes and return_air",
        ("cargo_probe_1", "return_air"),
        3,
        0.3,
        pl.max_horizontal(_NEAR_BOX) - pl.min_horizontal(_NEAR_BOX),
        _ON,
    ),
    Measure(
        "pressures_apart",
        "bar",
        "median of discharge_pressure − suction_pressure, compressor off for a quarter of an hour",
        ("discharge_pressure", "suction_pressure"),
        2,
        0.15,
        pl.col("discharge_pressure") - pl.col("suction_pressure"),
        STANDSTILL,
    ),
    Measure(
        "voltage",
        "V",
        "median of the mean phase voltage",
        _VOLTAGES,
        3,
        5.0,
        pl.mean_horizontal(*_VOLTAGES),
        _ON,
    ),
    Measure(
        "frequency_off",
        "%",
        "median of the distance of frequency from 50 or 60 Hz, in percent of that",
        ("frequency",),
        3,
        0.3,
        100 * (pl.col("frequency") - _MAINS).abs() / _MAINS,
        _ON,
    ),
    Measure("current", "A", "median of the mean phase current", _CURRENTS, 2, 0.6, _CURRENT, _ON),
    Measure(
        "highest_current",
        "A",
        "95th percentile of the mean phase current",
        _CURRENTS,
        3,
        1.5,
        _CURRENT,
        _ON,
        0.95,
    ),
    Measure(
        "highest_power", "W", "95th percentile of power", ("power",), 3, 800.0, pl.col("power"), _ON, 0.95
    ),
    Measure(
        "heater_power",
        "W",
        "median of power with the heater on and the compressor off",
        ("power", "heater_state"),
        2,
        250.0,
        pl.col("power"),
        _HEATING,
    ),
    Measure(
        "heater_current",
        "A",
        "median of the mean phase current with the heater on and the compressor off",
        (*_CURRENTS, "heater_state"),
        2,
        0.5,
        _CURRENT,
        _HEATING,
    ),
    Measure(
        "heater_imbalance",
        "%",
        "median of 100 × largest distance of a phase current from their mean / their mean, heater on and "
        "compressor off",
        (*_CURRENTS, "heater_state"),
        2,
        1.5,
        imbalance(*_CURRENTS),
        _HEATING,
    ),
)

MEASURES: Mapping[str, Measure] = {
    **{
        feature.name: Measure(
            feature.name,
            feature.unit,
            feature.formula,
            feature.needs,
            min(feature.minimum, MOST_NEEDED),
            feature.scale,
        )
        for feature in FEATURES.values()
        if feature.view is View.WHOLE and not feature.base
    },
    **{measure.name: measure for measure in OWN_MEASURES},
}
"""Every measure by name: a voyage's features, taken in one part of the inspection, and the test's own."""


def take_measures(timeline: pl.DataFrame, phases: pl.DataFrame, defrosts: pl.DataFrame) -> pl.DataFrame:
    """Take every measure in every part of every inspection.

    Parameters
    ----------
    timeline
        From :func:`coldsift.pre_trip.phases.with_phases`, with the columns of
        :func:`coldsift.features.with_saturation`.
    phases
        From :func:`coldsift.pre_trip.phases.find_phases`.
    defrosts
        From :func:`coldsift.regimes.find_defrosts`.

    Returns
    -------
    polars.DataFrame
        ``container``, ``phase``, ``measure``, ``value``, ``samples``, ``reason`` (null where there is a
        value) and ``open``: the air had not arrived when the phase ended, and the value is the time until
        then.
    """
    chosen = phases.filter("chosen")
    key = ["container", "phase", "run"]
    rows = timeline.with_columns(pl.col("phase").cast(pl.String)).join(
        chosen.select(pl.col("container"), pl.col("phase").cast(pl.String), "run", "start"),
        on=key,
        maintain_order="left",
    )
    late = pl.col("time") - pl.col("start") >= pl.duration(minutes=round(SETTLING_MINUTES))
    rows = rows.filter(~pl.col("phase").is_in(SETTLED) | late)
    cut = pl.concat([rows.drop("start"), timeline.with_columns(phase=pl.lit(WHOLE))]).sort(
        "container", "phase", "time"
    )
    timed = _timed(timeline, chosen)
    return pl.concat(
        [_own(cut), _of_voyage(cut, chosen, defrosts), timed], how="diagonal_relaxed"
    ).with_columns(pl.col("open").fill_null(False))


def _own(cut: pl.DataFrame) -> pl.DataFrame:
    return pl.concat(
        pl.collect_all([_taken(cut.lazy(), measure) for measure in OWN_MEASURES if measure.needs])
    )


def _taken(cut: pl.LazyFrame, measure: Measure) -> pl.LazyFrame:
    """One measure of every part of every inspection."""
    assert measure.of is not None and measure.where is not None
    values = measure.of.filter(measure.where & measure.of.is_not_null())
    missing = pl.concat_list(
        pl.when(~pl.col(name).is_not_null().any()).then(pl.lit(CHANNELS[name].label.lower()))
        for name in measure.needs
    )
    enough = (pl.col("missing") == "") & (pl.col("samples") >= measure.minimum)
    return (
        cut.group_by("container", "phase", maintain_order=True)
        .agg(
            value=values.quantile(measure.quantile, "linear"),
            samples=values.len().cast(pl.Int64),
            missing=missing.list.drop_nulls().list.join(", ").first(),
        )
        .select(
            "container",
            "phase",
            measure=pl.lit(measure.name),
            value=pl.when(enough).then("value"),
            samples="samples",
            reason=pl.when(pl.col("missing") != "")
            .then(pl.format("not logged: {}", "missing"))
            .when(~enough)
            .then(_too_few(pl.lit(measure.minimum))),
        )
    )


def _too_few(minimum: pl.Expr) -> pl.Expr:
    return pl.format("{} readings count, at least {} are needed", pl.col("samples").cast(pl.Int64), minimum)


def _of_voyage(cut: pl.DataFrame, chosen: pl.DataFrame, defrosts: pl.DataFrame) -> pl.DataFrame:
    """Features of a voyage, each part of an inspection standing in for a unit.

    A part is one task at one set point, as a hold is on a voyage: its readings are taken as such.
    """
    apart = "\n"
    part = pl.concat_str("container", pl.lit(apart), pl.col("phase").cast(pl.String))
    as_hold = ~pl.col("phase").is_in(["defrost", "off", WHOLE])
    units = cut.with_columns(
        container=part,
        regime=pl.when(as_hold).then(pl.lit("hold")).otherwise(pl.col("regime").cast(pl.String)),
        shared=pl.lit(False),
    ).drop("phase", "run")
    kept = (
        defrosts.join(
            chosen.filter(pl.col("phase") == "defrost").select("container", "start"),
            on=["container", "start"],
        )
        .with_columns(container=pl.concat_str("container", pl.lit(f"{apart}defrost")))
        .sort("container", "start")
    )
    coarse = cut.filter(pl.col("phase") == "defrost").group_by("container").agg(seen=pl.len())
    missed = (pl.col("measure") == "defrost_termination") & (pl.col("seen") < FEWEST_IN_DEFROST)
    own = [name for name in MEASURES if name not in {measure.name for measure in OWN_MEASURES}]
    least = {name: MEASURES[name].minimum for name in own}
    named = pl.col("container").str.split_exact(apart, 1)
    minimum = pl.col("measure").replace_strict(least, return_dtype=pl.Int64)
    reason = pl.col("reason")
    return (
        unit_features(units, kept, most_needed=MOST_NEEDED)
        .filter(pl.col("feature").is_in(own))
        .select(
            container=named.struct.field("field_0"),
            phase=named.struct.field("field_1"),
            measure="feature",
            value="value",
            samples="samples",
            reason="reason",
        )
        .with_columns(
            reason=pl.when(reason.str.contains("readings in:", literal=True))
            .then(_too_few(minimum))
            .when(reason.str.starts_with("the readings in"))
            .then(pl.lit("the readings of this phase do not give it"))
            .otherwise(reason)
        )
        .join(coarse, on="container", how="left", maintain_order="left")
        .with_columns(
            value=pl.when(~missed.fill_null(False)).then("value"),
            reason=pl.when(missed.fill_null(False))
            .then(
                pl.format(
                    "the log is too coarse: {} readings in the defrost, at least {} are needed",
                    "seen",
                    pl.lit(FEWEST_IN_DEFROST),
                )
            )
            .otherwise("reason"),
        )
        .drop("seen")
    )


def _timed(timeline: pl.DataFrame, chosen: pl.DataFrame) -> pl.DataFrame:
    """How long the air took to its set point, and how fast it went."""
    unit = "container"
    arrivals = (
        timeline.lazy()
        .filter(pl.col("in_band") & pl.col("powered") & ~pl.col("defrost"))
        .select(unit, "time", arrived="time", arrived_at="set_point")
        .sort("time")
    )
    ways = (
        chosen.lazy()
        .with_columns(pl.col("phase").cast(pl.String))
        .filter(pl.col("phase").is_in(TIMED))
        .join_asof(
            arrivals,
            left_on="start",
            right_on="time",
            by=unit,
            strategy="forward",
            check_sortedness=False,
        )
        # Arriving is the reading at which the phase ends; a later one belongs to another set point.
        .with_columns(
            there=(
                (pl.col("arrived") <= pl.col("end"))
                & ((pl.col("arrived_at") - pl.col("set_point")).abs() <= SET_POINT_STEP)
            ).fill_null(False)
        )
        .with_columns(until=pl.when("there").then("arrived").otherwise("end"))
        .collect()
    )
    span = timeline.lazy().select(unit, "time", "controlling_air").drop_nulls()
    inside = (
        ways.lazy()
        .select(unit, "phase", "start", "until", "there")
        .join(span, on=unit)
        .filter(pl.col("time").is_between("start", "until"))
        .sort(unit, "phase", "time")
        .group_by(unit, "phase", maintain_order=True)
        .agg(
            start=pl.col("start").first(),
            until=pl.col("until").first(),
            there=pl.col("there").first(),
            samples=pl.len().cast(pl.Int64),
            change=pl.col("controlling_air").last() - pl.col("controlling_air").first(),
            above=pl.col("time").filter(pl.col("controlling_air") > 0).max(),
        )
        .collect()
    )
    minutes = (pl.col("until") - pl.col("start")).dt.total_seconds() / 60
    cold = (pl.col("until") - pl.coalesce("above", "start")).dt.total_seconds() / 60
    return (
        inside.select(
            unit,
            "phase",
            "samples",
            open=~pl.col("there"),
            minutes=minutes,
            minutes_from_freezing=cold,
            rate=pl.when((minutes > 0) & (pl.col("change").abs() >= LEAST_WAY)).then(
                60 * pl.col("change").abs() / minutes
            ),
        )
        .unpivot(index=[unit, "phase", "samples", "open"], variable_name="measure", value_name="value")
        .with_columns(
            open=pl.col("open") & (pl.col("measure") != "rate"),
            reason=pl.when(pl.col("value").is_null()).then(
                pl.lit(f"the air had less than {LEAST_WAY:g} K to go")
            ),
        )
    )
