"""What the papers of the voyage came to, in short, for machines.

Goes in: a screening. Comes out: a dictionary ready for JSON; the rows behind it stand in the tables.
"""

from __future__ import annotations

from typing import Any

import polars as pl

from coldsift.engine.screening import Screening
from coldsift.set_points import wrong_now


def voyage_summary(screening: Screening) -> dict[str, Any]:
    """Set points, plan against logs, round, repairs, parts and changes.

    Parameters
    ----------
    screening
        From :func:`coldsift.screen`.

    Returns
    -------
    dict
        ``set_points``: how many of each kind; ``wrong_set_points``: containers that differ now, with what was
        ordered and logged [°C]; ``unmatched``: containers by kind; ``round``: stops, those within the hours,
        and minutes of all; ``repairs``: notes by verdict; ``parts_short``: how many of each; ``changes``:
        containers by kind, ``same`` as well. Empty where there is nothing to tell.
    """
    aboard, set_points = screening.aboard, screening.analysis.set_points
    differing = wrong_now(set_points).sort("container").select("container", "kind", "booked", "logged")
    containers = aboard.unmatched.select("container", pl.col("kind").cast(pl.String)).sort("container")
    minutes = aboard.round.select("walk_minutes", "check_minutes").sum_horizontal().sum()
    short = aboard.parts.filter(pl.col("short") > 0).sort("part").select("part", "short")
    return {
        "set_points": _counts(set_points["kind"]),
        "wrong_set_points": differing.to_dicts(),
        "unmatched": {
            kind: containers.filter(kind=kind)["container"].to_list()
            for kind in containers["kind"].unique().sort()
        },
        "round": {
            "stops": len(aboard.round),
            "within": int(aboard.round["within"].sum()),
            "minutes": round(minutes),
        },
        "repairs": _counts(aboard.repairs["verdict"]),
        "parts_short": dict(short.iter_rows()),
        "changes": _counts(aboard.changes["change"]),
    }


def _counts(kinds: pl.Series) -> dict[str, int]:
    """How often each kind is there, by name."""
    return dict(kinds.cast(pl.String).value_counts().sort(kinds.name).iter_rows())
