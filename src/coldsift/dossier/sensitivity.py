"""How much an excursion's figures hang on the probe and on the band."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any

import polars as pl

from coldsift.dossier.model import Sensitivity
from coldsift.excursions import find_excursions

PROBE_ERROR = 0.5
"""How far an air probe may be off. [K] EN 12830 class 1 in its 1999 edition, from memory."""

BAND_STEP = 1.0
"""A band narrower or wider by this shows what another contract would have said. [K]"""


def sensitivity(
    timeline: pl.DataFrame, main: Mapping[str, Any], grace_hours: float
) -> tuple[Sensitivity, ...]:
    """Measure the main excursion again, with the probe and the band a little off.

    Parameters
    ----------
    timeline
        One unit's readings.
    main
        Its row of :data:`coldsift.schema.EXCURSIONS`.
    grace_hours
        As for the excursion itself. [h]

    Returns
    -------
    tuple of Sensitivity
        As reckoned first, then each change by itself: hours and degree-hours of what then overlaps the main
        excursion, all pieces together.
    """
    air, low, high = pl.col("controlling_air"), pl.col("band_low"), pl.col("band_high")
    changes: dict[str, tuple[pl.Expr, ...]] = {
        "as reckoned": (),
        f"probe reads {PROBE_ERROR:g} K too high": (air - PROBE_ERROR,),
        f"probe reads {PROBE_ERROR:g} K too low": (air + PROBE_ERROR,),
        f"band {BAND_STEP:g} K wider": (low - BAND_STEP, high + BAND_STEP),
        f"band {BAND_STEP:g} K narrower": (
            pl.when(low.is_not_null())
            .then(pl.min_horizontal(low + BAND_STEP, "set_point"))
            .alias("band_low"),
            pl.max_horizontal(high - BAND_STEP, "set_point"),
        ),
    }
    return tuple(_measured(timeline, main, grace_hours, changes))


def _measured(
    timeline: pl.DataFrame,
    main: Mapping[str, Any],
    grace_hours: float,
    changes: Mapping[str, tuple[pl.Expr, ...]],
) -> Iterator[Sensitivity]:
    for what, change in changes.items():
        pieces = find_excursions(timeline.with_columns(*change), grace_hours).filter(
            pl.col("end") >= main["start"], pl.col("start") <= main["end"]
        )
        start: datetime | None = pieces["start"].min()  # type: ignore[assignment]
        end: datetime | None = pieces["end"].max()  # type: ignore[assignment]
        yield Sensitivity(
            what,
            float(pieces["hours"].sum()),
            float(pieces["degree_hours"].sum()),
            start,
            end,
        )
