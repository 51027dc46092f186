"""How warm each cargo is, and how long it has.

Goes in: the timeline and the cargoes. Comes out: :data:`coldsift.schema.CARGO_TEMPERATURES` and
:data:`coldsift.schema.CARGO`, best estimate and band from seeded ensembles, fitted to cargo probes where a
unit logs any.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import polars as pl

from coldsift.cargo.cargoes import Cargo
from coldsift.cargo.ensemble import BAND, quantiles
from coldsift.cargo.follow import way_at
from coldsift.cargo.outlook import FARTHEST_HOURS, as_it_goes, hours_until_limit, last_hours, when_stopped
from coldsift.cargo.properties import Array
from coldsift.cargo.reckon import Batch, batches
from coldsift.excursions import mean_kinetic_temperature
from coldsift.regimes.numbered import IN_MEMORY
from coldsift.schema import CARGO, CARGO_TEMPERATURES

_SHARES = (0.5, *BAND)
_EDGES = ("", "_low", "_high")
_ROWS_AT_ONCE = 50_000
_KNOWN = (
    *("container", "cargo", "known_from", "limit_low", "limit_high", "limit_from"),
    *("mean_kinetic_limit", "life_days"),
)


def cargo_temperatures(timeline: pl.DataFrame, cargoes: Sequence[Cargo]) -> pl.DataFrame:
    """Temperature of the cargo at every reading of the air.

    Parameters
    ----------
    timeline
        From :func:`coldsift.regimes.build_timeline`.
    cargoes
        From :func:`coldsift.cargo.cargoes_of`.

    Returns
    -------
    polars.DataFrame
        As :data:`coldsift.schema.CARGO_TEMPERATURES`. Inside a gap there are no rows; after it the band is as
        wide as what may have happened in it.
    """
    frames = [
        _temperatures(batch, first)
        for batch in batches(timeline, cargoes, keep_way=True)
        for first in range(0, batch.course.rows.height, _ROWS_AT_ONCE)
    ]
    if not frames:
        return CARGO_TEMPERATURES.empty()
    return CARGO_TEMPERATURES.conform(pl.concat(frames).sort("container", "time"))


def cargo_outlook(timeline: pl.DataFrame, cargoes: Sequence[Cargo]) -> pl.DataFrame:
    """What each cargo is, how warm it is, and how long it has.

    Parameters
    ----------
    timeline, cargoes
        As in :func:`cargo_temperatures`.

    Returns
    -------
    polars.DataFrame
        As :data:`coldsift.schema.CARGO`, one row for each of the cargoes; temperatures and hours are empty
        where no air is logged.
    """
    known = pl.DataFrame(
        [
            {
                "container": cargo.container,
                "cargo": cargo.name,
                "known_from": cargo.known_from,
                "limit_low": cargo.limit_low,
                "limit_high": cargo.limit_high,
                "limit_from": cargo.limit_from,
                "mean_kinetic_limit": cargo.mean_kinetic_limit,
                "life_days": cargo.life_days,
            }
            for cargo in cargoes
        ],
        schema=[(column.name, column.dtype) for column in CARGO.columns if column.name in _KNOWN],
    )
    air = pl.col("controlling_air").is_not_null()
    seen = (
        timeline.lazy()
        .group_by("container", maintain_order=True)
        .agg(
            pulling_down=(pl.col("regime").drop_nulls().last() == "pull_down").fill_null(False),
            mean_kinetic_temperature=mean_kinetic_temperature(
                pl.col("controlling_air").filter(air), pl.col("hours").filter(air)
            ).fill_nan(None),
        )
        .collect(engine=IN_MEMORY)
    )
    known = known.join(seen, on="container", how="left")
    reckoned = [_outlook(batch) for batch in batches(timeline, cargoes, keep_way=False)]
    if not reckoned:
        return CARGO.conform(known.with_columns(fitted=False).sort("container"))
    frame = known.join(pl.concat(reckoned), on="container", how="left").with_columns(
        pl.col("fitted").fill_null(False)
    )
    return CARGO.conform(frame.sort("container"))


def _temperatures(batch: Batch, first: int) -> pl.DataFrame:
    rows = batch.course.rows[first : first + _ROWS_AT_ONCE]
    outer, centre = way_at(batch.load, batch.followed.way[:, first : first + _ROWS_AT_ONCE], rows)
    containers = pl.DataFrame({"container": batch.course.containers}).with_row_index("unit")
    return (
        rows.select(pl.col("unit").cast(pl.UInt32), "time")
        .join(containers, on="unit", how="left", maintain_order="left")
        .with_columns(*_band("surface", outer, 3), *_band("core", centre, 3))
        .drop("unit")
    )


def _outlook(batch: Batch) -> pl.DataFrame:
    load, state = batch.load, batch.followed
    ends = last_hours(batch.course.rows)
    stopped = hours_until_limit(load, state, when_stopped(load, ends))
    going = hours_until_limit(load, state, as_it_goes(load, ends))
    spent = quantiles(state.spent, (0.5,))[0]
    error = pl.Series(batch.fit_error).fill_nan(None)
    return pl.DataFrame({"container": batch.course.containers}).with_columns(
        *_band("surface", state.outer, 3),
        *_band("core", state.centre, 3),
        *_hours_band("hours_if_failed", stopped),
        *_hours_band("hours_as_now", going),
        pl.Series("life_lost_days", spent).fill_nan(None).round(3),
        error.is_not_null().alias("fitted"),
        error.round(3).alias("fit_error"),
    )


def _band(name: str, members: Array, digits: int) -> list[pl.Series]:
    """Best estimate and edges."""
    return [
        pl.Series(f"{name}{edge}", values).round(digits)
        for edge, values in zip(_EDGES, quantiles(members, _SHARES), strict=True)
    ]


def _hours_band(name: str, members: Array) -> list[pl.Series]:
    """Best estimate and edges; empty where they lie beyond what is foretold."""
    never = 1e9
    return [
        pl.Series(f"{name}{edge}", np.where(values > FARTHEST_HOURS, np.nan, values)).fill_nan(None).round(2)
        for edge, values in zip(_EDGES, quantiles(np.minimum(members, never), _SHARES), strict=True)
    ]
