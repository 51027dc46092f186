"""What like units did, ready to be drawn behind any unit's lines.

Goes in: :data:`coldsift.schema.PEER_BANDS`. Comes out: :class:`Ranges` by peer group; arrays, which one unit
after the other takes its own stretch of.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray


@dataclass(frozen=True, slots=True)
class Ranges:
    """The range of one group's units over time.

    Attributes
    ----------
    grids
        Times at which a range is known, each set of them once. [µs since 1970, UTC]
    channels
        By channel: which of the grids it is on; units behind it; low, middle and high edge (3 × times).
    """

    grids: tuple[NDArray[np.int64], ...]
    channels: Mapping[str, tuple[int, NDArray[np.int64], NDArray[np.float64]]]


NO_RANGES = Ranges((), {})


def peer_ranges(peer_bands: pl.DataFrame) -> dict[str, Ranges]:
    """Take the table of ranges apart.

    Parameters
    ----------
    peer_bands
        :data:`coldsift.schema.PEER_BANDS`.
    """
    by_group = peer_bands.sort("peer_group", "channel", "time").partition_by(
        "peer_group", as_dict=True, maintain_order=True
    )
    return {str(group): _ranges(rows) for (group,), rows in by_group.items()}


def _ranges(rows: pl.DataFrame) -> Ranges:
    times = rows["time"].dt.epoch("us").to_numpy()
    units = rows["units"].to_numpy()
    edges = rows.select("low", "middle", "high").to_numpy().T
    grids: dict[bytes, int] = {}
    channels = {}
    first = 0
    for name, count in rows["channel"].rle().struct.unnest().select("value", "len").iter_rows():
        own = slice(first, first := first + count)
        grid = grids.setdefault(times[own].tobytes(), len(grids))
        channels[str(name)] = grid, units[own], edges[:, own]
    return Ranges(tuple(np.frombuffer(grid, dtype=np.int64) for grid in grids), channels)
