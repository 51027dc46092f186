"""The verdict as a sentence with its numbers."""

from __future__ import annotations

import polars as pl

from coldsift.peers.words import rounded

VERDICTS = {"recovered": "recovered", "better": "better", "unchanged": "unchanged", "worse": "worse"}


def sentences() -> pl.Expr:
    """For example: Superheat 21.4 K before, 7.1 K in the 60 h after; 14 peers 5.8 to 8.9 K: recovered."""
    of_trouble = pl.format("{} {} before", "feature_words", _value("before"))
    peers = (
        pl.when(pl.col("after_peers") > 0)
        .then(pl.format("{} peers {}", "after_peers", _range()))
        .otherwise(pl.format("{} expected", _range()))
    )
    good = pl.when(pl.col("good").is_not_null()).then(
        pl.format(", its own before the trouble {}", _value("good"))
    )
    judged = pl.format(
        "{}, {} in the {} h after; {}{}: {}.",
        of_trouble,
        _value("after"),
        rounded(pl.col("hours_after"), 0),
        peers,
        good.fill_null(""),
        "verdict",
    )
    said = {
        "no_log": pl.lit("There is no log of this container."),
        "no_before": pl.format(
            "The log shows {} h of steady running right before it: nothing to compare with.",
            rounded(pl.col("before_hours"), 0),
        ),
        "set_point": pl.format(
            "The set point was {} °C before and {} °C after: the two do not compare.",
            rounded(pl.col("before_set_point"), 1),
            rounded(pl.col("after_set_point"), 1),
        ),
        "nothing_odd": pl.lit(
            "Nothing stood out against its peers right before it: the log cannot tell what it changed."
        ),
        "too_early": pl.format(
            "{}; {} h of steady running since: too early to judge.",
            of_trouble,
            rounded(pl.col("after_hours"), 0),
        ),
        "not_logged": pl.format("{}; the log after it does not show it.", of_trouble),
    }
    return pl.coalesce(
        *(pl.when(pl.col("reason") == reason).then(words) for reason, words in said.items()), judged
    )


def _value(column: str) -> pl.Expr:
    return pl.format("{} {}", _number(column), _unit()).str.strip_chars_end()


def _range() -> pl.Expr:
    return pl.format(
        "{} to {} {}", _number("after_low"), _number("after_high"), _unit()
    ).str.strip_chars_end()


def _unit() -> pl.Expr:
    return pl.when(pl.col("feature_unit") == "").then(pl.lit("%")).otherwise("feature_unit")


def _number(column: str) -> pl.Expr:
    """As many digits as tell: none from 100 on, two where all numbers are small, else one."""
    factor = pl.when(pl.col("feature_unit") == "").then(100.0).otherwise(1.0)
    size = pl.max_horizontal(pl.col("before", "after", "after_low", "after_high").abs()) * factor
    value = pl.col(column) * factor
    return (
        pl.when(size >= 100)
        .then(rounded(value, 0))
        .when(size < 2)
        .then(rounded(value, 2))
        .otherwise(rounded(value, 1))
    )
