"""What each sheet of the workbook holds: its rows, and its columns with heading, unit and meaning."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import Enum, auto

import polars as pl

from coldsift import schema
from coldsift.causes import Catalogue
from coldsift.engine.naming import named_hypotheses, probable
from coldsift.engine.screening import Screening
from coldsift.report.cause_views import RISKS
from coldsift.report.unit_views import EXCURSION_KINDS
from coldsift.report.views import EVENT_KINDS, GROUPS, NO_REASON

GROUP_CELLS = {group.key: f"{group.mark} {group.word}" for group in GROUPS}
"""What a cell says of a group."""


class Shown(Enum):
    """How the values of a column are shown."""

    TEXT = auto()
    WRAPPED = auto()
    COUNT = auto()
    TENTHS = auto()
    SHARE = auto()
    CHANCE = auto()
    TIME = auto()


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a sheet.

    Attributes
    ----------
    name
        Of the column in the sheet's frame.
    heading
        In few words, without unit.
    shown, width
        How its values are shown, and how many characters wide.
    meaning, unit
        The schema's where they are empty.
    """

    name: str
    heading: str
    shown: Shown
    width: int
    meaning: str = ""
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet.

    Attributes
    ----------
    name
        On its tab.
    table
        The table it is made from, whose Parquet file holds every row of it.
    about
        What its rows are.
    columns
        From left to right.
    frame
        Rows of a screening; whatever columns it has beyond those of the sheet are not shown.
    kept_in_view
        Columns that stay when the sheet is moved sideways.
    printed
        Columns that are printed, from the left; None for all.
    """

    name: str
    table: schema.Table
    about: str
    columns: tuple[Column, ...]
    frame: Callable[[Screening, Catalogue], pl.DataFrame]
    kept_in_view: int = 1
    printed: int | None = None

    def unit(self, column: Column) -> str:
        """Unit as shown."""
        if column.shown in (Shown.SHARE, Shown.CHANCE):
            return "%"
        return column.unit or next((each.unit for each in self._stated(column)), "")

    def heading(self, column: Column) -> str:
        """Heading with the unit in brackets."""
        unit = self.unit(column)
        return f"{column.heading} [{unit}]" if unit else column.heading

    def meaning(self, column: Column) -> str:
        """What the column holds."""
        return column.meaning or next(each.words for each in self._stated(column))

    def _stated(self, column: Column) -> list[schema.Column]:
        return [each for each in self.table.columns if each.name == column.name]


def _findings(screening: Screening, catalogue: Catalogue) -> pl.DataFrame:
    named = probable(screening.findings, screening.causes, catalogue)
    causes = pl.DataFrame(
        [(container, each.name, each.chance, ", ".join(each.bring)) for container, each in named.items()],
        schema={"container": pl.String, "cause": pl.String, "chance": pl.Float64, "bring": pl.String},
        orient="row",
    )
    strongest = screening.reasons.filter(pl.col("place") == 1).select("container", reason="words")
    return (
        screening.findings.sort("rank")
        .join(strongest, on="container", how="left", maintain_order="left")
        .join(causes, on="container", how="left", maintain_order="left")
        .with_columns(
            _group_words(),
            pl.col("reason").fill_null(NO_REASON),
            pl.col("regime_class").str.replace_all("_", " "),
        )
    )


def _causes(screening: Screening, catalogue: Catalogue) -> pl.DataFrame:
    return named_hypotheses(screening.findings, screening.causes, catalogue).with_columns(_group_words())


def _checks(screening: Screening, catalogue: Catalogue) -> pl.DataFrame:
    what_it_takes = pl.DataFrame(
        [
            (each.question, each.how, float(each.minutes), RISKS[each.risk][0])
            for each in catalogue.observations.values()
        ],
        schema={"first_check": pl.String, "how": pl.String, "minutes": pl.Float64, "risk": pl.String},
        orient="row",
    ).unique("first_check", keep="first", maintain_order=True)
    return (
        _findings(screening, catalogue)
        .filter(pl.col("group") != GROUP_CELLS["nothing_found"])
        .join(what_it_takes, on="first_check", how="left", maintain_order="left")
        .with_columns(done=pl.lit(None, pl.String))
    )


def _excursions(screening: Screening, _: Catalogue) -> pl.DataFrame:
    words = {kind: short for kind, (short, _) in EXCURSION_KINDS.items()}
    return screening.excursions.sort("container", "start").with_columns(pl.col("kind").replace(words))


def _defrosts(screening: Screening, _: Catalogue) -> pl.DataFrame:
    return screening.defrosts.sort("container", "start")


def _voyage_events(screening: Screening, _: Catalogue) -> pl.DataFrame:
    return screening.analysis.voyage_events.sort("start", "kind").with_columns(
        pl.col("kind").replace(EVENT_KINDS)
    )


def _set_aside(screening: Screening, _: Catalogue) -> pl.DataFrame:
    labels = {name: channel.label for name, channel in schema.CHANNELS.items()}
    return screening.set_aside.sort("file", "row", "channel", maintain_order=True).with_columns(
        pl.col("channel").replace(labels)
    )


def _group_words() -> pl.Expr:
    return pl.col("group").cast(pl.String).replace_strict(GROUP_CELLS)


CONTAINER = Column("container", "Container", Shown.TEXT, 14)
RANK = Column("rank", "Rank", Shown.COUNT, 6, "Place in the order of inspection, from 1")
GROUP = Column(
    "group",
    "Group",
    Shown.TEXT,
    16,
    "; ".join(f"{group.word}: {group.meaning}" for group in GROUPS).replace("; that", ", that"),
)
POSITION = Column("position", "Position", Shown.TEXT, 10)
CAUSE = Column(
    "cause",
    "Probable cause",
    Shown.WRAPPED,
    28,
    "Likeliest cause, with those that the log does not tell from it; empty where the list names none",
)
CHANCE = Column(
    "chance", "Chance of cause", Shown.CHANCE, 10, "Chance of the probable cause; never called certain"
)
FIRST_CHECK = Column("first_check", "Check first", Shown.WRAPPED, 34)
BRING = Column("bring", "Bring", Shown.WRAPPED, 34, "Parts and tools for the probable cause")

SHEETS = (
    Sheet(
        "Findings",
        schema.FINDINGS,
        "One row a container, in the order of inspection.",
        (
            RANK,
            CONTAINER,
            POSITION,
            GROUP,
            Column(
                "chance_of_fault",
                "Chance of fault",
                Shown.CHANCE,
                10,
                "Chance of a real fault of any kind; never called certain",
            ),
            Column("hours_to_limit", "Hours to limit", Shown.TENTHS, 9),
            Column("reason", "Why", Shown.WRAPPED, 60, "The strongest reason"),
            CAUSE,
            CHANCE,
            FIRST_CHECK,
            BRING,
            Column("set_point", "Set point", Shown.TENTHS, 10),
            Column("regime_class", "Class", Shown.TEXT, 12),
            Column("compared_with", "Compared with", Shown.TEXT, 40),
            Column("oddness", "Oddness", Shown.TENTHS, 10),
            Column("value_at_risk", "Weight of cargo", Shown.TENTHS, 10),
            Column(
                "coverage",
                "Log covers",
                Shown.SHARE,
                10,
                "Share of the voyage's span that the log covers",
            ),
            Column("why", "All reasons", Shown.TEXT, 60),
            Column("cannot_tell", "Cannot tell because", Shown.TEXT, 28),
            Column("number_valid", "Number right", Shown.TEXT, 10, "no: the ISO 6346 check digit is wrong"),
        ),
        _findings,
        kept_in_view=2,
        printed=11,
    ),
    Sheet(
        "Excursions",
        schema.EXCURSIONS,
        "One row per stretch with the controlling air out of its band.",
        (
            CONTAINER,
            Column("start", "Start", Shown.TIME, 17),
            Column("end", "End", Shown.TIME, 17),
            Column(
                "kind",
                "Kind",
                Shown.TEXT,
                24,
                "; ".join(
                    f"{short}: {meaning.replace(';', ',')}" for short, meaning in EXCURSION_KINDS.values()
                ),
            ),
            Column("hours", "Duration", Shown.TENTHS, 10),
            Column("peak", "Peak", Shown.TENTHS, 8),
            Column("band_edge", "Band edge", Shown.TENTHS, 8),
            Column("degree_hours", "Degree hours", Shown.TENTHS, 10),
            Column("gap_hours", "In gaps", Shown.TENTHS, 8),
            Column("mean_kinetic_temperature", "Mean kinetic temperature", Shown.TENTHS, 13),
            Column(
                "sensor_doubt",
                "Doubt of sensor",
                Shown.SHARE,
                10,
                "How likely that the sensor erred, not the air",
            ),
            Column("along_with", "Along with", Shown.WRAPPED, 40),
            Column("hours_at_least", "Duration at least", Shown.TENTHS, 10),
            Column("hours_at_most", "Duration at most", Shown.TENTHS, 10),
            Column("degree_hours_at_least", "Degree hours at least", Shown.TENTHS, 13),
            Column("degree_hours_at_most", "Degree hours at most", Shown.TENTHS, 13),
            Column("peak_at_most", "Peak at most", Shown.TENTHS, 9),
            Column("start_earliest", "Start at earliest", Shown.TIME, 17),
            Column("start_latest", "Start at latest", Shown.TIME, 17),
            Column("end_earliest", "End at earliest", Shown.TIME, 17),
            Column("end_latest", "End at latest", Shown.TIME, 17),
            Column("sensor_doubt_why", "Doubt rests on", Shown.TEXT, 40),
        ),
        _excursions,
        printed=12,
    ),
    Sheet(
        "Causes",
        schema.CAUSES,
        "The likeliest causes of each container that can be judged, one row a cause.",
        (
            RANK,
            CONTAINER,
            GROUP,
            Column("place", "Place", Shown.COUNT, 7, "Place of the cause among the container's, from 1"),
            Column("cause", "Cause", Shown.WRAPPED, 60, "Name of the cause"),
            Column("chance", "Chance", Shown.CHANCE, 10, "Its chance; never called certain"),
        ),
        _causes,
        kept_in_view=2,
    ),
    Sheet(
        "Checks",
        schema.FINDINGS,
        "The round: every container but those with nothing found, with what to check first.",
        (
            RANK,
            CONTAINER,
            POSITION,
            GROUP,
            CAUSE,
            CHANCE,
            FIRST_CHECK,
            Column("how", "How", Shown.WRAPPED, 50, "How the check is made"),
            Column("minutes", "Work", Shown.COUNT, 8, "Work at the unit", "min"),
            Column("risk", "Mind", Shown.WRAPPED, 14, "Gravest risk of the check; see the cautions"),
            BRING,
            Column("done", "Seen, done", Shown.WRAPPED, 24, "To write in"),
        ),
        _checks,
        kept_in_view=2,
    ),
    Sheet(
        "Defrosts",
        schema.DEFROSTS,
        "One row per defrost.",
        (
            CONTAINER,
            Column("start", "Start", Shown.TIME, 17),
            Column("end", "End", Shown.TIME, 17),
            Column("minutes", "Duration", Shown.TENTHS, 10),
            Column("termination_temperature", "Coil at most", Shown.TENTHS, 10),
            Column(
                "terminated",
                "Terminated",
                Shown.TEXT,
                12,
                "no: it ran to the log's end, a gap or its time limit",
            ),
            Column("recovery_minutes", "Recovery", Shown.TENTHS, 10),
            Column(
                "from_flag", "Logged", Shown.TEXT, 9, "yes: from the logged state; no: from its signature"
            ),
        ),
        _defrosts,
    ),
    Sheet(
        "Voyage events",
        schema.VOYAGE_EVENTS,
        "What many units shared at the same time: held against none of them.",
        (
            Column("start", "Start", Shown.TIME, 17),
            Column("end", "End", Shown.TIME, 17),
            Column("kind", "Kind", Shown.TEXT, 16, "Power off, or no readings"),
            Column("units", "Containers", Shown.COUNT, 11),
            Column("share", "Share", Shown.SHARE, 8),
        ),
        _voyage_events,
    ),
    Sheet(
        "Set aside",
        schema.SET_ASIDE,
        "One row per line that was not used, and per reading that was not believed.",
        (
            Column("file", "File", Shown.TEXT, 30),
            Column("row", "Line", Shown.COUNT, 8),
            Column("container", "Container", Shown.TEXT, 14),
            Column("channel", "Reading", Shown.TEXT, 20),
            Column("reason", "Why", Shown.WRAPPED, 44),
            Column("text", "As it stood", Shown.TEXT, 60),
        ),
        _set_aside,
    ),
)
"""Every sheet but the last, which tells of them."""
