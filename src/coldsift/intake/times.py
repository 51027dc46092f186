"""Clock readings to instants in UTC: formats from the values, day or month first from the data, zones.

Goes in: a text column as logged. Comes out: UTC instants, with nulls where a reading cannot be placed and the
reason for each.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import polars as pl

from coldsift.intake.records import WrongCall

DAY_FIRST, MONTH_FIRST = "day_first", "month_first"
EARLIEST_YEAR, LATEST_YEAR = 1990, 2099
"""A clock outside these was never set."""
_EARLIEST, _LATEST = datetime(EARLIEST_YEAR, 1, 1, tzinfo=UTC), datetime(LATEST_YEAR + 1, 1, 1, tzinfo=UTC)

FAR = timedelta(days=366)
"""Readings further than this from all others of a unit are another voyage, or of a clock that was reset."""

EPOCHS = (
    # Weeks of GPS are counted modulo 1024 from 1980-01-06 (IS-GPS-200): the week that follows the last.
    *(datetime(1980, 1, 6, tzinfo=UTC) + timedelta(weeks=1024 * count) for count in (1, 2, 3)),
    # 32 bits of seconds run out: NTP's from 1900 (RFC 5905), and those that POSIX counts from 1970, signed.
    datetime(1900, 1, 1, tzinfo=UTC) + timedelta(seconds=2**32),
    datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=2**31 - 1),
    # First dates of clock circuits; common practice, no source.
    *(datetime(year, 1, 1, tzinfo=UTC) for year in (1990, 2000, 2001)),
)
"""Where a clock that lost its time begins anew, or stands at the end of its count."""

_NEAR_EPOCH = timedelta(hours=15), timedelta(days=1)
"""A log on a reset clock begins so shortly before (by its time zone) or after an epoch."""

_DATE = (
    r"(?:(?P<year>\d{4})(?P<s1>[-/.])(?P<m1>\d{1,2})(?P=s1)(?P<d1>\d{1,2})"
    r"|(?P<a>\d{1,2})(?P<s2>[-/.])(?P<b>\d{1,2})(?P=s2)(?P<y2>\d{4}|\d{2})"
    r"|(?P<d3>\d{1,2})(?P<s3>[- ])(?P<word>[A-Za-z]{3,9})(?P=s3)(?P<y3>\d{4}|\d{2})"
    r"|(?P<compact>\d{8}))"
)
_SHAPE = re.compile(
    _DATE + r"(?:(?P<gap>T|,? +)(?P<hour>\d{1,2})(?P<colon>[:.])\d{2}(?P<second>(?P=colon)\d{2})?"
    r"(?P<fraction>[.,]\d+)?(?P<half> ?[AaPp][Mm])?(?P<zone> ?(?:Z|UTC|GMT|[+-]\d{2}:?\d{2}))?)?"
)
_OFFSET = re.compile(r"(utc|gmt)?\s*([+\-−]?)\s*(\d{1,2})(?::?(\d{2}))?\s*(?:h|hours?)?", re.IGNORECASE)


class AmbiguousDateOrder(Exception):
    """Day-first and month-first both fit the data and mean different days."""


@dataclass(frozen=True, slots=True)
class Parsed:
    """Clock readings after parsing.

    Attributes
    ----------
    naive
        Clock readings without zone, null where there is none.
    instant
        Instants in UTC where the reading itself said its offset.
    order
        How day and month first was settled, empty where the question did not arise.
    """

    naive: pl.Series
    instant: pl.Series
    order: str


_NUMBERS = (
    (re.compile(r"\d{10}(\.\d+)?"), "epoch_s"),
    (re.compile(r"\d{13}"), "epoch_ms"),
    (re.compile(r"\d{14}"), "%Y%m%d%H%M%S"),
    (re.compile(r"[2-6]\d{4}(\.\d+)?"), "spreadsheet_days"),
)


def formats_of(value: str) -> list[tuple[str, str]]:
    """Formats that one reading could have: (date order or empty, strptime format)."""
    value = value.strip()
    for pattern, form in _NUMBERS:
        if pattern.fullmatch(value):
            return [("", form)]
    match = _SHAPE.fullmatch(value)
    if match is None:
        return []
    part = match.groupdict()
    clock = _clock_format(part)
    if part["year"]:
        return [("", f"%Y{part['s1']}%m{part['s1']}%d{clock}")]
    if part["compact"]:
        return [("", f"%Y%m%d{clock}")]
    if part["word"]:
        year = "%Y" if len(part["y3"]) == 4 else "%y"
        month = "%b" if len(part["word"]) == 3 else "%B"
        return [("", f"%d{part['s3']}{month}{part['s3']}{year}{clock}")]
    year, dash = ("%Y" if len(part["y2"]) == 4 else "%y"), part["s2"]
    return [
        (DAY_FIRST, f"%d{dash}%m{dash}{year}{clock}"),
        (MONTH_FIRST, f"%m{dash}%d{dash}{year}{clock}"),
    ]


def _clock_format(part: dict[str, str]) -> str:
    if not part["hour"]:
        return ""
    colon = part["colon"]
    clock = part["gap"] + ("%I" if part["half"] else "%H") + colon + "%M"
    clock += f"{colon}%S" if part["second"] else ""
    if part["fraction"]:
        clock += "%.f" if part["fraction"][0] == "." else ",%f"
    if part["half"]:
        clock += " %p" if part["half"][0] == " " else "%p"
    if zone := part["zone"]:
        blank = " " if zone[0] == " " else ""
        clock += blank + ("%z" if zone.strip()[0] in "+-" else zone.strip())
    return clock


def repeated(value: object, count: int, dtype: type[pl.DataType] | pl.DataType) -> pl.Series:
    """A column of one value."""
    return pl.Series("", [value], dtype=dtype).new_from_index(0, count)


def first_known(column: pl.Series, other: pl.Series) -> pl.Series:
    """A column, and where it is null the other one."""
    if column.null_count() == len(column):
        return other
    return column.zip_with(column.is_not_null(), other) if column.null_count() else column


def never_set(stamps: pl.Series) -> pl.Series:
    """Mask of instants in years in which no clock ran that was ever set."""
    return (stamps < _EARLIEST) | (stamps >= _LATEST)


def is_reset(container: pl.Series, time: pl.Series) -> pl.Series:
    """Mask of readings that a clock gave which had been reset.

    Parameters
    ----------
    container, time
        Unit and instant [UTC] of each reading, in file order; null where there is none.

    Notes
    -----
    Judged are readings further than ``FAR`` from the unit's others. They are of a reset clock when they begin
    at one of ``EPOCHS``, or when they stand amidst the others in a file that else runs in the order of time;
    not when they stand apart: that is an earlier voyage.
    """
    first, last = time.min(), time.max()
    if not (isinstance(first, datetime) and isinstance(last, datetime) and last - first > FAR):
        return repeated(False, len(time), pl.Boolean)
    stretch = ["container", "stretch"]
    before, after = _NEAR_EPOCH
    begin = pl.col("time").min().over(stretch)
    step = pl.col("time").diff().over(stretch)
    rows = (
        pl.DataFrame({"container": container, "time": time})
        .with_row_index("at")
        .drop_nulls("time")
        .sort("container", "time", maintain_order=True)
        .with_columns(
            stretch=(pl.col("time").diff() > FAR).fill_null(False).cum_sum().over("container"),
        )
        .sort("at")
        .with_columns(
            readings=pl.len().over(stretch),
            at_epoch=pl.any_horizontal(begin.is_between(epoch - before, epoch + after) for epoch in EPOCHS),
            ordered=((step >= timedelta(0)).all() | (step <= timedelta(0)).all()).over(stretch),
        )
        .with_columns(ordered=pl.col("ordered").all().over("container"))
    )
    known = (
        rows.filter(~pl.col("at_epoch"))
        .group_by(stretch)
        .agg(pl.col("readings").first(), first_row=pl.col("at").min(), last_row=pl.col("at").max())
        .sort("container", "readings", "stretch", descending=[False, True, True])
        .unique("container", keep="first", maintain_order=True)
    )
    wrong = (
        rows.join(known, on="container", suffix=" known", maintain_order="left")
        .filter(pl.col("stretch") != pl.col("stretch known"))
        .filter(
            pl.col("at_epoch")
            | pl.col("ordered") & pl.col("at").is_between(pl.col("first_row"), pl.col("last_row"))
        )
    )
    return pl.int_range(len(time), dtype=pl.UInt32, eager=True).is_in(wrong["at"].implode())


def _strptime(column: pl.Series, form: str) -> tuple[pl.Series, bool]:
    """Parse by one format: microsecond readings, and whether they are instants in UTC."""
    stamps, zoned = _stamps(pl.first().str.strip_chars(), form)
    return column.to_frame().select(stamps).to_series(), zoned


def _stamps(text: pl.Expr, form: str) -> tuple[pl.Expr, bool]:
    if form in ("epoch_s", "epoch_ms", "spreadsheet_days"):
        number = text.cast(pl.Float64, strict=False)
        scale = {"epoch_s": 1e6, "epoch_ms": 1e3, "spreadsheet_days": 86_400e6}[form]
        whole = (number * scale).round(0)
        if form == "spreadsheet_days":
            # Spreadsheets count days from 1900 and have a 29 February in it; 25569 is 1970-01-01.
            whole = ((number - 25569) * 86_400).round(0) * 1e6
        return whole.cast(pl.Int64, strict=False).cast(pl.Datetime("us")), form != "spreadsheet_days"
    # Readings of a clock hardly repeat: remembering each costs more than it saves.
    if form.endswith("%z"):
        return text.str.to_datetime(form, strict=False, time_unit="us", time_zone="UTC", cache=False), True
    stamps = text.str.to_datetime(form, strict=False, time_unit="us", cache=False)
    return stamps, form.endswith(("Z", "UTC", "GMT"))


def _longest_jumps(stamps: pl.Series) -> int:
    """How many times the sorted readings jump by more than a week."""
    days = stamps.drop_nulls().unique().sort().diff().dt.total_days().drop_nulls()
    return int((days > 7).sum())


def _settle_order(day: pl.Series, month: pl.Series) -> tuple[pl.Series, str]:
    """Choose between the two readings of the same dates.

    Raises
    ------
    AmbiguousDateOrder
        When the data fit both and they differ.
    """
    day_count, month_count = day.count(), month.count()
    if day_count != month_count:
        return (
            (day, "day first: a date has no such month")
            if day_count > month_count
            else (
                month,
                "month first: a date has no such month",
            )
        )
    if (day == month).all():
        return day, ""
    day_jumps, month_jumps = _longest_jumps(day), _longest_jumps(month)
    if day_jumps == month_jumps or min(day_jumps, month_jumps) > 0:
        raise AmbiguousDateOrder
    if day_jumps < month_jumps:
        return day, "day first: month first would leave gaps of weeks between the readings"
    return month, "month first: day first would leave gaps of weeks between the readings"


def parse(column: pl.Series, form: str | None, order: str | None) -> Parsed:
    """Read a text column of clock readings.

    Parameters
    ----------
    column
        Text.
    form
        A strptime format when the layout declares one; otherwise it is found from the values.
    order
        ``day_first`` or ``month_first`` when known.

    Raises
    ------
    AmbiguousDateOrder
        When neither the caller nor the data settle the order of day and month.
    """
    naive = instant = repeated(None, len(column), pl.Datetime("us"))
    settled = ""
    left = column
    for attempt in range(4):
        open_values = left.drop_nulls() if left.null_count() else left
        if open_values.is_empty():
            break
        formats = [("", form)] if form and attempt == 0 else formats_of(open_values[0])
        if not formats and attempt:
            # Step over what has no shape at all, to reach a second shape behind it.
            shaped = next((value for value in open_values.head(500) if formats_of(value)), None)
            formats = formats_of(shaped) if shaped else []
        elif not formats:
            formats = next((found for value in open_values.head(500) if (found := formats_of(value))), [])
        if not formats:
            break
        if len(formats) == 2 and order:
            formats = [entry for entry in formats if entry[0] == order]
        if len(formats) == 2:
            (day, zoned), (month, _) = (_strptime(left, form_) for _, form_ in formats)
            stamps, settled = _settle_order(day, month)
            order = DAY_FIRST if stamps is day else MONTH_FIRST
        else:
            stamps, zoned = _strptime(left, formats[0][1])
        if zoned:
            bare = stamps.dt.replace_time_zone(None) if stamps.dtype.time_zone else stamps  # type: ignore[attr-defined]
            instant = first_known(instant, bare)
        else:
            naive = first_known(naive, stamps)
        if stamps.null_count() == column.null_count():
            break
        left = pl.select(pl.when(stamps.is_null()).then(left)).to_series()
    return Parsed(naive, instant, settled)


def zone_of(text: str | None, bare: bool = False) -> str | None:
    """A zone in one spelling: ``UTC``, ``+02:00`` or an IANA name; None when it is none of these.

    Parameters
    ----------
    text
        Such as ``UTC+2``, ``+0200``, ``Europe/Amsterdam``.
    bare
        Whether a number without sign (``2``) is an offset too, as in a preamble line about the offset.
    """
    word = (text or "").strip().strip("()[]").strip()
    match = _OFFSET.fullmatch(word)
    if match and (bare or match.group(1) or match.group(2)):
        _, sign, hours, minutes = match.groups()
        total = int(hours) * 60 + int(minutes or 0)
        if total > 14 * 60:
            return None
        return f"{'-' if sign in ('-', '−') else '+'}{total // 60:02d}:{total % 60:02d}" if total else "UTC"
    if word.upper() in ("UTC", "GMT", "Z"):
        return "UTC"
    try:
        ZoneInfo(word)
        # The readings are placed by the time zones of Polars, which lack the names of one machine alone.
        pl.Series([datetime(2026, 1, 1)]).dt.replace_time_zone(word)
    except (ValueError, OSError, KeyError, pl.exceptions.PolarsError):
        return None
    return word


def given_zone(text: str | None) -> str | None:
    """The zone that a call names, in one spelling; None when it names none.

    Raises
    ------
    WrongCall
        When it is no time zone.
    """
    zone = zone_of(text)
    if text is not None and zone is None:
        raise WrongCall(
            f"{text!r} is no time zone. "
            "Give UTC, an offset such as +02:00, or a name such as Europe/Amsterdam."
        )
    return zone


@dataclass(frozen=True, slots=True)
class Placed:
    """Instants in UTC and what could not be placed.

    Attributes
    ----------
    instant
        UTC, microseconds; null where the reading could not be placed.
    never, twice
        Masks of clock readings that the zone skips, and that it has twice with nothing to tell which.
    by_order, by_neighbours
        How many repeated readings were placed by their order in the file, and by the readings beside them.
    """

    instant: pl.Series
    never: pl.Series
    twice: pl.Series
    by_order: int = 0
    by_neighbours: int = 0


def to_utc(naive: pl.Series, zone: str, owner: pl.Series) -> Placed:
    """Place clock readings in UTC.

    Parameters
    ----------
    naive
        Clock readings in file order.
    zone
        ``UTC``, a fixed offset or an IANA name.
    owner
        Unit of each reading, in a table of tags unit and tag: the order of readings is judged for each.

    Notes
    -----
    Where the zone has a reading twice, the two instants are those of fold 0 and 1 of PEP 495.
    """
    nothing = repeated(False, len(naive), pl.Boolean)
    if zone == "UTC":
        return Placed(naive.cast(pl.Datetime("us", "UTC")), nothing, nothing)
    if zone[0] in "+-":
        minutes = (1 if zone[0] == "+" else -1) * (int(zone[1:3]) * 60 + int(zone[4:6]))
        return Placed((naive - timedelta(minutes=minutes)).dt.replace_time_zone("UTC"), nothing, nothing)
    first, second = (
        naive.dt.replace_time_zone(zone, ambiguous=which, non_existent="null").dt.convert_time_zone("UTC")
        for which in ("earliest", "latest")
    )
    never = first.is_null() & naive.is_not_null()
    ambiguous = (first != second).fill_null(False)
    if not ambiguous.any():
        return Placed(first, never, nothing)
    nights = _nights(
        pl.DataFrame({"naive": naive, "owner": owner, "first": first, "second": second, "night": ambiguous})
    )
    told = nights.filter(pl.col("later").is_not_null())
    known, later = (
        pl.int_range(len(naive), dtype=pl.UInt32, eager=True).is_in(rows["at"].implode())
        for rows in (told, told.filter("later"))
    )
    twice = ambiguous & ~known
    instant = pl.select(pl.when(twice).then(None).when(later).then(second).otherwise(first)).to_series()
    by_order = int(told["ordered"].sum())
    return Placed(instant, never, twice, by_order, told.height - by_order)


def _nights(frame: pl.DataFrame) -> pl.DataFrame:
    """Which run of the hour that comes twice each reading in it is of, as far as anything tells.

    Parameters
    ----------
    frame
        ``naive, owner``; ``first, second`` [UTC], its two instants; ``night`` where they differ.

    Returns
    -------
    polars.DataFrame
        Of the readings in such hours: ``at`` (row), ``later`` (of the second run; null where nothing tells)
        and ``ordered`` (told by a step back).

    Notes
    -----
    Readings before the one step back are of the first run, those after it of the second. Without a step
    back, the run is taken in which the readings follow on from those beside them at the usual step; a whole
    night with one run only follows on at one end as well as at the other, and is left open.
    """
    hour = timedelta(hours=1)
    stretch = ["owner", "night"]
    step = pl.col("naive").diff().over("owner")
    whole = (
        frame.with_row_index("at")
        .filter(pl.col("naive").is_not_null())
        # Night after night by the clock: a change of the hour may fall about midnight.
        .join(
            frame.filter("night")
            .select(pl.col("naive").unique().sort())
            .with_columns(date=(pl.col("naive").diff() > 12 * hour).fill_null(False).cum_sum()),
            on="naive",
            how="left",
            maintain_order="left",
        )
        .with_columns(night=pl.col("date"))
        .with_columns(newest_first=(step.filter(step != timedelta(0)).median() < timedelta(0)).over("owner"))
    )
    turned = whole.filter(pl.col("newest_first").fill_null(False)).reverse()
    in_time = pl.concat([whole.filter(~pl.col("newest_first").fill_null(False)), turned])
    moved = pl.col("naive").diff().over("owner")
    within = (
        in_time.with_columns(
            usual=moved.filter(moved > timedelta(0)).median().over("owner"),
            before=pl.col("first").shift(1).over("owner"),
            after=pl.col("second").shift(-1).over("owner"),
        )
        .filter(pl.col("night").is_not_null())
        .with_columns(moved=pl.col("naive").diff().over(stretch))
        .with_columns(
            back=(
                (pl.col("moved") < timedelta(0))
                # An hourly log has two readings that night, with one and the same stamp.
                | (pl.col("moved") == timedelta(0))
                & (pl.len().over(stretch) == 2)
                & (pl.col("usual") >= pl.col("second") - pl.col("first"))
            ).fill_null(False)
        )
        .with_columns(run=pl.col("back").cum_sum().over(stretch), runs=pl.col("back").sum().over(stretch))
    )

    def strayed(run: str) -> pl.Expr:
        """How far the steps at both ends are from the usual one, were this the run."""
        ends = (
            pl.col(run).first() - pl.col("before").first(),
            pl.col("after").last() - pl.col(run).last(),
        )
        return pl.sum_horizontal(
            pl.when(end > timedelta(0)).then((end - pl.col("usual").first()).abs()).dt.total_microseconds()
            for end in ends
        ).over(stretch)

    slack = pl.col("usual").dt.total_microseconds() / 2
    one, other = pl.col("one"), pl.col("other")
    return within.with_columns(one=strayed("first"), other=strayed("second")).select(
        "at",
        later=pl.when(pl.col("runs") == 1)
        .then(pl.col("run") == 1)
        .when(
            (pl.col("runs") == 0) & (pl.min_horizontal(one, other) <= slack) & ((one - other).abs() > slack)
        )
        .then(other < one),
        ordered=pl.col("runs") == 1,
    )


def count_readable(values: Sequence[str], form: str | None, order: str | None) -> int:
    """How many of a few readings can be read, by a format or, without one, by their shape."""
    if form:
        return _strptime(pl.Series(values, dtype=pl.String), form)[0].count()
    readable = 0
    for value in values:
        formats = formats_of(value)
        if len(formats) == 2 and order:
            readable += _strptime(pl.Series([value]), dict(formats)[order])[0].count()
        else:
            readable += bool(formats)
    return readable
