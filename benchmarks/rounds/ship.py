"""An invented ship of 400 reefer containers, and findings drawn for them."""

from __future__ import annotations

from itertools import product

import numpy as np
import polars as pl

from coldsift.causes import load_catalogue
from coldsift.schema import FINDINGS

UNITS = 400

BAYS = range(2, 79, 4)
"""Bays of 40 ft, 20 of them."""

ROWS = range(17)
TIERS = {"deck": (82, 84, 86), "hold": (2, 4, 6, 8)}
HOLD_BAYS = (18, 22, 42, 46)
"""Holds with sockets."""

SHARES = {"go_now": 0.03, "this_round": 0.08, "watch": 0.12, "nothing_found": 0.74, "cannot_tell": 0.03}
"""Ranking groups; of those to go to now, half are outside their band."""

SHORT_BAY = 0.2
"""Share of 20 ft boxes, in one half of a bay."""


def findings(seed: int) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Draw a voyage's findings.

    Parameters
    ----------
    seed
        The same seed gives the same frames.

    Returns
    -------
    tuple
        :data:`coldsift.schema.FINDINGS` with places on board, as :func:`coldsift.ranking.rank` orders them:
        by group, within a group without regard to the place; and ``container, minutes`` of the first checks,
        drawn from the shipped catalogue.
    """
    draw = np.random.default_rng(seed)
    cells = [
        *product(BAYS, ROWS, TIERS["deck"]),
        *product(HOLD_BAYS, ROWS, TIERS["hold"]),
    ]
    short = draw.random(UNITS) < SHORT_BAY
    half = draw.choice([-1, 1], UNITS)
    taken = np.array(cells)[draw.choice(len(cells), UNITS, replace=False)]
    positions = [
        f"{bay:03d}{row:02d}{tier:02d}"
        for bay, row, tier in zip(taken[:, 0] + half * short, taken[:, 1], taken[:, 2], strict=True)
    ]
    groups = draw.choice(list(SHARES), UNITS, p=list(SHARES.values()))
    minutes = [each.minutes for each in load_catalogue().observations.values()]
    containers = [f"unit {unit:03d}" for unit in range(UNITS)]
    drawn = pl.DataFrame(
        {
            "container": containers,
            "group": pl.Series(groups, dtype=FINDINGS.empty().schema["group"]),
            "position": positions,
            "hours_to_limit": np.where(draw.random(UNITS) < 0.5, 0.0, 12.0),
            "number_valid": [True] * UNITS,
        }
    ).sort("group", "container")
    return (
        FINDINGS.conform(drawn.with_columns(rank=pl.int_range(1, UNITS + 1))),
        pl.DataFrame({"container": containers, "minutes": draw.choice(minutes, UNITS)}),
    )
