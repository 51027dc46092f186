"""One chart a unit: the air temperatures, what the unit was doing, and the excursions.

A figure leaves here as compact JSON. Times are whole seconds from ``layout.meta``, the start of the unit's
log, as 32-bit numbers; the page's script turns them into UTC dates when the chart is drawn.
"""

from __future__ import annotations

import json
from datetime import datetime
from itertools import pairwise
from typing import Any

import numpy as np
import plotly.graph_objects as go
import polars as pl
from numpy.typing import NDArray
from tsdownsample import MinMaxLTTBDownsampler

from coldsift.schema import CHANNELS

LINE_POINTS = 600
"""Most points drawn of one line; more would not be seen."""

GAP_FACTOR = 2.5
"""A line breaks where its next reading is later than this many of its own usual steps."""

Seconds = NDArray[np.int64]
Values = NDArray[np.float32]
Trace = dict[str, Any]

# Mid tones: each keeps a contrast of 3:1 or better on the light and on the dark page.
_LINES: dict[str, dict[str, Any]] = {
    "set_point": {"color": "#7a7f87", "width": 2.5},
    "ambient_air": {"color": "#3a8f57", "width": 1.2, "dash": "dot"},
    "return_air": {"color": "#c4621a", "width": 2.2},
    "supply_air": {"color": "#2b7cd3", "width": 1.4},
}
_BAND = {"color": "#8b6fc4", "width": 1.2, "dash": "dash"}
_EXCURSION = "#d1383d"
_SHADES = {
    "defrost": ("Defrost", "#2b9fb5", "/"),
    "off": ("Power off", "#7a7f87", "x"),
    "unknown": ("No usable readings", "#9a8450", "."),
}
_STEPPED = ("set_point", "band_low", "band_high")
_THINNER = MinMaxLTTBDownsampler()  # type: ignore[no-untyped-call]

COLUMNS = ("container", "time", "gap", "regime", "controlling_air", "band_low", "band_high", *_LINES)
"""Columns of the timeline that the chart reads."""


def unit_chart(log: pl.DataFrame, excursions: pl.DataFrame, defrosts: pl.DataFrame) -> str:
    """Draw one unit.

    Parameters
    ----------
    log
        The unit's timeline, sorted by time: at least :data:`COLUMNS`. [°C, UTC]
    excursions, defrosts
        The unit's rows of these tables.

    Returns
    -------
    str
        The figure as JSON that is safe inside a script element; empty when there is nothing to draw.
    """
    if log.height < 2:
        return ""
    start: datetime = log["time"][0]
    seconds = _seconds(log["time"], start)
    gap = log["gap"].fill_null(False).to_numpy()
    traces = [
        *_shading(log, defrosts, start),
        *_band(log, seconds, gap),
        *(
            trace
            for name, line in _LINES.items()
            for trace in _line(name, CHANNELS[name].label, line, seconds, log[name], gap)
        ),
        *_excursion_marks(log, excursions, start),
    ]
    if not any(trace.get("yaxis") == "y2" for trace in traces):
        return ""
    figure = go.Figure(data=traces, layout=_layout(start, int(seconds[-1])))
    return script_safe(figure.to_dict())


def thinned(seconds: Seconds, values: Values, points: int) -> NDArray[np.int64]:
    """Indices of the readings to draw of one unbroken stretch; both extremes are always among them.

    Parameters
    ----------
    seconds, values
        Times and readings, same length, no nulls.
    points
        Most points wanted, apart from the two extremes.
    """
    if len(values) <= points:
        return np.arange(len(values))
    even = max(points // 2 * 2, 4)
    chosen = _THINNER.downsample(seconds, values, n_out=even).astype(np.int64)
    return np.unique(np.append(chosen, [values.argmin(), values.argmax()]))


def stretches(seconds: Seconds, gap_after: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """Unbroken stretches (first, one past last) of a line's readings.

    Parameters
    ----------
    seconds
        Times of the line's own readings.
    gap_after
        True where the log is broken between this reading and the next.
    """
    if len(seconds) == 0:
        return []
    steps = np.diff(seconds)
    usual = np.median(steps) if len(steps) else 0
    breaks = np.flatnonzero(gap_after[:-1] | (steps > GAP_FACTOR * usual)) + 1
    edges = [0, *breaks.tolist(), len(seconds)]
    return list(pairwise(edges))


def _seconds(times: pl.Series, start: datetime) -> Seconds:
    return (times - start).dt.total_seconds().to_numpy()


def _line(
    name: str,
    label: str,
    line: dict[str, Any],
    seconds: Seconds,
    column: pl.Series,
    gap: NDArray[np.bool_],
) -> list[Trace]:
    """One line, broken where readings are missing; readings that stand alone become dots."""
    readings = column.to_numpy().astype(np.float64)
    known = np.flatnonzero(np.isfinite(readings))
    if len(known) == 0:
        return []
    # A gap anywhere between two readings of this line breaks it, not only one right after the first.
    gaps_before = np.concatenate([[0], np.cumsum(gap)])
    gap_after = np.append(gaps_before[known[1:]] > gaps_before[known[:-1]], True)
    times, values = seconds[known], readings[known].astype(np.float32)
    xs: list[Seconds] = []
    ys: list[Values] = []
    alone: list[int] = []
    for first, end in stretches(times, gap_after):
        if end - first == 1:
            alone.append(first)
            continue
        part = np.arange(first, end)
        if name in _STEPPED:
            part = part[_corners(values[part])]
        share = max(LINE_POINTS * (end - first) // len(times), 8)
        part = part[thinned(times[part], values[part], share)]
        xs += [times[part], times[part[-1:]]]
        ys += [values[part], np.array([np.nan], dtype=np.float32)]
    shape = "hv" if name in _STEPPED else "linear"
    common = {
        "name": label,
        "legendgroup": "Band" if name.startswith("band_") else label,
        "yaxis": "y2",
        "hovertemplate": "%{y:.1f} °C",
    }
    traces = []
    if xs:
        traces.append(
            dict(
                type="scatter",
                x=np.concatenate(xs).astype(np.uint32),
                y=np.concatenate(ys),
                mode="lines",
                line={**line, "shape": shape},
                **common,
            )
        )
    if alone:
        traces.append(
            dict(
                type="scatter",
                x=times[alone].astype(np.uint32),
                y=values[alone],
                mode="markers",
                marker={"color": line["color"], "size": 5},
                **common,
            )
        )
    return traces


def _corners(values: Values) -> NDArray[np.int64]:
    """Where a stepped line changes, and its two ends."""
    changed = np.append(True, values[1:] != values[:-1])
    changed[-1] = True
    return np.flatnonzero(changed)


def _band(log: pl.DataFrame, seconds: Seconds, gap: NDArray[np.bool_]) -> list[Trace]:
    return [
        trace
        for name, edge in (("band_high", "upper"), ("band_low", "lower"))
        for trace in _line(name, f"Band, {edge} edge", _BAND, seconds, log[name], gap)
    ]


def _shading(log: pl.DataFrame, defrosts: pl.DataFrame, start: datetime) -> list[Trace]:
    """Defrosts, power off and missing readings as shaded spans of different pattern."""
    steps = (
        log.lazy()
        .select(
            start="time",
            end=pl.col("time").shift(-1),
            kind=pl.when(pl.col("gap")).then(pl.lit("unknown")).otherwise(pl.col("regime").cast(pl.String)),
        )
        .with_columns(run=pl.col("kind").rle_id())
        .drop_nulls("end")
        .group_by("run", maintain_order=True)
        .agg(pl.col("start").first(), pl.col("end").last(), pl.col("kind").first())
        .collect()
    )
    spans = {
        "defrost": defrosts.select("start", "end"),
        "off": steps.filter(pl.col("kind") == "off"),
        "unknown": steps.filter(pl.col("kind") == "unknown"),
    }
    return [
        _bars(spans[kind], start, label, color, pattern)
        for kind, (label, color, pattern) in _SHADES.items()
        if spans[kind].height
    ]


def _bars(spans: pl.DataFrame, start: datetime, label: str, color: str, pattern: str) -> Trace:
    first, last = _seconds(spans["start"], start), _seconds(spans["end"], start)
    return {
        "type": "bar",
        "name": label,
        "legendgroup": label,
        "x": np.maximum(first, 0).astype(np.uint32),
        "width": ((last - np.maximum(first, 0)) * 1000).astype(np.float32),
        "y": np.ones(len(first), dtype=np.uint8),
        "offset": 0,
        "marker": {
            "color": color,
            "opacity": 0.5,
            "line": {"width": 0},
            "pattern": {"shape": pattern, "size": 6, "solidity": 0.35},
        },
        "hoverinfo": "skip",
    }


def _excursion_marks(log: pl.DataFrame, excursions: pl.DataFrame, start: datetime) -> list[Trace]:
    """A bar along the top over each excursion and a triangle at its peak."""
    if excursions.is_empty():
        return []
    first, last = _seconds(excursions["start"], start), _seconds(excursions["end"], start)
    first = np.maximum(first, 0)
    strip = {
        "type": "bar",
        "name": "Excursion",
        "legendgroup": "Excursion",
        "x": first.astype(np.uint32),
        "width": ((last - first) * 1000).astype(np.float32),
        "y": np.full(len(first), 0.03, dtype=np.float32),
        "base": 0.97,
        "offset": 0,
        "marker": {"color": _EXCURSION, "line": {"width": 1, "color": _EXCURSION}},
        "hoverinfo": "skip",
    }
    # The table has the peak, not its time: mark the reading that comes nearest to it.
    nearest = (
        log.select("time", "controlling_air")
        .drop_nulls()
        .join_where(
            excursions.select("start", "end", "peak").drop_nulls("peak"),
            pl.col("time") >= pl.col("start"),
            pl.col("time") <= pl.col("end"),
        )
        .sort("start", (pl.col("controlling_air") - pl.col("peak")).abs(), "time")
        .unique("start", keep="first", maintain_order=True)
    )
    if nearest.is_empty():
        return [strip]
    mark = {
        "type": "scatter",
        "name": "Excursion peak",
        "legendgroup": "Excursion",
        "yaxis": "y2",
        "x": _seconds(nearest["time"], start).astype(np.uint32),
        "y": nearest["peak"].to_numpy().astype(np.float32),
        "mode": "markers",
        "marker": {"color": _EXCURSION, "size": 11, "symbol": "triangle-down", "line": {"width": 1}},
        "hovertemplate": "%{y:.1f} °C",
    }
    return [strip, mark]


def _layout(start: datetime, last: int) -> dict[str, Any]:
    axis = {"showgrid": True, "zeroline": False, "automargin": True, "gridcolor": "#88888844"}
    days = {"dtickrange": [12 * 3600 * 1000, None], "value": "%-d %b\n%Y"}
    hours = {"dtickrange": [None, 12 * 3600 * 1000], "value": "%H:%M\n%-d %b %Y"}
    return {
        "template": {},
        "meta": {"start": start.strftime("%Y-%m-%dT%H:%M:%SZ"), "last": last},
        "height": 360,
        "margin": {"l": 4, "r": 4, "t": 30, "b": 4},
        "font": {"family": "system-ui, sans-serif", "size": 12},
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "hovermode": "x unified",
        "hoverdistance": 8,
        "hoverlabel": {"font": {"size": 11}},
        "barmode": "overlay",
        "showlegend": False,
        "xaxis": {
            **axis,
            "type": "date",
            "anchor": "y2",
            "hoverformat": "%Y-%m-%d %H:%M UTC",
            "tickformatstops": [hours, days],
        },
        # Shading lies on its own axis from 0 to 1 underneath; the temperatures overlay it.
        "yaxis": {"range": [0, 1], "fixedrange": True, "visible": False},
        "yaxis2": {**axis, "overlaying": "y", "side": "left", "tickmode": "auto", "title": {"text": "°C"}},
    }


def script_safe(figure: dict[str, Any]) -> str:
    """JSON in which nothing can end the script element it stands in."""
    text = json.dumps(figure, ensure_ascii=True, separators=(",", ":"), sort_keys=True)
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")
