"""Whether it was the air or the probe: evidence weighed as odds.

Each piece of evidence multiplies the odds that the probe erred. The factors are judgement (common practice,
no source); what each rests on is physics that needs no model: air cannot jump, cannot be warmer than all that
could warm it, nor colder than the coil that cools it; a box without cooling warms; what one air probe and the
cargo see, the other air probe sees too. What the controller did, and the power that it drew, says nothing: it
obeys the same probe, right or wrong.
"""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from coldsift.regimes.bands import is_frozen
from coldsift.regimes.numbered import IN_MEMORY

PRIOR = 0.1
"""Chance that the probe erred, before any evidence. Judgement."""

LEAST_DOUBT, MOST_DOUBT = 0.01, 0.95
"""A log alone never settles it."""

SUDDEN_STEP = 6.0
"""Air cannot change faster than this from one reading to the next within half an hour. [K]"""

FLAT_READINGS = 12
"""A reading that stood unchanged over more than this many is not air."""

MOST = 0.7
"""Share of an excursion's readings that must show a piece of evidence."""

LARGEST_SPLIT = 1.5
"""Air probes further apart than this many times what they were inside the band, 95 in 100 readings of it, do
not tell of the same air. Judgement."""

FAN_HEAT = 4.0
"""Supply air above the return air by more than this has been heated. [K] Judgement."""

BELOW_COIL = 3.0
"""Air below the coil that cools it by more than this cannot be. [K] Judgement."""

ABOVE_AMBIENT = 10.0
"""Air above the ambient by more than this has been heated. [K] Judgement."""

LONG_AREA = 24.0
"""An excursion of less area leaves most cargo as it was. [K h] Judgement."""

FOLLOWED, UNMOVED = 0.5, 0.2
"""Cargo probes that moved by so much towards the air, or by no more than that. [K] Judgement."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """One piece of evidence.

    Attributes
    ----------
    words
        What was seen.
    factor
        On the odds that the probe erred; above 1 speaks for that, below 1 for the air.
    seen
        Whether the excursion shows it: made of :func:`gathered`.
    """

    words: str
    factor: float
    seen: pl.Expr


def _most(trace: str) -> pl.Expr:
    return pl.col(trace).fill_null(0.0) > MOST


EVIDENCE: tuple[Evidence, ...] = (
    Evidence(
        "the reading jumped faster than air can change",
        7.0,
        pl.col("steepest").fill_null(0.0) > 2 * SUDDEN_STEP,
    ),
    Evidence("the other air sensor stayed where it was", 4.0, _most("other_stayed")),
    Evidence("the reading stood unchanged", 8.0, pl.col("stood")),
    Evidence("the supply air stood above the return air with nothing heating it", 5.0, _most("heated_air")),
    Evidence("the air was colder than the coil that cooled it", 5.0, _most("below_coil")),
    Evidence(
        "the air was far warmer than the ambient air with nothing heating it",
        3.0,
        _most("above_ambient") & pl.col("from_inside"),
    ),
    Evidence(
        "it got colder than the ambient air though the compressor stood",
        4.0,
        (pl.col("side") < 0)
        & (pl.col("below_ambient_uncooled").fill_null(0.0) == 1)
        & (pl.col("before_air") - pl.col("lowest") > 1.0),
    ),
    Evidence(
        "the cargo probes did not move",
        2.0,
        (pl.col("degree_hours") >= LONG_AREA) & (pl.col("cargo_range") <= UNMOVED),
    ),
    Evidence("the other air sensor went with it", 0.3, _most("other_followed")),
    Evidence("the coil warmed with it", 0.4, (pl.col("side") > 0) & _most("coil_warmed")),
    Evidence("the unit had no power and the air went towards the ambient", 0.25, _most("unpowered")),
    Evidence("nothing cooled it and the ambient air was warmer", 0.5, (pl.col("side") > 0) & _most("idle")),
    Evidence("the cargo probes followed", 0.25, pl.col("cargo_moved") >= FOLLOWED),
)
"""All that is weighed, what speaks for the probe's error first."""


def usual_stand(readings: pl.DataFrame) -> pl.DataFrame:
    """Where each unit's sensors stand while the air is inside its band: one row a unit.

    Parameters
    ----------
    readings
        From :func:`coldsift.excursions.readings.read_air`.

    Returns
    -------
    polars.DataFrame
        ``container``, medians above the set point (``usual_air``, ``usual_other``, ``usual_coil``) and
        ``usual_split``, below which 95 in 100 distances between the air probes lie. [K]
    """
    set_point = pl.col("set_point")
    return (
        readings.lazy()
        .filter(pl.col("side") == 0, ~pl.col("apart"), "powered")
        .group_by("container")
        .agg(
            usual_air=(pl.col("air") - set_point).median(),
            usual_other=(_other() - set_point).median(),
            usual_coil=(pl.col("evaporator_temperature") - set_point).median(),
            usual_split=(pl.col("air") - _other()).abs().quantile(0.95),
        )
        .collect(engine=IN_MEMORY)
    )


def _on_return() -> pl.Expr:
    return is_frozen() & pl.col("return_air").is_not_null()


def _other() -> pl.Expr:
    """The air probe that does not control. [°C]"""
    by_supply = pl.col("supply_air").is_not_null()
    return pl.when(_on_return()).then("supply_air").when(by_supply).then("return_air")


def with_traces(outside: pl.DataFrame, usual: pl.DataFrame) -> pl.DataFrame:
    """Add to readings outside the band what the evidence is made of.

    Parameters
    ----------
    outside
        Rows of :func:`coldsift.excursions.readings.read_air`.
    usual
        From :func:`usual_stand`.

    Returns
    -------
    polars.DataFrame
        The readings with one Boolean column a trace (null where the log does not tell), and ``cargo``, the
        mean of the cargo probes [°C].
    """
    air, set_point, side = pl.col("air"), pl.col("set_point"), pl.col("side")
    ambient, coil = pl.col("ambient_air"), pl.col("evaporator_temperature")
    cooled = pl.col("running")
    unheated = is_frozen() | ~pl.col("heater_state")

    def moved(what: pl.Expr, stand: str) -> pl.Expr:
        """Beyond where it usually stands to the set point, towards the side."""
        return (what - set_point - pl.col(stand)) * side

    moved_air, moved_other = moved(air, "usual_air"), moved(_other(), "usual_other")
    split = (air - _other()).abs()
    return outside.join(usual, on="container", how="left", maintain_order="left").with_columns(
        other_stayed=(moved_other.abs() < 0.25 * (air - set_point).abs())
        & (split > LARGEST_SPLIT * pl.col("usual_split")),
        other_followed=moved_other > 0.5 * moved_air,
        coil_warmed=moved(coil, "usual_coil") > 0.5 * moved_air,
        heated_air=(side > 0)
        & ~_on_return()
        & unheated
        & (pl.col("supply_air") - pl.col("return_air") > FAN_HEAT),
        below_coil=(side < 0) & cooled & unheated & (coil - air > BELOW_COIL),
        above_ambient=(side > 0) & unheated & (air - ambient > ABOVE_AMBIENT),
        below_ambient_uncooled=~cooled & (ambient - air > BELOW_COIL),
        unpowered=~pl.col("powered") & ((ambient - air) * side > 0).fill_null(side > 0),
        idle=pl.col("powered") & ~cooled & (ambient > air),
        cargo=pl.mean_horizontal(f"cargo_probe_{number}" for number in range(1, 5)),
    )


def gathered() -> dict[str, pl.Expr]:
    """What an excursion's readings show together: aggregations of :func:`with_traces`.

    ``speed`` of each reading against the one before is needed besides. [K/h]
    """
    cargo, side = pl.col("cargo"), pl.col("side").first()
    shares = (
        *("other_stayed", "other_followed", "coil_warmed", "heated_air", "below_coil", "above_ambient"),
        *("below_ambient_uncooled", "unpowered", "idle"),
    )
    return {
        "steepest": pl.col("speed").max(),
        "stood": (pl.col("air").n_unique() == 1) & (pl.len() > FLAT_READINGS),
        "cargo_moved": pl.when(side > 0)
        .then(cargo.max() - cargo.drop_nulls().first())
        .otherwise(cargo.drop_nulls().first() - cargo.min()),
        "cargo_range": cargo.max() - cargo.min(),
        **{trace: pl.col(trace).mean() for trace in shares},
    }


def sensor_doubt() -> dict[str, pl.Expr]:
    """``sensor_doubt``, 0 air and 1 probe, and ``sensor_doubt_why`` in words, of gathered traces."""
    odds = pl.lit(PRIOR / (1 - PRIOR))
    for evidence in EVIDENCE:
        odds = odds * pl.when(evidence.seen.fill_null(False)).then(evidence.factor).otherwise(1.0)
    against_probe = named({one.words: one.seen for one in EVIDENCE if one.factor > 1})
    for_air = named({one.words: one.seen for one in EVIDENCE if one.factor < 1})
    return {
        "sensor_doubt": (odds / (1 + odds)).clip(LEAST_DOUBT, MOST_DOUBT),
        "sensor_doubt_why": pl.when(against_probe == "")
        .then(pl.lit("nothing speaks against the probe"))
        .otherwise(against_probe)
        + pl.when(for_air == "").then(pl.lit("")).otherwise(pl.lit("; for the air: ") + for_air),
    }


def named(conditions: dict[str, pl.Expr]) -> pl.Expr:
    """Words of the conditions that hold, joined."""
    return (
        pl.concat_list(
            pl.when(condition.fill_null(False)).then(pl.lit(words)) for words, condition in conditions.items()
        )
        .list.drop_nulls()
        .list.join(", ")
    )
