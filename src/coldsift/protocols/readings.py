"""What the probes of one container read, and which of it can be believed.

Goes in: the container's common log, its probes, what each read in melting ice. Comes out: one row an instant
with the corrected readings, null where there is none or none to be believed, and why.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl

from coldsift.protocols.count import MINUTE, SAME, Array, stretches

STUCK_IN_AIR = (24.0, 2.0)
STUCK_BESIDE_PROBES = (96.0, 0.5)
"""A reading that stays the same for so long [h] is stuck when the air, or all of at least two other probes,
moved by more than this from the 5th to the 95th percentile [K], and by two steps of the log's resolution
more. Pulp is slow: one that is steady while another still cools is no fault. Common practice, no source."""

AIR = ("supply_air", "return_air")


@dataclass(frozen=True, slots=True)
class Disbelieved:
    """A stretch in which a probe's readings are not believed. [µs]."""

    probe: str
    start: int
    end: int
    words: str


@dataclass(frozen=True, slots=True)
class Readings:
    """What the probes read.

    Attributes
    ----------
    frame
        ``time`` [µs since 1970], sorted and unique, and a column a probe. [°C]
    disbelieved
        What was left out, and why.
    resolution
        Smallest step between two readings [K]; 0 where there are too few values to tell.
    """

    frame: pl.DataFrame
    disbelieved: tuple[Disbelieved, ...]
    resolution: float


def read_probes(log: pl.DataFrame, probes: Sequence[str], ice_point: Mapping[str, float]) -> Readings:
    """Readings of the probes, corrected and believed.

    Parameters
    ----------
    log
        One container's common log.
    probes
        Columns of it.
    ice_point
        What a probe read in melting ice [°C]; one that is not named read 0.
    """
    beside = [name for name in ("source", "row", *AIR) if name in log.columns]
    frame = log.select(
        pl.col("time").dt.epoch("us"), *beside, pl.col(probes).cast(pl.Float64).fill_nan(None)
    ).sort("time", maintain_order=True)
    resolution = _resolution(frame.select(probes))
    contested = _contested(frame, probes)
    doubts = list(_clock_doubts(frame["time"].to_numpy(), contested))
    frame = frame.with_columns(_without(probe, contested[probe]) for probe in probes)
    air = [name for name in AIR if name in beside]
    frame = frame.group_by("time", maintain_order=True).agg(pl.col(*probes, *air).max())
    stuck = [each for probe in probes for each in _stuck(frame, probe, probes, resolution)]
    for each in stuck:
        frame = frame.with_columns(_without(each.probe, pl.col("time").is_between(each.start, each.end)))
    corrected = (pl.col(probe) - ice_point.get(probe, 0.0) for probe in probes)
    return Readings(frame.select("time", *corrected), (*doubts, *stuck), resolution)


def _without(probe: str, where: pl.Series | pl.Expr) -> pl.Expr:
    return pl.when(where).then(None).otherwise(pl.col(probe)).alias(probe)


def _resolution(readings: pl.DataFrame) -> float:
    values = readings.unpivot()["value"].drop_nulls().unique().sort().to_numpy()
    steps = np.diff(values)
    # Closer than this are two ways to write the same reading.
    steps = steps[steps > SAME]
    return float(steps.min()) if len(steps) >= 2 else 0.0


def _contested(frame: pl.DataFrame, probes: Sequence[str]) -> pl.DataFrame:
    """Which readings two stretches of the clock lay claim to, one column a probe.

    An instant that comes twice with different readings is contested. So is a row that, put in order of time,
    stands between two rows that stood elsewhere in its file: the clock was set back, and the hours that it
    went through twice are shuffled into each other.
    """
    twice = [(pl.col(probe).drop_nulls().n_unique().over("time") > 1).alias(probe) for probe in probes]
    if not {"source", "row"} <= set(frame.columns):
        return frame.select(twice)
    place = pl.col("row").rank("dense").cast(pl.Int64)
    apart = (place.diff().abs() != 1).fill_null(False).over("source")
    between = pl.col("apart") & pl.col("apart").shift(-1, fill_value=False).over("source")
    return (
        frame.select("source", *twice, apart=apart)
        .with_columns(between=between)
        .select(pl.col(probe) | pl.col("between") for probe in probes)
    )


def _clock_doubts(times: Array, contested: pl.DataFrame) -> Iterator[Disbelieved]:
    for probe in contested.columns:
        for first, last in stretches(contested[probe].to_numpy()):
            yield Disbelieved(
                probe,
                int(times[first]),
                int(times[last]),
                "the clock was set back, or an instant is there twice",
            )


def _stuck(
    frame: pl.DataFrame, probe: str, probes: Sequence[str], resolution: float
) -> Iterator[Disbelieved]:
    air = [name for name in AIR if name in frame.columns]
    others = [name for name in probes if name != probe]
    runs = (
        frame.lazy()
        .select("time", reading=probe)
        .drop_nulls()
        .group_by(pl.col("reading").rle_id().alias("run"), maintain_order=True)
        .agg(pl.col("reading").first(), start=pl.col("time").min(), end=pl.col("time").max())
        .with_columns(hours=(pl.col("end") - pl.col("start")) / (60 * MINUTE))
        .filter(pl.col("hours") >= STUCK_IN_AIR[0])
        .collect()
    )
    for _, reading, start, end, hours in runs.iter_rows():
        meanwhile = frame.filter(pl.col("time").is_between(start, end))
        in_air = max(_movements(meanwhile, air), default=0.0)
        beside = min(_movements(meanwhile, others), default=0.0) if len(others) > 1 else 0.0
        if any(
            hours >= least and moved > much + 2 * resolution
            for (least, much), moved in ((STUCK_IN_AIR, in_air), (STUCK_BESIDE_PROBES, beside))
        ):
            words = f"{reading:.2f} °C for {hours:.0f} h without a change while others moved"
            yield Disbelieved(probe, start, end, words)


def _movements(frame: pl.DataFrame, names: Sequence[str]) -> list[float]:
    """How far each of some channels moved. [K]."""
    span = (pl.col(name).quantile(0.95, "linear") - pl.col(name).quantile(0.05, "linear") for name in names)
    return [float(each or 0.0) for each in frame.select(span).row(0)] if names else []
