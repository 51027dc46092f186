"""What the page of an inspection says, box by box, in words and small drawings."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import polars as pl
from markupsafe import Markup

from coldsift import container_numbers
from coldsift.pre_trip.bands import AGAINST, Item
from coldsift.pre_trip.drawing import Stretch, air_chart, band_bar
from coldsift.pre_trip.inspect import Inspection
from coldsift.pre_trip.measures import WHOLE
from coldsift.pre_trip.phases import LONGEST_HOURS
from coldsift.pre_trip.verdicts import PHASE_WORDS
from coldsift.report.words import NONE, duration, moment, number, reading

WIDE, NARROW = 900.0, 350.0
"""Widths that each chart is drawn for; the page shows the one that fits. [px]"""

VERDICT_WORDS = {"outside": "Outside", "watch": "Watch", "within": "Within", "not_tested": "Not tested"}

GROUPS: Mapping[str, tuple[str, ...]] = {
    "Supply": ("whole",),
    "Fans only": ("fans_only",),
    "Chilled": ("pull_down_chilled", "chilled_hold"),
    "Frozen": ("pull_down_frozen", "frozen_hold"),
    "Defrost": ("defrost", "return"),
    "Heating": ("heating", "warm_hold"),
    "Off": ("off",),
}
"""Columns of the first table, and what of the inspection stands in each."""

MOST_ALARMS = 20
LONGEST_ALARM = 120


@dataclass(frozen=True, slots=True)
class ItemView:
    """One item of a box."""

    words: str
    phase: str
    verdict: str
    verdict_words: str
    sentence: str
    value: str
    band: str
    bar: Markup | None
    others: str
    look_first: str
    why: str
    source: str


@dataclass(frozen=True, slots=True)
class CellView:
    """A group of phases of one box in the first table."""

    verdict: str
    words: str


@dataclass(frozen=True, slots=True)
class StretchView:
    """A line of the list below the drawing."""

    number: int
    words: str
    when: str
    length: str


@dataclass(frozen=True, slots=True)
class BoxView:
    """One box."""

    container: str
    fault: str
    rank: int
    verdict: str
    overall: str
    cells: tuple[CellView, ...]
    span: str
    facts: tuple[tuple[str, str], ...]
    chart: Markup
    small_chart: Markup
    stretches: tuple[StretchView, ...]
    outside: tuple[ItemView, ...]
    watch: tuple[ItemView, ...]
    groups: tuple[tuple[str, tuple[ItemView, ...]], ...]
    not_tested: int
    alarms: tuple[str, ...]
    more_alarms: int


@dataclass(frozen=True, slots=True)
class BandView:
    """One band in the list of all."""

    words: str
    phase: str
    band: str
    why: str
    source: str


@dataclass(frozen=True, slots=True)
class PageView:
    """The whole page."""

    title: str
    lead: str
    span: str
    columns: tuple[str, ...]
    boxes: tuple[BoxView, ...]
    bands: tuple[BandView, ...]


def build_page_view(inspection: Inspection, title: str) -> PageView:
    """Word an inspection.

    Parameters
    ----------
    inspection
        From :func:`coldsift.pre_trip.inspect_log`.
    title
        Heading of the page.
    """
    items = inspection.items
    used = set(items["phase"].cast(pl.String))
    columns = tuple(group for group, phases in GROUPS.items() if used & set(phases))
    bands = {item.id: item for item in inspection.bands}
    boxes = tuple(
        _box(inspection, container, rows, columns, bands)
        for (container,), rows in items.group_by("container", maintain_order=True)
    )
    times = inspection.timeline["time"]
    return PageView(
        title=title,
        lead=_lead(boxes),
        span=f"{moment(times.min())} to {moment(times.max())} UTC",  # type: ignore[arg-type]
        columns=columns,
        boxes=boxes,
        bands=tuple(
            BandView(item.words, PHASE_WORDS[item.phase], band_words(item), item.why, item.source)
            for item in inspection.bands
        ),
    )


def overall_words(counts: Mapping[str, int]) -> str:
    """How a box stands as a whole; never that it passed, or is safe.

    Parameters
    ----------
    counts
        Number of items by verdict.
    """
    outside = counts.get("outside", 0)
    first = "Nothing outside its band" if outside == 0 else f"{outside} outside {_its(outside)} band"
    rest = [
        f"{counts[verdict]} {words}"
        for verdict, words in (("watch", "to watch"), ("not_tested", "not tested"))
        if counts.get(verdict)
    ]
    if not counts.get("within", 0) and not outside and not counts.get("watch", 0):
        return "Nothing could be tested."
    return f"{'; '.join([first, *rest])}."


def _its(count: int) -> str:
    return "its" if count == 1 else "their"


def _lead(boxes: Sequence[BoxView]) -> str:
    outside = sum(1 for box in boxes if box.verdict == "outside")
    watch = sum(1 for box in boxes if box.verdict == "watch")
    if not outside:
        first = f"Of {_boxes(len(boxes))} none has anything outside its pass band"
    else:
        have = "has" if outside == 1 else "have"
        first = f"{outside} of {_boxes(len(boxes))} {have} something outside a pass band"
    if not watch:
        return f"{first}."
    return f"{first}; {watch} {'has' if watch == 1 else 'have'} only something to watch."


def _boxes(count: int) -> str:
    return f"{count} box" if count == 1 else f"{count} boxes"


def _box(
    inspection: Inspection,
    container: object,
    rows: pl.DataFrame,
    columns: Sequence[str],
    bands: Mapping[str, Item],
) -> BoxView:
    named = str(container)
    timeline = inspection.timeline.filter(pl.col("container") == named)
    phases = inspection.phases.filter(pl.col("container") == named)
    stretches = tuple(_stretches(timeline))
    told = [(_item(row, bands[row["item"]]), row) for row in rows.iter_rows(named=True)]
    counts = dict(rows["verdict"].cast(pl.String).value_counts().iter_rows())
    start, end = timeline["time"][0], timeline["time"][-1]
    says = f"Air in the box over {duration((end - start) / timedelta(hours=1))}: " + "; ".join(
        f"{stretch.number} {_phase_words(stretch.phase, None)}" for stretch in stretches
    )
    alarms = timeline["alarms"].explode(empty_as_null=False).drop_nulls().unique(maintain_order=True)
    verdict = next((each for each in ("outside", "watch", "within") if counts.get(each)), "not_tested")
    return BoxView(
        container=named,
        fault=container_numbers.fault(named),
        rank=int(rows["rank"][0]),
        verdict=verdict,
        overall=overall_words(counts),
        cells=tuple(
            _cell([view for view, row in told if row["phase"] in GROUPS[group]]) for group in columns
        ),
        span=f"{moment(start)} to {moment(end)} UTC, {duration((end - start) / timedelta(hours=1))}",
        facts=tuple(_facts(inspection, named, timeline)),
        chart=air_chart(timeline, stretches, WIDE, says),
        small_chart=air_chart(timeline, stretches, NARROW, says),
        stretches=tuple(_stretch_views(stretches, phases, start)),
        outside=tuple(view for view, _ in told if view.verdict == "outside"),
        watch=tuple(view for view, _ in told if view.verdict == "watch"),
        groups=tuple(
            (group, views)
            for group, parts in GROUPS.items()
            if (views := tuple(view for view, row in told if row["phase"] in parts))
        ),
        not_tested=counts.get("not_tested", 0),
        alarms=tuple(text[:LONGEST_ALARM] for text in alarms.head(MOST_ALARMS)),
        more_alarms=max(len(alarms) - MOST_ALARMS, 0),
    )


def _facts(inspection: Inspection, container: str, timeline: pl.DataFrame) -> Iterator[tuple[str, str]]:
    ambient = timeline["ambient_air"].drop_nulls()
    if len(ambient):
        yield "Ambient air", f"{_plain(ambient.min())} to {number(_float(ambient.max()), 1, '°C')}"
    interval = timeline["usual_hours"].drop_nulls()
    if len(interval):
        yield "A reading every", duration(_float(interval.median()))
    gaps = timeline.filter("gap").height
    if gaps:
        yield "Gaps in the log", str(gaps)
    hours = (timeline["time"][-1] - timeline["time"][0]) / timedelta(hours=1)
    if hours > LONGEST_HOURS:
        yield "Long", f"{duration(hours)}: longer than an inspection lasts"
    left_out = inspection.left_out.filter(pl.col("container") == container)
    if left_out.height:
        yield "Left out", f"{left_out['rows'][0]} earlier readings, from before the last long break"


def _float(value: Any) -> float:
    return float(value)


def _plain(value: Any) -> str:
    return number(_float(value), 1)


def _stretches(timeline: pl.DataFrame) -> Iterator[Stretch]:
    runs = (
        timeline.with_columns(
            until=pl.col("time").shift(-1).fill_null(pl.col("time")),
            stretch=(
                (pl.col("phase") != pl.col("phase").shift(1)) | (pl.col("run") != pl.col("run").shift(1))
            )
            .fill_null(True)
            .cum_sum(),
        )
        .drop_nulls("phase")
        .group_by("stretch", maintain_order=True)
        .agg(
            pl.col("phase").first().cast(pl.String), start=pl.col("time").first(), end=pl.col("until").last()
        )
    )
    for place, (phase, start, end) in enumerate(runs.select("phase", "start", "end").iter_rows(), 1):
        yield Stretch(place, phase, start, end)


def _phase_words(phase: str, set_point: float | None) -> str:
    words = PHASE_WORDS[phase].capitalize()
    if set_point is None or phase in ("fans_only", "defrost", "return", "off"):
        return words
    told = {
        "pull_down_chilled": "Pull-down to {}",
        "pull_down_frozen": "Pull-down to {}",
        "chilled_hold": "Hold at {}",
        "frozen_hold": "Hold at {}",
        "heating": "Heating to {}",
        "warm_hold": "Hold at {}",
    }[phase]
    return told.format(number(set_point, 1, "°C").replace(".0", ""))


def _stretch_views(
    stretches: Iterable[Stretch], phases: pl.DataFrame, start: datetime
) -> Iterator[StretchView]:
    for stretch in stretches:
        own = phases.filter(
            pl.col("phase").cast(pl.String) == stretch.phase,
            pl.col("start") <= stretch.start,
            pl.col("end") >= stretch.end,
        )
        set_point = own["set_point"][0] if own.height else None
        yield StretchView(
            stretch.number,
            _phase_words(stretch.phase, set_point),
            f"{stretch.start:%H:%M} to {stretch.end:%H:%M}",
            number((stretch.end - stretch.start) / timedelta(minutes=1), 0, "min"),
        )


def _cell(views: Sequence[ItemView]) -> CellView:
    counts = {verdict: sum(1 for view in views if view.verdict == verdict) for verdict in VERDICT_WORDS}
    if counts["outside"]:
        return CellView("outside", f"{counts['outside']} outside")
    if counts["watch"]:
        return CellView("watch", f"{counts['watch']} watch")
    if counts["within"]:
        return CellView("within", "within")
    return CellView("not_tested", "not tested")


def _item(row: Mapping[str, Any], item: Item) -> ItemView:
    value, unit = row["value"], row["unit"] or ""
    others = (
        f"{reading(row['others_middle'], unit)} ({row['others']})"
        if row["others_middle"] is not None and value is not None
        else NONE
    )
    return ItemView(
        words=row["item_words"],
        phase="" if row["phase"] == WHOLE else PHASE_WORDS[row["phase"]],
        verdict=row["verdict"],
        verdict_words=VERDICT_WORDS[row["verdict"]],
        sentence=row["words"],
        value=reading(value, unit),
        band=_edges(row["low"], row["high"], unit),
        bar=band_bar(value, row["low"], row["high"]),
        others=others,
        look_first=row["look_first"] or "",
        why=item.why,
        source=row["source"],
    )


def _edges(low: float | None, high: float | None, unit: str) -> str:
    if low is None and high is None:
        return NONE
    if low is None:
        return f"at most {_short(high)} {unit}"
    if high is None:
        return f"at least {_short(low)} {unit}"
    return f"{_short(low)} to {_short(high)} {unit}"


def _short(value: float | None) -> str:
    assert value is not None
    text = f"{value:.3g}" if abs(value) < 1000 else f"{value:.0f}"
    return text.replace("-", "−")


def band_words(item: Item) -> str:
    """The band, for every value that its edges are given for.

    Parameters
    ----------
    item
        Of :func:`coldsift.pre_trip.load_pass_bands`.
    """
    count = max(len(item.low), len(item.high))
    told = [
        _edges(
            item.low[place] if item.low else None, item.high[place] if item.high else None, item.unit
        ).strip()
        + (f" at {_short(item.at[place])} {AGAINST[item.against]}" if item.against else "")
        for place in range(count)
    ]
    return "; ".join(told) + (
        f"; set points {_short(item.set_point[0])} to {_short(item.set_point[1])} °C"
        if item.set_point
        else ""
    )
