"""From readings alone: a unit of which only the display was noted down, no log.

Goes in: readings as written, ``suction_pressure=-0.9bar_g``. Comes out: the same table of distances as the
peers give, each against the usual range of good units, because there is nothing else to hold them against.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import UTC, datetime

import polars as pl

from coldsift.features import FEATURES
from coldsift.features.circuit import with_saturation
from coldsift.intake.units import parse_unit, spellings
from coldsift.peers.robust import beyond_usual
from coldsift.peers.words import rounded
from coldsift.regimes import build_timeline
from coldsift.schema import CHANNELS, COMMON_LOG, Channel, Quantity

CONTAINER = "readings"
"""Stands for the container in the tables."""

READ_OFF = (
    "split",
    "control_error",
    "coil_below_supply",
    "suction_pressure_running",
    "discharge_pressure_running",
    "discharge_temperature_running",
    "superheat_logged",
    "valve_opening",
    "current_imbalance",
    "superheat",
    "coil_to_air",
    "coil_use",
    "coil_sensor_apart",
    "suction_line_above_coil",
    "air_above_suction_line",
    "pressure_ratio",
    "condensing_over_ambient",
    "condensing_water_cooled",
    "discharge_superheat",
    "voltage_imbalance",
    "water_cooled",
)
"""Features that a single look at the display gives; all others need a log."""

_ON = {"on": True, "yes": True, "1": True, "off": False, "no": False, "0": False}


class ReadingError(ValueError):
    """A reading that cannot be used; says why, and what is known."""


def parse_readings(texts: Iterable[str]) -> dict[str, float | bool | str]:
    """Take readings apart and convert them to the inside units.

    Parameters
    ----------
    texts
        ``channel=value`` or ``channel=value unit``, such as ``supply_air=-1.5``,
        ``suction_pressure=-0.9bar_g``, ``compressor_state=on``, ``condenser_cooling=water``. A pressure must
        say gauge or absolute.

    Returns
    -------
    dict
        Value by channel; °C, bar absolute, W and so on.

    Raises
    ------
    ReadingError
        On an unknown channel or unit, with those that are known; on a reading outside the channel's range,
        with the range; on a channel given twice.
    """
    found: dict[str, float | bool | str] = {}
    for text in texts:
        name, separator, value = text.partition("=")
        name, value = name.strip(), value.strip()
        if not separator or not value:
            raise ReadingError(f"{text!r}: a reading is written CHANNEL=VALUE, such as supply_air=-1.5.")
        channel = CHANNELS.get(name)
        usable = [known for known, entry in CHANNELS.items() if _usable(entry)]
        if channel is None or not _usable(channel):
            raise ReadingError(f"no channel {name!r}. There are: {', '.join(usable)}.")
        if name in found:
            raise ReadingError(f"{name} is given twice.")
        found[name] = _value(channel, value)
    return found


def _usable(channel: Channel) -> bool:
    return channel.quantity is not Quantity.TEXT or channel.name == "condenser_cooling"


def _value(channel: Channel, text: str) -> float | bool | str:
    if channel.quantity is Quantity.TEXT:
        if text.lower() not in ("air", "water"):
            raise ReadingError(f"{channel.name}={text!r}: air or water.")
        return text.lower()
    if channel.quantity is Quantity.STATE:
        if text.lower() not in _ON:
            raise ReadingError(f"{channel.name}={text!r}: on or off.")
        return _ON[text.lower()]
    digits = len(text) - len(text.lstrip("+-0123456789.,"))
    try:
        number = float(text[:digits].replace(",", "."))
    except ValueError:
        raise ReadingError(f"{channel.name}={text!r}: {text[:digits] or text!r} is not a number.") from None
    unit = text[digits:].strip()
    if not unit and channel.quantity is Quantity.PRESSURE:
        raise ReadingError(
            f"{channel.name}={text}: say gauge or absolute, such as {text}bar_g or {text}bar_a."
        )
    scale: tuple[float, float] | None = (1.0, 0.0)
    if unit:
        known = parse_unit(unit)
        scale = known.to_inside(channel.quantity) if known else None
        if known and known.reads_unknown_pressure:
            raise ReadingError(f"{channel.name}={text}: say gauge or absolute, such as {text}_g or {text}_a.")
    if scale is None:
        raise ReadingError(
            f"{channel.name}={text}: no unit {unit!r} for a {channel.quantity}. "
            f"There are: {', '.join(spellings(channel.quantity))}."
        )
    value = number * scale[0] + scale[1]
    reference = " absolute" if channel.quantity is Quantity.PRESSURE else ""
    low, high = channel.low, channel.high
    # A gauge at a full vacuum may read a hair below it.
    slack = 0.005 if channel.quantity is Quantity.PRESSURE else 0.0
    if low is not None and high is not None and not low - slack <= value <= high:
        raise ReadingError(
            f"{channel.name}={text} is {value:.4g} {channel.unit}{reference}, outside the physical range "
            f"{low:g} to {high:g} {channel.unit}{reference}. Read it again."
        )
    return max(value, low) if low is not None else value


def reading_distances(readings: Mapping[str, float | bool | str], refrigerant: str) -> pl.DataFrame:
    """Hold readings against what is usual.

    Parameters
    ----------
    readings
        From :func:`parse_readings`. The compressor is taken to run unless a reading says otherwise.
    refrigerant
        Of the unit.

    Returns
    -------
    polars.DataFrame
        ``container`` (:data:`CONTAINER`), ``feature``, ``value``, ``distance``, ``words``: what they give.
    """
    moment = datetime(2000, 1, 1, tzinfo=UTC)
    row = {"container": CONTAINER, "time": moment, "source": "readings", "row": 1, **readings}
    log = COMMON_LOG.conform(pl.DataFrame([row], schema_overrides={"time": pl.Datetime("us", "UTC")}))
    timeline = with_saturation(build_timeline(log), {}, refrigerant).with_columns(
        regime=pl.lit("hold"),
        shared=pl.lit(False),
        at_present_set_point=pl.lit(True),
        running=pl.col("running").fill_null(True),
        hours=pl.lit(1.0),
    )
    frames = []
    for name in READ_OFF:
        feature = FEATURES[name]
        if feature.of is None or feature.where is None or feature.usual is None:
            continue
        low, high = (pl.lit(end) for end in feature.usual)
        value = feature.of.cast(pl.Float64)
        percent = feature.unit == ""
        shown, unit = (100 * value, "%") if percent else (value, feature.unit)
        scaled = 100 if percent else 1
        words = pl.format(
            "{} {} {}; {} to {} is usual",
            pl.lit(feature.words),
            rounded(shown, 1),
            pl.lit(unit),
            rounded(low * scaled, 1),
            rounded(high * scaled, 1),
        )
        frames.append(
            timeline.filter(feature.where).select(
                "container",
                feature=pl.lit(f"{name}_now" if feature.watched else name),
                value=value,
                distance=beyond_usual(value, low, high, pl.lit(feature.scale)),
                words=words,
            )
        )
    return pl.concat(frames).filter(pl.col("value").is_finite())
