"""What the first page says, and what the tables behind it hold."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import timedelta

import numpy as np
import polars as pl
import pytest

from coldsift import schema
from coldsift.dossier.answers import QUESTIONS, Findings, answers, main_excursion
from coldsift.dossier.events import timeline_events
from coldsift.dossier.model import CauseNote, SourceNote
from coldsift.dossier.sensitivity import sensitivity
from coldsift.dossier.untold import cannot_tell
from coldsift.excursions import divide, find_excursions, find_gaps
from coldsift.peers import peers_then, unit_hours
from coldsift.regimes import find_defrosts, find_voyage_events, regime_intervals
from tests.builders import START, clock, log, timeline

CONTAINER = "QXAU0000001"


def warmed(hours: np.ndarray, begin: float, end: float, height: float, set_point: float = 3.0) -> np.ndarray:
    """Air at the set point, and higher by ``height`` from two hours after ``begin`` to two before ``end``."""
    return set_point + height * np.clip(np.minimum((hours - begin) / 2, (end - hours) / 2), 0, 1)


def unit(air: np.ndarray, hours: np.ndarray, set_point: float = 3.0, **channels: object) -> pl.DataFrame:
    values = {"set_point": set_point, "supply_air": air, "return_air": air + 0.8, "ambient_air": 25.0}
    return log(hours, CONTAINER, **values | channels)


def custody(*stretches: tuple[float, float | None, str]) -> pl.DataFrame:
    return schema.CUSTODY.conform(
        pl.DataFrame(
            [
                {
                    "container": CONTAINER,
                    "start": START + timedelta(hours=begin),
                    "end": START + timedelta(hours=end) if end is not None else None,
                    "holder": holder,
                    "line": place,
                }
                for place, (begin, end, holder) in enumerate(stretches, start=2)
            ],
            schema_overrides={"end": schema.TIME, "start": schema.TIME},
        )
    )


def found(
    *logs: pl.DataFrame,
    holders: pl.DataFrame | None = None,
    causes: tuple[CauseNote, ...] = (),
    set_points: pl.DataFrame | None = None,
) -> Findings:
    whole = timeline(*logs)
    own = whole.filter(pl.col("container") == CONTAINER)
    excursions = find_excursions(whole).filter(pl.col("container") == CONTAINER)
    holders = schema.CUSTODY.empty() if holders is None else holders
    gaps = find_gaps(own)
    main = main_excursion(excursions)
    return Findings(
        timeline=own,
        excursions=excursions,
        excursion_parts=divide(own, excursions, holders),
        gaps=gaps,
        cargo=schema.CARGO.empty(),
        cargo_temperatures=schema.CARGO_TEMPERATURES.empty(),
        peers=peers_then(unit_hours(whole), CONTAINER, own["time"][0], own["time"][-1]),
        custody=holders,
        set_points=schema.SET_POINTS.empty() if set_points is None else set_points,
        causes=causes,
        sensitivity=sensitivity(own, main, 1.0) if main else (),
        treatment=None,
        cannot_tell=cannot_tell(own, gaps, holders, (), 0),
    )


def said(*logs: pl.DataFrame, **changes: object) -> list[str]:
    told = answers(found(*logs, **changes))  # type: ignore[arg-type]
    assert tuple(answer.question for answer in told) == QUESTIONS
    return [f"{answer.answer} {answer.sure}" for answer in told]


HOURS = clock(72)
WARM = warmed(HOURS, 20, 40, 6)


def test_a_hand_over_within_the_uncertainty_of_the_start_is_said() -> None:
    """The air passes 5 °C between 20.5 h and 20.75 h."""
    within = custody((0, 20.6, "Quay"), (20.6, None, "Ship"))
    assert "lies within the uncertainty of the start" in said(unit(WARM, HOURS), holders=within)[3]
    before = custody((0, 12, "Quay"), (12, None, "Ship"))
    answer = said(unit(WARM, HOURS), holders=before)[3]
    assert answer.startswith("It began with Ship.")
    assert "No hand-over lies within the uncertainty" in answer


def test_a_holder_named_by_two_events_has_its_hours_together() -> None:
    answer = said(unit(WARM, HOURS), holders=custody((0, 15, "Ship"), (15, 24, "Ship"), (24, None, "Quay")))[
        3
    ]
    assert answer.count("Ship") == 2, answer
    one = said(unit(WARM, HOURS), holders=custody((0, 24, "Ship"), (24, None, "Quay")))[3]
    assert answer == one


def test_time_that_nobody_is_named_for_is_not_given_to_anybody() -> None:
    answer = said(unit(WARM, HOURS), holders=custody((0, 15, "Quay"), (30, None, "Ship")))[3]
    assert answer.startswith("It began with a time for which nobody is named.")
    assert "nobody named" in answer


def test_without_custody_events_no_holder_is_made_up() -> None:
    assert said(unit(WARM, HOURS))[3].startswith("Not known: no custody events were given.")


def test_a_loss_of_supply_is_named_before_any_cause_that_was_weighed() -> None:
    powered = (HOURS < 20) | (HOURS >= 36)
    cause = CauseNote("evaporator_iced", "Evaporator iced up", 0.4, ("Split is low",), ())
    why = said(unit(WARM, HOURS, power_state=powered), causes=(cause,))[2]
    assert why.index("supply was off at this unit") < why.index("Evaporator iced up, 40")
    healthy = CauseNote("healthy", "Nothing wrong", 0.96, (), ())
    assert "does not tell of a fault of the unit" in said(unit(WARM, HOURS), causes=(healthy,))[2]


def test_many_stretches_are_summed_and_not_only_counted() -> None:
    twice = np.maximum(WARM, warmed(HOURS, 50, 56, 4))
    answer = said(unit(twice, HOURS))[0]
    together = re.search(r"the largest of 2 stretches outside the band, together ([\d.]+)\u00a0h", answer)
    assert together is not None
    excursions = found(unit(twice, HOURS)).excursions
    assert float(together[1]) == pytest.approx(excursions["hours"].sum(), abs=0.05)
    assert "largest of" not in said(unit(WARM, HOURS))[0]


def test_a_log_of_air_alone_is_not_taken_as_clearing_the_machinery() -> None:
    healthy = CauseNote("healthy", "Nothing wrong", 0.96, (), ())
    why = said(unit(WARM, HOURS), causes=(healthy,))[2]
    assert "Most faults would not show in it: not logged are pressures, currents or power, compressor." in why
    cause = CauseNote("evaporator_iced", "Evaporator iced up", 0.4, (), ())
    assert "would not show" not in said(unit(WARM, HOURS), causes=(cause,))[2]


@pytest.mark.parametrize(("left_out", "words"), [(1, "1 other stretch"), (3, "3 other stretches")])
def test_a_window_that_leaves_an_excursion_out_says_so_first(left_out: int, words: str) -> None:
    own = timeline(unit(WARM, HOURS))
    gaps, nobody = find_gaps(own), schema.CUSTODY.empty()
    assert f"The log has {words} outside the band" in cannot_tell(own, gaps, nobody, (), left_out)[0]
    assert "outside the band" not in " ".join(cannot_tell(own, gaps, nobody, (), 0))


def test_what_half_the_ship_had_is_not_put_on_one_box() -> None:
    def others(air: np.ndarray) -> list[pl.DataFrame]:
        return [
            log(HOURS, f"QXAU00000{place}", set_point=3.0, supply_air=air, return_air=air + 1)
            for place in range(10, 16)
        ]

    assert (
        "this speaks for the box, not the ship"
        in said(unit(WARM, HOURS), *others(np.full(len(HOURS), 3.0)))[2]
    )
    assert "a cause that the ship shared" in said(unit(WARM, HOURS), *others(WARM))[2]
    assert "No other units" in said(unit(WARM, HOURS))[2]


def test_a_probe_that_is_doubted_is_said_first() -> None:
    jumps = np.where((HOURS >= 20) & (HOURS < 40), 25.0, 3.0)
    first = said(unit(jumps, HOURS, return_air=np.full(len(HOURS), 3.8)))[0]
    assert first.startswith("It is likelier that the probe erred than that the air was there.")


def test_an_excursion_with_a_gap_in_it_is_told_with_its_bounds() -> None:
    kept = (HOURS < 26) | (HOURS > 33)
    parts = said(unit(WARM[kept], HOURS[kept]))
    row = found(unit(WARM[kept], HOURS[kept])).excursions.row(0, named=True)
    assert row["hours_at_least"] < row["hours"] < row["hours_at_most"]
    assert f"({row['hours_at_least']:.1f} to {row['hours_at_most']:.1f})" in parts[1]
    assert "one gap" not in parts[0]
    assert "Nothing was logged for 7" in parts[4]


def test_a_log_without_air_answers_that_nothing_can_be_said() -> None:
    bare = log(HOURS, CONTAINER, set_point=3.0, power=500.0)
    assert said(bare)[0].startswith("Nothing can be said: no supply or return air was logged")


def test_the_first_pull_down_gives_way_to_a_loss_of_temperature_held() -> None:
    air = np.where(HOURS < 12, 3 + 20 * np.exp(-HOURS / 2), warmed(HOURS, 30, 36, 3))
    kinds = found(unit(air, HOURS)).excursions
    assert set(kinds["kind"]) == {"initial_warm_load", "excursion"}
    main = main_excursion(kinds)
    assert main is not None
    assert main["kind"] == "excursion"


def test_a_probe_half_a_kelvin_off_changes_the_figures_by_as_much() -> None:
    own = timeline(unit(WARM, HOURS))
    main = find_excursions(own).row(0, named=True)
    told = {entry.what: entry for entry in sensitivity(own, main, 1.0)}
    assert told["as reckoned"].hours == pytest.approx(main["hours"])
    # Up and down at 3 K/h: half a kelvin is a sixth of an hour at either end.
    assert told["probe reads 0.5 K too high"].hours == pytest.approx(main["hours"] - 1 / 3, abs=0.02)
    assert told["probe reads 0.5 K too low"].hours == pytest.approx(main["hours"] + 1 / 3, abs=0.02)
    assert told["band 1 K wider"].degree_hours < main["degree_hours"]


def test_a_narrower_band_gives_frozen_cargo_no_lower_edge() -> None:
    air = warmed(HOURS, 20, 40, 6, -18.0) - 0.8
    air[:40] = -25.0
    own = timeline(unit(air, HOURS, -18.0, return_air=air))
    main = find_excursions(own).row(0, named=True)
    told = {entry.what: entry for entry in sensitivity(own, main, 1.0)}
    assert told["band 1 K narrower"].hours < main["hours"] + 3


def test_an_alarm_that_comes_and_goes_is_told_once_with_its_number() -> None:
    often = [["AL 9"] if hour % 6 < 0.5 else [] for hour in HOURS]
    own = timeline(unit(WARM, HOURS, alarms=often))
    alarms = [event for event in events_of(own) if event.kind == "alarm"]
    assert [event.what for event in alarms] == ["as logged, 12 times, the first here: AL 9"]
    seldom = [["AL 9"] if 20 <= hour < 30 else [] for hour in HOURS]
    (once,) = [
        event for event in events_of(timeline(unit(WARM, HOURS, alarms=seldom))) if event.kind == "alarm"
    ]
    assert (once.time, once.until) == (START + timedelta(hours=20), START + timedelta(hours=29.75))


def events_of(own: pl.DataFrame, **changes: pl.DataFrame):
    return timeline_events(
        own,
        find_excursions(own),
        find_defrosts(own),
        find_gaps(own),
        changes.get("voyage_events", find_voyage_events(regime_intervals(own))),
        changes.get("custody", schema.CUSTODY.empty()),
        changes.get("notes", schema.NOTES.empty()),
        changes.get("set_points", schema.SET_POINTS.empty()),
        changes.get("repairs", schema.REPAIRS.empty()),
    )


def test_what_happened_stands_in_order_of_time_with_where_it_is_known_from() -> None:
    kept = (HOURS < 50) | (HOURS > 56)
    powered = ~((HOURS >= 20) & (HOURS < 24))
    set_point = np.where(HOURS < 60, 3.0, 4.0)
    own = timeline(
        unit(WARM[kept], HOURS[kept], power_state=powered[kept]).with_columns(
            pl.Series("set_point", set_point[kept])
        )
    )
    notes = schema.NOTES.conform(
        pl.DataFrame(
            {
                "container": [CONTAINER],
                "time": [START + timedelta(hours=25)],
                "observation": ["plug out"],
                "action": ["plugged in"],
                "line": [2],
            }
        )
    )
    told = events_of(own, notes=notes, custody=custody((0, 10, "Quay"), (10, None, "Ship")))
    assert [event.time for event in told] == sorted(event.time for event in told)
    words = {event.kind: event for event in told}
    assert set(words) == {"log", "excursion", "power", "set point", "gap", "custody", "note"}
    assert words["note"].what == "seen: plug out; done: plugged in"
    assert words["note"].source == "notes file, line 2"
    assert words["power"].what == "supply off: this unit, not the ship"
    assert words["set point"].what == "from 3.0\u00a0°C to 4.0\u00a0°C"
    assert "can have been anywhere from" in words["gap"].what


def test_what_the_log_cannot_tell_is_never_empty_and_names_what_is_not_logged() -> None:
    own = timeline(unit(WARM, HOURS))
    source = SourceNote("s", "log.csv", "0" * 64, 1, "generic", "UTC, assumed", 1, 1, 0, 0, 1)
    told = " ".join(cannot_tell(own, find_gaps(own), schema.CUSTODY.empty(), [source], 0))
    assert "cargo itself was not measured" in told
    assert "Not logged: pressures, currents or power" in told
    assert "assumed, not stated, in log.csv" in told
    assert "simulated units only" in told
    probed = timeline(unit(WARM, HOURS, cargo_probe_1=3.0))
    assert "Where the 1 cargo probe" in " ".join(
        cannot_tell(probed, find_gaps(own), schema.CUSTODY.empty(), [], 0)
    )


def test_without_a_set_point_nothing_is_called_within_its_band() -> None:
    first = said(log(HOURS, CONTAINER, supply_air=WARM, return_air=WARM + 1))[0]
    assert first.startswith("Nothing can be said: no set point was logged")


def test_hours_of_the_cargo_above_its_limit_leave_gaps_out() -> None:
    kept = (HOURS < 30) | (HOURS >= 50)
    line = pl.DataFrame(
        {
            "container": CONTAINER,
            "time": [START + timedelta(hours=float(hour)) for hour in HOURS[kept]],
            **{
                f"{node}{edge}": np.where(HOURS[kept] >= 20, 8.0, 3.0)
                for node in ("surface", "core")
                for edge in ("", "_low", "_high")
            },
        }
    )
    cargo = schema.CARGO.conform(
        pl.DataFrame(
            {
                "container": [CONTAINER],
                "cargo": ["Grapes"],
                "known_from": ["facts file"],
                "limit_high": [5.0],
                "limit_from": ["contract"],
                "fitted": [False],
                "pulling_down": [False],
            }
        )
    )
    known = replace(
        found(unit(WARM[kept], HOURS[kept])),
        cargo=cargo,
        cargo_temperatures=schema.CARGO_TEMPERATURES.conform(line),
    )
    text = answers(known)[1].answer
    # From 20 h to 29.75 h, and from 50 h to the last reading at 71.75 h.
    assert "for 31.5\u00a0h (gaps taken out), first at 2026-01-05 20:00 UTC" in text


def test_air_that_a_long_gap_hides_is_not_said_to_have_come_back_then() -> None:
    hours = np.concatenate([clock(30), clock(30) + 80])
    first = said(unit(np.where((hours > 20) & (hours < 50), 9.0, 3.0), hours))[0]
    assert "was back within it at" not in first
    assert "and last so at 2026-01-06 05:45 UTC; by 2026-01-08 08:00 UTC it was back." in first


def test_a_single_reading_is_not_called_within_its_band() -> None:
    parts = said(unit(WARM[:1], HOURS[:1]))
    assert parts[0].startswith("Nothing can be said: there is a single reading")
    assert parts[2].startswith("Cannot be said.")


def other_order(kind: str, hour: float, until: float | None) -> pl.DataFrame:
    """A booking at 1 °C while the unit was set to 3 °C."""
    ends = None if until is None else START + timedelta(hours=until)
    row = {
        "container": CONTAINER,
        "kind": kind,
        "source": "booking",
        "booked": 1.0,
        "logged": 3.0,
        "start": START + timedelta(hours=hour),
        "end": ends,
        "hours": 20.0,
        "words": "Set to 3.0 °C, but the booking orders 1.0 °C",
    }
    return schema.SET_POINTS.conform(
        pl.DataFrame([row], schema_overrides={"end": schema.TIME, "start": schema.TIME})
    )


def test_a_set_point_that_nobody_ordered_is_told_even_where_the_air_kept_to_it() -> None:
    calm = np.full(len(HOURS), 3.0)
    first = said(unit(calm, HOURS), set_points=other_order("differs", 0, None))[0]
    assert "no excursion" in first
    assert "Set to 3.0 °C, but the booking orders 1.0 °C." in first
    assert "booking" not in said(unit(calm, HOURS), set_points=other_order("agrees", 0, None))[0]


@pytest.mark.parametrize(
    ("begin", "until", "words"),
    [
        (0, 20, "; the set point was not as ordered with Quay."),
        (20, None, "; the set point was not as ordered with Quay, then Ship."),
        (25, None, "; the set point was not as ordered with Ship."),
    ],
)
def test_who_had_a_set_point_that_nobody_ordered_is_named(
    begin: float, until: float | None, words: str
) -> None:
    holders = custody((0, 24, "Quay"), (24, None, "Ship"))
    custody_answer = said(
        unit(np.full(len(HOURS), 3.0), HOURS),
        holders=holders,
        set_points=other_order("corrected_late" if until else "differs", begin, until),
    )[3]
    assert custody_answer.startswith(f"No excursion{words}")


def test_a_set_point_that_nobody_ordered_comes_before_the_causes_of_an_excursion() -> None:
    why = said(unit(WARM, HOURS), set_points=other_order("corrected_late", 0, 20))[2]
    assert why.startswith("Set to 3.0 °C, but the booking orders 1.0 °C.")


def test_orders_and_what_followed_a_repair_stand_in_the_timeline() -> None:
    done = schema.REPAIRS.conform(
        pl.DataFrame(
            [
                {
                    **dict.fromkeys(column.name for column in schema.REPAIRS.columns),
                    "container": CONTAINER,
                    "time": START + timedelta(hours=30),
                    "action": "fan replaced",
                    "verdict": "recovered",
                    "words": "Back within its peers' range: recovered.",
                    "line": 2,
                }
            ],
            schema_overrides={column.name: column.dtype for column in schema.REPAIRS.columns},
        )
    )
    told = events_of(timeline(unit(WARM, HOURS)), set_points=other_order("differs", 2, None), repairs=done)
    kinds = {event.kind: event for event in told}
    assert kinds["order"].source == "log and bookings file"
    assert kinds["after repair"].what == "Back within its peers' range: recovered."
