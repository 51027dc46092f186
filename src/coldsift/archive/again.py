"""What came again: the same unit, the same trouble after a repair, the same drift, over several voyages."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import polars as pl

from coldsift.archive.catalogue import opened
from coldsift.archive.kept import readable
from coldsift.causes import HEALTHY, NAMES, Catalogue, load_catalogue
from coldsift.causes.catalogue import as_noted
from coldsift.features import FEATURES
from coldsift.schema import TIME, Column, Table

ODD = ("go_now", "this_round", "watch")
"""Groups of units that stood out."""

DRIFTING = {
    "split": "Split",
    "warm_up_tau": "Warm-up time without power",
    "defrost_interval": "Time between defrosts",
}
"""Features whose drift is looked for. A warm-up that grows shorter is a box that lets in more heat; defrosts
that come closer together are a coil that needs them more often."""

NAMED_VOYAGES = 5
"""So many voyages are named in a sentence, the last ones."""

LEAST_VOYAGES = 3
STEADY = 0.8
"""Share of the pairs of voyages that must show a drift in the same direction. Of three voyages that is all of
them. Judgement, no source."""

_YEAR = 365.25 * 86400

AGAIN = Table(
    "again",
    "Units that were odd on more than one voyage.",
    (
        Column("container", pl.String(), "", "Container number", False),
        Column("voyages", pl.Int64(), "", "Voyages on which it could be judged", False),
        Column("odd", pl.Int64(), "", "Of these, how many it was odd on", False),
        Column("same", pl.Int64(), "", "Of these, how many with the cause that led most often", False),
        Column("words", pl.String(), "", "The same as a sentence, voyage by voyage", False),
    ),
    key=("container",),
)

CAME_BACK = Table(
    "came_back",
    "Causes that were found again on a later voyage than the one of their repair.",
    (
        Column("container", pl.String(), "", "Container number", False),
        Column("cause", pl.String(), "", "Cause id", False),
        Column("repaired", TIME, "UTC", "When it was repaired", False),
        Column("repaired_on", pl.String(), "", "Id of that voyage", False),
        Column("action", pl.String(), "", "What was done, as noted"),
        Column("part", pl.String(), "", "Part used, as noted"),
        Column("verdict", pl.String(), "", "What the log showed of the repair then"),
        Column("back_on", pl.String(), "", "Id of the first later voyage with the same cause first", False),
        Column("chance", pl.Float64(), "", "Its chance there, 0 to 1"),
        Column("times", pl.Int64(), "", "Later voyages with it", False),
        Column("words", pl.String(), "", "The same as a sentence", False),
    ),
)

DRIFT = Table(
    "drift",
    "Units of which a number moved from voyage to voyage otherwise than that of like units.",
    (
        Column("container", pl.String(), "", "Container number", False),
        Column("feature", pl.String(), "", "Feature id", False),
        Column("unit", pl.String(), "", "Its unit", False),
        Column("voyages", pl.Int64(), "", "Voyages with a value", False),
        Column("first", pl.Float64(), "see unit", "Value on the first of them", False),
        Column("last", pl.Float64(), "see unit", "Value on the last", False),
        Column("years", pl.Float64(), "a", "From the begin of the first to that of the last", False),
        Column("change", pl.Float64(), "see unit", "Theil–Sen slope times these years", False),
        Column(
            "others_change",
            pl.Float64(),
            "see unit",
            "The same of the like units' median on the same voyages; empty when there were none on too many",
        ),
        Column(
            "own_change",
            pl.Float64(),
            "see unit",
            "The same of the difference to that median; without one, of the value itself",
            False,
        ),
        Column("steady", pl.Float64(), "", "Share of the pairs of voyages that show it", False),
        Column("words", pl.String(), "", "The same as a sentence", False),
    ),
    key=("container", "feature"),
)


@dataclass(frozen=True, slots=True)
class Again:
    """What came again: :data:`AGAIN`, :data:`CAME_BACK`, :data:`DRIFT`.

    Beside it stands over how many voyages, and how many of them are simulated.
    """

    voyages: int
    invented: int
    odd: pl.DataFrame
    came_back: pl.DataFrame
    drift: pl.DataFrame


def again(archive: Path) -> Again:
    """Look over all voyages of an archive for what came again.

    Parameters
    ----------
    archive
        Folder of the archive.

    Raises
    ------
    ArchiveError
        When there is no archive, or it cannot be read.
    """
    import duckdb
    import pyarrow as pa

    with opened(archive) as connection, readable(archive, duckdb.Error, pa.ArrowException):

        def read(text: str) -> pl.DataFrame:
            return pl.DataFrame(pl.from_arrow(connection.sql(text).to_arrow_table()))

        voyages = read("SELECT voyage, name, begin, invented FROM voyages")
        findings = read('SELECT voyage, container, "group", cause_1, chance_1 FROM findings')
        repairs = read("SELECT voyage, container, time, action, part, verdict FROM repairs")
        features = read(
            "SELECT voyage, container, feature, value, peer_median FROM features WHERE value IS NOT NULL AND "
            f"feature IN ({', '.join(map(repr, DRIFTING))})"
        )
    catalogue = load_catalogue()
    findings = findings.join(voyages, on="voyage").sort("container", "begin", "voyage")
    return Again(
        voyages.height,
        voyages.filter("invented").height,
        _odd_again(findings, catalogue),
        _came_back(findings, repairs, catalogue),
        _drift(features.join(voyages, on="voyage").sort("container", "feature", "begin", "voyage")),
    )


def _odd_again(findings: pl.DataFrame, catalogue: Catalogue) -> pl.DataFrame:
    odd = pl.col("group").is_in(ODD)
    cause = pl.col("cause_1").replace(_cause_words(catalogue))
    one_cause = odd & pl.col("cause_1").is_in(NAMES).not_()
    on_each = pl.format(
        "{} ({})", "name", pl.concat_str(_group_words(), cause, separator=", ", ignore_nulls=True)
    )
    counted = (
        findings.filter(pl.col("group") != "cannot_tell")
        .with_columns(same=pl.when(one_cause).then(one_cause.sum().over("container", "cause_1")))
        .group_by("container")
        .agg(
            voyages=pl.len(),
            odd=odd.sum(),
            same=pl.col("same").max().fill_null(0),
            words=on_each.filter(odd).tail(NAMED_VOYAGES).str.join("; "),
        )
        .filter(pl.col("odd") > 1)
        .with_columns(
            words=pl.format(
                "Odd on {} of {} voyages{}{}: {}.",
                "odd",
                "voyages",
                pl.when(pl.col("same") == pl.col("odd"))
                .then(pl.lit(", each time with the same likeliest cause"))
                .when(pl.col("same") > 1)
                .then(pl.format(", on {} with the same likeliest cause", "same"))
                .otherwise(pl.lit("")),
                pl.when(pl.col("odd") > NAMED_VOYAGES)
                .then(pl.lit(f", the last {NAMED_VOYAGES}"))
                .otherwise(pl.lit("")),
                "words",
            )
        )
    )
    return AGAIN.conform(
        counted.sort("odd", "same", "voyages", "container", descending=[True, True, False, False])
    )


def _came_back(findings: pl.DataFrame, repairs: pl.DataFrame, catalogue: Catalogue) -> pl.DataFrame:
    """Repairs whose cause, by the part used or by what was found before, leads on a later voyage again."""
    found = findings.filter(
        pl.col("group").is_in(ODD), pl.col("cause_1").is_not_null(), ~pl.col("cause_1").is_in(NAMES)
    ).rename({"cause_1": "cause", "chance_1": "chance"})
    repairs = (
        repairs.sort("container", "time", "voyage", "action", "part")
        .rename({"voyage": "repaired_on", "time": "repaired"})
        .with_row_index("repair")
    )
    of_parts = pl.DataFrame(
        [(each.id, as_noted(name)) for each in catalogue.causes.values() for name in each.parts],
        schema={"cause": pl.String, "part": pl.String},
        orient="row",
    )
    by_part = repairs.with_columns(part=pl.col("part").map_elements(as_noted, return_dtype=pl.String)).join(
        of_parts, on="part", how="inner"
    )
    before = repairs.join(found.select("container", "cause", "begin"), on="container").filter(
        pl.col("begin") <= pl.col("repaired")
    )
    last_before = before.filter(pl.col("begin") == pl.col("begin").max().over("repair"))
    meant = pl.concat([each.select("repair", "cause") for each in (by_part, last_before)]).unique()
    later = (
        repairs.join(meant, on="repair")
        .join(
            found.select("container", "cause", "begin", "voyage", "name", "chance"), on=["container", "cause"]
        )
        .filter(pl.col("begin") > pl.col("repaired"))
        .sort("repair", "cause", "begin", "voyage")
        .group_by("repair", "cause", maintain_order=True)
        .agg(
            pl.col("container", "repaired", "repaired_on", "action", "part", "verdict").first(),
            pl.col("chance").first(),
            name=pl.col("name").first(),
            back_on=pl.col("voyage").first(),
            times=pl.len(),
        )
    )
    done = pl.concat_str("action", "part", separator=", ", ignore_nulls=True)
    words = pl.format(
        "{}: repaired {}{}, and the likeliest cause again on {}{}.",
        pl.col("cause").replace(_cause_words(catalogue)),
        pl.col("repaired").dt.strftime("%Y-%m-%d"),
        pl.when(done != "").then(pl.format(" ({})", done)).otherwise(pl.lit("")),
        "name",
        pl.when(pl.col("times") > 1)
        .then(pl.format(" and on {} more", pl.col("times") - 1))
        .otherwise(pl.lit("")),
    )
    return CAME_BACK.conform(later.with_columns(words=words).sort("repair", "cause"))


def _drift(features: pl.DataFrame) -> pl.DataFrame:
    """Theil–Sen slopes over the begins of the voyages, times the time between the first and the last.

    Source: P. K. Sen, J. Am. Stat. Assoc. 63 (1968), 1379–1389, as the manual of scipy cites it.
    """
    key = ["container", "feature"]
    compared = pl.col("peer_median").count().over(key) >= LEAST_VOYAGES
    values = features.with_columns(
        pl.when(compared).then("peer_median").alias("others"),
        years=pl.col("begin").dt.epoch("us") / 1e6 / _YEAR,
    ).with_columns(own=pl.when(compared).then(pl.col("value") - pl.col("others")).otherwise("value"))
    ends = values.group_by(key).agg(
        voyages=pl.len(),
        first=pl.col("value").first(),
        last=pl.col("value").last(),
        span=pl.col("years").max() - pl.col("years").min(),
    )
    slopes = (
        values.join(values, on=key, suffix="_then")
        .filter(pl.col("years") > pl.col("years_then"))
        .with_columns(
            (pl.col(name) - pl.col(f"{name}_then")) / (pl.col("years") - pl.col("years_then"))
            for name in ("value", "others", "own")
        )
        .group_by(key)
        .agg(
            pl.col("value", "others", "own").median(),
            steady=pl.max_horizontal((pl.col("own") > 0).sum(), (pl.col("own") < 0).sum())
            / pl.col("own").count(),
        )
    )
    told = pl.DataFrame(
        [
            (name, words, FEATURES[name].unit, FEATURES[name].scale, FEATURES[name].worry.value)
            for name, words in DRIFTING.items()
        ],
        schema=["feature", "called", "unit", "least", "worry"],
        orient="row",
    )
    change = pl.col("own") * pl.col("span")
    worrying = (
        pl.when(pl.col("worry") == "low").then(change < 0).when(pl.col("worry") == "high").then(change > 0)
    ).otherwise(True)
    drifting = (
        slopes.join(ends, on=key)
        .join(told, on="feature")
        .filter(
            pl.col("voyages") >= LEAST_VOYAGES,
            change.abs() >= pl.col("least"),
            pl.col("steady") >= STEADY,
            worrying,
        )
        .with_columns(
            years=pl.col("span"),
            change=pl.col("value") * pl.col("span"),
            others_change=pl.col("others") * pl.col("span"),
            own_change=change,
            sure=change.abs() / pl.col("least"),
        )
    )
    words = pl.format(
        "{} {} over {} voyages in {} days{}.",
        "called",
        _moved("change"),
        "voyages",
        (pl.col("years") * 365.25).round().cast(pl.Int64),
        pl.when(pl.col("others_change").is_null())
        .then(pl.lit("; there were no like units to compare with"))
        .otherwise(pl.format("; that of like units on the same voyages {}", _moved("others_change"))),
    )
    return DRIFT.conform(
        drifting.with_columns(words=words).sort(
            "sure", "container", "feature", descending=[True, False, False]
        )
    )


def _group_words() -> pl.Expr:
    return pl.col("group").str.replace_all("_", " ", literal=True)


def _moved(change: str) -> pl.Expr:
    size = pl.col(change).abs().round(1)
    way = pl.when(pl.col(change) < 0).then(pl.lit("fell")).otherwise(pl.lit("rose"))
    return pl.when(size > 0).then(pl.format("{} by {} {}", way, size, "unit")).otherwise(pl.lit("stayed"))


def _cause_words(catalogue: Catalogue) -> dict[str, str | None]:
    """What is said of each: of an odd unit not that nothing is wrong."""
    told = {name: catalogue.name(name).lower() for name in (*NAMES, *catalogue.causes)}
    return {**told, HEALTHY: None}
