"""Small invented logs for the intake tests."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import numpy as np
import polars as pl
from stdnum import iso6346

from coldsift.intake import Intake, Message
from coldsift.schema import CHANNELS, COMMON_LOG, Quantity

START = datetime(2026, 4, 28, 22, 0, tzinfo=UTC)


def number(serial: int) -> str:
    """An invented container number with its right check digit."""
    bare = f"CSQU{serial:06d}"
    return bare + iso6346.calc_check_digit(bare)


UNITS = tuple(number(305000 + k) for k in range(4))


def invented_log(units: int = 2, rows: int = 400, minutes: int = 15, seed: int = 1) -> pl.DataFrame:
    """Every channel filled with plausible, invented readings, and a few nulls."""
    random = np.random.default_rng(seed)
    frames = []
    for container in UNITS[:units]:
        columns: dict[str, object] = {
            "container": [container] * rows,
            "time": [START + k * timedelta(minutes=minutes) for k in range(rows)],
            "source": ["invented"] * rows,
            "row": list(range(1, rows + 1)),
        }
        for channel in CHANNELS.values():
            if channel.name == "alarms":
                columns[channel.name] = [["E12", "E7"] if k % 50 == 3 else None for k in range(rows)]
            elif channel.name == "condenser_cooling":
                columns[channel.name] = ["air" if k < rows // 2 else "water" for k in range(rows)]
            elif channel.quantity is Quantity.TEXT:
                columns[channel.name] = ["Cool" if k % 7 else "Defrost" for k in range(rows)]
            elif channel.quantity is Quantity.STATE:
                columns[channel.name] = [bool(k % 5) for k in range(rows)]
            else:
                low, high = channel.low or 0.0, channel.high or 1.0
                middle, width = (low + high) / 2, (high - low) / 8
                values = np.round(
                    middle + width * np.clip(random.standard_normal(rows).cumsum() / 20, -3, 3), 2
                )
                columns[channel.name] = [None if k % 97 == 11 else float(v) for k, v in enumerate(values)]
        frames.append(pl.DataFrame(columns, schema_overrides={c.name: c.dtype for c in COMMON_LOG.columns}))
    return COMMON_LOG.conform(pl.concat(frames).sort("container", "time"))


def assert_accounted(intake: Intake) -> None:
    """Every line of every source is somewhere: the two sums, and the tables behind them."""
    for source in intake.sources:
        assert source.lines == source.heading_lines + source.fact_lines + source.blank_lines + source.rows, (
            source
        )
        assert source.rows == source.used + source.merged + source.set_aside, source
        whole_lines = intake.set_aside.filter(pl.col("source") == source.id, pl.col("channel").is_null())
        assert whole_lines.height == source.set_aside, source
        assert whole_lines["row"].n_unique() == whole_lines.height, source
    assert intake.log.select("container", "time").is_duplicated().any() is False
    assert intake.log.equals(intake.log.sort("container", "time"))


def errors(intake: Intake) -> list[Message]:
    """The errors among the messages."""
    return [message for message in intake.messages if message.severity == "error"]


def warnings(intake: Intake) -> list[Message]:
    """The warnings among the messages."""
    return [message for message in intake.messages if message.severity == "warning"]
