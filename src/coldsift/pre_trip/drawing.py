"""Small drawings of a page without scripts: the air of an inspection, and where a value lies in its band."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
import polars as pl
from markupsafe import Markup, escape

from coldsift.report.thinning import LINE_POINTS, thinned

LINES = (
    ("ambient_air", "Ambient air"),
    ("return_air", "Return air"),
    ("supply_air", "Supply air"),
    ("set_point", "Set point"),
)
"""Drawn from below to above."""

HEIGHT = 230.0
LEFT, RIGHT, TOP, BOTTOM = 34.0, 8.0, 20.0, 24.0
"""Room round the curves, for labels. [px]"""

Scale = Callable[[float], float]
"""From hours or °C to a place on the drawing. [px]"""

_NARROWEST_NUMBER = 13.0
_BAR_WIDTH, _BAR_HEIGHT = 120.0, 18.0
_BAR_ENDS = 5.0


@dataclass(frozen=True, slots=True)
class Stretch:
    """An unbroken stretch of one phase, as it is numbered in the drawing."""

    number: int
    phase: str
    start: datetime
    end: datetime


def air_chart(timeline: pl.DataFrame, stretches: Sequence[Stretch], width: float, says: str) -> Markup:
    """Draw set point, supply, return and ambient air over hours since the start, the phases shaded.

    Parameters
    ----------
    timeline
        Readings of one box.
    stretches
        Its phases.
    width
        Of the drawing. [px]
    says
        The drawing in words.
    """
    start, end = timeline["time"][0], timeline["time"][-1]
    hours = max((end - start) / timedelta(hours=1), 0.1)
    known = timeline.select(name for name, _ in LINES).unpivot()["value"].drop_nulls()
    low, high = (float(known.min()), float(known.max())) if len(known) else (0.0, 1.0)  # type: ignore[arg-type]
    step = 10.0 if high - low > 25 else 5.0
    low, high = np.floor(low / step) * step, np.ceil(high / step) * step
    high = high if high > low else low + step

    def across(hour: float) -> float:
        return float(LEFT + (width - LEFT - RIGHT) * hour / hours)

    def up(value: float) -> float:
        return float(TOP + (HEIGHT - TOP - BOTTOM) * (high - value) / (high - low))

    parts = [*_shades(stretches, start, across), *_axes(hours, low, high, step, width, across, up)]
    for column, _ in LINES:
        parts.append(f'<path class="line {column}" d="{_path(timeline, column, start, across, up)}"/>')
    return Markup(
        f'<svg class="air-chart" role="img" viewBox="0 0 {width:g} {HEIGHT:g}" '
        f'aria-label="{escape(says)}">{"".join(parts)}</svg>'
    )


def _shades(stretches: Sequence[Stretch], start: datetime, across: Scale) -> Iterator[str]:
    for stretch in stretches:
        left, right = (across((time - start) / timedelta(hours=1)) for time in (stretch.start, stretch.end))
        yield (
            f'<rect class="shade {stretch.phase}" x="{left:.1f}" y="{TOP:g}" '
            f'width="{max(right - left, 0.5):.1f}" height="{HEIGHT - TOP - BOTTOM:g}"/>'
        )
        if right - left >= _NARROWEST_NUMBER:
            middle = (left + right) / 2
            yield f'<text class="stretch" x="{middle:.1f}" y="{TOP - 6:g}">{stretch.number}</text>'


def _axes(
    hours: float, low: float, high: float, step: float, width: float, across: Scale, up: Scale
) -> Iterator[str]:
    for value in np.arange(low, high + step / 2, step):
        level = up(value)
        zero = " zero" if value == 0 else ""
        yield f'<path class="grid{zero}" d="M{LEFT:g} {level:.1f}H{width - RIGHT:g}"/>'
        text = f"{value:g}".replace("-", "−")
        yield f'<text class="level" x="{LEFT - 5:g}" y="{level + 4:.1f}">{text}</text>'
    most = (width - LEFT - RIGHT) / 44
    every = next((each for each in (0.5, 1, 2, 4, 6, 12) if hours / each <= most), 24)
    for hour in np.arange(0, hours + 1e-9, every):
        place = across(hour)
        yield f'<path class="tick" d="M{place:.1f} {HEIGHT - BOTTOM:g}v4"/>'
        yield f'<text class="hour" x="{place:.1f}" y="{HEIGHT - BOTTOM + 16:g}">{hour:g} h</text>'


def _path(timeline: pl.DataFrame, column: str, start: datetime, across: Scale, up: Scale) -> str:
    """The curve as a path, broken where readings are missing."""
    rows = timeline.select("time", "gap", value=pl.col(column).cast(pl.Float64))
    stepped = column == "set_point"
    moves = []
    broken = True
    piece: list[tuple[float, float]] = []
    pieces: list[list[tuple[float, float]]] = []
    for time, gap, value in rows.iter_rows():
        if value is None or broken:
            piece = []
            pieces.append(piece)
        broken = value is None or bool(gap)
        if value is not None:
            piece.append(((time - start) / timedelta(hours=1), value))
    for points in filter(None, pieces):
        seconds = np.array([round(3600 * hour) for hour, _ in points], dtype=np.int64)
        kept = thinned(seconds, np.array([value for _, value in points], dtype=np.float32), LINE_POINTS)
        last = None
        for index in kept:
            x, y = across(points[index][0]), up(points[index][1])
            if last is None:
                moves.append(f"M{x:.1f} {y:.1f}")
            elif stepped:
                if y != last or index == kept[-1]:
                    moves.append(f"H{x:.1f}V{y:.1f}")
            else:
                moves.append(f"L{x:.1f} {y:.1f}")
            last = y
    return "".join(moves)


def band_bar(value: float | None, low: float | None, high: float | None) -> Markup | None:
    """Draw where a value lies in its band; beyond the drawing's ends it stands at them as an arrow.

    Returns
    -------
    markupsafe.Markup or None
        None without a value or without a band.
    """
    if value is None or (low is None and high is None):
        return None
    if low is not None and high is not None:
        room = 0.4 * (high - low)
        first, last = low - room, high + room
    else:
        edge = low if low is not None else high
        assert edge is not None
        room = max(abs(edge), 1e-6)
        first, last = (
            (min(edge - room, value, 0.0), edge + 0.5 * room)
            if high is not None
            else (edge - 0.5 * room, edge + 1.5 * room)
        )

    def across(number: float) -> float:
        share = min(max((number - first) / (last - first), 0.0), 1.0)
        return _BAR_ENDS + (_BAR_WIDTH - 2 * _BAR_ENDS) * share

    left = across(low) if low is not None else _BAR_ENDS
    right = across(high) if high is not None else _BAR_WIDTH - _BAR_ENDS
    middle = _BAR_HEIGHT / 2
    at = across(value)
    if value > last:
        mark = f"M{at - 5:.1f} {middle - 5:g}l9 5-9 5z"
    elif value < first:
        mark = f"M{at + 5:.1f} {middle - 5:g}l-9 5 9 5z"
    else:
        mark = f"M{at:.1f} {middle - 6:g}l4.5 6-4.5 6-4.5-6z"
    edges = "".join(
        f'<path class="edge" d="M{place:.1f} {middle - 6:g}v12"/>'
        for place, given in ((left, low), (right, high))
        if given is not None
    )
    return Markup(
        f'<svg class="bar" aria-hidden="true" viewBox="0 0 {_BAR_WIDTH:g} {_BAR_HEIGHT:g}">'
        f'<path class="rail" d="M{_BAR_ENDS:g} {middle:g}H{_BAR_WIDTH - _BAR_ENDS:g}"/>'
        f'<rect class="inside" x="{left:.1f}" y="{middle - 4:g}" '
        f'width="{max(right - left, 1):.1f}" height="8"/>'
        f'{edges}<path class="at" d="{mark}"/></svg>'
    )
