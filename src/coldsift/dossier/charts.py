"""The drawings of a dossier: air, cargo, supply, what happened when, the excursion close up, the peers.

Every drawing has the same left and right edge and its time in UTC, so that one below the other they read as
one. Lines are told apart by their dashes and widths, not by colour alone. Of the texts of a log only short
ones get into a drawing; the key below it has them whole.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import polars as pl
from markupsafe import Markup
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Rectangle
from numpy.typing import NDArray

from coldsift.dossier import spans
from coldsift.dossier.drawing import (
    CARD,
    INK,
    LEFT,
    LETTER,
    RIGHT,
    RULE,
    SOFT,
    WIDTH,
    Sheet,
    drawable,
    house_style,
)
from coldsift.dossier.model import Reconstruction
from coldsift.dossier.spans import HOUR, Extent, KeyLine, Span, main_excursion, whole
from coldsift.excursions.readings import AFTER_DEFROST_HOURS
from coldsift.report.thinning import LINE_POINTS, broken_after, pieces
from coldsift.report.words import inside_a_sentence, moment, number, visible
from coldsift.schema import CHANNELS

CLOSE_UP_HOURS = 2.0
"""Shown before and after the instants between which an excursion began or ended. [h]"""

DOTTED = 150
"""Up to this many readings, each is a dot as well."""

STRIP = 13.0
"""Height of one row of a strip. [pt]"""

BETWEEN = 62.0
"""Between two panels side by side. [pt]"""

HATCHING = 4.0
"""From one line of a hatching to the next. [pt]"""

Line = dict[str, Any]
Numbers = NDArray[np.float64]

_CONTROLS: Line = {"color": INK, "lw": 1.3}
_AIR: dict[str, Line] = {
    "supply_air": {"color": "#2b7cd3", "lw": 0.9, "dashes": (5, 1.5)},
    "return_air": {"color": "#c4621a", "lw": 0.9, "dashes": (1.5, 1.2)},
}
_APART: Line = {"color": SOFT, "lw": 0.4}
_SET_POINT: Line = {"color": SOFT, "lw": 0.9, "dashes": (9, 2.5, 1.5, 2.5)}
_BAND: Line = {"color": "#8b6fc4", "lw": 0.9, "dashes": (3, 3)}
_FOUR: tuple[Line, ...] = (
    {"color": INK, "lw": 1.1},
    {"color": "#2b7cd3", "lw": 1.1, "dashes": (5, 1.5)},
    {"color": "#c4621a", "lw": 1.1, "dashes": (1.5, 1.2)},
    {"color": "#3a8f57", "lw": 1.1, "dashes": (7, 1.5, 1.5, 1.5)},
)
_SURFACE: Line = {"color": "#c4621a", "lw": 1.2, "dashes": (5, 1.5)}
_OTHERS: Line = {"color": "#2b7cd3", "lw": 1.1, "dashes": (5, 1.5)}
_STEPPED = ("set_point", "band_low", "band_high", "units", "outside")

_RED = "#d1383d"
_PROPER: Line = {"facecolor": _RED, "edgecolor": _RED, "lw": 0.7}
_OTHER_KIND: Line = {"facecolor": CARD, "edgecolor": _RED, "lw": 0.7}
_BEYOND: Line = {"color": _RED, "alpha": 0.28, "lw": 0}
_SILENT: Line = {"facecolor": "#9a8450", "alpha": 0.16, "lw": 0, "zorder": 0.3}
_POSSIBLE: Line = {"facecolor": "none", "edgecolor": "#9a8450", "lw": 0.8, "ls": (0, (3, 1.5))}
_HATCH: Line = {"color": "#9a8450", "lw": 0.5}
_BAR: Line = {"facecolor": CARD, "edgecolor": INK, "lw": 0.6}
_SHADED: Line = _BAR | {"facecolor": "#8a9099"}
_DARK: Line = _BAR | {"facecolor": INK}


@dataclass(frozen=True, slots=True)
class Chart:
    """A drawing with its caption, and the key to the letters and numbers in it."""

    svg: Markup
    caption: str
    key: tuple[KeyLine, ...] = ()


def overview(of: Reconstruction) -> Chart | None:
    """The controlling air of the whole window, small."""
    return _air("overview", whole(of), 78, only_controlling=True)


def air(of: Reconstruction) -> Chart | None:
    """Air temperatures of the whole window."""
    return _air("air", whole(of), 175)


def air_close_up(of: Reconstruction) -> Chart | None:
    """Air temperatures around the main excursion, with the instants between which it began and ended."""
    extent = spans.around_the_main_excursion(of)
    return _air("air-close-up", extent, 172, brackets=True) if extent else None


def _air(
    name: str, extent: Extent, height: float, only_controlling: bool = False, brackets: bool = False
) -> Chart | None:
    log = extent.log
    lines = [
        each
        for each in _air_lines(log)
        if not only_controlling or each[0] not in _AIR or each[2] is _CONTROLS
    ]
    if all(log[column].is_null().all() for column, _, _ in lines):
        return None
    main = main_excursion(extent.of)
    holders = spans.custody_spans(extent)
    with house_style(name):
        sheet = Sheet()
        if holders:
            _rows(sheet, extent, [("Custody", holders, _BAR)], labels=False)
        axes = sheet.panel(height, extent.start, extent.end)
        axes.set_ylabel("Air, °C")
        for column, label, style in lines:
            if style is _CONTROLS:
                sheet.legend += _own_air(axes, extent, log, column, label, dots=brackets)
            else:
                sheet.legend += _line(axes, extent, log, column, label, style)
        # A small drawing, and one with brackets, need more of their height for marks.
        columns = [column for column, _, _ in lines]
        _set_limits(axes, extent, log, columns, above=0.3 if only_controlling or brackets else 0.16)
        if main is not None:
            sheet.legend += _area_beyond(axes, extent, log, main)
        sheet.legend += _silences(axes, extent)
        sheet.legend += _possible(sheet, axes, extent)
        sheet.legend += _excursions(axes, extent, log)
        if brackets and main is not None:
            _brackets(axes, extent, main)
        svg = sheet.svg(
            f"Air temperatures from {extent.words}: "
            + "; ".join(_range(label, log[column], "°C") for column, label, _ in lines if label)
            + f". {_marked(extent)}"
        )
    if only_controlling:
        caption = f"Air that the unit is controlled by, against set point and band, {extent.words}."
        return Chart(svg, caption + (" Letters: who had the container, section 1." if holders else ""))
    caption = (
        "Air temperatures against set point and band"
        + (", around the main excursion" if brackets else "")
        + f", {extent.words}."
        + (" The area beyond the band is shaded in the main excursion." if main else "")
        + (" Brackets: the instants between which it began and ended." if brackets else "")
    )
    if extent.within(extent.of.gaps).height:
        caption += (
            " Nothing is drawn where readings are missing; hatched boxes reach from the coldest to the "
            "warmest that the air can have been."
        )
    return Chart(svg, caption)


def _air_lines(log: pl.DataFrame) -> list[tuple[str, str, Line]]:
    """Column, words and style of each line, the one that matters last and on top."""
    under, top = [], [("controlling_air", "Controlling air", _CONTROLS)]
    for column, style in _AIR.items():
        label = CHANNELS[column].label
        both = log.select("controlling_air", column).drop_nulls()
        if both.height and (both["controlling_air"] == both[column]).all():
            top = [(column, f"{label} (controls the unit)", _CONTROLS)]
        elif log[column].is_not_null().any():
            under.append((column, label, style))
    # Both edges of the band share one entry in the legend.
    edges = [("band_low", "", _BAND), ("band_high", "Band", _BAND), ("set_point", "Set point", _SET_POINT)]
    return [*edges, *under, *top]


def _set_limits(
    axes: Axes, extent: Extent, log: pl.DataFrame, columns: Sequence[str], above: float = 0.16
) -> None:
    """Show every reading, and what gaps allow as far as it leaves the readings legible.

    ``above`` is the share left free at the top, for marks.
    """
    inside = log.filter(pl.col("time").is_between(extent.start, extent.end))
    known = inside.select(columns).unpivot()["value"].drop_nulls().to_numpy()
    low, high = (known.min(), known.max()) if len(known) else (0.0, 1.0)
    most = 0.6 * max(high - low, 2.0)
    gaps = extent.within(extent.of.gaps)
    low = np.nanmin([low, *np.maximum(_numbers(gaps["coldest_possible"]), low - most)])
    high = np.nanmax([high, *np.minimum(_numbers(gaps["warmest_possible"]), high + most)])
    room = max(high - low, 2.0)
    axes.set_ylim(low - 0.06 * room, high + above * room)


def _numbers(values: pl.Series) -> Numbers:
    return values.cast(pl.Float64).fill_null(np.nan).to_numpy()


def _line(
    axes: Axes, extent: Extent, rows: pl.DataFrame, column: str, label: str, style: Line, dots: bool = False
) -> list[Line2D]:
    """Draw one column, broken where readings are missing; readings that stand alone become dots."""
    pieces = list(_pieces(extent, rows, column))
    dotted = dots and style is _CONTROLS and sum(len(hours) for hours, _ in pieces) <= DOTTED
    for hours, values in pieces:
        if len(hours) > 1:
            axes.plot(hours, values, drawstyle="steps-post" if column in _STEPPED else "default", **style)
        if dotted or len(hours) == 1:
            axes.plot(hours, values, ".", color=style["color"], markersize=3.5)
    return [Line2D([], [], label=label, **style)] if pieces and label else []


def _own_air(
    axes: Axes, extent: Extent, log: pl.DataFrame, column: str, label: str, dots: bool = False
) -> list[Line2D]:
    """Draw the air that counts; what a defrost lets pass is a thin line."""
    after = (pl.col("recovering_from") == "defrost") & (pl.col("hours_since_event") <= AFTER_DEFROST_HOURS)
    apart = ((pl.col("defrost") | after) & ~pl.col("in_band")).fill_null(False)
    thin = _line(axes, extent, log, column, "Rise in a defrost", _APART)
    counted = log.with_columns(pl.when(~apart).then(column).alias(column), gap=pl.col("gap") | apart)
    bold = _line(axes, extent, counted, column, label, _CONTROLS, dots)
    return [*bold, *thin] if log.select(apart.any()).item() else bold


def _pieces(extent: Extent, rows: pl.DataFrame, column: str) -> Iterator[tuple[Numbers, Numbers]]:
    """Unbroken stretches of a column, thinned: hours since the extent's start, and values."""
    known = np.flatnonzero(rows[column].is_not_null().to_numpy())
    if len(known) == 0:
        return
    seconds = (rows["time"] - extent.start).dt.total_seconds().to_numpy()[known]
    values = _numbers(rows[column])[known]
    gap_after = broken_after(known, rows["gap"].fill_null(False).to_numpy())
    stepped = column in _STEPPED
    for part in pieces(seconds, values.astype(np.float32), gap_after, LINE_POINTS, stepped):
        yield seconds[part] / 3600, values[part]


def _filled(
    axes: Axes, extent: Extent, rows: pl.DataFrame, low: str, high: str, label: str, style: Line
) -> list[Patch]:
    """Fill between two columns, broken where either is missing."""
    both = pl.col(low).is_not_null() & pl.col(high).is_not_null()
    rows = rows.with_columns(pl.when(both).then(name).alias(name) for name in (low, high))
    hours = (rows["time"] - extent.start).dt.total_seconds().to_numpy() / 3600
    upper = _numbers(rows[high])
    pieces = list(_pieces(extent, rows, low))
    for at, bottom in pieces:
        top = upper[np.searchsorted(hours, at)]
        axes.fill_between(at, bottom, top, color=style["color"], alpha=0.18, lw=0)
        for edge in (bottom, top):
            axes.plot(at, edge, **(style | {"lw": 0.4}))
    return [Patch(facecolor=style["color"], alpha=0.25, lw=0, label=label)] if pieces else []


def _area_beyond(axes: Axes, extent: Extent, log: pl.DataFrame, main: dict[str, Any]) -> list[Patch]:
    """Shade what the degree-hours of the main excursion count."""
    if main["band_edge"] is None or main["peak"] is None:
        return []
    above = main["peak"] > main["band_edge"]
    first, last = main["start_earliest"] or main["start"], main["end_latest"] or main["end"]
    inside = log.with_columns(
        beyond=pl.when(pl.col("time").is_between(first, last)).then("controlling_air"),
        edge=pl.col("band_high" if above else "band_low").fill_null(main["band_edge"]),
    )
    hours = (inside["time"] - extent.start).dt.total_seconds().to_numpy() / 3600
    limit = _numbers(inside["edge"])
    for at, values in _pieces(extent, inside, "beyond"):
        edge = limit[np.searchsorted(hours, at)]
        beyond = (values > edge) if above else (values < edge)
        axes.fill_between(at, edge, values, where=beyond.tolist(), interpolate=True, **_BEYOND)
    return [Patch(label="Beyond the band", **_BEYOND)]


def _silences(axes: Axes, extent: Extent) -> list[Patch]:
    """Shade where readings are missing."""
    silent = spans.silences(extent)
    for span in silent:
        axes.axvspan(extent.at(span.start), extent.at(span.end), **_SILENT)
    return [Patch(label="No readings", **_SILENT)] if silent else []


def _possible(sheet: Sheet, axes: Axes, extent: Extent) -> list[Patch]:
    """A box over each gap from the coldest to the warmest that the air can have been."""
    low, high = axes.get_ylim()
    boxes = extent.within(extent.of.gaps).drop_nulls(["coldest_possible", "warmest_possible"])
    for gap in boxes.iter_rows(named=True):
        first, last = max(extent.at(gap["start"]), 0.0), min(extent.at(gap["end"]), extent.hours)
        coldest, warmest = gap["coldest_possible"], gap["warmest_possible"]
        axes.add_patch(Rectangle((first, coldest), last - first, warmest - coldest, **_POSSIBLE))
        _hatch(sheet, axes, (first, max(coldest, low)), (last, min(warmest, high)))
        # What does not fit is said in numbers.
        for beyond, edge, words, side in (
            (warmest > high, high, f"↑ {number(warmest, 1)}", "top"),
            (coldest < low, low, f"↓ {number(coldest, 1)}", "bottom"),
        ):
            if beyond:
                axes.text(
                    (first + last) / 2,
                    edge,
                    words,
                    ha="center",
                    va=side,
                    fontsize=6.5,
                    bbox={"facecolor": CARD, "edgecolor": "none", "pad": 0.6},
                )
    return [Patch(label="Possible in a gap (hatched)", **_POSSIBLE)] if boxes.height else []


def _hatch(sheet: Sheet, axes: Axes, corner: tuple[float, float], opposite: tuple[float, float]) -> None:
    """Fill a box with slanting lines, drawn one by one: printed, a pattern comes out as a coarse picture."""
    across, up = sheet.scale(axes)
    wide, tall = (opposite[0] - corner[0]) / across, (opposite[1] - corner[1]) / up
    offsets = np.arange(-tall + HATCHING / 2, wide, HATCHING)
    ends = [(max(offset, 0.0), min(wide, tall + offset)) for offset in offsets]
    lines = [
        [(corner[0] + x * across, corner[1] + (x - offset) * up) for x in both]
        for offset, both in zip(offsets, ends, strict=True)
    ]
    axes.add_collection(LineCollection(lines, **_HATCH), autolim=False)


def _excursions(axes: Axes, extent: Extent, log: pl.DataFrame) -> list[Patch]:
    """A bar along the top over each, filled for an excursion proper, and a triangle at its peak."""
    handles: dict[str, Patch] = {}
    for row in extent.within(extent.of.excursions).iter_rows(named=True):
        proper = row["kind"] == "excursion"
        style = _PROPER if proper else _OTHER_KIND
        axes.axvspan(extent.at(row["start"]), extent.at(row["end"]), 0.965, 1.0, zorder=4, **style)
        label = "Excursion" if proper else "Outside, other kind"
        handles[label] = Patch(label=label, **style)
        # The table has the peak, not its time: mark the reading that comes nearest to it.
        nearest = (
            log.filter(pl.col("time").is_between(row["start"], row["end"]))
            .select("time", away=(pl.col("controlling_air") - row["peak"]).abs())
            .drop_nulls()
            .sort("away", "time")
        )
        main = row["start"] == extent.of.main_excursion
        if nearest.is_empty() or not (proper or main):
            continue
        at = extent.at(nearest["time"][0])
        warm = row["band_edge"] is None or row["peak"] > row["band_edge"]
        axes.plot(at, row["peak"], "v" if warm else "^", color=_RED, markersize=4.5, zorder=5)
        if main:
            _note(axes, extent, at, row["peak"], number(row["peak"], 1, "°C"), up=2, fontweight="bold")
    return list(handles.values())


def _note(
    axes: Axes,
    extent: Extent,
    at: float,
    height: float,
    words: str,
    up: float = 0,
    right: bool | None = None,
    **style: Any,
) -> None:
    """Words beside a point, on the side where there is room or as told."""
    right = at < 0.8 * extent.hours if right is None else right
    axes.annotate(
        words,
        (at, height),
        (5 if right else -5, up),
        textcoords="offset points",
        ha="left" if right else "right",
        va="center" if up == 0 else "bottom" if up > 0 else "top",
        bbox={"facecolor": CARD, "edgecolor": "none", "pad": 0.4, "alpha": 0.85},
        zorder=6,
        **style,
    )


def _brackets(axes: Axes, extent: Extent, main: dict[str, Any]) -> None:
    """Mark the instants between which the main excursion began and ended."""
    low, high = axes.get_ylim()
    # One lower than the other: those of a short excursion meet.
    for name, down in (("start", 0.08), ("end", 0.13)):
        best, first, last = main[name], main[f"{name}_earliest"], main[f"{name}_latest"]
        if first is None or last is None:
            continue
        height = high - down * (high - low)
        axes.axvline(extent.at(best), color=INK, lw=0.7, dashes=(2, 2))
        _bracket(axes, extent.at(first), extent.at(last), height)
        outside = name == "end"
        room = extent.hours - extent.at(last) if outside else extent.at(first)
        right = outside == (room > 0.12 * extent.hours)
        beside = extent.at(last if right else first)
        _note(axes, extent, beside, height, f"{name} {best:%H:%M}", right=right)


def _bracket(axes: Axes, first: float, last: float, height: float) -> None:
    style: Line = {"color": INK, "lw": 1.1, "marker": "|", "markersize": 7, "markeredgewidth": 1.1}
    axes.plot([first, last], [height, height], zorder=6, **style)


def edges(of: Reconstruction) -> Chart | None:
    """Start and end of the main excursion, reading by reading."""
    main = main_excursion(of)
    if main is None:
        return None
    warm = main["band_edge"] is None or main["peak"] is None or main["peak"] > main["band_edge"]
    edge = "band_high" if warm else "band_low"
    half = (WIDTH - LEFT - RIGHT - BETWEEN) / 2
    with house_style("edges"):
        sheet = Sheet()
        sheet.space(12)
        for name, left in (("start", LEFT), ("end", LEFT + half + BETWEEN)):
            best, earliest, latest = main[name], main[f"{name}_earliest"], main[f"{name}_latest"]
            first, last = earliest or best, latest or best
            aside = max(CLOSE_UP_HOURS * HOUR, 1.5 * (last - first))
            extent = Extent(of, first - aside, last + aside)
            log = extent.log
            axes = sheet.panel(
                105, extent.start, extent.end, left=left, right=left + half, beside=name == "end", most=3
            )
            _line(axes, extent, log, edge, "", _BAND)
            _line(axes, extent, log, "controlling_air", "", _CONTROLS, dots=True)
            _set_limits(axes, extent, log, [edge, "controlling_air"])
            _silences(axes, extent)
            _possible(sheet, axes, extent)
            axes.axvline(extent.at(best), color=INK, lw=0.8, dashes=(2, 2))
            low, high = axes.get_ylim()
            _bracket(axes, extent.at(first), extent.at(last), high - 0.07 * (high - low))
            # Beside the two readings, on the side that the line leaves free.
            air = dict(log.select("time", "controlling_air").iter_rows())
            rising = (air.get(last) or 0.0) > (air.get(first) or 0.0)
            for time, up in ((earliest, 3 if rising else -3), (latest, -3 if rising else 3)):
                value = air.get(time)
                if value is not None:
                    _note(axes, extent, extent.at(time), value, number(value, 1), up=up, right=time == latest)
            said = f"{moment(best)} UTC" if earliest and latest else "not in the log"
            axes.set_title(f"{name.capitalize()}: {said}", fontsize=7.5, loc="left", pad=3, fontweight="bold")
            if name == "start":
                axes.set_ylabel("Controlling air, °C")
        caption = (
            "Start and end of the main excursion, reading by reading (dots). Dashed: the edge of the band. "
            "The bracket reaches from the last reading that is surely on one side of it to the first that is "
            f"surely on the other; the upright is the best estimate. {_began_and_ended(main)}"
        )
        return Chart(sheet.svg(caption), caption)


def _began_and_ended(main: dict[str, Any]) -> str:
    began = (
        f"It began between {moment(main['start_earliest'])} and {moment(main['start_latest'])} UTC"
        if main["start_earliest"] and main["start_latest"]
        else "It had begun before the first reading that could show it"
    )
    ended = (
        f"ended between {moment(main['end_earliest'])} and {moment(main['end_latest'])} UTC"
        if main["end_earliest"] and main["end_latest"]
        else "had not ended at the last reading"
    )
    return f"{began}, and {ended}."


def cargo(of: Reconstruction) -> Chart | None:
    """Reckoned cargo temperatures of the whole window against the limits."""
    return _cargo("cargo", whole(of))


def cargo_close_up(of: Reconstruction) -> Chart | None:
    """Reckoned cargo temperatures around the main excursion."""
    extent = spans.around_the_main_excursion(of)
    return _cargo("cargo-close-up", extent) if extent else None


def _cargo(name: str, extent: Extent) -> Chart | None:
    rows = extent.cargo
    nodes = [("surface", "Outer cargo", _SURFACE), ("core", "Core", _CONTROLS)]
    nodes = [each for each in nodes if rows[each[0]].is_not_null().any()]
    if not nodes:
        return None
    known = next(extent.of.cargo.iter_rows(named=True), {})
    limits = [
        (known[column], words)
        for column, words in (("limit_high", "warm limit"), ("limit_low", "cold limit"))
        if known.get(column) is not None
    ]
    with house_style(name):
        sheet = Sheet()
        axes = sheet.panel(110, extent.start, extent.end)
        axes.set_ylabel("Cargo (reckoned), °C")
        for column, label, style in nodes:
            band = (f"{column}_low", f"{column}_high", f"{label}, its band")
            sheet.legend += _line(axes, extent, rows, column, label, style)
            sheet.legend += _filled(axes, extent, rows, *band, style)
        for value, words in limits:
            axes.axhline(value, color=_RED, lw=1.2, dashes=(8, 2))
            _note(axes, extent, extent.hours, value, f"{words} {number(value, 1, '°C')}", up=1.5, fontsize=7)
        axes.margins(y=0.12)
        sheet.legend += _silences(axes, extent)
        caption = (
            f"Cargo as reckoned from the air, not measured, {extent.words}: best estimate and band "
            "(5 in 100 outside on either side)"
            + "".join(f", {words} {number(value, 1, '°C')}" for value, words in limits)
            + "."
        )
        ranges = "; ".join(_range(label, rows[column], "°C") for column, label, _ in nodes)
        return Chart(sheet.svg(f"{caption} {ranges}."), caption)


def probes(of: Reconstruction) -> Chart | None:
    """Cargo probes as logged."""
    names = [name for name in CHANNELS if name.startswith("cargo_probe_")]
    lines = [(name, CHANNELS[name].label, style) for name, style in zip(names, _FOUR, strict=True)]
    words = "Cargo probes as logged; where each sits in the cargo the log does not say"
    return _logged(of, "probes", 105, words, [("°C", "Cargo probes, °C", lines)])


def supply(of: Reconstruction) -> Chart | None:
    """Electric supply and the air outside."""
    volts = [(f"voltage_{phase}", f"Phase {phase}", _FOUR[phase - 1]) for phase in (1, 2, 3)]
    panels = [
        ("V", "Voltage, V", volts),
        ("W", "Power, W", [("power", "Power taken up", _FOUR[0])]),
        ("°C", "Ambient, °C", [("ambient_air", CHANNELS["ambient_air"].label, _FOUR[0])]),
    ]
    words = "Electric supply, power taken up and the air outside, as far as they are logged"
    return _logged(of, "supply", 52, words, panels)


def _logged(
    of: Reconstruction,
    name: str,
    height: float,
    words: str,
    panels: Sequence[tuple[str, str, Sequence[tuple[str, str, Line]]]],
) -> Chart | None:
    """Panels of lines as logged; channels that are not logged are left out."""
    extent = whole(of)
    log = extent.log
    logged = [
        (unit, label, [line for line in lines if log[line[0]].is_not_null().any()])
        for unit, label, lines in panels
    ]
    logged = [panel for panel in logged if panel[2]]
    if not logged:
        return None
    with house_style(name):
        sheet = Sheet()
        for place, (_, label, lines) in enumerate(logged, start=1):
            axes = sheet.panel(height, extent.start, extent.end, labels=place == len(logged))
            axes.set_ylabel(label)
            drawn = [handle for line in lines for handle in _line(axes, extent, log, *line)]
            sheet.legend += drawn if len(lines) > 1 else []
            sheet.legend += _silences(axes, extent)
            axes.margins(y=0.12)
        ranges = "; ".join(
            _range(label, log[column], unit) for unit, _, lines in logged for column, label, _ in lines
        )
        return Chart(sheet.svg(f"{words}, {extent.words}: {ranges}."), f"{words}, {extent.words}.")


def happened(of: Reconstruction) -> Chart | None:
    """What happened when, row by row."""
    return _happened("happened", whole(of))


def happened_close_up(of: Reconstruction) -> Chart | None:
    """What happened when around the main excursion."""
    extent = spans.around_the_main_excursion(of)
    return _happened("happened-close-up", extent, key=False) if extent else None


def _happened(name: str, extent: Extent, key: bool = True) -> Chart | None:
    alarms, alarm_key = spans.alarm_spans(extent)
    # Notes are instants: a bar wide enough for its number stands for one.
    wide = 16 / (WIDTH - LEFT - RIGHT) * extent.hours * HOUR
    notes = [Span(row["time"], row["time"] + wide, mark) for mark, row in spans.numbered_notes(extent)]
    rows: list[tuple[str, list[Span], Line]] = [
        ("Custody", spans.custody_spans(extent), _BAR),
        ("Excursions", spans.excursion_spans(extent, real=True), _PROPER),
        ("Other kinds", spans.excursion_spans(extent, real=False), _OTHER_KIND),
        ("Power off", spans.regime_spans(extent, "off"), _DARK),
        ("Defrosts", extent.spans(extent.of.defrosts.drop_nulls("end")), _SHADED),
        ("Pull-down", spans.regime_spans(extent, "pull_down"), _BAR),
        ("Recovery", spans.regime_spans(extent, "recovery"), _SHADED),
        ("Set point, °C", spans.set_point_spans(extent), _BAR),
        ("Notes", notes, _BAR),
        *((label, stood, _SHADED) for label, stood in alarms),
    ]
    rows = [row for row in rows if row[1]]
    if not rows:
        return None
    with house_style(name):
        sheet = Sheet()
        axes = _rows(sheet, extent, rows)
        sheet.legend += _silences(axes, extent)
        count = "; ".join(f"{label}: {len(found)}" for label, found, _ in rows)
        svg = sheet.svg(f"What happened when, {extent.words}, row by row with the number of bars: {count}.")
    caption = f"What happened when, {extent.words}."
    if not key:
        return Chart(svg, f"{caption} Letters and numbers as for the whole window.")
    if alarms:
        caption += " Alarms stand as logged; no maker’s list of codes was used to read them."
    return Chart(svg, caption, (*spans.custody_key(extent), *spans.note_key(extent), *alarm_key))


def _rows(
    sheet: Sheet, extent: Extent, rows: Sequence[tuple[str, Sequence[Span], Line]], labels: bool = True
) -> Axes:
    """A panel of rows with bars in them."""
    axes = sheet.panel(len(rows) * STRIP, extent.start, extent.end, labels=labels, marks=labels)
    axes.set_ylim(len(rows), 0)
    axes.set_yticks([place + 0.5 for place in range(len(rows))], [label for label, _, _ in rows])
    axes.tick_params(axis="y", length=0, labelsize=7)
    axes.grid(False, axis="y")
    for place, (_, bars, style) in enumerate(rows):
        axes.axhline(place, color=RULE, lw=0.5)
        for bar in bars:
            first, last = max(extent.at(bar.start), 0.0), min(extent.at(bar.end), extent.hours)
            axes.add_patch(Rectangle((first, place + 0.14), last - first, 0.72, **style))
            room = (last - first) / extent.hours * (WIDTH - LEFT - RIGHT)
            for words in map(visible, filter(None, (bar.words, bar.mark))):
                if len(words) * LETTER * 6.5 + 2 < room and drawable(words):
                    axes.text((first + last) / 2, place + 0.52, words, ha="center", va="center", fontsize=6.5)
                    break
    return axes


def peers(of: Reconstruction) -> Chart | None:
    """How far from its set point this unit's air was, and that of the others at the same hours."""
    return _peers("peers", whole(of))


def peers_close_up(of: Reconstruction) -> Chart | None:
    """The same around the main excursion."""
    extent = spans.around_the_main_excursion(of)
    return _peers("peers-close-up", extent) if extent else None


def _peers(name: str, extent: Extent) -> Chart | None:
    others = extent.others
    if others["median"].is_null().all():
        return None
    own = extent.log.with_columns(deviation=pl.col("controlling_air") - pl.col("set_point"))
    with house_style(name):
        sheet = Sheet()
        axes = sheet.panel(115, extent.start, extent.end, labels=False)
        axes.set_ylabel("Above set point, K")
        axes.axhline(0, color=SOFT, lw=0.7)
        sheet.legend += _own_air(axes, extent, own, "deviation", "This unit")
        sheet.legend += _line(axes, extent, others, "median", "Others, median", _OTHERS)
        band = "Others, 10th to 90th percentile"
        sheet.legend += _filled(axes, extent, others, "low", "high", band, _OTHERS)
        axes.margins(y=0.12)
        sheet.legend += _silences(axes, extent)
        below = sheet.panel(36, extent.start, extent.end)
        below.set_ylabel("Others")
        sheet.legend += _line(below, extent, others, "units", "Others logged (below)", _BAND)
        outside = "Of these, outside their band (below)"
        sheet.legend += _line(below, extent, others, "outside", outside, _FOUR[0])
        below.set_ylim(0, 1.2 * np.nanmax([1.0, *_numbers(others["units"])]))
        caption = (
            "This unit’s controlling air above its set point, and that of the other units of its class on "
            f"the voyage at the same hours, {extent.words}."
        )
        ranges = [_range("This unit", own["deviation"], "K"), _range("Others’ median", others["median"], "K")]
        return Chart(sheet.svg(f"{caption} {'; '.join(ranges)}."), caption)


def _range(label: str, values: pl.Series, unit: str) -> str:
    known = _numbers(values.drop_nulls())
    if len(known) == 0:
        return f"{inside_a_sentence(label)} without readings"
    return f"{inside_a_sentence(label)} {number(known.min(), 1)} to {number(known.max(), 1, unit)}"


def _marked(extent: Extent) -> str:
    outside, silent = extent.within(extent.of.excursions).height, len(spans.silences(extent))
    main = main_excursion(extent.of)
    said = f"Stretches outside the band: {outside}. Stretches without readings: {silent}."
    if main is None:
        return said
    return f"{said} The main excursion runs from {moment(main['start'])} to {moment(main['end'])} UTC."
