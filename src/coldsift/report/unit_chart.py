"""The chart of one unit: all that it logged, panel by panel over one time axis.

Goes in: the unit's log, what like units did, its excursions and defrosts, and what people noted. Comes
out: a packed figure, with no looks in it and nothing converted; templates/charts.js draws it. Every reading
is in it, unless a line has more than ``MOST_READINGS``; what is drawn at each zoom, the browser decides.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from coldsift.report.packing import Numbers, Place
from coldsift.report.peer_ranges import Ranges
from coldsift.report.thinning import broken_after, middle, stretches, thinned_pieces
from coldsift.report.unit_log import UNKNOWN, Codes, Said, Seconds, UnitLog, Values
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

MOST_TRIED = 64
"""Readings that decimals are tried on before they are on all of them."""


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

NOTED = ("observation", "action", "part")

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


class _Spans(NamedTuple):
    """Starts, ends [s since the log's start] and codes of stretches of time."""

    starts: Seconds
    ends: Seconds
    codes: Codes


def unit_chart(
    log: UnitLog,
    peers: Ranges,
    excursions: Sequence[Mapping[str, Any]],
    defrosts: Sequence[Mapping[str, Any]],
    notes: Sequence[Mapping[str, Any]],
) -> str:
    """Pack what there is to draw of one unit.

    Parameters
    ----------
    log
        The unit's readings: channels of the common log in their units, ``controlling_air``, ``band_low``,
        ``band_high`` [°C]; ``evaporating`` and ``condensing`` [°C] where pressures are logged. Any may be
        absent.
    peers
        What the units of its group did; may be empty.
    excursions, defrosts, notes
        The unit's rows of these tables, by time; of a defrost ``coil`` is its ``termination_temperature`` to
        a decimal.

    Returns
    -------
    str
        Safe inside a script element; empty when there is nothing to draw. The same input gives the same text.
    """
    if len(log) < 2:
        return ""
    numbers = Numbers()
    readings = _readings(log)
    switched = {name: readings.pop(name) for name in ON_OR_OFF if _is_on_or_off(readings.get(name))}
    states = [*_states(log, switched, numbers)]
    if not readings and not states:
        return ""
    bands = dict(_bands(peers, readings.get("set_point"), log, numbers))
    lines: list[dict[str, Any]] = []
    panels = []
    places: dict[str, int] = {}
    for panel in PANELS:
        shown = {name: _Line.of(readings[name]) for name in panel.channels if name in readings}
        if not shown:
            continue
        span = max(line.highest for line in shown.values()) - min(line.lowest for line in shown.values())
        for name, line in shown.items():
            places[name] = len(lines)
            lines.append(_packed_line(name, line, span, bands.get(name), log, numbers))
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
            "container": visible(log.container),
            "start": int(log.start.timestamp() * 1000),
            "end": int(log.until[-1]),
            "rows": numbers.add(log.seconds),
            "panels": panels,
            "lines": lines,
            "regimes": _regimes(log, numbers),
            "defrosts": _defrosts(defrosts, log, numbers),
            "states": states,
            "mode": _mode(log, numbers),
            "alarms": _alarms(log, numbers),
            "excursions": [*_excursions(excursions, log)],
            "notes": _notes(notes, log),
        }
    )


def _readings(log: UnitLog) -> dict[str, Values]:
    """What is drawn of the log, panel by panel; without what has no reading."""
    names = (name for panel in PANELS for name in panel.channels if name in log.readings)
    return {name: own for name in names if np.isfinite(own := log.readings[name]).any()}


def _is_on_or_off(values: Values | None) -> bool:
    return values is not None and bool(((values == 0) | (values == 100) | ~np.isfinite(values)).all())


@dataclass(frozen=True, slots=True)
class _Line:
    """Readings of one line; ``rows`` are its rows of the log, none where it has a reading in every one."""

    values: Values
    rows: NDArray[np.int64] | None
    lowest: float
    highest: float

    @classmethod
    def of(cls, values: Values) -> _Line:
        finite = np.isfinite(values)
        rows = None if finite.all() else np.flatnonzero(finite)
        own = values if rows is None else values[rows]
        return cls(own, rows, float(own.min()), float(own.max()))


def _packed_line(
    name: str, line: _Line, span: float, band: _Band | None, log: UnitLog, numbers: Numbers
) -> dict[str, Any]:
    """One line: what it is, its readings, where it breaks, and what there is to say about all of them."""
    own, rows = line.values, line.rows
    digits, exact = _resolution(own, span)
    scale = 10**digits
    rounded = np.rint(own * scale)
    breaks, chosen = _drawn(name, line, log)
    channel = CHANNELS.get(name)
    quantity = channel.quantity if channel else Quantity.TEMPERATURE
    packed: dict[str, Any] = {
        "name": name,
        "label": channel.label if channel else DERIVED[name],
        "quantity": quantity.value,
        "unit": INSIDE_UNIT[quantity],
        "scale": scale,
        # The last digit of a number that its decimals do not hold tells nothing.
        "digits": digits if exact else digits - 1,
        "stepped": name in STEPPED,
        "values": numbers.add(rounded if chosen is None else rounded[chosen]),
        "breaks": numbers.add(breaks),
        "numbers": [float(own[0]), float(own[-1]), line.lowest, line.highest, middle(own), len(own)],
    }
    if rows is not None or chosen is not None:
        every = np.arange(len(own)) if rows is None else rows
        packed["rows"] = numbers.add(every if chosen is None else every[chosen])
    if band is not None:
        packed["peers"] = band.packed(scale, numbers)
    return packed


def _drawn(name: str, line: _Line, log: UnitLog) -> tuple[Codes, Codes | None]:
    """Where a line breaks, among its readings that are drawn; and which these are, unless all of them are."""
    seconds = log.seconds if line.rows is None else log.seconds[line.rows]
    edges = log.stretches if line.rows is None else stretches(seconds, broken_after(line.rows, log.gap))
    if len(line.values) <= MOST_READINGS:
        return np.array([first for first, _ in edges[1:]], dtype=np.int64), None
    parts = thinned_pieces(seconds, line.values, edges, MOST_READINGS, stepped=name in STEPPED)
    return np.cumsum([len(part) for part in parts])[:-1], np.concatenate(parts)


def _resolution(values: Values, span: float) -> tuple[int, bool]:
    """Decimals that hold the values, and whether they hold them all; no more than their panel shows."""
    some = values[:: len(values) // MOST_TRIED + 1]
    for digits in range(MOST_DIGITS + 1):
        if _holds(some, digits) and _holds(values, digits):
            return digits, True
        if digits > 1 and 10.0**-digits <= RELATIVE_RESOLUTION * span:
            return digits, False
    return MOST_DIGITS, False


def _holds(values: Values, digits: int) -> bool:
    scaled = values * 10**digits
    return bool(np.abs(scaled - np.rint(scaled)).max() < 1e-6)


@dataclass(frozen=True, slots=True)
class _Band:
    """Range of like units: where its times and their breaks lie, units behind it, and its three edges."""

    times: Place
    breaks: Place
    units: NDArray[np.int64]
    edges: Values

    def packed(self, scale: int, numbers: Numbers) -> dict[str, Place]:
        low, middle, high = map(numbers.add, np.rint(self.edges * scale))
        return {
            "times": self.times,
            "breaks": self.breaks,
            "units": numbers.add(self.units),
            "low": low,
            "middle": middle,
            "high": high,
        }


def _bands(
    peers: Ranges, set_point: Values | None, log: UnitLog, numbers: Numbers
) -> Iterator[tuple[str, _Band]]:
    """What like units did while this one logged; differences from the set point on the unit's own one."""
    grids = []
    for times in peers.grids:
        end = log.times[0] + 1_000_000 * log.seconds[-1]
        own = slice(np.searchsorted(times, log.times[0]), np.searchsorted(times, end, side="right"))
        seconds = (times[own] - log.times[0]) // 1_000_000
        breaks = [first for first, _ in stretches(seconds, np.zeros(len(seconds), dtype=np.bool_))[1:]]
        places = numbers.add(seconds), numbers.add(np.array(breaks, dtype=np.int64))
        grids.append((own, places, _as_of(seconds, set_point, log)))
    for name, (grid, units, edges) in peers.channels.items():
        own, places, set_points = grids[grid]
        above = set_points if name in ABOVE_SET_POINT else 0.0
        if len(units[own]) and np.isfinite(above).all():
            yield name, _Band(*places, units[own], edges[:, own] + above)


def _as_of(seconds: Seconds, values: Values | None, log: UnitLog) -> Values:
    """The last reading at each of these times; before the first one, that one; NaN where there is none."""
    if values is None:
        return np.full(len(seconds), np.nan)
    known = np.flatnonzero(np.isfinite(values))
    before = np.searchsorted(log.seconds[known], seconds, side="right") - 1
    return values[known[np.maximum(before, 0)]]


def _spans(codes: Codes, log: UnitLog) -> _Spans:
    """Every stretch of one code; codes below zero are left out."""
    first = np.flatnonzero(np.append(True, (codes[1:] != codes[:-1]) | log.gap[:-1]))
    last = np.append(first[1:], len(codes)) - 1
    kept = codes[first] >= 0
    return _Spans(log.seconds[first[kept]], log.until[last[kept]], codes[first[kept]])


def _packed_spans(spans: _Spans, numbers: Numbers) -> dict[str, Place]:
    return {
        "starts": numbers.add(spans.starts),
        "lengths": numbers.add(spans.ends - spans.starts),
        "codes": numbers.add(spans.codes),
    }


def _regimes(log: UnitLog, numbers: Numbers) -> dict[str, Any]:
    """What the unit was doing; missing readings are unknown."""
    start, end, codes = _spans(log.regimes, log)
    missing = np.flatnonzero(log.gap[:-1])
    start = np.concatenate([start, log.until[missing]])
    end = np.concatenate([end, log.seconds[missing + 1]])
    codes = np.concatenate([codes, np.full(len(missing), UNKNOWN)])
    order = np.argsort(start, kind="stable")
    hours = np.bincount(codes, weights=end - start, minlength=len(REGIMES)) / 3600
    return {
        "keys": REGIMES,
        "names": [REGIME_NAMES[name] for name in REGIMES],
        "hours": hours.round(2).tolist(),
        **_packed_spans(_Spans(start[order], end[order], codes[order]), numbers),
    }


def _defrosts(defrosts: Sequence[Mapping[str, Any]], log: UnitLog, numbers: Numbers) -> dict[str, Any]:
    """Each defrost: warmest coil reading in it [°C], and whether it had a proper end."""
    start, end = (
        np.array([log.since(row[edge]) for row in defrosts], dtype=np.int64) for edge in ("start", "end")
    )
    return {
        "coil": [row["coil"] for row in defrosts],
        "terminated": [row["terminated"] for row in defrosts],
        **_packed_spans(_Spans(start, end, np.zeros_like(start)), numbers),
    }


def _states(log: UnitLog, switched: Mapping[str, Values], numbers: Numbers) -> Iterable[dict[str, Any]]:
    """Rows that are on or off."""
    columns = {name: log.states[name] for name in STATES if name in log.states}
    columns |= {name: np.where(np.isfinite(own), (own > 0).astype(int), -1) for name, own in switched.items()}
    for name, codes in columns.items():
        if (codes < 0).all():
            continue
        spans = _spans(codes, log)
        yield {
            "label": CHANNELS[name].label,
            "valve": name.endswith("_valve"),
            "hours": round(float((spans.ends - spans.starts)[spans.codes == 1].sum()) / 3600, 2),
            **_packed_spans(spans, numbers),
        }


def _mode(log: UnitLog, numbers: Numbers) -> dict[str, Any] | None:
    """The mode as the unit logged it, the commonest first."""
    texts, rows, codes = log.modes
    if not len(rows):
        return None
    count = np.bincount(codes, minlength=len(texts))
    order = np.argsort(-count, kind="stable")
    place = np.empty_like(order)
    place[order] = np.arange(len(order))
    modes = np.full(len(log), -1)
    modes[rows] = np.minimum(place[codes], MOST_MODES)
    shown = [_shown(texts[code]) for code in order[: min((count > 0).sum(), MOST_MODES)]]
    return {"names": shown, **_packed_spans(_spans(modes, log), numbers)}


def _alarms(log: UnitLog, numbers: Numbers) -> dict[str, Any]:
    """Alarm texts by the hours they stood, the longest first."""
    texts, said = _by_hours(log)
    packed: dict[str, Any] = {
        "rows": [
            {
                "text": _shown(text),
                "hours": round(hours, 2),
                **_packed_spans(_spans(_standing(said.rows[said.codes == place], log), log), numbers),
            }
            for place, (text, hours) in enumerate(texts[:MOST_ALARM_ROWS])
        ]
    }
    others = texts[MOST_ALARM_ROWS:]
    packed["others"] = [[_shown(text), round(hours, 2)] for text, hours in others[:MOST_ALARMS_LISTED]]
    packed["unlisted"] = len(others[MOST_ALARMS_LISTED:])
    if others:
        spans = _spans(_standing(said.rows[said.codes >= MOST_ALARM_ROWS], log), log)
        packed |= _packed_spans(spans, numbers)
    return packed


def _by_hours(log: UnitLog) -> tuple[list[tuple[str, float]], Said]:
    """Alarm texts with the hours they stood, the longest first; and alarms with their places among them."""
    texts, rows, codes = log.alarms
    found, own = np.unique(codes, return_inverse=True)
    hours = np.bincount(own, weights=(log.until - log.seconds)[rows], minlength=len(found)) / 3600
    order = np.argsort(-hours, kind="stable")
    place = np.empty_like(order)
    place[order] = np.arange(len(order))
    by_hours = [(texts[found[each]], float(hours[each])) for each in order]
    return by_hours, Said([text for text, _ in by_hours], rows, place[own])


def _standing(rows: Codes, log: UnitLog) -> Codes:
    codes = np.full(len(log), -1)
    codes[rows] = 1
    return codes


def _excursions(excursions: Sequence[Mapping[str, Any]], log: UnitLog) -> Iterator[dict[str, Any]]:
    """Excursions with the time of their peak: the reading that comes nearest to it."""
    for row in excursions:
        start, end, peak = log.since(row["start"]), log.since(row["end"]), row["peak"]
        place = None
        if peak is not None:
            inside = slice(
                np.searchsorted(log.seconds, start), np.searchsorted(log.seconds, end, side="right")
            )
            away = np.abs(log.readings["controlling_air"][inside] - peak)
            if np.isfinite(away).any():
                place = int(log.seconds[inside][np.nanargmin(away)])
        yield {
            "kind": KINDS.get(row["kind"], plain(row["kind"]).capitalize()),
            "counts": row["kind"] == "excursion",
            "start": start,
            "end": end,
            "hours": row["hours"],
            "peak": peak,
            "peak_at": place,
        }


def _notes(notes: Sequence[Mapping[str, Any]], log: UnitLog) -> list[list[Any]]:
    """When, and what was seen and done."""
    return [
        [log.since(note["time"]), _shown(" · ".join(filter(None, map(note.get, NOTED))))] for note in notes
    ]


def _shown(text: str) -> str:
    """Text of a log or note with nothing hidden in it, and not too long."""
    return visible(text if len(text) <= LONGEST_TEXT else f"{text[:LONGEST_TEXT]}…")
