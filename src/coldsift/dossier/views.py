"""From a reconstruction to what the templates show: choosing, counting and wording, no physics."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any, NamedTuple

import polars as pl

from coldsift import schema
from coldsift.dossier import charts
from coldsift.dossier.answers import BOX_SHARE, SHIP_SHARE
from coldsift.dossier.charts import Chart
from coldsift.dossier.model import Event, Reconstruction, SourceNote, TreatmentNote
from coldsift.dossier.spans import HOUR, lettered, main_excursion, shortened
from coldsift.excursions import DEFROST_RULES
from coldsift.report.words import NONE, chance, duration, moment, number, plain
from coldsift.schema import CHANNELS

MOST_BREAKS = 15
MOST_ROWS = 40
"""Rows of a long table that are shown; the rest is counted, and stands in the table files."""

VERDICTS = {
    "complete": "Complete by the rules of the protocol",
    "not_complete": "Not complete",
    "cannot_judge": "Cannot be judged",
}
DAY_MARKS = {"holds": "", "break": "✗ break ", "cannot_judge": "? "}
"""How a day of a treatment is marked before its warmest reading."""


class Cell(NamedTuple):
    """One cell: what it says, and in small letters what belongs to it."""

    text: str
    small: str = ""


@dataclass(frozen=True, slots=True)
class Column:
    """Heading of a column with its unit.

    ``kind`` is figure, time, free (words from outside, of any length), mono, or empty for short words.
    """

    words: str
    unit: str = ""
    kind: str = ""


@dataclass(frozen=True, slots=True)
class TableView:
    """A table in words."""

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[Cell, ...], ...]
    note: str = ""


@dataclass(frozen=True, slots=True)
class KeyFigure:
    """One figure of the first page, with what goes with it."""

    name: str
    value: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class CauseView:
    """One hypothesis in words."""

    name: str
    chance: str
    evidence_for: tuple[str, ...]
    evidence_against: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class TreatmentView:
    """A cold treatment in words."""

    name: str
    about: str
    source: str
    verdict: str
    reason: str
    earliest: str
    how_counted: tuple[str, ...]
    assumed: tuple[str, ...]
    probes: tuple[TableView, ...]
    days: tuple[TableView, ...]


@dataclass(frozen=True, slots=True)
class SourceView:
    """One file in words."""

    id: str
    path: str
    sha256: str
    facts: str
    rows: str
    clock: str
    messages: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Document:
    """The whole dossier in words and drawings; what is absent is None or empty."""

    of: Reconstruction
    span: str
    overview: Chart | None
    key_figures: tuple[KeyFigure, ...]
    happened: tuple[TableView, ...]
    whole: tuple[Chart, ...]
    close_up: tuple[Chart, ...]
    excursions: tuple[TableView, ...]
    peers: tuple[Chart, ...]
    peer_words: tuple[str, ...]
    causes: tuple[CauseView, ...]
    treatment: TreatmentView | None
    cargo: tuple[KeyFigure, ...]
    sources: tuple[SourceView, ...]
    set_aside: tuple[TableView, ...]


def build_document(of: Reconstruction) -> Document:
    """Put everything the dossier shows into words."""
    main = main_excursion(of)

    def draw(*each: Callable[[Reconstruction], Chart | None]) -> tuple[Chart, ...]:
        return tuple(drawn for chart in each if (drawn := chart(of)) is not None)

    return Document(
        of=of,
        span=f"{moment(of.start)} to {moment(of.end)} UTC ({duration((of.end - of.start) / HOUR)})",
        overview=charts.overview(of),
        key_figures=tuple(_key_figures(main)) if main else (),
        happened=(_events(of.events), *_custody(of.custody)),
        whole=draw(charts.air, charts.happened, charts.cargo, charts.probes, charts.supply),
        close_up=draw(charts.edges, charts.air_close_up, charts.happened_close_up, charts.cargo_close_up),
        excursions=_present(*_excursion_tables(of)),
        peers=draw(charts.peers_close_up, charts.peers),
        peer_words=tuple(_peer_words(of, main)),
        causes=tuple(
            CauseView(cause.name, chance(cause.chance), cause.evidence_for, cause.evidence_against)
            for cause in of.causes
        ),
        treatment=_treatment(of.treatment) if of.treatment else None,
        cargo=tuple(_cargo(of.cargo)),
        sources=tuple(map(_source, of.sources)),
        set_aside=_set_aside(of.set_aside),
    )


def _unit(table: schema.Table, column: str) -> str:
    return next(each.unit for each in table.columns if each.name == column)


def _figure(words: str, table: schema.Table, column: str) -> Column:
    """Heading of a figure that a table of the schema holds; the unit stands there."""
    return Column(words, _unit(table, column), "figure")


def _time(words: str) -> Column:
    return Column(words, "UTC", "time")


def _table(
    caption: str, columns: Iterable[Column], rows: Iterable[Iterable[str | Cell]], note: str = ""
) -> TableView | None:
    """A table; None when it has no rows."""
    cells = tuple(tuple(cell if isinstance(cell, Cell) else Cell(cell) for cell in row) for row in rows)
    return TableView(caption, tuple(columns), cells, note) if cells else None


def _present(*tables: TableView | None) -> tuple[TableView, ...]:
    return tuple(table for table in tables if table is not None)


def _with_bounds(row: dict[str, Any], name: str) -> Cell:
    """A figure as read, and in small letters at least and at most."""
    least, most = row[f"{name}_at_least"], row[f"{name}_at_most"]
    bounds = f"{number(least, 1)} to {number(most, 1)}" if None not in (least, most) else ""
    return Cell(number(row[name], 1), bounds)


def _key_figures(main: dict[str, Any]) -> Iterator[KeyFigure]:
    begun, ended = main["start_earliest"] is not None, main["end_latest"] is not None
    start, end = (f"{moment(main[name])} UTC" for name in ("start", "end"))
    yield KeyFigure("Began", start if begun else f"before {start}", _began(main))
    yield KeyFigure("Ended", end if ended else f"not before {end}", _ended(main))
    silent = main["gap_hours"]
    yield KeyFigure(
        "Outside its band",
        number(main["hours"], 1, "h"),
        _bounds(main, "hours", "h")
        + (f"; {number(silent, 1, 'h')} in it without readings" if silent else ""),
    )
    beyond = (
        f"{number(abs(main['peak'] - main['band_edge']), 1, 'K')} beyond the edge at "
        f"{number(main['band_edge'], 1, '°C')}"
        if main["peak"] is not None and main["band_edge"] is not None
        else ""
    )
    yield KeyFigure(
        "Furthest reading",
        number(main["peak"], 1, "°C"),
        beyond + (f"; it can have been {allowed}" if (allowed := _allowed(main)) else ""),
    )
    yield KeyFigure(
        "Beyond the edge",
        number(main["degree_hours"], 1, "K h"),
        _bounds(main, "degree_hours", "K h"),
    )
    yield KeyFigure(
        "Mean kinetic temperature",
        number(main["mean_kinetic_temperature"], 1, "°C"),
        "while outside, activation energy 83.144 kJ/mol",
    )
    yield KeyFigure(
        "That the probe erred, not the air", chance(main["sensor_doubt"]), main["sensor_doubt_why"] or ""
    )
    yield KeyFigure("Along with it", main["along_with"] or "nothing else in the log")


def _allowed(row: dict[str, Any]) -> str:
    """Where the air can have been at its furthest, if that is further than any reading."""
    allowed, seen = (number(row[name], 1, "°C") for name in ("peak_at_most", "peak"))
    return "" if allowed in (seen, NONE) else allowed


def _bounds(row: dict[str, Any], name: str, unit: str) -> str:
    least, most = row[f"{name}_at_least"], row[f"{name}_at_most"]
    if least is None or most is None:
        return "at least and at most: not reckoned"
    return f"at least {number(least, 1)}, at most {number(most, 1, unit)}"


def _began(row: dict[str, Any]) -> str:
    if row["start_earliest"] is None or row["start_latest"] is None:
        return "the readings begin outside the band"
    return _from_to(row["start_earliest"], row["start_latest"])


def _ended(row: dict[str, Any]) -> str:
    if row["end_latest"] is None or row["end_earliest"] is None:
        return "not ended at the last reading"
    return _from_to(row["end_earliest"], row["end_latest"])


def _from_to(first: datetime, last: datetime) -> str:
    same_day = first.date() == last.date()
    return f"between {moment(first)} and {f'{last:%H:%M}' if same_day else moment(last)}"


def _events(events: Sequence[Event]) -> TableView:
    rows = (
        (
            moment(event.time),
            moment(event.until) if event.until else "",
            event.kind,
            shortened(event.what),
            event.source,
        )
        for event in events
    )
    columns = (
        _time("From"),
        _time("Until"),
        Column("Kind"),
        Column("What", "", "free"),
        Column("Known from", "", "free"),
    )
    caption = "What happened, in order of time"
    return _table(caption, columns, rows) or TableView(caption, columns, (), "Nothing was found to tell.")


def _custody(custody: pl.DataFrame) -> tuple[TableView, ...]:
    rows = (
        (
            Cell(row["mark"]),
            shortened(row["holder"]),
            moment(row["start"]),
            moment(row["end"]) if row["end"] else "not known",
            shortened(row["event"] or NONE),
            shortened(row["place"] or NONE),
            str(row["line"]),
        )
        for row in lettered(custody).iter_rows(named=True)
    )
    columns = (
        Column("In drawings"),
        Column("Holder", "", "free"),
        _time("From"),
        _time("Until"),
        Column("Event", "", "free"),
        Column("Place", "", "free"),
        Column("Line", "", "figure"),
    )
    caption = "Who had the container, as the events file says, with the line of it"
    note = "No custody events were given: who had the container when is not known."
    return (_table(caption, columns, rows) or TableView(caption, columns, (), note),)


def _excursion_tables(of: Reconstruction) -> Iterator[TableView | None]:
    table = schema.EXCURSIONS
    yield _table(
        "Every stretch outside the band, told apart by kind",
        (
            Column("Kind"),
            _time("Began"),
            _time("Ended"),
            _figure("Outside", table, "hours"),
            _figure("Of it without readings", table, "gap_hours"),
            _figure("Furthest reading, and what gaps allow", table, "peak"),
            _figure("Edge of the band", table, "band_edge"),
            _figure("Beyond the edge", table, "degree_hours"),
            _figure("Mean kinetic", table, "mean_kinetic_temperature"),
            Column("Probe erred, not the air", "", "free"),
            Column("Along with", "", "free"),
        ),
        (_excursion(row, of.main_excursion) for row in of.excursions.sort("start").iter_rows(named=True)),
        "Figures are as read, gaps taken out. In small letters: between which readings it began and ended; "
        "figures at least and at most, gaps and the error of reading allowed for.",
    )
    parts = of.excursion_parts.sort("excursion", "division", "start", maintain_order=True)
    for division, words, who in (
        ("regime", "Excursions by what the unit was doing", "Unit"),
        ("custody", "Excursions by who had the container", "Holder"),
    ):
        yield _parts(parts.filter(pl.col("division") == division), words, who, of.main_excursion)
    yield _table(
        "The main excursion, had the probe or the band been a little off",
        (
            Column("If"),
            _figure("Outside, as read", table, "hours"),
            _figure("Beyond the edge, as read", table, "degree_hours"),
            _time("Began"),
            _time("Ended"),
        ),
        (
            (
                each.what,
                number(each.hours, 1),
                number(each.degree_hours, 1),
                moment(each.start),
                moment(each.end),
            )
            for each in of.sensitivity
        ),
    )
    yield _gaps(of.gaps)
    yield _defrost_rises(of.defrost_rises)


def _excursion(row: dict[str, Any], main: datetime | None) -> tuple[str | Cell, ...]:
    allowed = _allowed(row)
    return (
        Cell(plain(row["kind"]), "the main one" if row["start"] == main else ""),
        Cell(moment(row["start"]), _began(row).replace("between ", "")),
        Cell(moment(row["end"]), _ended(row).replace("between ", "")),
        _with_bounds(row, "hours"),
        number(row["gap_hours"], 1),
        Cell(number(row["peak"], 1), f"to {allowed}" if allowed else ""),
        number(row["band_edge"], 1),
        _with_bounds(row, "degree_hours"),
        number(row["mean_kinetic_temperature"], 1),
        Cell(chance(row["sensor_doubt"]), row["sensor_doubt_why"] or ""),
        row["along_with"] or NONE,
    )


def _parts(parts: pl.DataFrame, caption: str, who: str, main: datetime | None) -> TableView | None:
    table = schema.EXCURSION_PARTS
    return _table(
        caption,
        (
            _time("Excursion that began"),
            Column(who, "", "free"),
            _time("From"),
            _time("Until"),
            _figure("Outside, as read", table, "hours"),
            _figure("Without readings", table, "gap_hours"),
            _figure("Beyond the edge, as read", table, "degree_hours"),
            _figure("Furthest reading", table, "peak"),
        ),
        (
            (
                Cell(moment(row["excursion"]), "the main one" if row["excursion"] == main else ""),
                shortened(_part_in_words(row)),
                moment(row["start"]),
                moment(row["end"]),
                number(row["hours"], 1),
                number(row["gap_hours"], 1),
                number(row["degree_hours"], 1),
                number(row["peak"], 1),
            )
            for row in parts.iter_rows(named=True)
        ),
    )


def _part_in_words(row: dict[str, Any]) -> str:
    if row["part"] is None:
        return "nobody named"
    return plain(row["part"]) if row["division"] == "regime" else str(row["part"])


_OF_A_GAP = ("air_before", "air_after", "coldest_possible", "warmest_possible", "hours_outside_at_most")


def _gaps(gaps: pl.DataFrame) -> TableView | None:
    table = schema.GAPS
    shown = gaps.sort("start").head(MOST_ROWS)
    return _table(
        "Gaps in the log, and what the air can have done in each",
        (
            _time("Last reading before"),
            _time("First reading after"),
            _figure("Length", table, "hours"),
            _figure("Air before", table, "air_before"),
            _figure("Air after", table, "air_after"),
            _figure("Coldest possible", table, "coldest_possible"),
            _figure("Warmest possible", table, "warmest_possible"),
            _figure("Outside its band, at most", table, "hours_outside_at_most"),
            Column("Rests on", "", "free"),
        ),
        (
            (
                moment(row["start"]),
                moment(row["end"]),
                number(row["hours"], 1),
                *(number(row[name], 1) for name in _OF_A_GAP),
                shortened(row["rests_on"]),
            )
            for row in shown.iter_rows(named=True)
        ),
        _left_out(gaps, shown, "gaps"),
    )


def _defrost_rises(rises: pl.DataFrame) -> TableView | None:
    """Those beyond their rule first of all, then the furthest, in order of time."""
    table = schema.DEFROST_RISES
    shown = rises.sort("within_rule", pl.col("above_set_point").abs(), descending=[False, True]).head(
        MOST_ROWS
    )
    within = rises["within_rule"].sum()
    return _table(
        "Air beyond its band in a defrost or soon after it: no excursion, but listed",
        (
            _time("Defrost began"),
            _time("Counts until"),
            _figure("Beyond the edge", table, "minutes"),
            _figure("Furthest", table, "peak"),
            _figure("Above set point", table, "above_set_point"),
            Column("Rule that lets it pass"),
            Column("Within the rule"),
        ),
        (
            (
                moment(row["start"]),
                moment(row["end"]),
                number(row["minutes"], 0),
                number(row["peak"], 1),
                number(row["above_set_point"], 1),
                DEFROST_RULES[row["rule"]][1] if row["rule"] in DEFROST_RULES else plain(row["rule"]),
                "yes" if row["within_rule"] else "beyond the rule",
            )
            for row in shown.sort("start").iter_rows(named=True)
        ),
        f"{within} of {rises.height} within their rule.{_left_out(rises, shown, 'defrost_rises')}"
        + "".join(_rule(rule) for rule in rises["rule"].unique(maintain_order=True)),
    )


def _rule(rule: str) -> str:
    says, source = DEFROST_RULES.get(rule, ("", ""))
    return f" {source[:1].upper()}{source[1:]}: {says}" if says else ""


def _left_out(table: pl.DataFrame, shown: pl.DataFrame, name: str) -> str:
    rest = table.height - shown.height
    return f" Not shown: {rest} of {table.height} rows; all stand in the table {name}." if rest else ""


def _peer_words(of: Reconstruction, main: dict[str, Any] | None) -> Iterator[str]:
    if of.peers.is_empty():
        yield "No other unit of the same class was logged at the same time: there is nothing to compare with."
        return
    if main is None:
        yield "There is no excursion to compare; the drawing shows the whole window."
        return
    then = of.peers.filter(pl.col("time") > main["start"] - HOUR, pl.col("time") <= main["end"])
    logged, outside = int(then["units"].sum()), int(then["outside"].sum())
    if logged == 0:
        yield "No other unit of the same class was logged in the hours of the main excursion."
        return
    fewest, most = then.select(low=pl.col("units").min(), high=pl.col("units").max()).row(0)
    units = f"{most}" if fewest == most else f"{fewest} to {most}"
    hours = "In the hours of the main excursion"
    yield f"{hours} {units} other units of the same class were logged on this voyage."
    yield (
        f"At most {then['outside'].max()!s} of them were outside their own band in one hour."
        if outside
        else "None of them was outside its own band."
    )
    middle = then["median"].drop_nulls()
    if len(middle):
        low, high = (number(value, 1) for value in (middle.min(), middle.max()))  # type: ignore[arg-type]
        yield f"Their median air stood {low} to {high} K above its set point meanwhile."
    share = outside / logged
    if share <= BOX_SHARE:
        yield "The others held their temperature at the same hours: this speaks for the box, not the ship."
    elif share >= SHIP_SHARE:
        yield "Most of the others were outside their band too: this speaks for a cause that the ship shared."
    else:
        yield "Some of the others were outside their band too: neither box nor ship stands out alone."


def _cargo(cargo: pl.DataFrame) -> Iterator[KeyFigure]:
    for row in cargo.head(1).iter_rows(named=True):
        yield KeyFigure("Cargo", row["cargo"], f"known from {row['known_from']}")
        low, high = (number(row[name], 1, "°C") for name in ("limit_low", "limit_high"))
        limits = f"{low} to {high}" if row["limit_low"] is not None else f"up to {high}"
        yield KeyFigure("Limits", limits if row["limit_high"] is not None else NONE, row["limit_from"])
        if row["mean_kinetic_limit"] is not None:
            yield KeyFigure(
                "Mean kinetic temperature of the air over the log",
                number(row["mean_kinetic_temperature"], 1, "°C"),
                f"the rule allows {number(row['mean_kinetic_limit'], 1, '°C')}",
            )
        if row["core"] is not None:
            yield KeyFigure(
                "Core at the end of the log",
                number(row["core"], 1, "°C"),
                f"band {number(row['core_low'], 1)} to {number(row['core_high'], 1, '°C')}",
            )
        fitted = "fitted to the cargo probes" if row["fitted"] else "not fitted: no cargo probes to fit to"
        error = f", {number(row['fit_error'], 1, 'K')} off on average" if row["fit_error"] is not None else ""
        yield KeyFigure("The reckoning is", fitted + error)
        if row["life_lost_days"] is not None:
            yield KeyFigure(
                "Storage life spent beyond the optimum",
                number(row["life_lost_days"], 1, "days"),
                f"of {number(row['life_days'], 0, 'days')} at the optimum" if row["life_days"] else "",
            )


def _treatment(note: TreatmentNote) -> TreatmentView:
    return TreatmentView(
        name=note.name,
        about=note.about,
        source=", ".join(filter(None, (note.edition, note.source))),
        verdict=VERDICTS.get(note.verdict, plain(note.verdict)),
        reason=note.reason,
        earliest=f"{moment(note.earliest_completion)} UTC" if note.earliest_completion else "",
        how_counted=note.how_counted,
        assumed=note.assumed,
        probes=_present(_probe_verdicts(note)),
        days=_present(_days(note.days), _breaks(note.days)),
    )


def _probe_verdicts(note: TreatmentNote) -> TableView | None:
    return _table(
        "Each probe",
        (
            Column("Probe"),
            Column("Verdict"),
            _figure("Credited", schema.TREATMENT_DAYS, "credited_days"),
            Column("Why", "", "free"),
        ),
        (
            (
                _probe(each.probe),
                VERDICTS.get(each.verdict, plain(each.verdict)),
                number(each.credited_days, 1),
                shortened(each.reason),
            )
            for each in note.probes
        ),
    )


def _probe(name: str) -> str:
    return CHANNELS[name].label if name in CHANNELS else plain(name).capitalize()


def _days(days: pl.DataFrame) -> TableView | None:
    """One row a day, one column a probe."""
    table = schema.TREATMENT_DAYS
    probes = days["probe"].unique(maintain_order=True).to_list()
    cells = {(row["day"], row["probe"]): row for row in days.iter_rows(named=True)}
    begun = days.sort("start").unique("day", keep="first").sort("day")
    return _table(
        "Day by day: warmest reading of each probe, and in small letters the days credited after it",
        (
            Column("Day", "", "figure"),
            _time("From"),
            *(_figure(_probe(probe), table, "warmest") for probe in probes),
        ),
        (
            (str(day), moment(start), *(_day(cells.get((day, probe))) for probe in probes))
            for day, start in begun.select("day", "start").iter_rows()
        ),
        "✗: the day breaks the rules; ?: it cannot be judged; no mark: it holds.",
    )


def _day(row: dict[str, Any] | None) -> Cell:
    if row is None:
        return Cell(NONE)
    return Cell(
        f"{DAY_MARKS.get(row['verdict'], '')}{number(row['warmest'], 1)}",
        number(row["credited_days"], 1, "d") if row["credited_days"] is not None else "",
    )


def _breaks(days: pl.DataFrame) -> TableView | None:
    table = schema.TREATMENT_DAYS
    # What is true of all probes follows from the single ones.
    single = days.filter(pl.col("probe") != "all")
    told = (days if single.is_empty() else single).filter(pl.col("verdict") != "holds").sort("start", "probe")
    return _table(
        "Days that break the rules or cannot be judged",
        (
            Column("Day", "", "figure"),
            Column("Probe"),
            _time("From"),
            _time("Until"),
            Column("Readings", "count", "figure"),
            _figure("Coldest", table, "coldest"),
            _figure("Warmest", table, "warmest"),
            _figure("Longest without a reading", table, "longest_gap_minutes"),
            Column("Verdict and why", "", "free"),
        ),
        (
            (
                str(row["day"]),
                _probe(row["probe"]),
                moment(row["start"]),
                moment(row["end"]),
                str(row["readings"]),
                number(row["coldest"], 1),
                number(row["warmest"], 1),
                number(row["longest_gap_minutes"], 0),
                f"{plain(row['verdict'])}: {shortened(row['reason'])}",
            )
            for row in told.head(MOST_BREAKS).iter_rows(named=True)
        ),
        _left_out(told, told.head(MOST_BREAKS), "treatment_days"),
    )


def _source(source: SourceNote) -> SourceView:
    read, used, merged, aside, own = (
        number(count, 0)
        for count in (source.rows, source.used, source.merged, source.set_aside, source.own_rows)
    )
    return SourceView(
        id=source.id,
        path=source.path,
        sha256=source.sha256,
        facts=f"{number(source.size, 0)} bytes, layout {source.layout}",
        rows=(
            f"{read} rows read = {used} used + {merged} merged + {aside} set aside; "
            f"{own} are this container’s in the window"
        ),
        clock=source.clock,
        messages=source.messages,
    )


def _set_aside(rows: pl.DataFrame) -> tuple[TableView, ...]:
    ordered = rows.sort("file", "row", "channel")
    shown = ordered.head(MOST_ROWS)
    table = _table(
        "Rows and readings of this container that were not used",
        (
            Column("File"),
            Column("Line", "", "figure"),
            Column("What", "", "free"),
            Column("Why", "", "free"),
            Column("As it stood", "", "mono"),
        ),
        (
            (
                shortened(row["source"]),
                str(row["row"]),
                CHANNELS[row["channel"]].label
                if row["channel"] in CHANNELS
                else row["channel"] or "whole line",
                shortened(row["reason"]),
                shortened(row["text"]),
            )
            for row in shown.iter_rows(named=True)
        ),
        _left_out(ordered, shown, "set_aside"),
    )
    return _present(table)
