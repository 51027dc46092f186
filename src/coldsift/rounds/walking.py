"""How long it takes to walk from one container to another: a plain model of a ship.

Containers of a bay are reached from the passage athwart the ship at that bay. From bay to bay one goes along
the passage on either side of the ship, whichever is nearer. Upper tiers and the hold are reached by ladders.
All figures are common practice, no source; the numbering is ISO 9711-1's, see
:func:`coldsift.voyage.stowage.cell` for where that is known from.
"""

from __future__ import annotations

import numpy as np
import polars as pl
from numpy.typing import NDArray

Array = NDArray[np.float64]

METRES_PER_BAY_NUMBER = 3.5
"""Along the ship: a 40 ft bay takes four numbers and, with its passage, about 14 m."""

ROW_METRES = 2.5
"""Athwart the ship: a box of 2.44 m and the gap beside it."""

TIER_METRES = 2.7
"""Up the stack: between boxes of 8 ft 6 in and 9 ft 6 in, mean of 2.59 m and 2.90 m, rounded down."""

ENTRY_METRES = 4.0
"""Down from the deck to the platform at the top tier of the hold: coaming, hatchway, first ladder."""

WALKING = 50.0
"""On a gangway between lashing gear and sockets, in protective gear, torch in hand. [m/min]"""

CLIMBING = 9.0
"""On ladders, up or down, three points of contact. [m/min]"""

UNKNOWN_WALK_MINUTES = 5.0
"""To and from a container whose place is not known: it has to be looked for. [min]"""

FIRST_DECK_TIER = 70
"""Tiers from here on stand on deck. Most ships call the first tier there 82, some 72 or 80."""


def places_of(position: pl.Expr) -> dict[str, pl.Expr]:
    """Bay, row, tier, and whether that is on deck.

    Parameters
    ----------
    position
        Places as BBBRRTT; all four are empty where it is none.
    """
    cell = position.str.extract_groups(r"^(?<bay>\d{3})(?<row>\d{2})(?<tier>\d{2})$")
    numbers = {name: cell.struct.field(name).cast(pl.Int64) for name in ("bay", "row", "tier")}
    return {**numbers, "on_deck": numbers["tier"] >= FIRST_DECK_TIER}


def first_tier() -> pl.Expr:
    """Number of the first tier on deck: 72 where any stop stands between 70 and 79, else 82."""
    return pl.when(pl.col("tier").is_between(FIRST_DECK_TIER, 79).any()).then(72).otherwise(82)


def deck_level() -> pl.Expr:
    """How many tiers a container on deck stands above the first one; 80 counts as 82. Empty in the hold."""
    return pl.when("on_deck").then(((pl.col("tier") - first_tier()) // 2).clip(lower_bound=0))


def walking_minutes(places: pl.DataFrame) -> Array:
    """Minutes from every stop to every other.

    Parameters
    ----------
    places
        ``bay``, ``row``, ``tier``, ``on_deck``, one row a stop, as :func:`places_of` gives them.

    Returns
    -------
    numpy.ndarray
        ``(stops, stops)``, symmetrical, 0 on the diagonal. [min]

    Notes
    -----
    A 20 ft bay has the passage of the 40 ft bay that covers it (02 covers 01 and 03), where a stop there is
    given. Within a passage, one stays at the height of the stops: on a lashing bridge, on a platform of the
    hold. To another bay, or between deck and hold, one climbs to the deck first. The hold's top tier and the
    ship's breadth are those of the stops.
    """
    stood = places.with_columns(
        along=_passage() * METRES_PER_BAY_NUMBER,
        # Odd rows to starboard, even ones to port, numbered outward from 00 on the centre line.
        athwart=((pl.col("row") + 1) // 2) * (2 * (pl.col("row") % 2) - 1) * ROW_METRES,
        height=pl.when("on_deck")
        .then(deck_level() * TIER_METRES)
        .otherwise(
            (pl.col("tier") - pl.col("tier").filter(~pl.col("on_deck")).max()) / 2 * TIER_METRES
            - ENTRY_METRES
        ),
    )
    along, athwart, height = (
        stood[name].cast(pl.Float64).fill_null(np.nan).to_numpy() for name in ("along", "athwart", "height")
    )
    side = np.nanmax(np.abs(athwart), initial=0.0) + ROW_METRES / 2
    to_port, to_starboard = side + athwart, side - athwart
    same_bay = _apart(along) == 0
    round_the_side = np.minimum(_together(to_port), _together(to_starboard)) + _apart(along)
    level = np.where(same_bay, _apart(athwart), round_the_side)
    stays = same_bay & ((height[:, None] < 0) == (height[None, :] < 0))
    climb = np.where(stays, _apart(height), _together(np.abs(height)))
    minutes = np.nan_to_num(level / WALKING + climb / CLIMBING, nan=UNKNOWN_WALK_MINUTES)
    np.fill_diagonal(minutes, 0.0)
    return np.asarray(minutes)


def _passage() -> pl.Expr:
    """Number of the bay whose passage a stop is reached from."""
    bay = pl.col("bay")
    odd = bay % 2 == 1
    covering = bay.filter(~odd).unique().implode()
    return (
        pl.when(odd & (bay + 1).is_in(covering))
        .then(bay + 1)
        .when(odd & (bay - 1).is_in(covering))
        .then(bay - 1)
        .otherwise(bay)
    )


def _apart(values: Array) -> Array:
    return np.abs(values[:, None] - values[None, :])


def _together(values: Array) -> Array:
    return values[:, None] + values[None, :]
