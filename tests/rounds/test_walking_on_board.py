"""Where a container stands and how far it is to the next: ISO 9711-1 numbering, a plain model of a ship.

Numbering of bays: GDV Container Handbook 1.3.3; of rows and tiers: two training sites (secondary). Distances:
common practice, no source.
"""

from __future__ import annotations

from itertools import product

import numpy as np
import polars as pl
import pytest

from coldsift.rounds import UNKNOWN_WALK_MINUTES, places_of, walking_minutes
from coldsift.rounds.walking import (
    CLIMBING,
    ENTRY_METRES,
    METRES_PER_BAY_NUMBER,
    ROW_METRES,
    TIER_METRES,
    WALKING,
)


def places(*positions: str | None) -> pl.DataFrame:
    return pl.DataFrame({"position": positions}, schema={"position": pl.String}).select(
        **places_of(pl.col("position"))
    )


def minutes(*positions: str | None) -> np.ndarray:
    return walking_minutes(places(*positions))


def test_a_place_is_bay_row_and_tier() -> None:
    # 020584 = bay 02, row 05, tier 84; 0330204 = bay 033, row 02, tier 04: check values, secondary.
    assert places("0020584", "0330204").rows() == [(2, 5, 84, True), (33, 2, 4, False)]


@pytest.mark.parametrize(
    ("tier", "on_deck"), [("02", False), ("18", False), ("72", True), ("80", True), ("82", True)]
)
def test_the_hold_counts_from_02_and_the_deck_from_82_or_a_little_below(tier: str, on_deck: bool) -> None:
    assert places(f"00100{tier}")["on_deck"].item() is on_deck


@pytest.mark.parametrize("position", [None, "", "020584", "00205AA", "somewhere"])
def test_what_is_no_place_is_not_guessed(position: str | None) -> None:
    assert places(position).row(0) == (None, None, None, None)


def test_a_40_ft_bay_and_the_20_ft_bays_that_it_covers_share_a_passage() -> None:
    # 02 covers 01 and 03 (GDV).
    fore, whole, aft, next_bay = "0010182", "0020182", "0030182", "0050182"
    walk = minutes(fore, whole, aft, next_bay)
    assert walk[:3, :3] == pytest.approx(np.zeros((3, 3)))
    assert (walk[3, :3] > 0).all()


def test_odd_rows_are_to_starboard_and_even_ones_to_port_of_row_00() -> None:
    walk = minutes("0020082", "0020182", "0020282", "0020382", "0020482") * WALKING / ROW_METRES
    assert walk[0] == pytest.approx([0, 1, 1, 2, 2])
    assert walk[1] == pytest.approx([1, 0, 2, 1, 3])
    assert walk[3, 4] == pytest.approx(4)


def test_from_bay_to_bay_one_walks_round_by_the_nearer_side() -> None:
    # Both on the starboard side, second outermost of three rows there; four bay numbers apart.
    walk = minutes("0020382", "0060382", "0020682")
    to_the_side = 1.5 * ROW_METRES
    assert walk[0, 1] * WALKING == pytest.approx(2 * to_the_side + 4 * METRES_PER_BAY_NUMBER)


def test_a_tier_up_on_the_lashing_bridge_is_a_ladder_up() -> None:
    assert minutes("0020182", "0020184")[0, 1] * CLIMBING == pytest.approx(TIER_METRES)
    # On the same lashing bridge one stays up there.
    assert minutes("0020184", "0020384")[0, 1] * WALKING == pytest.approx(ROW_METRES)
    # To that of another bay one climbs down and up again.
    assert minutes("0020184", "0060184")[0, 1] - minutes("0020182", "0060182")[0, 1] == pytest.approx(
        2 * TIER_METRES / CLIMBING
    )


def test_from_deck_to_hold_one_climbs_down_from_the_first_tier() -> None:
    walk = minutes("0020082", "0020008", "0020006")
    assert walk[0, 1] * CLIMBING == pytest.approx(ENTRY_METRES)
    assert walk[0, 2] * CLIMBING == pytest.approx(ENTRY_METRES + TIER_METRES)
    assert walk[1, 2] * CLIMBING == pytest.approx(TIER_METRES)


def test_on_a_ship_that_counts_from_72_tier_82_is_high_up() -> None:
    assert minutes("0020072", "0020082")[0, 1] * CLIMBING == pytest.approx(5 * TIER_METRES)
    # Elsewhere 80 is reached from the deck as 82 is.
    assert minutes("0020080", "0020082")[0, 1] == 0


def test_an_unknown_place_is_as_far_from_anywhere() -> None:
    walk = minutes("0020082", None, "0780008", None)
    assert walk[1] == pytest.approx([UNKNOWN_WALK_MINUTES, 0, UNKNOWN_WALK_MINUTES, UNKNOWN_WALK_MINUTES])


def test_no_detour_is_shorter_than_the_way() -> None:
    cells = [
        f"{bay:03d}{row:02d}{tier:02d}"
        for bay, row, tier in product((1, 2, 3, 6, 9), (0, 1, 4), (2, 8, 82, 86))
    ]
    walk = minutes(*cells)
    assert walk == pytest.approx(walk.T)
    assert (walk >= 0).all()
    by_way_of = (walk[:, :, None] + walk[None, :, :]).min(axis=1)
    assert (by_way_of >= walk - 1e-9).all()
