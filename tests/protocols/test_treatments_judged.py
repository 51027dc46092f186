from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import polars as pl
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.builders import START, clock, log
from tests.protocols.held import MEDFLY, after, day, fahrenheit, held, judged, ladder, treated

from coldsift.protocols import AUTHORITY_DECIDES, BeyondGap, Reset, find_protocol, judge_treatment
from coldsift.schema import TREATMENT_DAYS

COLD = 1.0
"""Below 34 °F. [°C]"""


def test_fourteen_days_at_34_degrees_fahrenheit_complete_the_treatment() -> None:
    treatment = judged(held((14, fahrenheit(34))))
    assert treatment.verdict == "complete"
    assert treatment.started == after(0)
    assert treatment.completed_at == after(14)
    assert treatment.earliest_completion is None
    assert [probe.verdict for probe in treatment.probes] == ["complete"] * 3
    assert [probe.credited_days for probe in treatment.probes] == [14.0] * 3
    assert treatment.breaks == ()


def test_a_quarter_of_an_hour_short_of_fourteen_days_is_not_enough() -> None:
    treatment = judged(held((14 - 1 / 96, COLD), minutes=15), minutes=15)
    assert treatment.verdict == "not_complete"
    assert treatment.completed_at is None
    assert treatment.earliest_completion == after(14)
    assert "13.98 of 14 days" in treatment.reason, "rounded down: it must not read as 14"


def test_the_instant_of_completion_lies_between_two_readings_that_hold() -> None:
    hours = np.concatenate([[0.0], np.arange(0.5, 24 * 15, 1.0)])
    treatment = judge_treatment(log(hours, cargo_probe_1=1, cargo_probe_2=1, cargo_probe_3=1), MEDFLY)
    assert treatment.completed_at == after(14)


def test_days_are_counted_from_the_start_and_not_by_the_calendar() -> None:
    treatment = judged(held((0.4, 5.0), (14, COLD)))
    start = START + timedelta(hours=10)
    assert treatment.started == start, "the tenth hour has the first reading that is cold enough"
    assert treatment.completed_at == start + timedelta(days=14)
    assert day(treatment, 1)["start"] == start
    assert day(treatment, 1)["end"] == start + timedelta(days=1)
    assert treatment.days["day"].max() == 14


def test_what_comes_after_completion_is_no_part_of_it() -> None:
    treatment = judged(held((14 + 1 / 24, COLD), (3, 6.0)))
    assert treatment.completed_at == after(14)
    assert treatment.days["end"].max() == after(14)
    assert set(treatment.days["verdict"]) == {"holds"}
    assert treatment.breaks == ()


def test_a_treatment_with_two_probes_cannot_be_judged() -> None:
    treatment = judged(held((20, COLD)), held((20, COLD)))
    assert treatment.verdict == "cannot_judge"
    assert "3 pulp probes are asked for" in treatment.reason
    assert "cargo probe 3, cargo probe 4" in treatment.reason
    assert treatment.completed_at is None
    assert treatment.earliest_completion is None
    together = treatment.days.filter(pl.col("probe") == "all")
    assert together["verdict"].unique().to_list() == ["cannot_judge"]
    assert together["credited_days"].null_count() == together.height


def test_a_warm_reading_breaks_the_day_even_when_probes_are_missing() -> None:
    treatment = judged(held((2, COLD), (0.25, 5.0), (2, COLD)), held((4.25, COLD)))
    assert day(treatment, 3)["verdict"] == "break"
    assert day(treatment, 2)["verdict"] == "cannot_judge"


def test_a_probe_that_is_named_and_silent_is_missing() -> None:
    treatment = judge_treatment(
        treated(held((15, COLD))), MEDFLY, ("cargo_probe_1", "cargo_probe_2", "cargo_probe_4")
    )
    assert treatment.verdict == "cannot_judge"
    assert "no reading of cargo probe 4" in treatment.reason
    assert [(each.probe, each.verdict) for each in treatment.probes][-1] == ("cargo_probe_4", "cannot_judge")


def test_a_log_without_probes_cannot_be_judged() -> None:
    treatment = judge_treatment(log(clock(48), supply_air=0.5), MEDFLY)
    assert treatment.verdict == "cannot_judge"
    assert treatment.probes == ()
    assert treatment.days.is_empty()
    assert treatment.days.schema == TREATMENT_DAYS.empty().schema


def test_a_probe_that_is_not_of_the_treatment_is_left_out_when_the_others_are_named() -> None:
    ambient = held((15, 18.0))
    pulp = held((15, COLD))
    names = ("cargo_probe_1", "cargo_probe_2", "cargo_probe_3")
    assert judged(pulp, pulp, pulp, ambient).verdict == "not_complete", "every probe that is logged must hold"
    assert judge_treatment(treated(pulp, pulp, pulp, ambient), MEDFLY, names).verdict == "complete"


def test_the_clock_starts_when_the_last_probe_is_cooled() -> None:
    quick, slow = held((17, COLD)), held((2, 4.0), (15, COLD))
    treatment = judged(quick, quick, slow)
    assert treatment.started == after(2)
    assert treatment.completed_at == after(16)


def test_fruit_that_is_never_cooled_does_not_start_the_clock() -> None:
    treatment = judged(held((16, COLD)), held((16, COLD)), held((16, 2.3)))
    assert treatment.verdict == "not_complete"
    assert "has not started" in treatment.reason
    assert "cargo probe 3 (coldest 2.30 °C)" in treatment.reason
    assert treatment.started is None
    assert set(treatment.days["credited_days"]) == {0.0}
    assert set(treatment.days["verdict"]) == {"break"}
    assert treatment.earliest_completion == after(16 + 14)


def test_probes_that_are_cold_by_turns_do_not_start_the_clock() -> None:
    turns = held((1, COLD), (1, 5.0)), held((1, 5.0), (1, COLD)), held((2, COLD))
    assert "all at once" in judged(*turns).reason


def test_one_warm_hour_sends_the_count_back() -> None:
    treatment = judged(held((10, COLD), (1 / 24, 2.5), (5, COLD)))
    assert treatment.verdict == "not_complete"
    restart = after(10) + timedelta(hours=1)
    assert treatment.started == restart
    assert treatment.earliest_completion == restart + timedelta(days=14)
    assert day(treatment, 11)["verdict"] == "break"
    assert day(treatment, 12)["verdict"] == "holds"
    first = treatment.breaks[0]
    assert (first.probe, first.start, first.end, first.warmest) == (
        "cargo_probe_1",
        after(10),
        after(10),
        2.5,
    )
    assert "36 °F" in first.words
    assert "cargo probe" in treatment.reason


def test_one_probe_above_by_a_twentieth_of_a_kelvin_takes_the_longer_step() -> None:
    over = held((5, COLD), (1 / 24, fahrenheit(34) + 0.05), (12, COLD))
    pulp = held((17 + 1 / 24, COLD))
    treatment = judged(pulp, over, pulp)
    assert treatment.completed_at == after(16), "16 days at or below 35 °F, from the start"
    assert "35 °F" in treatment.reason


def test_a_probe_above_the_warmest_step_by_a_twentieth_of_a_kelvin_sends_the_count_back() -> None:
    over = held((13.5, COLD), (1 / 24, fahrenheit(36) + 0.05), (2, COLD))
    treatment = judged(held((15.5 + 1 / 24, COLD)), held((15.5 + 1 / 24, COLD)), over)
    assert treatment.verdict == "not_complete"
    assert [probe.verdict for probe in treatment.probes] == ["complete", "complete", "not_complete"]


def test_days_at_a_colder_step_count_for_a_warmer_one() -> None:
    treatment = judged(held((10, fahrenheit(34)), (6, fahrenheit(35))))
    assert treatment.completed_at == after(16), "ten days at 34 °F and six at 35 °F are sixteen at 35 °F"


def test_ten_days_at_35_then_34_degrees_fahrenheit_take_sixteen_days_and_not_twenty_four() -> None:
    treatment = judged(held((10, fahrenheit(35)), (8, fahrenheit(34))))
    assert treatment.completed_at == after(16)


def test_a_colder_step_wins_when_it_has_its_days_first() -> None:
    treatment = judged(held((1, fahrenheit(36)), (16, fahrenheit(34))))
    assert treatment.completed_at == after(15), "14 days at 34 °F after one at 36 °F, before 16 at 36 °F"
    assert treatment.started == after(1)


def test_the_nearest_step_says_when_it_can_be_complete_at_the_earliest() -> None:
    treatment = judged(held((4, fahrenheit(35)), (3, fahrenheit(34))))
    assert treatment.earliest_completion == after(16), "9 days are left at 35 °F, 11 at 34 °F"
    assert "7 of 16 days at or below 35 °F" in treatment.reason
    assert "34 °F was last passed" in treatment.reason


def test_where_a_passed_step_restarts_nothing_is_carried_over() -> None:
    steps = ((1.0, 3.0), (2.0, 5.0))
    course = held((2, 0.9), (1 / 24, 1.5), (4, 0.9))
    moved = judged(course, protocol=ladder(*steps, reset=Reset.STEP_DOWN))
    again = judged(course, protocol=ladder(*steps, reset=Reset.RESTART))
    restart = after(2) + timedelta(hours=1)
    assert moved.completed_at == after(5)
    assert again.completed_at == restart + timedelta(days=3)
    assert day(again, 3)["verdict"] == "break"


def test_a_ladder_of_one_step_restarts_above_it_whatever_the_rule() -> None:
    course = held((3, 0.9), (1 / 24, 1.05), (6, 0.9))
    for rule in Reset:
        treatment = judged(course, protocol=ladder((1.0, 5.0), reset=rule))
        assert treatment.completed_at == after(8) + timedelta(hours=1), rule


def test_a_short_spike_within_the_tolerance_is_let_pass() -> None:
    protocol = ladder((1.0, 5.0), tolerance=0.3, longest_above_minutes=180)
    assert judged(held((2, 0.9), (1 / 24, 1.3), (4, 0.9)), protocol=protocol).completed_at == after(5)
    too_warm = judged(held((2, 0.9), (1 / 24, 1.4), (4, 0.9)), protocol=protocol)
    too_long = judged(held((2, 0.9), (3 / 24, 1.3), (4, 0.9)), protocol=protocol)
    assert too_warm.verdict == too_long.verdict == "not_complete"
    assert day(judged(held((2, 0.9), (1 / 24, 1.3), (4, 0.9)), protocol=protocol), 3)["verdict"] == "holds"


def test_one_missing_reading_is_bridged() -> None:
    treatment = judged(
        held((5, COLD), (1 / 24, None), (9, COLD)), held((14 + 1 / 24, COLD)), held((14 + 1 / 24, COLD))
    )
    assert treatment.verdict == "complete"
    assert any(each.endswith("as the protocol says: 1.") for each in treatment.assumed)


def test_a_missing_reading_is_not_bridged_when_it_was_warm_beside_it() -> None:
    treatment = judged(held((5, COLD), (1 / 24, None), (1 / 24, 3.0), (10, COLD)))
    assert treatment.started == after(5) + timedelta(hours=2)


def test_a_gap_of_five_hours_leaves_it_open_and_never_passes() -> None:
    treatment = judged(
        held((8, COLD), (5 / 24, None), (6, COLD)), held((14 + 5 / 24, COLD)), held((14 + 5 / 24, COLD))
    )
    assert treatment.verdict == "cannot_judge"
    assert day(treatment, 9)["verdict"] == "cannot_judge"
    assert "no readings for 6.0 h" in str(day(treatment, 9)["reason"])
    assert [each.verdict for each in treatment.probes] == ["cannot_judge", "complete", "complete"]
    resumed = after(8) + timedelta(hours=5)
    assert treatment.earliest_completion == resumed + timedelta(days=14), "counted from after the gap"
    gap = treatment.breaks[0]
    assert (gap.warmest, gap.end) == (None, resumed)


def test_days_enough_after_a_gap_complete_it_all_the_same() -> None:
    treatment = judged(held((3, COLD), (5 / 24, None), (14, COLD)))
    assert treatment.verdict == "complete"
    assert treatment.started == after(3) + timedelta(hours=5)


def test_a_treatment_under_way_says_what_a_gap_may_cost() -> None:
    treatment = judged(held((8, COLD), (5 / 24, None), (1, COLD)))
    assert treatment.verdict == "not_complete"
    assert treatment.earliest_completion == after(8) + timedelta(hours=5, days=14)
    assert (
        "If the authority lets the gaps pass, it can be complete at 2026-01-19 00:00 UTC" in treatment.reason
    )


@pytest.mark.parametrize(
    ("beyond", "completed", "verdict"),
    [
        (BeyondGap.BREAK, 2 + 6 / 24 + 4, "break"),
        (BeyondGap.EXTEND, 4 + 7 / 24, "holds"),
    ],
)
def test_a_gap_breaks_or_extends_where_the_protocol_says_so(
    beyond: BeyondGap, completed: float, verdict: str
) -> None:
    protocol = ladder((1.5, 4.0), beyond_gap=beyond)
    treatment = judged(held((2, COLD), (6 / 24, None), (6, COLD)), protocol=protocol)
    assert treatment.completed_at == after(completed), "from the reading before it to the one after: 7 h"
    assert day(treatment, 3)["verdict"] == verdict


def test_readings_every_two_hours_are_too_sparse_for_an_hourly_rule() -> None:
    treatment = judged(held((20, COLD), minutes=120), minutes=120)
    assert treatment.verdict == "cannot_judge"
    assert "one every 60 min" in treatment.reason
    assert set(treatment.days["verdict"]) == {"cannot_judge"}
    hourly = replace(MEDFLY, interval_minutes=120)
    assert judged(held((20, COLD), minutes=120), minutes=120, protocol=hourly).verdict == "complete"


def test_a_logger_that_is_seconds_late_still_reads_hourly() -> None:
    late = np.arange(24 * 14 + 2) * (1 + 20 / 3600)
    treatment = judge_treatment(log(late, cargo_probe_1=1, cargo_probe_2=1, cargo_probe_3=1), MEDFLY)
    assert treatment.verdict == "complete"


def test_a_probe_that_falls_silent_is_not_taken_for_cold() -> None:
    silent = held((9, COLD), (6, None))
    treatment = judged(held((15, COLD)), held((15, COLD)), silent)
    assert treatment.verdict == "cannot_judge"
    assert treatment.probes[2].verdict != "complete"
    assert day(treatment, 15)["verdict"] == "cannot_judge"
    assert day(treatment, 15, "cargo_probe_3")["readings"] == 0


def test_probes_logged_by_turns_are_judged_together() -> None:
    hours = clock(24 * 15, 20)
    turn = np.arange(len(hours)) % 3
    probes = {
        f"cargo_probe_{place + 1}": [1.0 if each == place else None for each in turn] for place in range(3)
    }
    treatment = judge_treatment(log(hours, **probes), MEDFLY)
    assert treatment.verdict == "complete"
    assert treatment.started == START + timedelta(minutes=40), "when all three have been read"
    assert treatment.days["start"].min() == treatment.started


def test_the_last_hour_counts_only_when_every_probe_was_read_at_its_end() -> None:
    whole, short = held((14, COLD)), [*held((14, COLD))[:-1], None]
    assert judged(whole, whole, whole).verdict == "complete"
    treatment = judged(whole, short, short)
    assert treatment.verdict == "not_complete"
    assert "13.95 of 14 days" in treatment.reason


def test_the_clock_does_not_start_while_a_probe_is_not_read() -> None:
    early, unread = held((5 / 24, 4.0), (15, COLD)), held((1 / 24, COLD), (9 / 24, None), (15 - 5 / 24, COLD))
    treatment = judged(early, early, unread)
    assert treatment.days["start"].min() == START + timedelta(hours=10)
    assert treatment.completed_at == START + timedelta(hours=10, days=14)


def test_a_probe_that_hangs_while_the_air_moves_cannot_be_judged() -> None:
    count = 24 * 15 + 1
    air = 1.0 + 3.0 * np.sin(np.arange(count) / 6)
    frame = treated(
        held((15, COLD)),
        [1.0 + 0.1 * (hour % 7 == 0) for hour in range(count)],
        held((15, 0.9)),
        supply_air=air,
    )
    treatment = judge_treatment(frame, MEDFLY)
    assert treatment.verdict == "cannot_judge"
    assert {each.probe for each in treatment.breaks} == {"cargo_probe_1", "cargo_probe_3"}
    assert "without a change" in treatment.breaks[0].words
    steady = judge_treatment(frame.with_columns(supply_air=pl.lit(0.5)), MEDFLY)
    assert steady.verdict == "complete", "steady pulp in steady air is what a treatment wants"


def test_a_probe_that_hangs_for_a_while_leaves_that_while_open() -> None:
    count = 24 * 15 + 1
    lively = [1.0 + 0.1 * (hour % 5 == 0) for hour in range(count)]
    hung = [1.0 if 100 <= hour <= 140 else lively[hour] for hour in range(count)]
    air = [0.0 if (hour // 12) % 2 else 3.0 for hour in range(count)]
    treatment = judge_treatment(treated(lively, lively, hung, supply_air=air), MEDFLY)
    assert treatment.verdict == "cannot_judge"
    assert treatment.probes[0].verdict == "complete"
    assert treatment.probes[2].verdict == "cannot_judge"


def test_hours_that_the_clock_went_through_twice_are_not_believed() -> None:
    frame = treated(held((15, COLD)))
    count = frame.height
    # After row 200 the clock was set back by ten hours and a half: its hours lie between those before.
    times = [
        START + timedelta(hours=row) if row < 200 else START + timedelta(hours=row - 10.5)
        for row in range(count)
    ]
    set_back = frame.with_columns(time=pl.Series(times, dtype=frame.schema["time"])).sort("time")
    treatment = judge_treatment(set_back, MEDFLY)
    assert treatment.verdict == "cannot_judge"
    assert "clock was set back" in treatment.breaks[0].words
    # One row out of its place in the file is no clock.
    displaced = frame.with_columns(row=pl.when(pl.col("row") == 7).then(9999).otherwise(pl.col("row")))
    assert judge_treatment(displaced, MEDFLY).verdict == "complete"
    newest_first = frame.with_columns(row=count - pl.col("row"))
    assert judge_treatment(newest_first, MEDFLY).verdict == "complete"


def test_an_instant_that_is_there_twice_with_two_readings_is_not_believed() -> None:
    frame = treated(held((15, COLD)))
    columns = ["container", "time", "cargo_probe_1", "cargo_probe_2", "cargo_probe_3"]
    again = frame.select(columns).with_columns(cargo_probe_2=pl.lit(3.0))[100:110]
    treatment = judge_treatment(pl.concat([frame.select(columns), again]), MEDFLY)
    assert treatment.verdict == "cannot_judge"
    assert {each.probe for each in treatment.breaks} == {"cargo_probe_2"}


def test_the_ice_point_correction_is_taken_off_every_reading() -> None:
    frame = treated(held((14, fahrenheit(34) + 0.2)))
    names = ("cargo_probe_1", "cargo_probe_2", "cargo_probe_3")
    assert judge_treatment(frame, MEDFLY).verdict == "not_complete"
    high = judge_treatment(frame, MEDFLY, ice_point=dict.fromkeys(names, 0.2))
    assert high.verdict == "complete"
    assert not any("melting ice is not known" in each for each in high.assumed)
    cold = judge_treatment(treated(held((14, COLD))), MEDFLY, ice_point={"cargo_probe_2": -0.2})
    assert cold.verdict == "not_complete", "a probe that reads 0.2 K too cold sits in pulp of 1.2 °C"
    assert any("cargo probe 1 and cargo probe 3 read in melting ice" in each for each in cold.assumed)


def test_a_probe_too_far_off_in_ice_does_not_count() -> None:
    treatment = judge_treatment(treated(held((15, COLD))), MEDFLY, ice_point={"cargo_probe_1": 0.31})
    assert treatment.verdict == "cannot_judge"
    assert "read +0.31 °C in melting ice" in treatment.reason
    within = judge_treatment(treated(held((15, COLD))), MEDFLY, ice_point={"cargo_probe_1": 0.3})
    assert within.verdict == "complete"


def test_a_set_point_above_the_ladder_is_told_while_the_treatment_lacks_days() -> None:
    frame = treated(held((9, COLD)), set_point=5.0)
    assert "The last set point, 5.0 °C, is above the warmest step" in judge_treatment(frame, MEDFLY).reason


def test_a_coarse_log_says_so() -> None:
    course = [0.5 * (hour % 3) for hour in range(24 * 14 + 1)]
    assert any("steps of 0.5 K" in each for each in judged(course).assumed)


def test_what_comes_out_is_the_table_that_others_read() -> None:
    treatment = judged(held((5, COLD), (1 / 24, 4.0), (4, COLD)))
    assert TREATMENT_DAYS.conform(treatment.days).equals(treatment.days)
    assert treatment.days["probe"].unique(maintain_order=True).to_list() == [
        "cargo_probe_1",
        "cargo_probe_2",
        "cargo_probe_3",
        "all",
    ]
    together = treatment.days.filter(pl.col("probe") == "all")
    assert together["credited_days"].to_list() == pytest.approx(
        [1, 2, 3, 4, 4 + 23 / 24, 23 / 24, 1 + 23 / 24, 2 + 23 / 24, 3 + 23 / 24, 4.0], abs=1e-9
    )
    assert together["readings"].to_list() == [24] * 9 + [2]
    assert together["longest_gap_minutes"].to_list() == [60.0] * 10
    again = judged(held((5, COLD), (1 / 24, 4.0), (4, COLD)))
    assert again == replace(treatment, days=again.days)
    assert again.days.equals(treatment.days)


def test_a_verdict_by_numbers_that_were_not_read_says_so() -> None:
    by_memory = judged(held((14, COLD)), protocol=find_protocol("mexican_fruit_fly_t107b"))
    assert "from memory and secondary; edition not stated" in by_memory.assumed[0]
    read = judged(held((14, COLD)), protocol=find_protocol("medfly_australia_citrus"))
    assert not any("Numbers of the ladder" in each for each in read.assumed)


def test_the_verdict_defers_to_the_authority() -> None:
    assert "Only the plant-health authority" in AUTHORITY_DECIDES
    assert "not a certificate" in AUTHORITY_DECIDES


def test_two_containers_at_once_are_refused() -> None:
    both = pl.concat([log(clock(2), cargo_probe_1=1), log(clock(2), "QXAU0000022", cargo_probe_1=1)])
    with pytest.raises(ValueError, match="one container"):
        judge_treatment(both, MEDFLY)
    with pytest.raises(ValueError, match="supply_air: no cargo probe"):
        judge_treatment(log(clock(2), cargo_probe_1=1), MEDFLY, ("supply_air",))


def _completed_hour(readings: np.ndarray, steps: tuple[tuple[float, int], ...]) -> int | None:
    """The first hour at which some step has been held for its hours, by looking at every window."""
    for hour in range(len(readings)):
        for limit, hours in steps:
            if hour >= hours and (readings[hour - hours : hour + 1] <= limit).all():
                return hour
    return None


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.lists(st.sampled_from([0.8, 0.9, 1.4, 1.9, 2.6]), min_size=6, max_size=6), min_size=6, max_size=6
    ),
    st.integers(0, 2**32 - 1),
)
def test_counting_agrees_with_looking_at_every_window(pattern: list[list[float]], seed: int) -> None:
    steps = ((1.0, 12), (1.5, 20), (2.0, 30))
    rng = np.random.default_rng(seed)
    probes = [np.repeat(row, rng.integers(4, 14, size=6)) for row in pattern[:3]]
    count = min(map(len, probes))
    readings = np.array([each[:count] for each in probes])
    treatment = judged(*readings.tolist(), protocol=ladder(*((limit, hours / 24) for limit, hours in steps)))
    expected = _completed_hour(readings.max(axis=0), steps)
    if expected is None:
        assert treatment.verdict == "not_complete"
        assert treatment.earliest_completion is not None
        assert treatment.earliest_completion > START + timedelta(hours=count - 1)
    else:
        assert treatment.completed_at == START + timedelta(hours=expected)
    colder = judged(
        *(readings - 0.3).tolist(), protocol=ladder(*((limit, hours / 24) for limit, hours in steps))
    )
    if expected is not None:
        assert colder.completed_at is not None
        assert colder.completed_at <= START + timedelta(hours=expected), "colder fruit is never later"


@settings(max_examples=80, deadline=None)
@given(st.integers(0, 2**32 - 1), st.sampled_from(list(BeyondGap)), st.sampled_from(list(Reset)))
def test_completion_never_rests_on_time_that_was_not_read(seed: int, beyond: BeyondGap, rule: Reset) -> None:
    rng = np.random.default_rng(seed)
    count = int(rng.integers(1, 90))
    readings = rng.choice([0.7, 0.9, 1.2], size=(3, count), p=[0.5, 0.48, 0.02])
    probes = [[None if rng.random() < 0.04 else value for value in row] for row in readings.tolist()]
    hours = np.cumsum(rng.choice([0.25, 1.0, 1.5, 2.0, 6.0], size=count, p=[0.3, 0.6, 0.04, 0.04, 0.02]))
    protocol = ladder((1.0, 0.5), (1.3, 1.0), beyond_gap=beyond, reset=rule)
    frame = log(hours, cargo_probe_1=probes[0], cargo_probe_2=probes[1], cargo_probe_3=probes[2])
    treatment = judge_treatment(frame, protocol)
    assert (treatment.completed_at is not None) == (treatment.verdict == "complete")
    if treatment.completed_at is None or treatment.started is None:
        return
    lasted = treatment.completed_at - treatment.started
    within = frame.filter(pl.col("time") >= treatment.started)
    last = within.filter(pl.col("time") >= treatment.completed_at)["time"].min()
    unread, warmest = timedelta(), -99.0
    for probe in treatment.probes:
        own = within.filter(pl.col("time") <= last).select("time", probe.probe).drop_nulls()
        gaps = own["time"].diff().drop_nulls()
        unread = max(unread, sum((gap for gap in gaps if gap > timedelta(minutes=121)), timedelta()))
        warmest = max(warmest, *own[probe.probe])
    assert lasted - unread >= timedelta(
        days=next(s.days for s in protocol.ladder if s.at_or_below >= warmest)
    )
    if beyond is not BeyondGap.EXTEND:
        assert unread == timedelta(), "no gap that is too long to bridge lies in what is called complete"
