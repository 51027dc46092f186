"""The one table of channels, and the columns of every table that coldsift writes.

Goes in: nothing. Comes out: ``CHANNELS`` (the common log, channel by channel, with unit, range and the
trade's words), the output tables (``FINDINGS``, ``EXCURSIONS``, ...) and the dataframely schemas made from
them. Documentation, validation, unit conversion and chart labels all read these tables; nothing else in the
project states a column's unit a second time.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

import dataframely as dy
import polars as pl

SCHEMA_VERSION = "1.0"
"""Version of all output tables together, MAJOR.MINOR: a table or column more is a new MINOR; one that is
gone, or means something else, a new MAJOR. Tables from before there was a version are read as 1.0."""

TABLE_METADATA: Mapping[str, str] = {"coldsift.schema": SCHEMA_VERSION}
"""Stands in every Parquet table."""


def newer_tables(what: object, version: object) -> str:
    """Why tables cannot be read, as a sentence; empty when they can.

    Parameters
    ----------
    what
        Where they are.
    version
        Their schema version as found; None where none stands.
    """
    major, _, _ = str(version).partition(".")
    if version is None or (major.isdecimal() and int(major) <= int(SCHEMA_VERSION.partition(".")[0])):
        return ""
    return (
        f"{what} was made by a newer coldsift: its tables are of schema {version}, this one reads those up "
        f"to {SCHEMA_VERSION}. Update coldsift."
    )


class Quantity(StrEnum):
    """What a channel measures; decides which units of measure can be converted into its own."""

    TEMPERATURE = "temperature"
    TEMPERATURE_DIFFERENCE = "temperature difference"
    PRESSURE = "pressure"
    SHARE = "share"
    FREQUENCY = "frequency"
    VOLTAGE = "voltage"
    CURRENT = "current"
    POWER = "power"
    AIR_FLOW = "air flow"
    STATE = "state"
    TEXT = "text"


INSIDE_UNIT: Mapping[Quantity, str] = {
    Quantity.TEMPERATURE: "°C",
    Quantity.TEMPERATURE_DIFFERENCE: "K",
    Quantity.PRESSURE: "bar",
    Quantity.SHARE: "%",
    Quantity.FREQUENCY: "Hz",
    Quantity.VOLTAGE: "V",
    Quantity.CURRENT: "A",
    Quantity.POWER: "W",
    Quantity.AIR_FLOW: "m³/h",
    Quantity.STATE: "",
    Quantity.TEXT: "",
}
"""The unit of measure used everywhere inside; pressure is absolute."""


@dataclass(frozen=True, slots=True)
class Channel:
    """One channel of the common log.

    Attributes
    ----------
    name
        Column name in the common log.
    quantity
        What is measured; fixes the inside unit.
    label
        Words for charts and tables.
    words
        Headings of the trade that mean this channel, lower case; the generic reader matches them.
    low, high
        Plausible range in the inside unit; a value outside is a sensor or reading error, not weather.
    family
        Group shown together: key, air, cargo, circuit, fans and heat, electric, text.
    """

    name: str
    quantity: Quantity
    label: str
    family: str
    words: tuple[str, ...] = ()
    low: float | None = None
    high: float | None = None

    @property
    def unit(self) -> str:
        """Inside unit of measure, empty for states and text."""
        return INSIDE_UNIT[self.quantity]

    @property
    def is_state(self) -> bool:
        """True for a state (on or off, a word), False for a measurement."""
        return self.quantity in (Quantity.STATE, Quantity.TEXT)

    @property
    def dtype(self) -> pl.DataType:
        """Polars type of the column."""
        if self.name == "alarms":
            return pl.List(pl.String)
        if self.quantity is Quantity.TEXT:
            return pl.String()
        if self.quantity is Quantity.STATE:
            return pl.Boolean()
        return pl.Float64()


def _temperature(
    name: str, label: str, family: str, *words: str, low: float = -60, high: float = 60
) -> Channel:
    return Channel(name, Quantity.TEMPERATURE, label, family, words, low, high)


def _numbered(
    name: str,
    quantity: Quantity,
    label: str,
    family: str,
    count: int,
    words: tuple[str, ...],
    low: float,
    high: float,
) -> list[Channel]:
    return [
        Channel(
            f"{name}_{number}",
            quantity,
            f"{label} {number}",
            family,
            tuple(word.format(n=number, p="abc"[number - 1] if count == 3 else number) for word in words),
            low,
            high,
        )
        for number in range(1, count + 1)
    ]


_CHANNELS: list[Channel] = [
    _temperature(
        "set_point",
        "Set point",
        "air",
        "set point",
        "setpoint",
        "set temperature",
        "temperature set point",
        "set point temperature",
        "required temperature",
    ),
    _temperature(
        "supply_air",
        "Supply air",
        "air",
        "supply air",
        "supply",
        "supply temperature",
        "supply air temperature",
        "delivery air",
        "delivery air temperature",
        "discharge air",
        high=80,
    ),
    _temperature(
        "return_air",
        "Return air",
        "air",
        "return air",
        "return",
        "return temperature",
        "return air temperature",
        high=80,
    ),
    _temperature(
        "ambient_air",
        "Ambient air",
        "air",
        "ambient air",
        "ambient",
        "ambient temperature",
        "ambient air temperature",
        "outside temperature",
        "outside air",
        high=75,
    ),
    Channel(
        "humidity",
        Quantity.SHARE,
        "Relative humidity",
        "air",
        ("humidity", "relative humidity", "rh", "air humidity"),
        0,
        105,
    ),
    Channel(
        "humidity_set_point",
        Quantity.SHARE,
        "Humidity set point",
        "air",
        ("humidity set point", "relative humidity set point", "rh set point"),
        0,
        100,
    ),
    Channel("oxygen", Quantity.SHARE, "Oxygen", "air", ("oxygen", "o2", "oxygen content"), 0, 25),
    Channel(
        "carbon_dioxide",
        Quantity.SHARE,
        "Carbon dioxide",
        "air",
        ("carbon dioxide", "co2", "carbon dioxide content"),
        0,
        40,
    ),
    Channel(
        "fresh_air_vent",
        Quantity.AIR_FLOW,
        "Fresh-air vent",
        "air",
        ("fresh air vent", "fresh air", "vent", "vent opening", "air exchange", "fresh air exchange"),
        0,
        400,
    ),
    *_numbered(
        "cargo_probe",
        Quantity.TEMPERATURE,
        "Cargo probe",
        "cargo",
        4,
        (
            "cargo probe {n}",
            "cargo temperature {n}",
            "pulp probe {n}",
            "pulp temperature {n}",
            "cargo {n}",
            "usda probe {n}",
        ),
        -60,
        60,
    ),
    Channel(
        "suction_pressure",
        Quantity.PRESSURE,
        "Suction pressure",
        "circuit",
        ("suction pressure", "low pressure", "low side pressure", "evaporating pressure"),
        0,
        15,
    ),
    Channel(
        "discharge_pressure",
        Quantity.PRESSURE,
        "Discharge pressure",
        "circuit",
        ("discharge pressure", "high pressure", "high side pressure", "head pressure", "condensing pressure"),
        0,
        45,
    ),
    _temperature(
        "suction_temperature",
        "Suction line",
        "circuit",
        "suction temperature",
        "suction line temperature",
        "suction gas temperature",
        "suction line",
        "compressor suction temperature",
        low=-80,
        high=90,
    ),
    _temperature(
        "discharge_temperature",
        "Discharge gas",
        "circuit",
        "discharge temperature",
        "discharge gas temperature",
        "compressor discharge temperature",
        "hot gas temperature",
        low=-50,
        high=200,
    ),
    _temperature(
        "evaporator_temperature",
        "Evaporator coil",
        "circuit",
        "evaporator temperature",
        "coil temperature",
        "evaporator coil temperature",
        "evaporator coil",
        "defrost termination temperature",
        low=-70,
        high=80,
    ),
    Channel(
        "superheat",
        Quantity.TEMPERATURE_DIFFERENCE,
        "Superheat (as logged)",
        "circuit",
        ("superheat", "suction superheat", "evaporator superheat"),
        -30,
        90,
    ),
    Channel(
        "expansion_valve_opening",
        Quantity.SHARE,
        "Expansion valve",
        "circuit",
        ("expansion valve", "expansion valve opening", "expansion valve position", "valve opening"),
        0,
        100,
    ),
    Channel(
        "economizer_valve",
        Quantity.SHARE,
        "Economizer valve",
        "circuit",
        ("economizer valve", "economizer", "economiser valve", "economiser"),
        0,
        100,
    ),
    Channel(
        "hot_gas_valve",
        Quantity.SHARE,
        "Hot-gas valve",
        "circuit",
        ("hot gas valve", "hot gas bypass", "hot gas"),
        0,
        100,
    ),
    Channel(
        "compressor_frequency",
        Quantity.FREQUENCY,
        "Compressor speed",
        "circuit",
        ("compressor frequency", "compressor speed", "inverter frequency"),
        0,
        150,
    ),
    Channel(
        "compressor_state",
        Quantity.STATE,
        "Compressor",
        "circuit",
        ("compressor state", "compressor", "compressor running", "compressor on"),
    ),
    Channel(
        "evaporator_fan_speed",
        Quantity.SHARE,
        "Evaporator fan",
        "fans and heat",
        ("evaporator fan", "evaporator fan speed", "evaporator fans"),
        0,
        100,
    ),
    Channel(
        "condenser_fan_speed",
        Quantity.SHARE,
        "Condenser fan",
        "fans and heat",
        ("condenser fan", "condenser fan speed"),
        0,
        100,
    ),
    Channel(
        "heater_state",
        Quantity.STATE,
        "Heater",
        "fans and heat",
        ("heater state", "heater", "heaters", "heater on", "heating"),
    ),
    Channel(
        "defrost_state",
        Quantity.STATE,
        "Defrost",
        "fans and heat",
        ("defrost state", "defrost", "defrost active", "defrosting", "in defrost"),
    ),
    Channel(
        "condenser_cooling",
        Quantity.TEXT,
        "Condenser cooling (air or water)",
        "fans and heat",
        ("condenser cooling", "condenser medium"),
    ),
    *_numbered(
        "voltage",
        Quantity.VOLTAGE,
        "Voltage",
        "electric",
        3,
        ("voltage {n}", "voltage l{n}", "voltage phase {p}", "line voltage {n}", "phase voltage {n}"),
        0,
        700,
    ),
    *_numbered(
        "current",
        Quantity.CURRENT,
        "Current",
        "electric",
        3,
        ("current {n}", "current l{n}", "current phase {p}", "line current {n}", "phase current {n}"),
        0,
        100,
    ),
    Channel(
        "power",
        Quantity.POWER,
        "Power",
        "electric",
        ("power", "electric power", "power consumption", "active power"),
        0,
        30_000,
    ),
    Channel(
        "frequency",
        Quantity.FREQUENCY,
        "Supply frequency",
        "electric",
        ("frequency", "supply frequency", "mains frequency", "line frequency"),
        0,
        80,
    ),
    Channel(
        "power_state",
        Quantity.STATE,
        "Power supply",
        "electric",
        ("power state", "power on", "plugged in", "mains", "power supply"),
    ),
    Channel("mode", Quantity.TEXT, "Mode", "text", ("mode", "operating mode", "unit mode", "operation mode")),
    Channel("alarms", Quantity.TEXT, "Alarms (as logged)", "text", ("alarms", "alarm", "active alarms")),
]

CHANNELS: Mapping[str, Channel] = {channel.name: channel for channel in _CHANNELS}
"""Every channel of the common log by name, in the order of its columns."""

CONTAINER_WORDS = ("container", "container number", "container no", "container id", "unit", "unit number")
TIME_WORDS = ("time", "date time", "datetime", "timestamp", "time stamp", "logged at", "date and time")
DATE_WORDS = ("date", "day")
CLOCK_WORDS = ("clock", "time of day", "hour")
"""Headings of the key columns for the generic reader."""

TIME = pl.Datetime("us", "UTC")


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a table that coldsift writes."""

    name: str
    dtype: pl.DataType
    unit: str
    words: str
    nullable: bool = True


@dataclass(frozen=True, slots=True)
class Table:
    """A table that coldsift writes: an interface others may rely on."""

    name: str
    words: str
    columns: tuple[Column, ...]
    key: tuple[str, ...] = ()
    schema: type[dy.Schema] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "schema", _dataframely_schema(self))

    @property
    def names(self) -> list[str]:
        """Column names in order."""
        return [column.name for column in self.columns]

    def empty(self) -> pl.DataFrame:
        """The table without rows, every column in its type."""
        return pl.DataFrame(schema={column.name: column.dtype for column in self.columns})

    def conform(self, frame: pl.DataFrame) -> pl.DataFrame:
        """Put a frame's columns in the table's order and types; absent nullable columns become null.

        Parameters
        ----------
        frame
            Any frame that holds at least the table's non-null columns.

        Returns
        -------
        polars.DataFrame
            Exactly the table's columns, validated against :attr:`schema`.

        Raises
        ------
        dataframely.exc.ValidationError
            When a key repeats or a required value is null: a defect in coldsift, not in the data.
        """
        present = set(frame.columns)
        frame = frame.select(
            (pl.col(column.name) if column.name in present else pl.lit(None))
            .cast(column.dtype)
            .alias(column.name)
            for column in self.columns
        )
        # −0.0 becomes 0.0: which of the two a median of both gives varies from run to run.
        number = pl.selectors.float()
        frame = frame.with_columns(pl.when(number == 0).then(0.0).otherwise(number).name.keep())
        validated: pl.DataFrame = self.schema.validate(frame, cast=False)
        return validated


def _dataframely_schema(table: Table) -> type[dy.Schema]:
    members: dict[str, Any] = {}
    for column in table.columns:
        options: dict[str, Any] = {
            "nullable": column.nullable and column.name not in table.key,
            "primary_key": column.name in table.key,
        }
        dtype = column.dtype
        if isinstance(dtype, pl.Datetime):
            members[column.name] = dy.Datetime(time_unit="us", time_zone="UTC", **options)
        elif isinstance(dtype, pl.List):
            members[column.name] = dy.List(dy.String(nullable=False), **options)
        elif isinstance(dtype, pl.Enum):
            members[column.name] = dy.Enum(dtype.categories.to_list(), **options)
        elif dtype == pl.Boolean:
            options.pop("primary_key")
            members[column.name] = dy.Bool(**options)
        else:
            kinds = {
                pl.String: dy.String,
                pl.Float64: dy.Float64,
                pl.Int64: dy.Int64,
                pl.Date: dy.Date,
                pl.Binary: dy.Binary,
            }
            members[column.name] = kinds[type(dtype)](**options)
    return type(f"{table.name.title().replace('_', '')}Schema", (dy.Schema,), members)


def _text(name: str, words: str, nullable: bool = True) -> Column:
    return Column(name, pl.String(), "", words, nullable)


def _number(name: str, unit: str, words: str, nullable: bool = True) -> Column:
    return Column(name, pl.Float64(), unit, words, nullable)


def _count(name: str, words: str, nullable: bool = False) -> Column:
    return Column(name, pl.Int64(), "", words, nullable)


def _time(name: str, words: str, nullable: bool = True) -> Column:
    return Column(name, TIME, "UTC", words, nullable)


COMMON_LOG = Table(
    "common_log",
    "One row per container and time stamp, sorted, unique: every reading in its inside unit.",
    (
        _text("container", "Container number as logged, upper case without blanks (ISO 6346)", False),
        _time("time", "Instant of the reading", False),
        _text("source", "Id of the file it was read from (see manifest.json)", False),
        _count("row", "Line of that file, counted from 1; sheet or record row for XLSX and Parquet"),
        *(
            Column(
                channel.name,
                channel.dtype,
                channel.unit,
                channel.label
                if channel.low is None
                else f"{channel.label}; plausible {channel.low:g} to {channel.high:g}",
            )
            for channel in _CHANNELS
        ),
    ),
    key=("container", "time"),
)

REGIMES = ("off", "pull_down", "hold", "defrost", "recovery", "set_point_step", "unknown")
"""What a unit is doing over one log interval."""
REGIME = pl.Enum(REGIMES)

REGIME_CLASSES = ("deep_frozen", "frozen", "chilled", "heated")
"""Peer classes by set point and ambient."""

GROUPS = ("go_now", "this_round", "watch", "nothing_found", "cannot_tell")
"""Ranking groups, most urgent first; the last says that the log is too poor to judge."""

FINDINGS = Table(
    "findings",
    "One row a container: rank, group, the three urgency parts, reasons and first check.",
    (
        _text("container", "Container number", False),
        _count("rank", "Place in the order of inspection, from 1"),
        Column("group", pl.Enum(GROUPS), "", "Ranking group", False),
        _number("oddness", "", "Distance from peers and from its own past; 0 is ordinary, above 3 is odd"),
        _text("cause_1", "Most probable cause, or other_cause, more_than_one"),
        _number("chance_1", "", "Its chance, 0 to 1"),
        _text("cause_2", "Second cause"),
        _number("chance_2", "", "Its chance"),
        _text("cause_3", "Third cause"),
        _number("chance_3", "", "Its chance"),
        _text("why", "The reasons in plain words, strongest first"),
        _text("first_check", "What to look at first"),
        _number("chance_of_fault", "", "Urgency part 1: chance of a real fault, 0 to 1"),
        _number(
            "hours_to_limit",
            "h",
            "Urgency part 2: hours until the controlling air leaves its band at the present trend; "
            "0 when it is outside now, empty when no approach is seen",
        ),
        _number("value_at_risk", "", "Urgency part 3: weight of the cargo, 1 unless given"),
        _text("position", "Place on board, bay-row-tier as BBBRRTT (ISO 9711-1); empty when it is not known"),
        _text("regime_class", "Peer class by set point and ambient"),
        _number("set_point", "°C", "Last set point"),
        _text("compared_with", "Peer group: how many other units, which, and whether it is a wider one"),
        _number("coverage", "", "Share of the voyage's span that the log covers, 0 to 1"),
        _text("cannot_tell", "What is missing for a judgement, empty when nothing is"),
        Column("number_valid", pl.Boolean(), "", "True when the ISO 6346 check digit is right", False),
    ),
    key=("container",),
)

REASON_KINDS = ("missing", "order", "state", "trend", "pull_down", "excursion", "feature")
"""What a reason tells: what the log lacks, that the set point is not the one ordered, where the air is now,
when it leaves its band, that the first pull-down lasts, that it was out of its band, or a feature that is
odd."""

REASONS = Table(
    "reasons",
    "The sentences behind each finding, strongest first: together they are its column why.",
    (
        _text("container", "Container number", False),
        _count("place", "1 is the strongest"),
        _text("words", "The sentence", False),
        Column("kind", pl.Enum(REASON_KINDS), "", "What it tells", False),
        _text("feature", "Feature id that it is told from; empty for other kinds"),
    ),
    key=("container", "place"),
)

EXCURSIONS = Table(
    "excursions",
    "One row per stretch with the controlling air outside set point ± band longer than the grace time.",
    (
        _text("container", "Container number", False),
        _time("start", "Best estimate, interpolated between samples", False),
        _time("end", "Best estimate; the last reading when it had not ended", False),
        _time(
            "start_earliest",
            "Last reading before it that is inside the band by more than it may be off; empty when none is",
        ),
        _time("start_latest", "First reading that is outside the band by more than it may be off", False),
        _time("end_earliest", "Last reading that is outside the band by more than it may be off", False),
        _time(
            "end_latest",
            "First reading after it that is inside the band by more than it may be off; empty when none is",
        ),
        _number("peak", "°C", "Controlling air at its furthest from the band"),
        _number("band_edge", "°C", "Edge of the band that was left"),
        _number("hours", "h", "Duration as read, gaps taken out"),
        _number("gap_hours", "h", "Hours inside it without readings"),
        _number("hours_at_least", "h", "From the latest start to the earliest end, gaps taken out"),
        _number("hours_at_most", "h", "From the earliest start to the latest end, gaps in it included"),
        _number("degree_hours", "K h", "Area beyond the band edge as read, gaps taken out"),
        _number("degree_hours_at_least", "K h", "The same less the error of reading"),
        _number(
            "degree_hours_at_most",
            "K h",
            "Area at most: with the error of reading, in every gap as far from the band as the air can go",
        ),
        _number("peak_at_most", "°C", "Furthest the air can have been, gaps included"),
        _number("mean_kinetic_temperature", "°C", "Over the excursion, activation energy 83.144 kJ/mol"),
        _number("sensor_doubt", "", "0 air, 1 probe: how likely that the sensor erred, not the air"),
        _text("sensor_doubt_why", "What the doubt rests on"),
        _text(
            "kind",
            "excursion, initial_warm_load (first pull-down), after_set_point_change, or possible_excursion "
            "(seen outside no longer than the grace time, but a gap leaves open whether it was longer)",
            False,
        ),
        _text("along_with", "What else happened: power off, set-point change, alarm, gap, readings missing"),
    ),
    key=("container", "start"),
)

EXCURSION_PARTS = Table(
    "excursion_parts",
    "Excursions divided: by what the unit was doing, and by who had the container.",
    (
        _text("container", "Container number", False),
        _time("excursion", "Start of the excursion, as in excursions", False),
        _text("division", "regime or custody", False),
        _text("part", "Regime, or holder; empty where nobody is named"),
        _time("start", "First instant of the excursion in this part", False),
        _time("end", "Last instant of the excursion in this part", False),
        _number("hours", "h", "Duration in this part at least: gaps taken out"),
        _number("gap_hours", "h", "Hours without readings in this part"),
        _number("degree_hours", "K h", "Area beyond the band edge in this part, gaps taken out"),
        _number("peak", "°C", "Controlling air at its furthest from the band in this part"),
    ),
)

DEFROST_RISES = Table(
    "defrost_rises",
    "Air beyond its band in a defrost or soon after: no excursion, but listed, with the rule that says so.",
    (
        _text("container", "Container number", False),
        _time("start", "Start of the defrost", False),
        _time("end", "Last instant that counts as the defrost's", False),
        _number("minutes", "min", "Time beyond the band edge"),
        _number("peak", "°C", "Controlling air at its furthest"),
        _number("above_set_point", "K", "Peak above the set point"),
        _text("rule", "Id of the rule that lets it pass", False),
        Column("within_rule", pl.Boolean(), "", "False where it goes beyond what the rule lets pass", False),
    ),
    key=("container", "start"),
)

GAPS = Table(
    "gaps",
    "Every gap in a log, with what the air can have done in it.",
    (
        _text("container", "Container number", False),
        _time("start", "Last reading before it", False),
        _time("end", "First reading after it", False),
        _number("hours", "h", "Length"),
        _number("air_before", "°C", "Controlling air before it"),
        _number("air_after", "°C", "Controlling air after it"),
        _number("coldest_possible", "°C", "Furthest down the air can have been in it"),
        _number("warmest_possible", "°C", "Furthest up the air can have been in it"),
        _number("hours_outside_at_most", "h", "Longest the air can have been outside its band in it"),
        _text("rests_on", "Where the fastest warming and cooling come from", False),
    ),
    key=("container", "start"),
)

DEFROSTS = Table(
    "defrosts",
    "One row per defrost.",
    (
        _text("container", "Container number", False),
        _time("start", "First interval in defrost", False),
        _time("end", "First reading after it", False),
        _number("minutes", "min", "Duration"),
        _number(
            "termination_temperature", "°C", "Highest evaporator coil reading in it; empty if not logged"
        ),
        Column("from_flag", pl.Boolean(), "", "True from the logged state, False from the signature", False),
        Column("terminated", pl.Boolean(), "", "False when it ran to the log's end, a gap or its time limit"),
        _number("recovery_minutes", "min", "From its end until the air is back in its band"),
    ),
    key=("container", "start"),
)

_OF_DAY = "empty on a day without readings"

UNIT_DAYS = Table(
    "unit_days",
    "One row a container and day (UTC), from its first reading's day to its last one's, none left out.",
    (
        _text("container", "Container number", False),
        Column("day", pl.Date(), "UTC", "Day", False),
        _number(
            "coverage",
            "",
            "Share of the day that readings stand for, 0 to 1; of the voyage's first and last day only what "
            "lies between its first and last reading, empty when that is nothing",
        ),
        _number("hours_off", "h", f"Hours without power, as far as the log shows it; {_OF_DAY}"),
        _number(
            "hours_outside",
            "h",
            "Hours of excursions (kind excursion), cut at midnight, gaps taken out; empty on a day without "
            "air or set point",
        ),
        _number(
            "degree_hours",
            "K h",
            "Area of these beyond the band edge: the air straight between readings, also over midnight. "
            "An excursion's days add up to it. Empty on a day without air or set point",
        ),
        _count("defrosts", f"Defrosts that began; {_OF_DAY}", True),
        _number("longest_defrost", "min", "Longest of them"),
        _count("unterminated_defrosts", f"Those that were not terminated; {_OF_DAY}", True),
        _number("air_low", "°C", "Controlling air, defrosts and hours without power apart: 10th percentile"),
        _number("air_middle", "°C", "Its median"),
        _number("air_high", "°C", "Its 90th percentile"),
        _number("split", "K", "Median of return − supply in hold while the compressor is not known to stand"),
        _count("alarms", f"Different alarm texts; {_OF_DAY}", True),
    ),
    key=("container", "day"),
)

FEATURES = Table(
    "features",
    "One row per container and feature.",
    (
        _text("container", "Container number", False),
        _text("feature", "Feature id", False),
        _number("value", "see unit", "Value; empty when the log does not give enough"),
        _text("unit", "Unit of measure", False),
        _text("regime", "Regime it was taken in", False),
        _count("samples", "Readings behind the value"),
        _text("reason", "Why there is no value"),
        _number("peer_low", "see unit", "10th percentile of the peer group"),
        _number("peer_median", "see unit", "Median of the peer group"),
        _number("peer_high", "see unit", "90th percentile of the peer group"),
        _count("peers", "Other units in the peer group with a value", True),
        _number("z", "", "Robust distance from the peer median"),
    ),
    key=("container", "feature"),
)

CAUSES = Table(
    "causes",
    "One row per container and hypothesis; causes with kinds have one row a kind. Chances of a container sum "
    "to 1.",
    (
        _text("container", "Container number", False),
        _count("place", "Place of the hypothesis among the container's, from 1; kinds of a cause share it"),
        _text("cause", "Cause id, or healthy, other_cause, more_than_one", False),
        _text("kind", "Finer cause that only a check by hand can split off; empty where there is none"),
        _number("chance", "", "Chance of this row, 0 to 1", False),
        _number("cause_chance", "", "Chance of the hypothesis, its kinds together", False),
        _text("together", "For more_than_one: the likeliest pair"),
    ),
)

EVIDENCE = Table(
    "evidence",
    "What speaks for and against each container's likeliest causes.",
    (
        _text("container", "Container number", False),
        _text("cause", "Cause id", False),
        _text("side", "for or against", False),
        _text("feature", "Feature id; id of the observation where a document or a note answers one", False),
        _number("odds", "", "Factor on the odds of the cause against all that competes with it", False),
        _text("words", "The feature's value and its peers', in words; what was seen, and where it stands"),
    ),
    key=("container", "cause", "feature"),
)

SEEN = Table(
    "seen",
    "Observations by hand that documents and work notes answer; the chances of the causes hold them already.",
    (
        _text("container", "Container number", False),
        _text("observation", "Observation id of the cause catalogue", False),
        Column("answer", pl.Boolean(), "", "True for yes", False),
        _text("source", "Where it stands: booking, stowage plan, or which work note", False),
    ),
    key=("container", "observation"),
)

CARGO = Table(
    "cargo",
    "One row a container: what the cargo is, how warm it is reckoned to be, and how long it has.",
    (
        _text("container", "Container number", False),
        _text("cargo", "Commodity, or the class that the set point tells", False),
        _text("known_from", "Where that is known from", False),
        _number("limit_low", "°C", "Coldest the cargo bears; empty when cold does no harm"),
        _number("limit_high", "°C", "Warmest the cargo bears"),
        _text("limit_from", "Where the limits come from", False),
        _number(
            "mean_kinetic_temperature",
            "°C",
            "Of the controlling air over the whole log, gaps taken out, activation energy 83.144 kJ/mol",
        ),
        _number("mean_kinetic_limit", "°C", "Warmest that a rule allows it; empty without such a rule"),
        _number("surface", "°C", "Outer cargo at the end of the log, best estimate"),
        _number("surface_low", "°C", "Lower edge of its band, 5 in 100 below"),
        _number("surface_high", "°C", "Upper edge of its band, 5 in 100 above"),
        _number("core", "°C", "Cargo core at the end of the log, best estimate"),
        _number("core_low", "°C", "Lower edge of its band"),
        _number("core_high", "°C", "Upper edge of its band"),
        Column("fitted", pl.Boolean(), "", "True when the model was fitted to cargo probes", False),
        _number("fit_error", "K", "Root mean square between the model and the probes; empty without probes"),
        _number(
            "hours_if_failed",
            "h",
            "Hours until the outer cargo passes a limit if the unit stops now; empty when not within 30 days",
        ),
        _number("hours_if_failed_low", "h", "Shortest of the band"),
        _number("hours_if_failed_high", "h", "Longest of the band; empty when not within 30 days"),
        _number("hours_as_now", "h", "The same if the air goes on as in the log's last hours"),
        _number("hours_as_now_low", "h", "Shortest of the band"),
        _number("hours_as_now_high", "h", "Longest of the band; empty when not within 30 days"),
        Column("pulling_down", pl.Boolean(), "", "True while the first pull-down lasts", False),
        _number("life_lost_days", "d", "Storage life spent beyond what the optimum would have taken"),
        _number("life_days", "d", "Storage life at the optimum"),
    ),
    key=("container",),
)

CARGO_TEMPERATURES = Table(
    "cargo_temperatures",
    "Reckoned temperature of the cargo, best estimate and band (5 in 100 outside on either side).",
    (
        _text("container", "Container number", False),
        _time("time", "Instant of the air reading", False),
        *(
            _number(f"{node}{edge}", "°C", f"{words}{which}")
            for node, words in (("surface", "Outer cargo"), ("core", "Cargo core"))
            for edge, which in (("", ""), ("_low", ", lower edge"), ("_high", ", upper edge"))
        ),
    ),
    key=("container", "time"),
)

TREATMENT_DAYS = Table(
    "treatment_days",
    "Cold treatment, probe by probe and day by day, as the protocol counts it.",
    (
        _text("container", "Container number", False),
        _text("protocol", "Protocol id", False),
        _text("probe", "Channel of the probe, or all", False),
        _count("day", "Day of the log's treatment, from 1"),
        _time("start", "Begin of the day", False),
        _time("end", "Its end, or the last reading", False),
        Column("verdict", pl.Enum(("holds", "break", "cannot_judge")), "", "Verdict of the day", False),
        _count("readings", "Readings in it"),
        _number("coldest", "°C", "Coldest reading"),
        _number("warmest", "°C", "Warmest reading"),
        _number("longest_gap_minutes", "min", "Longest time without a reading"),
        _number("credited_days", "d", "Days that count towards the treatment after this one"),
        _text("reason", "Why, in words", False),
    ),
    key=("container", "protocol", "probe", "day"),
)

UNIT_HOURS = Table(
    "unit_hours",
    "Hour by hour, how far each unit's controlling air stood from its set point: what the others did at the "
    "same hours is told from it.",
    (
        _text("container", "Container number", False),
        _time("hour", "Begin of the hour", False),
        Column("frozen", pl.Boolean(), "", "True with a frozen set point; empty without any"),
        _number(
            "above_set_point", "K", "Controlling air above the set point: median of the readings counted"
        ),
        Column("outside", pl.Boolean(), "", "True when one of them was outside its band", False),
        _count("readings", "Readings counted: none in a defrost or in the first pull-down"),
    ),
    key=("container", "hour"),
)

PEERS_THEN = Table(
    "peers_then",
    "What the other units of the voyage did at the same hours.",
    (
        _time("time", "Begin of the hour", False),
        _count("units", "Other units of the same peer class with readings in it"),
        _count("outside", "Of these, outside their band"),
        _number("low", "K", "Controlling air above the set point: 10th percentile of them"),
        _number("median", "K", "Median of them"),
        _number("high", "K", "90th percentile of them"),
    ),
    key=("time",),
)

PEER_BANDS = Table(
    "peer_bands",
    "How like units ran through time: the middle 80 of 100, in each stretch of equal length.",
    (
        _text("peer_group", "Peer group; every one that some unit is compared with", False),
        _time("time", "Middle of the stretch", False),
        _text("channel", "Channel, or evaporating or condensing", False),
        _number(
            "low",
            "of the channel",
            "10th percentile of the units' means; of supply and return air above the set point [K]",
        ),
        _number("middle", "of the channel", "Median of them"),
        _number("high", "of the channel", "90th percentile of them"),
        _count("units", "Units with readings in it, at least 5"),
    ),
    key=("peer_group", "channel", "time"),
)

CUSTODY = Table(
    "custody",
    "Who had the container, from when to when.",
    (
        _text("container", "Container number", False),
        _time("start", "Taken over", False),
        _time("end", "Handed on; empty when not known"),
        _text("holder", "Who has it", False),
        _text("event", "What happened at the start, in the words of the file"),
        _text("place", "Where"),
        _count("line", "Line of the events file"),
    ),
    key=("container", "start"),
)

NOTES = Table(
    "notes",
    "What people saw and did.",
    (
        _text("container", "Container number", False),
        _time("time", "When", False),
        _text("observation", "What was seen"),
        _text("action", "What was done"),
        _text("part", "Part used"),
        _count("line", "Line of the notes file"),
    ),
)

PLAN = Table(
    "plan",
    "The stowage plan: one row a container on board, as the plan says.",
    (
        _text("container", "Container number", False),
        _text(
            "position", "Place on board, bay-row-tier as BBBRRTT (ISO 9711-1); empty when the plan names none"
        ),
        _text("size_type", "Size and type code (ISO 6346), as the plan writes it"),
        _number("length", "ft", "Nominal length; empty when it is not known"),
        Column(
            "refrigerated",
            pl.Boolean(),
            "",
            "True for a thermal container by its type or by its required temperature",
            False,
        ),
        _number("required_temperature", "°C", "Temperature to be kept, as the plan says"),
        Column(
            "full", pl.Boolean(), "", "True when laden, false when empty; empty when the plan does not say"
        ),
        _text("load_port", "Port of loading, as the plan writes it"),
        _text("discharge_port", "Port of discharge, as the plan writes it"),
        _count(
            "line", "Line of the CSV, or number of the segment (UNA not counted, UNB is 1), where it stands"
        ),
    ),
    key=("container",),
)

BOOKINGS = Table(
    "bookings",
    "What was booked: the set point of each container, and its later changes.",
    (
        _text("container", "Container number", False),
        _time("time", "From when it holds; empty when from the beginning"),
        _number("set_point", "°C", "Booked set point", False),
        _text("cargo", "Cargo, as the booking names it"),
        _text("size_type", "Size and type code, as the booking writes it"),
        _count("line", "Line of the bookings file"),
    ),
)

BOOKING_SOURCES = ("booking", "plan")

SET_POINT_KINDS = ("agrees", "differs", "fahrenheit", "sign", "corrected_late", "no_set_point")
"""How a logged set point stands to the one ordered: it agrees; it differs now; it differs now by a slip
between °C and °F, or of the sign; it differed and was corrected; the log has none."""

SET_POINTS = Table(
    "set_points",
    "Ordered set point against logged: one row a stretch of disagreement, or one that says they agree.",
    (
        _text("container", "Container number", False),
        Column("kind", pl.Enum(SET_POINT_KINDS), "", "How the two stand to each other", False),
        Column("source", pl.Enum(BOOKING_SOURCES), "", "Where the order comes from", False),
        _number("booked", "°C", "Ordered set point", False),
        _number("logged", "°C", "Logged set point of the stretch"),
        _time("start", "First reading of the stretch"),
        _time("end", "First reading that agreed again; empty when it lasts to the end of the log"),
        _number("hours", "h", "How long it lasted, as far as the log goes"),
        _text("words", "The same as a sentence", False),
    ),
)

REPAIR_VERDICTS = ("recovered", "better", "unchanged", "worse", "too_early", "cannot_tell")

REPAIRS = Table(
    "repairs",
    "One row a noted repair: what followed it, in the unit's own numbers and its peers'.",
    (
        _text("container", "Container number", False),
        _time("time", "When it was done", False),
        _text("action", "What was done, as noted"),
        _text("part", "Part used, as noted"),
        Column("verdict", pl.Enum(REPAIR_VERDICTS), "", "What the log shows of it", False),
        _text("feature", "Feature id that tells most of it; empty when none can"),
        _text("unit", "Its unit"),
        _number(
            "good", "", "Its value before the trouble began, in its unit; empty when there is no such time"
        ),
        _number("before", "", "Its value right before the repair"),
        _number("after", "", "Its value since, once the box had settled"),
        _number("peers_low", "", "10th percentile of its peers in the time after"),
        _number("peers_high", "", "90th percentile of its peers in the time after"),
        _number("hours_after", "h", "Log after the repair, or until the next one"),
        _text("words", "The verdict as a sentence with its numbers", False),
        _count("line", "Line of the notes file"),
    ),
)

PARTS = Table(
    "parts",
    "Spares: on board, used by the notes, wanted by the findings.",
    (
        _text("part", "Part, in the words of the spares file, else the catalogue, else the notes", False),
        _count(
            "on_board",
            "How many there were when the spares file was written; empty when it does not name the part",
            True,
        ),
        _count("used", "How many the work notes used since"),
        _count("wanted", "How many units may want it, by the causes named for them"),
        _count("short", "How many are lacking; empty when it is not known how many are on board", True),
    ),
    key=("part",),
)

PART_STATES = ("on_board", "short", "not_listed")

PARTS_WANTED = Table(
    "parts_wanted",
    "Which part each unit may want, and whether it is on board; the first in the list takes it first.",
    (
        _text("container", "Container number", False),
        _text("cause", "Cause id", False),
        _text("part", "Part, in the words of the cause catalogue", False),
        _text("spare", "The same in the words of the spares file; empty when that does not name it"),
        _number("chance", "", "Chance that the unit wants it, 0 to 1", False),
        Column("state", pl.Enum(PART_STATES), "", "Whether it is on board", False),
    ),
)

REPAIR_STATES = (*PART_STATES, "no_part")

POSSIBLE_REPAIRS = Table(
    "possible_repairs",
    "Each repair that a unit's probable cause may take, and whether its parts are on board.",
    (
        _text("container", "Container number", False),
        _text("cause", "Cause id", False),
        _text("kind", "Finer cause that the repair is for; empty where the cause has none"),
        _text("repair", "Finer cause, or cause, in words", False),
        _number("chance", "", "Its chance, 0 to 1", False),
        _text("parts", "Parts it takes, parted by semicolons; empty when it takes none"),
        _text("also", "Small things it takes beside them, which are not held against the spares"),
        Column("state", pl.Enum(REPAIR_STATES), "", "Whether its parts are on board", False),
    ),
)

ROUND = Table(
    "round",
    "The inspection round: urgency first, walking next, until the hours given run out.",
    (
        _count("stop", "Order of the round, from 1"),
        _text("container", "Container number", False),
        Column("group", pl.Enum(GROUPS), "", "Ranking group", False),
        _text("position", "Place on board, BBBRRTT; empty when it is not known"),
        _count("bay", "Bay", True),
        _count("row", "Row", True),
        _count("tier", "Tier", True),
        Column("on_deck", pl.Boolean(), "", "True on deck, false in the hold; empty when not known"),
        _text("reach", "How the machinery end is reached, in words; empty when the place is not known"),
        _text("check", "First check to make there"),
        _number("walk_minutes", "min", "From the stop before", False),
        _number("check_minutes", "min", "For the check, getting at the part included", False),
        _number("elapsed_minutes", "min", "Since the round began, this stop done", False),
        Column("within", pl.Boolean(), "", "True while the hours given last", False),
    ),
    key=("container",),
)

CHANGE_KINDS = ("new_unit", "gone", "worse", "better", "cause_changed", "same")

CHANGES = Table(
    "changes",
    "Each unit against an earlier run.",
    (
        _text("container", "Container number", False),
        Column("change", pl.Enum(CHANGE_KINDS), "", "What changed", False),
        Column("group_then", pl.Enum(GROUPS), "", "Group in the earlier run"),
        Column("group_now", pl.Enum(GROUPS), "", "Group in this run"),
        _text("cause_then", "First cause in the earlier run"),
        _text("cause_now", "First cause in this run"),
        _text("words", "The change as a sentence", False),
    ),
    key=("container",),
)

UNMATCHED_KINDS = ("no_log", "no_place")

UNMATCHED = Table(
    "unmatched",
    "Refrigerated containers on the plan without a log, and logs without a place on the plan.",
    (
        _text("container", "Container number", False),
        Column("kind", pl.Enum(UNMATCHED_KINDS), "", "What is missing", False),
        _text("position", "Place on board, BBBRRTT"),
        _number("required_temperature", "°C", "Temperature to be kept, as the plan says"),
        Column("full", pl.Boolean(), "", "True when laden, false when empty"),
        _text(
            "words",
            "The same as a sentence, with a number on the plan that differs in one character if there is one",
            False,
        ),
    ),
    key=("container",),
)

SPARES = Table(
    "spares",
    "Spare parts on board, as counted.",
    (
        _text("part", "Part, as the file names it", False),
        _count("on_board", "How many"),
        _text("place", "Where it is kept"),
        _time("time", "When it was counted; notes before it do not reduce it"),
        _count("line", "Line of the spares file"),
    ),
    key=("part",),
)

PRE_TRIP_PHASES = (
    "whole",
    "fans_only",
    "pull_down_chilled",
    "chilled_hold",
    "pull_down_frozen",
    "frozen_hold",
    "defrost",
    "return",
    "heating",
    "warm_hold",
    "off",
)
"""What a pre-trip inspection puts a box through; whole is all of it, return the way back after a defrost."""

PRE_TRIP_VERDICTS = ("outside", "watch", "within", "not_tested")
"""How an item of a pre-trip inspection stands to its pass band; never that a box is safe."""

PRE_TRIP = Table(
    "pre_trip",
    "Pre-trip inspections: one row a box and item, with its pass band; boxes with something outside first.",
    (
        _text("container", "Container number", False),
        _count("rank", "Place of the box: most items outside first, then most to watch, then not tested"),
        Column("phase", pl.Enum(PRE_TRIP_PHASES), "", "Part of the inspection", False),
        _text("item", "Item id, as in the bands file", False),
        _text("item_words", "The item in words", False),
        Column("verdict", pl.Enum(PRE_TRIP_VERDICTS), "", "How the value stands to its band", False),
        _number("value", "of the item", "What the log gives"),
        _text("unit", "Unit of value and band"),
        _number("low", "of the item", "Lower edge of the pass band here; empty when there is none"),
        _number("high", "of the item", "Upper edge of it; empty when there is none"),
        _text("words", "The verdict as a sentence with its numbers", False),
        _text("look_first", "What to look at when it is outside"),
        _text("source", "Where the band comes from", False),
        _time("start", "Begin of the phase"),
        _time("end", "Its end"),
        _number("set_point", "°C", "Set point of the phase"),
        _number("ambient", "°C", "Mean ambient air in it"),
        _count("samples", "Readings behind the value"),
        _count("others", "Other boxes of the same day with a value"),
        _number("others_middle", "of the item", "Their median; empty with fewer than 4"),
    ),
    key=("container", "item"),
)

SET_ASIDE = Table(
    "set_aside",
    "One row per input line that was not used, and per reading that was not believed.",
    (
        _text("source", "Id of the file", False),
        _text("file", "Path as given", False),
        _count("row", "Line, from 1"),
        _text("container", "Container number where known"),
        _text("channel", "Channel when one reading was set aside, empty when the whole line was"),
        _text("reason", "Why", False),
        _text("text", "The line or the reading as it stood", False),
    ),
)

VOYAGE_EVENTS = Table(
    "voyage_events",
    "What many units shared at the same time: listed once, held against none of them.",
    (
        _time("start", "When it began", False),
        _time("end", "When it ended", False),
        _text("kind", "power_off, or log_gap", False),
        _count("units", "Units that shared it"),
        _number("share", "", "Their share of the units logged at that time", False),
    ),
    key=("start", "kind"),
)

CLOCKS = Table(
    "clocks",
    "How each unit's clock stands to those of the others. Reported alone: every time is kept as logged.",
    (
        _text("container", "Container number", False),
        Column("apart", pl.Boolean(), "", "True when it is not in step with the others", False),
        _number(
            "offset", "s", "How far the clock is ahead of the others' (below zero: behind); middle of bounds"
        ),
        _number("lower", "s", "Least that it is ahead"),
        _number("upper", "s", "Most that it is ahead"),
        _count("power_cuts", "Power cuts of the whole ship that this rests on"),
        Column("by_day_wave", pl.Boolean(), "", "True when it rests on the day wave of ambient air", False),
        _time(
            "at",
            "When it was ahead by that, by the others' clocks: the last power cut; empty by day wave",
        ),
        _number("drift", "s/d", "What it gains a day (below zero: loses); empty when none is seen"),
        _number("drift_lower", "s/d", "Least that it can gain a day"),
        _number("drift_upper", "s/d", "Most that it can gain a day"),
        _text("words", "The same as a sentence, or why nothing is known", False),
    ),
    key=("container",),
)

TABLES: Mapping[str, Table] = {
    table.name: table
    for table in (
        COMMON_LOG,
        FINDINGS,
        REASONS,
        CAUSES,
        EVIDENCE,
        SEEN,
        EXCURSIONS,
        EXCURSION_PARTS,
        DEFROST_RISES,
        GAPS,
        DEFROSTS,
        UNIT_DAYS,
        CARGO,
        CARGO_TEMPERATURES,
        TREATMENT_DAYS,
        UNIT_HOURS,
        PEERS_THEN,
        PEER_BANDS,
        PLAN,
        BOOKINGS,
        CUSTODY,
        NOTES,
        SPARES,
        SET_POINTS,
        REPAIRS,
        PARTS,
        PARTS_WANTED,
        POSSIBLE_REPAIRS,
        ROUND,
        CHANGES,
        UNMATCHED,
        FEATURES,
        VOYAGE_EVENTS,
        CLOCKS,
        PRE_TRIP,
        SET_ASIDE,
    )
}
"""Every table by name."""
