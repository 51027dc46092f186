"""The set point ordered, held against the one logged."""

from __future__ import annotations

from datetime import UTC, datetime

import polars as pl
import pytest
from tests.builders import log, timeline
from tests.set_points.ordered import UNIT, at, booked, compared, kinds, logged, planned

from coldsift.schema import BOOKINGS, PLAN, SEEN, SET_POINTS
from coldsift.set_points import compare_set_points, orders_to_confirm, set_point_answers


# The order.
def test_a_unit_set_as_booked_agrees() -> None:
    (row,) = compared(logged((0, 2.0)), booked((None, 2.0)))
    assert (row["kind"], row["source"], row["booked"], row["logged"]) == ("agrees", "booking", 2.0, 2.0)
    assert (row["start"], row["end"], row["hours"]) == (None, None, None)
    assert row["words"] == "Set to 2.0 °C, as the booking orders (2.0 °C)"


def test_without_a_booking_the_plan_orders() -> None:
    (row,) = compared(logged((0, 5.0)), plan=planned(2.0))
    assert (row["kind"], row["source"], row["booked"], row["logged"]) == ("differs", "plan", 2.0, 5.0)
    assert "the stowage plan orders 2.0 °C" in row["words"]


def test_a_booking_goes_before_the_plan() -> None:
    (row,) = compared(logged((0, 5.0)), booked((None, 5.0)), planned(2.0))
    assert (row["kind"], row["source"]) == ("agrees", "booking")


def test_a_change_ordered_on_the_way_holds_from_its_time_on() -> None:
    orders = booked((None, 5.0), (24, 2.0))
    assert kinds(compared(logged((0, 5.0), (24, 2.0)), orders)) == ["agrees"]
    (row,) = compared(logged((0, 5.0)), orders)
    assert (row["kind"], row["start"], row["booked"]) == ("differs", at(24), 2.0)


def test_a_change_that_reached_the_unit_hours_late_is_a_late_correction() -> None:
    (row,) = compared(logged((0, 5.0), (31, 2.0)), booked((None, 5.0), (24, 2.0)))
    assert (row["kind"], row["start"], row["end"], row["hours"]) == ("corrected_late", at(24), at(31), 7.0)
    assert row["words"] == (
        "Was set to 5.0 °C while the booking ordered 2.0 °C, from 2026-01-06 00:00 to 2026-01-06 07:00 UTC "
        "(7.0 h)"
    )


def test_before_a_booking_holds_nothing_is_ordered() -> None:
    assert kinds(compared(logged((0, -18.0), (24, 2.0)), booked((24, 2.0)), planned(2.0))) == ["agrees"]
    assert compared(logged((0, 2.0)), booked((100, 5.0))) == []


def test_the_last_line_of_one_time_orders() -> None:
    assert kinds(compared(logged((0, 2.0)), booked((None, 5.0), (None, 2.0)))) == ["agrees"]


def test_a_container_nobody_ordered_anything_for_has_no_row() -> None:
    assert compared(logged((0, 2.0))) == []
    assert compared(logged((0, 2.0)), plan=planned(None)) == []


def test_an_order_for_a_container_without_a_log_has_no_row() -> None:
    assert compared(logged((0, 2.0)), booked((None, 2.0), container="QXAU0000002")) == []


# What disagrees, and for how long.
def test_a_wrong_set_point_that_lasts_differs_since_it_was_set() -> None:
    (row,) = compared(logged((0, 2.0), (20, 5.0)), booked((None, 2.0)))
    assert (row["kind"], row["start"], row["end"], row["hours"]) == ("differs", at(20), None, 27.75)
    assert row["words"] == (
        "Set to 5.0 °C, but the booking orders 2.0 °C, since 2026-01-05 20:00 UTC (27.8 h)"
    )


def test_a_pre_trip_or_a_test_by_hand_of_less_than_an_hour_is_nothing() -> None:
    assert kinds(compared(logged((0, 2.0), (20, -18.0), (20.75, 2.0)), booked((None, 2.0)))) == ["agrees"]
    (row,) = compared(logged((0, 2.0), (20, -18.0), (21, 2.0)), booked((None, 2.0)))
    assert (row["kind"], row["hours"]) == ("corrected_late", 1.0)


def test_a_unit_may_be_set_within_two_hours_of_being_plugged_in() -> None:
    assert kinds(compared(logged((0, 0.0), (1.75, -18.0)), booked((None, -18.0)))) == ["agrees"]
    assert kinds(compared(logged((0, 0.0), (2, -18.0)), booked((None, -18.0)))) == ["corrected_late"]


def test_a_short_log_that_never_agrees_differs_all_the_same() -> None:
    (row,) = compared(logged((0, 5.0), hours=0.75), booked((None, 2.0)))
    assert (row["kind"], row["hours"]) == ("differs", 0.5)


def test_each_stretch_is_told_and_the_last_one_decides() -> None:
    built = logged((0, 2.0), (10, 5.0), (20, 2.0), (30, 8.0))
    rows = compared(built, booked((None, 2.0)))
    assert [(row["kind"], row["start"], row["logged"]) for row in rows] == [
        ("corrected_late", at(10), 5.0),
        ("differs", at(30), 8.0),
    ]


def test_a_gap_after_the_last_reading_that_differed_is_not_counted() -> None:
    """Hourly; 5 °C at 10 and 11 h, then nothing until 30 h, when it agrees: two hours are known."""
    hours = [*range(12), *range(30, 48)]
    built = timeline(log(hours, set_point=[5.0 if hour in (10, 11) else 2.0 for hour in hours]))
    (row,) = compared(built, booked((None, 2.0)))
    assert (row["start"], row["end"], row["hours"]) == (at(10), at(30), 2.0)


def test_a_wrong_set_point_on_both_sides_of_a_gap_is_one_stretch() -> None:
    hours = [*range(12), *range(30, 48)]
    (row,) = compared(timeline(log(hours, set_point=5.0)), booked((None, 2.0)))
    assert (row["kind"], row["start"], row["hours"]) == ("differs", at(0), 47.0)


def test_readings_without_a_set_point_are_passed_over() -> None:
    built = logged((0, 5.0), (10, None), (12, 5.0))
    (row,) = compared(built, booked((None, 2.0)))
    assert (row["kind"], row["start"], row["end"]) == ("differs", at(0), None)


def test_a_log_without_a_set_point_cannot_be_held_against_the_order() -> None:
    (row,) = compared(logged((0, None), return_air=5.0), booked((None, 2.0)))
    assert (row["kind"], row["booked"], row["logged"]) == ("no_set_point", 2.0, None)
    assert row["words"] == "The log shows no set point; the booking orders 2.0 °C"


# Resolution and rounding.
@pytest.mark.parametrize(
    ("ordered", "set_to"), [(2.0, 2.3), (2.0, 1.7), (-18.0, -17.8), (-0.5, -0.6), (13.3, 13.0)]
)
def test_what_rounding_explains_agrees(ordered: float, set_to: float) -> None:
    assert kinds(compared(logged((0, set_to)), booked((None, ordered)))) == ["agrees"]


@pytest.mark.parametrize(("ordered", "set_to"), [(-0.5, 0.0), (2.0, 2.5), (-18.0, -18.4), (0.0, -0.4)])
def test_half_a_kelvin_is_another_set_point(ordered: float, set_to: float) -> None:
    assert kinds(compared(logged((0, set_to)), booked((None, ordered)))) == ["differs"]


@pytest.mark.parametrize("ordered", range(-30, 31))
def test_a_unit_that_takes_whole_fahrenheit_only_obeys_an_order_in_whole_celsius(ordered: int) -> None:
    """The unit gets the next whole °F, the log is written in tenths of °C."""
    nearest = round((round(ordered * 9 / 5 + 32) - 32) * 5 / 9, 1)
    assert kinds(compared(logged((0, nearest)), booked((None, float(ordered))))) == ["agrees"]


@pytest.mark.parametrize("fahrenheit", range(-20, 60))
def test_an_order_in_whole_fahrenheit_is_obeyed_in_tenths_and_in_halves_of_celsius(fahrenheit: int) -> None:
    ordered = (fahrenheit - 32) * 5 / 9
    for set_to in (round(ordered, 1), round(ordered * 2) / 2):
        assert kinds(compared(logged((0, set_to)), booked((None, ordered)))) == ["agrees"]


def test_a_log_in_whole_degrees_is_given_half_a_degree() -> None:
    """33 °F, 0.56 °C, stands in such a log as 1 °C."""
    whole = [float(place % 4) for place in range(48)]
    coarse = logged((0, 1.0), minutes=60, supply_air=whole)
    fine = logged((0, 1.0), minutes=60, supply_air=[value + 0.1 for value in whole])
    assert kinds(compared(coarse, booked((None, 5 / 9)))) == ["agrees"]
    assert kinds(compared(fine, booked((None, 5 / 9)))) == ["differs"]


# Slips.
SLIPS = [
    (2.0, -16.7, "as if 2.0 °F had been set for 2.0 °C"),
    (2.0, -16.6, "as if 2.0 °F had been set for 2.0 °C"),
    (-18.0, -27.8, "as if −18.0 °F had been set for −18.0 °C"),
    (13.5, -10.3, "as if 13.5 °F had been set for 13.5 °C"),
    (13.5, -10.0, "as if 13.5 °F had been set for 13.5 °C"),
    (2.2222, 36.0, "as if 36.0 °C had been set for 36.0 °F"),
    (2.0, 36.0, "as if 36.0 °C had been set for 36.0 °F"),
    (-17.7778, 0.0, "as if 0.0 °C had been set for 0.0 °F"),
    (-18.0, 0.0, "as if 0.0 °C had been set for 0.0 °F"),
    (-23.3, -10.0, "as if −10.0 °C had been set for −10.0 °F"),
]


@pytest.mark.parametrize(("ordered", "set_to", "words"), SLIPS)
def test_the_right_number_in_the_wrong_unit_is_a_slip(ordered: float, set_to: float, words: str) -> None:
    (row,) = compared(logged((0, set_to)), booked((None, ordered)))
    assert row["kind"] == "fahrenheit"
    assert row["words"].endswith(f"; {words}")


@pytest.mark.parametrize(
    ("ordered", "set_to"),
    [
        (-38.0, -38.9),  # −38 °F is −38.9 °C: next to −40 the unit makes no difference.
        (-39.5, -40.0),
        (0.0, -18.0),  # 0 °F is −17.8 °C; −18 is what frozen cargo is set to.
        (2.0, 5.0),
        (-18.0, 2.0),
        (-11.43, 11.43),  # Both the sign and the unit would explain it.
    ],
)
def test_a_coincidence_is_no_slip(ordered: float, set_to: float) -> None:
    assert kinds(compared(logged((0, set_to)), booked((None, ordered)))) == ["differs"]


@pytest.mark.parametrize(("ordered", "set_to"), [(-18.0, 18.0), (-1.5, 1.5), (13.0, -13.0)])
def test_the_right_number_with_the_other_sign_is_a_slip(ordered: float, set_to: float) -> None:
    (row,) = compared(logged((0, set_to)), booked((None, ordered)))
    assert row["kind"] == "sign"
    assert row["words"].endswith("; the number is right, its sign is not")


def test_a_sign_that_moves_nothing_to_speak_of_is_no_slip() -> None:
    assert kinds(compared(logged((0, 0.5)), booked((None, -0.5)))) == ["differs"]


def test_a_slip_that_was_corrected_is_told_as_one() -> None:
    (row,) = compared(logged((0, -16.7), (12, 2.0)), booked((None, 2.0)))
    assert (row["kind"], row["hours"]) == ("corrected_late", 12.0)
    assert row["words"].endswith("UTC (12.0 h); as if 2.0 °F had been set for 2.0 °C")


# The table as a whole.
def fleet() -> tuple[pl.DataFrame, pl.DataFrame]:
    units = [f"QXAU000000{number}" for number in range(5)]
    built = pl.concat(
        logged((0, value), container=unit)
        for unit, value in zip(units, (2.0, 5.0, -16.7, None, 2.0), strict=True)
    )
    orders = pl.concat(booked((None, 2.0), container=unit) for unit in units[:4])
    return built, orders


def test_the_order_of_the_rows_does_not_matter() -> None:
    built, orders = fleet()
    one = compare_set_points(built, orders, PLAN.empty())
    other = compare_set_points(
        built.sample(fraction=1, shuffle=True, seed=3).sort("time"), orders.reverse(), PLAN.empty()
    )
    assert one.equals(other)
    assert one["container"].is_sorted()
    assert kinds(one.to_dicts()) == ["agrees", "differs", "fahrenheit", "no_set_point"]


def test_no_log_and_no_orders_give_an_empty_table() -> None:
    built, orders = fleet()
    for result in (
        compare_set_points(built.clear(), orders, PLAN.empty()),
        compare_set_points(built, BOOKINGS.empty(), PLAN.empty()),
    ):
        assert result.equals(SET_POINTS.empty())


def test_hostile_container_numbers_pass_through_unchanged() -> None:
    name = "<script>alert(1)</script>"
    (row,) = compared(logged((0, 2.0), container=name), booked((None, 5.0), container=name))
    assert row["container"] == name
    assert name not in row["words"]


# What it answers.
def test_papers_answer_the_observation_a_technician_would_make_at_the_display() -> None:
    built, orders = fleet()
    found = set_point_answers(compare_set_points(built, orders, PLAN.empty()))
    assert found.columns == SEEN.names
    assert found.rows() == [
        ("QXAU0000000", "set_point_differs", False, "booking"),
        ("QXAU0000001", "set_point_differs", True, "booking"),
        ("QXAU0000002", "set_point_differs", True, "booking"),
    ]


def test_the_plan_answers_as_a_booking_does() -> None:
    found = set_point_answers(compare_set_points(logged((0, 5.0)), BOOKINGS.empty(), planned(2.0)))
    assert found.select("answer", "source").row(0) == (True, "stowage plan")


def test_a_late_correction_answers_nothing_and_an_older_one_does_not_hide_what_differs_now() -> None:
    corrected = compare_set_points(logged((0, 5.0), (12, 2.0)), booked((None, 2.0)), PLAN.empty())
    assert set_point_answers(corrected).is_empty()
    again = logged((0, 5.0), (12, 2.0), (20, 8.0))
    found = set_point_answers(compare_set_points(again, booked((None, 2.0)), PLAN.empty()))
    assert found.select("container", "answer").rows() == [(UNIT, True)]


def test_only_an_order_that_is_not_obeyed_now_is_to_be_confirmed() -> None:
    built, orders = fleet()
    found = orders_to_confirm(compare_set_points(built, orders, PLAN.empty()))
    assert found["container"].to_list() == ["QXAU0000001", "QXAU0000002"]
    assert set(found["observation"]) == {"set_point_differs"}


def test_times_in_sentences_are_utc() -> None:
    (row,) = compared(logged((0, 5.0)), booked((None, 2.0)))
    assert row["start"] == datetime(2026, 1, 5, tzinfo=UTC)
    assert "since 2026-01-05 00:00 UTC" in row["words"]
