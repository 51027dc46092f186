"""From oddness and time left to an order with reasons."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from coldsift.causes import HEALTHY, NAMED_CAUSES, WORTH_NAMING
from coldsift.container_numbers import is_valid
from coldsift.peers import Comparison
from coldsift.peers.groups import LEVELS, SMALLEST_GROUP
from coldsift.peers.words import rounded
from coldsift.ranking.thresholds import Thresholds
from coldsift.schema import FINDINGS, GROUPS, REASONS, SET_POINTS
from coldsift.set_points import wrong_now

SOON_HOURS = 24.0
"""A limit nearer than this cannot wait for the next round: common practice, no source. [h]

Not chosen by cost like the thresholds: neither the simulator nor work notes say at what hour a cargo was
lost, so that there is nothing to weigh the hours by.
"""

NO_LIMIT_SOONNESS = 0.25
"""Weight of time for a unit that approaches no limit, against 1 for one that is outside now."""

LEAST_LOG_HOURS = 12.0
LEAST_COVERAGE = 0.05
"""A shorter log, or one with less of the voyage, does not allow a judgement."""

MOST_REASONS = 6

LONG_EXCURSION_HOURS = 4.0
"""A shorter time out of the band is told after what is odd. [h]"""


@dataclass(frozen=True, slots=True)
class Ranking:
    """Findings, and the reasons behind each.

    Attributes
    ----------
    findings
        :data:`coldsift.schema.FINDINGS`, by rank.
    reasons
        :data:`coldsift.schema.REASONS`: the sentences of each container, strongest first.
    """

    findings: pl.DataFrame
    reasons: pl.DataFrame


def rank(
    comparison: Comparison,
    traits: pl.DataFrame,
    limits: pl.DataFrame,
    excursions: pl.DataFrame,
    causes: pl.DataFrame,
    checks: pl.DataFrame,
    thresholds: Thresholds,
    set_points: pl.DataFrame | None = None,
) -> Ranking:
    """Rank the units.

    Parameters
    ----------
    comparison
        From :func:`coldsift.peers.compare`.
    traits
        From :func:`coldsift.regimes.unit_traits`.
    limits
        From :func:`coldsift.ranking.hours_to_limit`.
    excursions
        From :func:`coldsift.excursions.find_excursions`.
    causes
        :data:`coldsift.schema.CAUSES`, from :func:`coldsift.causes.judge`.
    checks
        Best next check of each unit, from :func:`coldsift.causes.first_checks`.
    thresholds
        Chances of a fault from which a unit belongs to a group.
    set_points
        :data:`coldsift.schema.SET_POINTS`, from :func:`coldsift.set_points.compare_set_points`. A set point
        that is not the ordered one is to be seen now, however good the unit looks; one that was corrected
        late is to be watched at least.

    Returns
    -------
    Ranking
        Order within a group: chance of a fault × soonness of the limit × value at risk, then oddness, then
        container number.
    """
    unit = "container"
    missing = (
        pl.when(~pl.col("has_air"))
        .then(pl.lit("no supply or return air logged"))
        .when(~pl.col("has_set_point"))
        .then(pl.lit("no set point logged"))
        .when(pl.col("log_hours") < LEAST_LOG_HOURS)
        .then(
            pl.format(
                "the log holds {} h, at least {} h needed", rounded(pl.col("log_hours"), 1), LEAST_LOG_HOURS
            )
        )
        .when(pl.col("coverage") < LEAST_COVERAGE)
        .then(pl.format("the log covers {} % of the voyage", rounded(pl.col("coverage") * 100, 1)))
    )
    soonness = (1 / (1 + pl.col("hours_to_limit") / SOON_HOURS)).fill_null(NO_LIMIT_SOONNESS)
    outside = pl.col("hours_to_limit") == 0
    soon = pl.col("hours_to_limit") <= SOON_HOURS
    worth_a_look = pl.col("chance_of_fault") >= thresholds.this_round
    group = (
        pl.when(pl.col("cannot_tell").is_not_null())
        .then(pl.lit("cannot_tell"))
        .when(pl.col("wrong_order") | (worth_a_look & soon.fill_null(False)))
        .then(pl.lit("go_now"))
        .when(worth_a_look | outside.fill_null(False))
        .then(pl.lit("this_round"))
        .when((pl.col("chance_of_fault") >= thresholds.watch) | pl.col("order_words").is_not_null())
        .then(pl.lit("watch"))
        .otherwise(pl.lit("nothing_found"))
        .cast(pl.Enum(GROUPS))
    )
    units = (
        traits.join(
            comparison.oddness.select(unit, "oddness", compared_with=_compared_with()), on=unit, how="left"
        )
        .join(limits.drop("set_point"), on=unit, how="left")
        .join(_likeliest(causes), on=unit, how="left")
        .join(checks.select(unit, first_check="question"), on=unit, how="left")
        .join(_excursion_sentences(excursions), on=unit, how="left")
        .join(_orders(SET_POINTS.empty() if set_points is None else set_points), on=unit, how="left")
        .with_columns(pl.col("wrong_order").fill_null(False), cannot_tell=missing, value_at_risk=pl.lit(1.0))
        .with_columns(group=group, urgency=pl.col("chance_of_fault") * soonness * pl.col("value_at_risk"))
        .sort("group", "urgency", "oddness", unit, descending=[False, True, True, False], nulls_last=True)
        .with_row_index("rank", offset=1)
        .with_columns(
            pl.col("rank").cast(pl.Int64),
            number_valid=pl.col(unit).map_elements(is_valid, return_dtype=pl.Boolean),
            first_check=pl.when(pl.col("group") != "nothing_found").then("first_check"),
        )
    )
    reasons = _reasons(units, comparison.contributions)
    why = reasons.group_by(unit, maintain_order=True).agg(why=pl.col("words").str.join(". "))
    named = tuple(f"{what}_{place}" for what in ("cause", "chance") for place in range(1, NAMED_CAUSES + 1))
    judged = ("oddness", "chance_of_fault", "hours_to_limit", *named)
    units = units.join(why, on=unit, how="left", maintain_order="left").with_columns(
        pl.col("why").fill_null(""),
        *(pl.when(pl.col("cannot_tell").is_null()).then(name).alias(name) for name in judged),
    )
    return Ranking(FINDINGS.conform(units), reasons)


def _likeliest(causes: pl.DataFrame) -> pl.DataFrame:
    """Chance of a fault of any kind, and the likeliest causes of each unit."""
    hypotheses = causes.unique(["container", "cause"], keep="first", maintain_order=True)
    faults = hypotheses.filter(pl.col("cause") != HEALTHY)
    named = faults.filter(pl.col("cause_chance") >= WORTH_NAMING)
    return (
        faults.group_by("container", maintain_order=True)
        .agg(chance_of_fault=pl.col("cause_chance").sum().clip(0.0, 1.0))
        .join(
            named.group_by("container", maintain_order=True).agg(
                pl.col(column).get(place, null_on_oob=True).alias(f"{word}_{place + 1}")
                for place in range(NAMED_CAUSES)
                for column, word in (("cause", "cause"), ("cause_chance", "chance"))
            ),
            on="container",
            how="left",
        )
    )


def _compared_with() -> pl.Expr:
    """For example: 13 units: chilled; fewer than 8 are more alike."""
    wider = (
        pl.when(pl.col("level") == LEVELS[0])
        .then(pl.lit(""))
        .otherwise(pl.lit(f"; fewer than {SMALLEST_GROUP} are more alike"))
    )
    group = pl.col("peer_group").str.replace_all("_", " ")
    return pl.format("{} other units: {}{}", "peers", group, wider)


def _reasons(units: pl.DataFrame, contributions: pl.DataFrame) -> pl.DataFrame:
    """What the log lacks, another set point than ordered, the state at the end, then what is odd."""
    unit = "container"
    now = pl.when(pl.col("hours_to_limit") == 0).then(
        pl.format(
            "At the end of the log the {} is at {} °C, {} K outside its band (set point {} °C)",
            "air_name",
            rounded(pl.col("air"), 1),
            rounded(pl.col("beyond"), 1),
            rounded(pl.col("set_point"), 1),
        )
    )
    soon = pl.when((pl.col("hours_to_limit") > 0) & (pl.col("hours_to_limit") <= 10 * SOON_HOURS)).then(
        pl.format(
            "At its present trend the {} leaves its band in about {} h",
            "air_name",
            rounded(pl.col("hours_to_limit"), 0),
        )
    )
    pulling = pl.when("pulling_down").then(
        pl.format(
            "Still in its first pull-down: {} at {} °C, set point {} °C",
            "air_name",
            rounded(pl.col("air"), 1),
            rounded(pl.col("set_point"), 1),
        )
    )
    # Once said that the air is outside now, for how long is told after what may be the matter.
    leads = (pl.col("excursion_hours") >= LONG_EXCURSION_HOURS) & (pl.col("hours_to_limit").fill_null(1) > 0)
    odd = contributions.sort("symptom", maintain_order=True).group_by(unit, maintain_order=True)
    turns = (
        ("missing", units.select(unit, words="cannot_tell")),
        ("order", units.select(unit, words="order_words")),
        ("state", units.select(unit, words=now)),
        ("trend", units.select(unit, words=soon)),
        ("pull_down", units.select(unit, words=pulling)),
        ("excursion", units.select(unit, words=pl.when(leads).then("excursion_words"))),
        ("feature", odd.head(MOST_REASONS).select(unit, "words", "feature")),
        ("excursion", units.select(unit, words=pl.when(~leads).then("excursion_words"))),
    )
    told = [
        frame.with_columns(kind=pl.lit(kind), turn=pl.lit(turn)) for turn, (kind, frame) in enumerate(turns)
    ]
    return REASONS.conform(
        pl.concat(told, how="diagonal")
        .drop_nulls("words")
        .sort(unit, "turn", maintain_order=True)
        .with_columns(place=pl.col("words").cum_count().over(unit))
    )


def _orders(set_points: pl.DataFrame) -> pl.DataFrame:
    """``order_words`` of units set to something else than ordered; ``wrong_order`` where they are so now."""
    wrong = wrong_now(set_points).select("container", order_words="words", wrong_order=pl.lit(True))
    late = (
        set_points.filter(pl.col("kind") == "corrected_late")
        .join(wrong, on="container", how="anti")
        .sort("container", "hours", "start", descending=[False, True, False])
        .unique("container", keep="first", maintain_order=True)
        .select("container", order_words="words", wrong_order=pl.lit(False))
    )
    return pl.concat([wrong, late])


def _excursion_sentences(excursions: pl.DataFrame) -> pl.DataFrame:
    furthest = (pl.col("peak") - pl.col("band_edge")).abs().arg_max()
    return (
        # What the whole ship went through is told once, as an event of the voyage.
        excursions.filter(pl.col("kind") == "excursion", ~pl.col("along_with").str.contains("whole ship"))
        .group_by("container", maintain_order=True)
        .agg(
            pl.len(),
            hours=pl.col("hours").sum(),
            peak=pl.col("peak").get(furthest),
            edge=pl.col("band_edge").get(furthest),
            along=pl.col("along_with").get(furthest),
        )
        .select(
            "container",
            excursion_hours="hours",
            excursion_words=pl.format(
                "Out of its band for {} h in {} (furthest {} °C, edge {} °C{})",
                rounded(pl.col("hours"), 1),
                pl.when(pl.col("len") == 1)
                .then(pl.lit("one stretch"))
                .otherwise(pl.format("{} stretches", "len")),
                rounded(pl.col("peak"), 1),
                rounded(pl.col("edge"), 1),
                pl.when(pl.col("along") != "").then(pl.format("; with {}", "along")).otherwise(pl.lit("")),
            ),
        )
    )
