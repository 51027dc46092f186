"""Cold treatments against the texts that ask for them, each with how well that text was seen.

Where a ladder in the code names the same text, the check holds against slips of the pen only. The counting is
checked by treatments worked out by hand from the wording of a text.
"""

from __future__ import annotations

from datetime import timedelta

import pytest
from tests.protocols.held import after, fahrenheit, held, judged, treated

from coldsift.intake.units import parse_unit
from coldsift.protocols import Protocol, Reset, Standing, find_protocol, judge_treatment
from coldsift.schema import Quantity


def steps(id: str) -> list[tuple[str, float]]:
    return [(step.name, step.days) for step in find_protocol(id).ladder]


# Name of the protocol, its ladder, where it was seen and how well.
LADDERS = [
    # T107-a, present ladder. From memory; its first step, 14 d at 1.11 °C, is called the established one in
    # J. Econ. Entomol. 116(3), 2023, doi 10.1093/jee/toad063 (summary read); all three steps stand, in °C,
    # in the alert of the Australian Department of Agriculture effective 25 October 2019 (read).
    ("medfly_t107a", [("34 °F", 14), ("35 °F", 16), ("36 °F", 18)]),
    # T107-a, older ladder. From memory; 12, 14 and 16 d at 1.1, 1.67 and 2.2 °C as T107(a) in Postharvest
    # Biology and Technology 21(3), 2001, 311-320 (summary read).
    ("medfly_t107a_older", [("32 °F", 10), ("33 °F", 11), ("34 °F", 12), ("35 °F", 14), ("36 °F", 16)]),
    # T107-a-1. From memory; 15 d at 1.11 °C and 17 d at 1.67 °C are called the current schedules, for the
    # A. fraterculus complex, in J. Econ. Entomol. 113(3), 2020, doi 10.1093/jee/toaa027 (summary read).
    ("anastrepha_t107a1", [("34 °F", 15), ("35 °F", 17)]),
    # T107-b. From memory; that the Mexican fruit fly takes 22 d where 35 °F is spoken of: summary of J. Econ.
    # Entomol. 106(6), 2013, doi 10.1603/EC13221 (read).
    ("mexican_fruit_fly_t107b", [("33 °F", 18), ("34 °F", 20), ("35 °F", 22)]),
    # 7 CFR 301.93-10(a)(2)(ii): refrigerate for 21 days at 0.55 °C (33 °F) or below, then fumigate (read).
    ("oriental_fruit_fly_cold_part", [("33 °F", 21)]),
    # 7 CFR 305.18(a)(1) and (2): to 0 °F or below, then 20 °F or below for at least 48 hours (read, in an
    # older numbering of the part).
    ("quick_freeze_t110", [("20 °F", 2)]),
    # Alert of the Australian Department of Agriculture on citrus from Spain, from 25 October 2019 (read).
    ("medfly_australia_citrus", [("1.11 °C", 14), ("1.67 °C", 16), ("2.22 °C", 18), ("3 °C", 20)]),
    ("medfly_australia_lemons", [("1.11 °C", 14), ("2 °C", 16), ("3 °C", 18)]),
    # Australian manual of importing country requirements, Japan, grapes (read).
    ("fruit_fly_japan_grapes", [("1 °C", 16), ("2 °C", 18), ("3 °C", 20)]),
]


@pytest.mark.parametrize(("id", "ladder"), LADDERS)
def test_ladders_are_those_of_the_texts(id: str, ladder: list[tuple[str, float]]) -> None:
    assert steps(id) == ladder


def test_numbers_that_were_not_read_again_say_so() -> None:
    assert find_protocol("mexican_fruit_fly_t107b").basis.standing is Standing.FROM_MEMORY
    assert find_protocol("medfly_t107a").basis.standing is Standing.SECONDARY
    assert find_protocol("medfly_australia_citrus").basis.standing is Standing.READ
    for id, _ in LADDERS:
        # No text on gaps was found for any of them.
        assert find_protocol(id).bases["gap"].standing is Standing.COMMON_PRACTICE, id


def test_two_authorities_ask_for_the_same_steps_against_the_medfly() -> None:
    american = find_protocol("medfly_t107a").ladder
    australian = find_protocol("medfly_australia_citrus").ladder[:3]
    for step, other in zip(american, australian, strict=True):
        assert step.days == other.days
        assert step.printed == other.at_or_below
        assert step.at_or_below == pytest.approx(other.at_or_below, abs=0.005)


# Exact conversion; the texts print 0.55, 1.11, 1.67, 2.22. Definition of the degree Fahrenheit.
@pytest.mark.parametrize(
    ("degrees", "exact", "printed"),
    [(33, 5 / 9, 0.55), (34, 10 / 9, 1.11), (35, 15 / 9, 1.67), (36, 20 / 9, 2.22)],
)
def test_fahrenheit_is_taken_exactly_and_what_is_printed_is_named(
    degrees: int, exact: float, printed: float
) -> None:
    found = [step for id, _ in LADDERS for step in find_protocol(id).ladder if step.name == f"{degrees} °F"]
    assert found
    for step in found:
        assert step.at_or_below == pytest.approx(exact, abs=1e-12)
        assert f"{exact:.4f} °C" in step.exactly
        assert step.printed == pytest.approx(printed, abs=0.021)
        assert f"prints {step.printed:g} °C" in step.exactly


def test_a_reading_between_the_exact_and_the_printed_temperature_is_judged_by_the_exact_one() -> None:
    # 35 °F is 1.6667 °C and printed 1.67 °C; 33 °F is 0.5556 °C and printed 0.55 °C.
    american, australian = find_protocol("medfly_t107a"), find_protocol("medfly_australia_citrus")
    printed = judged(held((18, 1.67)), protocol=american)
    assert printed.completed_at == after(18), "1.67 °C is above 35 °F: 18 days at 36 °F"
    assert any("exact temperature in °F" in each for each in printed.assumed)
    assert judged(held((18, 1.67)), protocol=australian).completed_at == after(16), "the text is in °C"
    mexican = find_protocol("mexican_fruit_fly_t107b")
    assert judged(held((22, 0.5555)), protocol=mexican).completed_at == after(18), "0.5555 °C is below 33 °F"


@pytest.mark.parametrize("degrees", [32.0, 33.0, 34.0, 35.0, 36.0])
def test_a_log_in_fahrenheit_that_reads_the_step_itself_holds(degrees: float) -> None:
    unit = parse_unit("°F")
    assert unit is not None
    factor, offset = unit.scales[Quantity.TEMPERATURE]
    logged = degrees * factor + offset
    older = find_protocol("medfly_t107a_older")
    step = next(each for each in older.ladder if each.name == f"{degrees:g} °F")
    assert judged(held((step.days, logged)), protocol=older).completed_at == after(step.days)


def test_a_probe_passing_a_step_goes_on_at_the_next_one() -> None:
    # Postharvest Biology and Technology 21(3), 2001 (excerpt read), on T107-a of its time: when 1.1 °C is
    # passed the treatment may go on at 1.67 °C, made up to its 14 days, as long as that is not passed; when
    # 2.2 °C is passed it must start over.
    older = find_protocol("medfly_t107a_older")
    assert older.reset is Reset.STEP_DOWN
    passed = judged(held((9, 1.0), (0.5, 1.5), (7, 1.0)), protocol=older)
    assert passed.completed_at == after(14)
    over = judged(held((9, 1.0), (0.5, 2.3), (11, 1.0)), protocol=older)
    assert over.started == after(9.5)
    assert over.completed_at is None
    assert over.earliest_completion == after(9.5 + 12)


def test_the_older_ladder_passes_what_the_present_one_does_not() -> None:
    course = held((12, fahrenheit(34)))
    assert judged(course, protocol=find_protocol("medfly_t107a_older")).verdict == "complete"
    assert judged(course, protocol=find_protocol("medfly_t107a")).verdict == "not_complete"


def test_pulp_may_be_as_warm_as_the_warmest_step_when_the_clock_starts() -> None:
    # 75 FR 52213, 25 August 2010 (read): pre-cooled at or below the highest temperature of the schedule.
    protocol = find_protocol("medfly_t107a")
    start = judged(held((1, fahrenheit(36)), (16, fahrenheit(34))), protocol=protocol)
    assert start.days["start"].min() == after(0)
    late = judged(held((1, fahrenheit(36) + 0.01), (16, fahrenheit(34))), protocol=protocol)
    assert late.days["start"].min() == after(1)


def test_the_clock_starts_with_the_last_probe() -> None:
    # Australian manual of importing country requirements, Japan, grapes (read): the treatment starts when all
    # the fruit pulp temperature sensors are at or below the target.
    grapes = find_protocol("fruit_fly_japan_grapes")
    early, late = held((17, 0.9)), held((1, 3.5), (16, 0.9))
    treatment = judged(early, early, late, protocol=grapes)
    assert treatment.started == after(1)
    assert treatment.completed_at == after(17)


@pytest.mark.parametrize("id", ["medfly_t107a", "medfly_australia_citrus"])
def test_three_pulp_probes_read_hourly_are_asked_for(id: str) -> None:
    # United States: from memory, 7 CFR 305.6 and the Treatment Manual. Australia: annex on container loading,
    # probe placement and calibration, effective 8 October 2016 (read): hourly, three probes, and data of
    # additional ones must comply as well.
    protocol = find_protocol(id)
    assert (protocol.least_probes, protocol.interval_minutes) == (3, 60)
    cold, warm = held((21, 0.9)), held((10, 0.9), (11, 4.0))
    assert judge_treatment(treated(cold, cold), protocol).verdict == "cannot_judge"
    assert judge_treatment(treated(cold, cold, cold, warm), protocol).verdict == "not_complete"
    assert judge_treatment(treated(cold, cold, cold), protocol).verdict == "complete"


def test_a_probe_further_than_three_tenths_from_zero_in_ice_is_not_taken() -> None:
    # Australian guideline on in-transit cold treatment, of 15 February 2024 (read): one that reads more than
    # 0.3 °C from 0 °C must be replaced. United States: from memory.
    for id in ("medfly_t107a", "medfly_australia_citrus", "medfly_australia_lemons"):
        assert find_protocol(id).ice_point_limit == 0.3


def test_quick_freezing_needs_zero_fahrenheit_first_and_then_48_hours() -> None:
    # 7 CFR 305.18(a)(1) to (3) (read).
    freeze = find_protocol("quick_freeze_t110")
    assert freeze.start_at_or_below == pytest.approx(-160 / 9)
    never = judged(held((4, fahrenheit(1))), protocol=freeze)
    assert never.verdict == "not_complete"
    assert "never came down to -17.78 °C" in never.reason
    done = judged(held((0.5, fahrenheit(15)), (1 / 24, fahrenheit(0)), (3, fahrenheit(20))), protocol=freeze)
    assert done.completed_at == after(2.5), "48 hours from when 0 °F was reached, at or below 20 °F"
    broken = judged(
        held((0.25, fahrenheit(-1)), (1 / 24, fahrenheit(21)), (4, fahrenheit(19))), protocol=freeze
    )
    assert broken.verdict == "not_complete", "after a break it must come down to 0 °F again"
    assert broken.earliest_completion == after(0.25 + 4) + timedelta(hours=1, days=2)
    assert set(broken.days["verdict"]) == {"break"}


def test_the_cold_part_says_that_fumigation_follows() -> None:
    # 7 CFR 301.93-10(a)(2)(ii) (read).
    protocol: Protocol = find_protocol("oriental_fruit_fly_cold_part")
    assert "methyl bromide" in protocol.after_treatment
    done = judged(held((21, 0.55)), protocol=protocol)
    assert done.verdict == "complete"
    assert "methyl bromide must follow" in done.reason, "complete is the cold part alone"
    assert judged(held((10, 0.55), (1 / 24, 0.6), (11, 0.55)), protocol=protocol).verdict == "not_complete"
