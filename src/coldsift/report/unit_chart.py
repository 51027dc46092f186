"""The chart of one unit: all that it logged, panel by panel over one time axis.

Goes in: the unit's timeline, what like units did, its excursions and defrosts, and what people noted. Comes
out: a packed figure, with no looks in it and nothing converted; templates/charts.js draws it. Every reading
is in it, unless a line has more than ``MOST_READINGS``; what is drawn at each zoom, the browser decides.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray

from coldsift.report.packing import Numbers, Place
from coldsift.report.thinning import broken_after, pieces, stretches
from coldsift.report.words import plain, visible
from coldsift.schema import CHANNELS, INSIDE_UNIT, REGIMES, Quantity

MOST_READINGS = 6000
"""A line with more readings is thinned to about this many: 60 days of a reading every 15 minutes are 5760."""

MOST_ALARM_ROWS = 12
"""Alarm texts with a row of their own, those that stood longest; all others share one more row."""

MOST_ALARMS_LISTED = 100
"""Alarm texts of the shared row that the list beneath the chart names."""

MOST_MODES = 30
"""Modes that are named, the commonest; what is not shows as one of many others."""

LONGEST_TEXT = 300
"""A longer text of a log or note is cut, and says so. [characters]"""

RELATIVE_RESOLUTION = 0.001
"""Numbers that no short decimal holds are kept to this share of their panel's range, or finer."""

MOST_DIGITS = 3


@dataclass(frozen=True, slots=True)
class Panel:
    """Lines drawn together, all in one unit of measure; ``beside`` are there for comparison only."""

    key: str
    title: str
    channels: tuple[str, ...]
    beside: tuple[str, ...] = ()


PANELS = (
    Panel("air", "Air in the box", ("set_point", "supply_air", "return_air", "band_low", "band_high")),
    Panel("ambient", "Ambient air", ("ambient_air",)),
    Panel("cargo", "Cargo probes", tuple(f"cargo_probe_{number}" for number in range(1, 5))),
    Panel("pressures", "Refrigerant pressures", ("suction_pressure", "discharge_pressure")),
    Panel(
        "circuit",
        "Refrigerant temperatures",
        (
            "evaporating",
            "condensing",
            "suction_temperature",
            "discharge_temperature",
            "evaporator_temperature",
        ),
        beside=("return_air", "ambient_air"),
    ),
    Panel("superheat", "Superheat", ("superheat",)),
    Panel("valves", "Valves", ("expansion_valve_opening", "economizer_valve", "hot_gas_valve")),
    Panel("fans", "Fans", ("evaporator_fan_speed", "condenser_fan_speed")),
    Panel("speed", "Compressor speed", ("compressor_frequency",)),
    Panel("current", "Current by phase", ("current_1", "current_2", "current_3")),
    Panel("power", "Power", ("power",)),
    Panel("voltage", "Voltage", ("voltage_1", "voltage_2", "voltage_3")),
    Panel("supply", "Supply frequency", ("frequency",)),
    Panel("humidity", "Humidity", ("humidity", "humidity_set_point")),
    Panel("atmosphere", "Atmosphere", ("oxygen", "carbon_dioxide")),
    Panel("vent", "Fresh-air vent", ("fresh_air_vent",)),
)
"""From what the cargo feels to what the supply gives."""

STEPPED = ("set_point", "band_low", "band_high", "humidity_set_point", "fresh_air_vent")
"""Stay as they are until they are changed."""

ABOVE_SET_POINT = ("supply_air", "return_air")
"""Like units' values of these are differences from the set point. [K]"""

DERIVED = {
    "evaporating": "Saturated suction",
    "condensing": "Saturated discharge",
    "band_low": "Band, lower edge",
    "band_high": "Band, upper edge",
}
"""Lines that are temperatures, but no channels of the log."""

STATES = ("compressor_state", "heater_state", "defrost_state", "power_state")

ON_OR_OFF = ("economizer_valve", "hot_gas_valve", "evaporator_fan_speed", "condenser_fan_speed")
"""Shown as states when they are never anything between shut and open, or standing and at full speed."""

KINDS = {
    "excursion": "Excursion",
    "initial_warm_load": "First pull-down",
    "after_set_point_change": "After a set-point change",
    "possible_excursion": "Possible excursion",
}

REGIME_NAMES = {name: plain(name).capitalize() for name in REGIMES} | {
    "off": "Power off",
    "unknown": "No usable readings",
}

WORDS = tuple(
    dict.fromkeys(
        [
            *(panel.title for panel in PANELS),
            *(CHANNELS[name].label for panel in PANELS for name in panel.channels if name in CHANNELS),
            *(CHANNELS[name].label for name in STATES),
            *DERIVED.values(),
            *KINDS.values(),
            *REGIME_NAMES.values(),
            *filter(None, INSIDE_UNIT.values()),
        ]
    )
)
"""Every word that a figure brings along and the reader sees, in English."""

_UNKNOWN = REGIMES.index("unknown")

Seconds = NDArray[np.int64]
Values = NDArray[np.float64]
Codes = NDArray[np.int64]
Spans = tuple[Seconds, Seconds, Codes]
"""Starts, ends and codes of stretches of time."""


@dataclass(frozen=True, slots=True)
class _Clock:
    """Times of the log's readings in whole seconds since ``start``, and until when each of them holds."""

    start: datetime
    seconds: Seconds
    until: Seconds
    gap: NDArray[np.bool_]

    def since(self, times: pl.Series) -> Seconds:
        return (times - self.start).dt.total_seconds().to_numpy()


@dataclass(frozen=True, slots=True)
class _Band:
    """Range of like units: times [s since the log's start], units behind it; low, middle and high edge."""

    times: Seconds
    units: NDArray[np.int64]
    edges: Values


def unit_chart(
    log: pl.DataFrame,
    peers: pl.DataFrame,
    excursions: pl.DataFrame,
    defrosts: pl.DataFrame,
    notes: pl.DataFrame,
) -> str:
    """Pack what there is to draw of one unit.

    Parameters
    ----------
    log
        The unit's timeline, sorted by time: channels of the common log in their units, ``regime``,
        ``controlling_air``, ``band_low``, ``band_high`` [°C] and ``gap``; ``evaporating`` and ``condensing``
        [°C] where pressures are logged. Columns may be absent.
    peers
        :data:`coldsift.schema.PEER_BANDS` of the unit's group; may be empty.
    excursions, defrosts, notes
        The unit's rows of these tables.

    Returns
    -------
    str
        Safe inside a script element; empty when there is nothing to draw. The same input gives the same text.
    """
    if log.height < 2:
        return ""
    numbers = Numbers()
    clock = _clock(log)
    readings = _readings(log)
    switched = {name: readings.pop(name) for name in ON_OR_OFF if _is_on_or_off(readings.get(name))}
    states = [*_states(log, switched, clock, numbers)]
    if not readings and not states:
        return ""
    bands = _bands(peers, readings.get("set_point"), clock)
    lines: list[dict[str, Any]] = []
    panels = []
    places: dict[str, int] = {}
    for panel in PANELS:
        shown = {name: readings[name] for name in panel.channels if name in readings}
        if not shown:
            continue
        span = _span(shown.values())
        for name, values in shown.items():
            places[name] = len(lines)
            lines.append(_line(name, values, span, bands.get(name), clock, numbers))
        panels.append(
            {
                "key": panel.key,
                "title": panel.title,
                "lines": [places[name] for name in shown],
                "beside": [places[name] for name in panel.beside if name in places],
            }
        )
    return numbers.packed(
        {
            "container": visible(str(log["container"][0])),
            "start": int(clock.start.timestamp() * 1000),
            "end": int(clock.until[-1]),
            "rows": numbers.add(clock.seconds),
            "panels": panels,
            "lines": lines,
            "regimes": _regimes(log, clock, numbers),
            "defrosts": _defrosts(defrosts, clock, numbers),
            "states": states,
            "mode": _mode(log, clock, numbers),
            "alarms": _alarms(log, clock, numbers),
            "excursions": _excursions(log, excursions, clock),
            "notes": _notes(notes, clock),
        }
    )


def _clock(log: pl.DataFrame) -> _Clock:
    start: datetime = log["time"][0]
    seconds: Seconds = (log["time"] - start).dt.total_seconds().to_numpy()
    gap = log["gap"].fill_null(False).to_numpy()
    usual = int(np.median(np.diff(seconds)))
    following = np.append(seconds[1:], seconds[-1] + usual)
    return _Clock(start, seconds, np.where(gap, seconds + usual, following), gap)


def _readings(log: pl.DataFrame) -> dict[str, Values]:
    """Columns with readings, missing ones as NaN."""
    names = [name for panel in PANELS for name in panel.channels if name in log.columns]
    columns = log.select(pl.col(names).cast(pl.Float64)).to_numpy().T
    return {name: own for name, own in zip(names, columns, strict=True) if np.isfinite(own).any()}


def _is_on_or_off(values: Values | None) -> bool:
    return values is not None and bool(((values == 0) | (values == 100) | ~np.isfinite(values)).all())


def _span(lines: Iterable[Values]) -> float:
    """Range of all readings of a panel."""
    known = [values[np.isfinite(values)] for values in lines]
    return float(max(map(np.max, known)) - min(map(np.min, known)))


def _line(
    name: str,
    values: Values,
    span: float,
    band: _Band | None,
    clock: _Clock,
    numbers: Numbers,
) -> dict[str, Any]:
    """One line: what it is, its readings, where it breaks, and what there is to say about all of them."""
    known = np.flatnonzero(np.isfinite(values))
    own, seconds = values[known], clock.seconds[known]
    digits, exact = _resolution(own, span)
    crowded = len(known) > MOST_READINGS
    gap_after = broken_after(known, clock.gap)
    parts = pieces(seconds, own, gap_after, MOST_READINGS, stepped=crowded and name in STEPPED)
    chosen = np.concatenate(parts)
    channel = CHANNELS.get(name)
    quantity = channel.quantity if channel else Quantity.TEMPERATURE
    rounded = np.rint(own * 10**digits).astype(np.int64)
    line: dict[str, Any] = {
        "name": name,
        "label": channel.label if channel else DERIVED[name],
        "quantity": quantity.value,
        "unit": INSIDE_UNIT[quantity],
        "scale": 10**digits,
        # The last digit of a number that its decimals do not hold tells nothing.
        "digits": digits if exact else digits - 1,
        "stepped": name in STEPPED,
        "values": numbers.add(rounded[chosen]),
        "breaks": numbers.add(np.cumsum([len(part) for part in parts])[:-1]),
        "numbers": [own[0], own[-1], own.min(), own.max(), float(np.median(own)), len(own)],
    }
    if len(chosen) < len(values):
        line["rows"] = numbers.add(known[chosen])
    if band is not None:
        line["peers"] = _packed_band(band, 10**digits, numbers)
    return line


def _resolution(values: Values, span: float) -> tuple[int, bool]:
    """Decimals that hold the values, and whether they hold them all; no more than their panel shows."""
    for digits in range(MOST_DIGITS + 1):
        scaled = values * 10**digits
        if np.abs(scaled - np.rint(scaled)).max() < 1e-6:
            return digits, True
        if digits > 1 and 10.0**-digits <= RELATIVE_RESOLUTION * span:
            return digits, False
    return MOST_DIGITS, False


def _bands(peers: pl.DataFrame, set_point: Values | None, clock: _Clock) -> dict[str, _Band]:
    """What like units did while this one logged; differences from the set point on the unit's own one."""
    logged = pl.col("time").is_between(clock.start, clock.start + timedelta(seconds=int(clock.seconds[-1])))
    peers = peers.lazy().filter(logged).sort("channel", "time").collect()
    times, units = clock.since(peers["time"]), peers["units"].to_numpy()
    edges = peers.select("low", "middle", "high").to_numpy().T
    own = np.full(len(times), np.nan)
    if set_point is not None:
        known = np.flatnonzero(np.isfinite(set_point))
        before = np.searchsorted(clock.seconds[known], times, side="right") - 1
        own = set_point[known[np.maximum(before, 0)]]
    bands = {}
    first = 0
    for name, count in peers["channel"].rle().struct.unnest().select("value", "len").iter_rows():
        part = slice(first, first := first + count)
        above = own[part] if name in ABOVE_SET_POINT else 0.0
        if np.isfinite(above).all():
            bands[name] = _Band(times[part], units[part], edges[:, part] + above)
    return bands


def _packed_band(band: _Band, scale: int, numbers: Numbers) -> dict[str, Place]:
    edges = stretches(band.times, np.zeros(len(band.times), dtype=np.bool_))
    low, middle, high = (numbers.add(np.rint(edge * scale).astype(np.int64)) for edge in band.edges)
    return {
        "times": numbers.add(band.times),
        "breaks": numbers.add(np.array([first for first, _ in edges[1:]], dtype=np.int64)),
        "units": numbers.add(band.units),
        "low": low,
        "middle": middle,
        "high": high,
    }


def _spans(codes: Codes, clock: _Clock) -> Spans:
    """Every stretch of one code; codes below zero are left out."""
    first = np.flatnonzero(np.append(True, (codes[1:] != codes[:-1]) | clock.gap[:-1]))
    last = np.append(first[1:], len(codes)) - 1
    kept = codes[first] >= 0
    return clock.seconds[first[kept]], clock.until[last[kept]], codes[first[kept]]


def _packed_spans(spans: Spans, numbers: Numbers) -> dict[str, Place]:
    start, end, codes = spans
    return {
        "starts": numbers.add(start),
        "lengths": numbers.add(end - start),
        "codes": numbers.add(codes),
    }


def _regimes(log: pl.DataFrame, clock: _Clock, numbers: Numbers) -> dict[str, Any]:
    """What the unit was doing; missing readings are unknown."""
    codes = log["regime"].to_physical().cast(pl.Int64).fill_null(_UNKNOWN).to_numpy()
    start, end, codes = _spans(codes, clock)
    missing = np.flatnonzero(clock.gap[:-1])
    start = np.concatenate([start, clock.until[missing]])
    end = np.concatenate([end, clock.seconds[missing + 1]])
    codes = np.concatenate([codes, np.full(len(missing), _UNKNOWN)])
    order = np.argsort(start, kind="stable")
    hours = np.bincount(codes, weights=end - start, minlength=len(REGIMES)) / 3600
    return {
        "keys": REGIMES,
        "names": [REGIME_NAMES[name] for name in REGIMES],
        "hours": hours.round(2).tolist(),
        **_packed_spans((start[order], end[order], codes[order]), numbers),
    }


def _defrosts(defrosts: pl.DataFrame, clock: _Clock, numbers: Numbers) -> dict[str, Any]:
    """Each defrost: warmest coil reading in it [°C], and whether it had a proper end."""
    start, end = clock.since(defrosts["start"]), clock.since(defrosts["end"])
    return {
        "coil": defrosts["termination_temperature"].round(1).to_list(),
        "terminated": defrosts["terminated"].to_list(),
        **_packed_spans((start, end, np.zeros_like(start)), numbers),
    }


def _states(
    log: pl.DataFrame, switched: Mapping[str, Values], clock: _Clock, numbers: Numbers
) -> Iterable[dict[str, Any]]:
    """Rows that are on or off."""
    names = [name for name in STATES if name in log.columns]
    logged = log.select(pl.col(names).cast(pl.Int64).fill_null(-1)).to_numpy().T
    columns = dict(zip(names, logged, strict=True))
    columns |= {name: np.where(np.isfinite(own), (own > 0).astype(int), -1) for name, own in switched.items()}
    for name, codes in columns.items():
        if (codes < 0).all():
            continue
        start, end, on = spans = _spans(codes, clock)
        yield {
            "label": CHANNELS[name].label,
            "valve": name.endswith("_valve"),
            "hours": round(float((end - start)[on == 1].sum()) / 3600, 2),
            **_packed_spans(spans, numbers),
        }


def _mode(log: pl.DataFrame, clock: _Clock, numbers: Numbers) -> dict[str, Any] | None:
    """The mode as the unit logged it, the commonest first."""
    if "mode" not in log.columns or log["mode"].null_count() == len(log):
        return None
    names = (
        log["mode"]
        .drop_nulls()
        .value_counts(sort=True)
        .sort("count", "mode", descending=[True, False])["mode"]
    )
    codes = log["mode"].replace_strict(names, pl.int_range(len(names), eager=True), default=-1)
    spans = _spans(np.minimum(codes.cast(pl.Int64).to_numpy(), MOST_MODES), clock)
    shown = [_shown(name) for name in names.head(MOST_MODES)]
    return {"names": shown, **_packed_spans(spans, numbers)}


def _alarms(log: pl.DataFrame, clock: _Clock, numbers: Numbers) -> dict[str, Any]:
    """Alarm texts by the hours they stood, the longest first."""
    if "alarms" not in log.columns:
        return {"rows": [], "others": [], "unlisted": 0}
    said = (
        log.lazy()
        .select(pl.int_range(pl.len()).alias("row"), pl.col("alarms").alias("text"))
        .explode("text", empty_as_null=True, keep_nulls=True)
        .filter(pl.col("text").str.strip_chars() != "")
        .unique()
        .with_columns(held=pl.lit(pl.Series(clock.until - clock.seconds)).gather("row"))
        .with_columns(hours=pl.col("held").sum().over("text") / 3600)
        .sort("hours", "text", "row", descending=[True, False, False])
        .with_columns(place=pl.col("text").rle_id().cast(pl.Int64))
        .collect()
    )
    texts = said.unique("place", maintain_order=True).select("text", "hours").rows()
    place, row = said["place"].to_numpy(), said["row"].cast(pl.Int64).to_numpy()
    rows = []
    for own, (text, hours) in enumerate(texts[:MOST_ALARM_ROWS]):
        spans = _spans(_standing(row[place == own], len(log)), clock)
        rows.append({"text": _shown(text), "hours": round(hours, 2), **_packed_spans(spans, numbers)})
    others = texts[MOST_ALARM_ROWS:]
    packed: dict[str, Any] = {
        "rows": rows,
        "others": [[_shown(text), round(hours, 2)] for text, hours in others[:MOST_ALARMS_LISTED]],
        "unlisted": len(others[MOST_ALARMS_LISTED:]),
    }
    if others:
        spans = _spans(_standing(row[place >= MOST_ALARM_ROWS], len(log)), clock)
        packed |= _packed_spans(spans, numbers)
    return packed


def _standing(rows: NDArray[np.int64], count: int) -> Codes:
    codes = np.full(count, -1)
    codes[rows] = 1
    return codes


def _excursions(log: pl.DataFrame, excursions: pl.DataFrame, clock: _Clock) -> list[dict[str, Any]]:
    """Excursions with the time of their peak: the reading that comes nearest to it."""
    air = log["controlling_air"].to_numpy()
    drawn = []
    for row, start, end in zip(
        excursions.iter_rows(named=True),
        clock.since(excursions["start"]).tolist(),
        clock.since(excursions["end"]).tolist(),
        strict=True,
    ):
        inside = np.flatnonzero((clock.seconds >= start) & (clock.seconds <= end) & np.isfinite(air))
        peak = row["peak"]
        place = None
        if peak is not None and len(inside):
            place = int(clock.seconds[inside[np.abs(air[inside] - peak).argmin()]])
        drawn.append(
            {
                "kind": KINDS.get(row["kind"], plain(row["kind"]).capitalize()),
                "counts": row["kind"] == "excursion",
                "start": start,
                "end": end,
                "hours": row["hours"],
                "peak": peak,
                "peak_at": place,
            }
        )
    return drawn


def _notes(notes: pl.DataFrame, clock: _Clock) -> list[list[Any]]:
    """When, and what was seen and done."""
    return [
        [seconds, _shown(" · ".join(filter(None, words)))]
        for seconds, words in zip(
            clock.since(notes["time"]).tolist(),
            notes.select("observation", "action", "part").iter_rows(),
            strict=True,
        )
    ]


def _shown(text: str) -> str:
    """Text of a log or note with nothing hidden in it, and not too long."""
    return visible(text if len(text) <= LONGEST_TEXT else f"{text[:LONGEST_TEXT]}…")
