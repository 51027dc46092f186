"""The order of the round: urgency first, walking next. Ships and findings are invented."""

from __future__ import annotations

from itertools import permutations, product

import numpy as np
import polars as pl
import pytest

from coldsift.causes.checks import OVERHEAD_MINUTES
from coldsift.rounds import LOOK_MINUTES, UNKNOWN_WALK_MINUTES, plan_round, shortest_order
from coldsift.rounds.walking import CLIMBING, TIER_METRES
from coldsift.schema import FINDINGS, ROUND

Stop = tuple[str, str, str | None]


def findings(*stops: Stop, hours_to_limit: float | None = None) -> pl.DataFrame:
    """Findings in order of rank: container, group, place."""
    return FINDINGS.conform(
        pl.DataFrame(stops, ["container", "group", "position"], orient="row").with_columns(
            pl.col("position").cast(pl.String),
            rank=pl.int_range(1, pl.len() + 1),
            number_valid=True,
            hours_to_limit=pl.lit(hours_to_limit, pl.Float64),
            first_check=pl.format("look at {}", "container"),
        )
    )


def checks(**minutes: float) -> pl.DataFrame:
    return pl.DataFrame(
        {"container": list(minutes), "minutes": list(minutes.values())},
        schema={"container": pl.String, "minutes": pl.Float64},
    )


def order(frame: pl.DataFrame) -> list[str]:
    return frame.sort("stop")["container"].to_list()


def test_urgency_goes_before_any_walk() -> None:
    far = findings(
        ("a", "go_now", "0780082"),
        ("b", "this_round", "0020082"),
        ("c", "watch", "0780282"),
        ("d", "nothing_found", "0020282"),
        ("e", "cannot_tell", "0780182"),
    )
    assert order(plan_round(far, checks())) == ["a", "b", "c", "e"]


def test_of_those_to_go_to_now_the_ones_outside_their_band_come_first() -> None:
    both = findings(("a", "go_now", "0020082"), ("b", "go_now", "0780082")).with_columns(
        hours_to_limit=pl.Series([5.0, 0.0])
    )
    assert order(plan_round(both, checks())) == ["b", "a"]
    # A unit outside its band with little chance of a fault is no different from others of its group.
    calm = both.with_columns(group=pl.lit("this_round").cast(FINDINGS.empty().schema["group"]))
    assert order(plan_round(calm, checks())) == ["a", "b"]


def test_at_equal_urgency_the_round_goes_along_the_ship_and_not_by_rank() -> None:
    bays = ("0620082", "0020082", "0420082", "0220082", "0780082")
    units = findings(*((name, "this_round", bay) for name, bay in zip("abcde", bays, strict=True)))
    assert order(plan_round(units, checks())) == ["b", "d", "c", "a", "e"]
    assert order(plan_round(units, checks(), start="0780082")) == ["e", "a", "c", "d", "b"]


def test_all_of_a_bay_on_deck_is_seen_before_one_goes_down_into_the_hold() -> None:
    units = findings(
        ("a", "watch", "0020082"),
        ("b", "watch", "0020002"),
        ("c", "watch", "0020282"),
        ("d", "watch", "0020202"),
        ("e", "watch", "0020182"),
    )
    assert {*order(plan_round(units, checks()))[3:]} == {"b", "d"}


def test_the_next_class_begins_where_the_last_one_ended() -> None:
    units = findings(
        ("a", "this_round", "0020082"),
        ("b", "this_round", "0780082"),
        ("c", "watch", "0020182"),
        ("d", "watch", "0780182"),
    )
    assert order(plan_round(units, checks())) == ["a", "b", "d", "c"]


def test_units_without_a_place_are_looked_for_after_the_others_of_their_class() -> None:
    units = findings(
        ("a", "this_round", None),
        ("b", "this_round", "0020082"),
        ("c", "this_round", None),
        ("d", "watch", "0020182"),
    )
    planned = plan_round(units, checks())
    assert order(planned) == ["b", "a", "c", "d"]
    assert planned["walk_minutes"].to_list()[1:] == [UNKNOWN_WALK_MINUTES] * 3
    unknown = planned.filter(pl.col("container") == "a")
    assert unknown.select("bay", "row", "tier", "on_deck", "reach").row(0) == (None,) * 5


def test_a_round_without_any_plan_goes_by_rank() -> None:
    units = findings(("a", "watch", None), ("b", "this_round", None), ("c", "watch", None))
    assert order(plan_round(units, checks())) == ["b", "a", "c"]


def test_minutes_are_those_of_the_check_with_what_it_takes_to_get_at_the_part() -> None:
    units = findings(("a", "go_now", "0020082"), ("b", "go_now", "0020084"))
    planned = plan_round(units, checks(a=12.0))
    assert planned["check"].to_list() == ["look at a", "look at b"]
    # Where no check tells much, one looks at the display.
    assert planned["check_minutes"].to_list() == [12 + OVERHEAD_MINUTES, LOOK_MINUTES + OVERHEAD_MINUTES]
    assert planned["walk_minutes"].to_list() == pytest.approx([0.0, TIER_METRES / CLIMBING])
    assert planned["elapsed_minutes"].to_list() == pytest.approx([15.0, 20.0 + TIER_METRES / CLIMBING])


def test_the_hours_given_run_out_and_nothing_is_skipped_to_fit_in_a_later_stop() -> None:
    units = findings(("a", "go_now", "0020082"), ("b", "this_round", "0020082"), ("c", "watch", "0020082"))
    long_second = checks(a=7.0, b=57.0, c=2.0)
    assert plan_round(units, long_second, 1)["within"].to_list() == [True, False, False]
    assert plan_round(units, long_second, 10 / 60)["within"].to_list() == [True, False, False]
    assert plan_round(units, long_second)["within"].to_list() == [True, True, True]
    assert order(plan_round(units, long_second, 1)) == ["a", "b", "c"]


@pytest.mark.parametrize(
    ("position", "says"),
    [
        ("0020082", "on deck, first tier: from the deck"),
        ("0020080", "on deck, first tier"),
        ("0020084", "by ladder with fall protection"),
        (
            "0020086",
            "on deck, tier 3 up: only from a lashing bridge as high as that; else not by hand at sea",
        ),
        ("0020002", "the rules for entering a hold come first"),
    ],
)
def test_how_a_container_is_reached_is_told_in_words(position: str, says: str) -> None:
    assert says in plan_round(findings(("a", "watch", position)), checks())["reach"].item()


def test_a_start_that_is_no_place_is_refused_in_words() -> None:
    with pytest.raises(ValueError, match="'bridge' is no place on board; write bay, row and tier"):
        plan_round(findings(("a", "watch", "0020082")), checks(), start="bridge")


def test_a_ship_in_order_needs_no_round() -> None:
    assert plan_round(findings(("a", "nothing_found", "0020082")), checks(), 4).is_empty()
    assert plan_round(FINDINGS.empty(), checks()).equals(ROUND.empty())


def test_the_round_does_not_depend_on_the_order_of_its_rows() -> None:
    draw = np.random.default_rng(5)
    cells = draw.permutation(list(product(range(2, 60, 4), range(8), (2, 4, 82, 84))))[:60]
    units = findings(
        *(
            (f"u{place:02d}", ("this_round", "watch")[place % 2], f"{bay:03d}{row:02d}{tier:02d}")
            for place, (bay, row, tier) in enumerate(cells)
        )
    )
    assert plan_round(units.sample(fraction=1, shuffle=True, seed=3), checks()).equals(
        plan_round(units, checks())
    )


def _shortest_of_all(minutes: np.ndarray, classes: list[int]) -> float:
    """The shortest walk by trying every order."""
    ways = product(
        *(
            permutations([stop for stop, own in enumerate(classes) if own == each])
            for each in dict.fromkeys(classes)
        )
    )
    orders = np.array([[stop for part in way for stop in part] for way in ways])
    return float(minutes[orders[:, :-1], orders[:, 1:]].sum(axis=1).min())


@pytest.mark.parametrize("classes", [[0, *[1] * 7], [0, 1, 1, 1, 2, 2, 2, 2, 2], [0, 1, 2, 2, 2, 3, 3, 3, 3]])
def test_few_stops_are_visited_by_the_shortest_walk_or_nearly(classes: list[int]) -> None:
    ratios = []
    for seed in range(40):
        places = np.random.default_rng(seed).random((len(classes), 2)) * (60, 10)
        minutes = np.abs(places[:, None] - places[None, :]).sum(axis=2)
        found = shortest_order(minutes, classes)
        # Every stop once, class by class, beginning at the first.
        assert sorted(found) == list(range(len(classes)))
        assert [classes[stop] for stop in found] == classes
        assert found[0] == 0
        ratios.append(minutes[found[:-1], found[1:]].sum() / _shortest_of_all(minutes, classes))
    assert min(ratios) >= 1 - 1e-9
    assert np.mean(np.array(ratios) < 1 + 1e-9) >= 0.85
    assert np.mean(ratios) < 1.02


def test_no_turn_and_no_move_within_a_class_makes_the_walk_shorter() -> None:
    draw = np.random.default_rng(11)
    places = draw.random((30, 2)) * (60, 10)
    minutes = np.abs(places[:, None] - places[None, :]).sum(axis=2)
    found = list(shortest_order(minutes, [0, *[1] * 29]))

    def length(stops: list[int]) -> float:
        return float(minutes[stops[:-1], stops[1:]].sum())

    best = length(found)
    for first in range(1, 30):
        for end in range(first + 1, 31):
            stretch, rest = found[first:end], found[:first] + found[end:]
            assert length(found[:first] + stretch[::-1] + found[end:]) >= best - 1e-9
            if len(stretch) <= 3:
                for into in range(1, len(rest) + 1):
                    for way in (stretch, stretch[::-1]):
                        assert length(rest[:into] + way + rest[into:]) >= best - 1e-9
