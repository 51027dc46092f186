from __future__ import annotations

from datetime import timedelta
from typing import Any

import numpy as np
import polars as pl
import pytest
from tests.builders import START, clock, log, timeline

from coldsift.regimes import find_defrosts
from coldsift.repairs import judge_repairs, units_needed
from coldsift.repairs.windows import LONGEST_RETURN_HOURS, SETTLING_HOURS, occasions, windows_of
from coldsift.schema import NOTES, REPAIRS

HOURS = clock(240, 60)
ONSET, MENDED = 120.0, 168.0
SICK = "QXAU0000001"
GOOD, BAD = 10.0, 15.0
"""Discharge pressure of a good unit, and of one with a fouled condenser. [bar]"""


def unit(number: int, hours: np.ndarray = HOURS, **channels: Any) -> pl.DataFrame:
    noise = np.random.default_rng(number).normal(0, 0.1, len(hours))
    values: dict[str, Any] = {
        "set_point": -18.0,
        "return_air": -17.9 + noise,
        "supply_air": -20.0 + noise,
        "ambient_air": 25.0,
        "discharge_pressure": GOOD + noise,
        "suction_pressure": 1.3,
        "suction_temperature": -14.0 + noise,
        "compressor_state": True,
    }
    return log(hours, f"QXAU{number:07}", **(values | channels))


def pressure(*steps: tuple[float, float], hours: np.ndarray = HOURS) -> np.ndarray:
    """Discharge pressure that is good at first, then the given value from each given hour on."""
    values = np.full(len(hours), GOOD)
    for hour, value in steps:
        values[hours >= hour] = value
    return values


def note(hour: float, container: str = SICK, line: int = 2, **said: str) -> dict[str, Any]:
    said = said or {"action": "condenser washed"}
    return {"container": container, "time": START + timedelta(hours=hour), "line": line, **said}


def judged(sick: pl.DataFrame, *noted: dict[str, Any], others: list[pl.DataFrame] | None = None) -> list[Any]:
    built = timeline(sick, *(others or [unit(number) for number in range(2, 12)]))
    members = built.select("container", peer_group=pl.lit("frozen")).unique().sort("container")
    notes = NOTES.conform(
        pl.DataFrame(list(noted), schema_overrides={"action": pl.String, "part": pl.String}, orient="row")
    )
    return judge_repairs(built, find_defrosts(built), notes, members, members).to_dicts()


def test_a_washed_condenser_whose_pressure_is_back_at_its_peers_has_recovered() -> None:
    (row,) = judged(unit(1, discharge_pressure=pressure((ONSET, BAD), (MENDED, GOOD))), note(MENDED))
    assert row["verdict"] == "recovered"
    assert row["before"] > row["peers_high"]
    assert row["peers_low"] <= row["after"] <= row["peers_high"]
    assert row["good"] == pytest.approx(row["after"], abs=1.0)
    assert row["hours_after"] == pytest.approx(239 - MENDED)
    assert "10 peers" in row["words"]
    assert row["words"].endswith(": recovered.")


def test_a_repair_after_which_the_pressure_stays_high_changed_nothing() -> None:
    (row,) = judged(unit(1, discharge_pressure=pressure((ONSET, BAD))), note(MENDED))
    assert row["verdict"] == "unchanged"


def test_three_quarters_of_the_way_back_is_better_but_not_recovered() -> None:
    part = GOOD + 0.25 * (BAD + 5 - GOOD)
    (row,) = judged(unit(1, discharge_pressure=pressure((ONSET, BAD + 5), (MENDED, part))), note(MENDED))
    assert row["verdict"] == "better"


def test_a_pressure_that_climbs_on_is_worse() -> None:
    (row,) = judged(unit(1, discharge_pressure=pressure((ONSET, 12.5), (MENDED, 17.0))), note(MENDED))
    assert row["verdict"] == "worse"


def test_a_few_hours_of_log_are_too_early_to_judge() -> None:
    (row,) = judged(unit(1, discharge_pressure=pressure((ONSET, BAD), (226, GOOD))), note(226))
    assert row["verdict"] == "too_early"
    assert row["words"].endswith("too early to judge.")


def test_a_note_after_the_log_ends_is_too_early_when_the_trouble_shows() -> None:
    (row,) = judged(unit(1, discharge_pressure=pressure((ONSET, BAD))), note(245))
    assert (row["verdict"], row["hours_after"]) == ("too_early", 0.0)


def test_a_unit_that_was_like_its_peers_shows_nothing_of_a_repair() -> None:
    (row,) = judged(unit(1), note(MENDED))
    assert row["verdict"] == "cannot_tell"
    assert row["feature"] is None
    assert "Nothing stood out" in row["words"]


def test_a_repair_of_a_container_without_a_log_cannot_be_told() -> None:
    rows = judged(unit(1), note(MENDED, "ZZZU0000001"))
    assert [(row["verdict"], row["words"]) for row in rows] == [
        ("cannot_tell", "There is no log of this container.")
    ]


def test_a_repair_before_the_log_begins_cannot_be_told() -> None:
    (row,) = judged(unit(1), note(-30))
    assert row["verdict"] == "cannot_tell"
    assert "nothing to compare with" in row["words"]


def test_a_changed_set_point_makes_before_and_after_incomparable() -> None:
    set_point = np.where(HOURS < MENDED, -18.0, -22.0)
    sick = unit(
        1,
        set_point=set_point,
        return_air=set_point + 0.1,
        supply_air=set_point - 2.0,
        discharge_pressure=pressure((ONSET, BAD), (MENDED, GOOD)),
    )
    (row,) = judged(sick, note(MENDED))
    assert row["verdict"] == "cannot_tell"
    assert row["words"].startswith("The set point was −18.0 °C before and −22.0 °C after")


def test_a_note_that_only_says_what_was_seen_is_no_repair() -> None:
    sick = unit(1, discharge_pressure=pressure((ONSET, BAD)))
    assert judged(sick, {**note(MENDED, observation="salt on the condenser"), "action": None}) == []


def test_a_part_alone_is_a_repair() -> None:
    sick = unit(1, discharge_pressure=pressure((ONSET, BAD), (MENDED, GOOD)))
    (row,) = judged(sick, note(MENDED, part="condenser fan motor"))
    assert (row["verdict"], row["part"]) == ("recovered", "condenser fan motor")


def test_the_first_of_two_repairs_is_judged_by_the_time_until_the_second() -> None:
    sick = unit(1, discharge_pressure=pressure((ONSET - 48, BAD), (MENDED, GOOD)))
    first, second = judged(sick, note(ONSET), note(MENDED, line=3))
    assert (first["verdict"], second["verdict"]) == ("unchanged", "recovered")
    assert first["hours_after"] == pytest.approx(MENDED - ONSET)


def test_a_display_wiped_later_does_not_cut_short_what_followed_a_new_part() -> None:
    sick = unit(1, discharge_pressure=pressure((ONSET, BAD), (MENDED, GOOD)))
    first, _ = judged(
        sick, note(MENDED, part="condenser fan motor"), note(MENDED + 7, line=3, action="display wiped")
    )
    assert first["verdict"] == "recovered"


def test_notes_of_one_afternoon_are_one_repair() -> None:
    sick = unit(1, discharge_pressure=pressure((ONSET, BAD), (MENDED, GOOD)))
    rows = judged(sick, note(MENDED - 2), note(MENDED, line=3, part="gasket"))
    assert [row["verdict"] for row in rows] == ["recovered", "recovered"]
    assert rows[0]["before"] == rows[1]["before"]


def test_power_back_after_a_blackout_of_the_whole_ship_is_nobodys_repair() -> None:
    """Every box warmed while the ship was dark; the note falls in the dark, and nothing was mended."""
    dark = (HOURS >= MENDED - 20) & (HOURS < MENDED + 2)
    warm = np.where(dark, -17.9 + 0.4 * (HOURS - MENDED + 20), -17.9)
    channels = {"power_state": ~dark, "compressor_state": ~dark, "return_air": warm}
    others = [unit(number, **channels) for number in range(2, 12)]
    (row,) = judged(unit(1, **channels), note(MENDED), others=others)
    assert row["verdict"] == "cannot_tell"


def test_a_blackout_of_the_whole_ship_after_the_repair_does_not_count_against_it() -> None:
    dark = (HOURS >= MENDED + 20) & (HOURS < MENDED + 30)
    channels = {"power_state": ~dark, "compressor_state": ~dark}
    others = [unit(number, **channels) for number in range(2, 12)]
    sick = unit(1, discharge_pressure=pressure((ONSET, BAD), (MENDED, GOOD)), **channels)
    (row,) = judged(sick, note(MENDED), others=others)
    assert row["verdict"] == "recovered"


def test_without_peers_the_usual_range_of_good_units_decides() -> None:
    sick = unit(1, discharge_pressure=pressure((ONSET, 22.0), (MENDED, GOOD)))
    (row,) = judged(sick, note(MENDED), others=[unit(2)])
    assert row["verdict"] == "recovered"
    assert "expected" in row["words"]


def test_a_log_without_pressures_cannot_show_a_washed_condenser() -> None:
    sick = unit(1, discharge_pressure=pressure((ONSET, BAD))).with_columns(
        discharge_pressure=pl.lit(None, dtype=pl.Float64)
    )
    (row,) = judged(sick, note(MENDED))
    assert row["verdict"] == "cannot_tell"


def test_a_box_is_judged_once_it_is_back_in_its_band() -> None:
    """A box that warmed to −8 °C and takes 40 h to come back: the way back is neither before nor after."""
    air = np.where(HOURS < ONSET, -17.9, -8.0)
    air = np.where(HOURS >= MENDED, np.maximum(-17.9, -8.0 - (HOURS - MENDED) * 0.25), air)
    built = timeline(unit(1, return_air=air, supply_air=air - 2))
    done = occasions(NOTES.conform(pl.DataFrame([note(MENDED)])))
    repairs = windows_of(
        done, built, pl.DataFrame(schema={"container": pl.String, "peer": pl.String})
    ).repairs
    begin = (repairs["after_start"].item() - START).total_seconds() / 3600 - MENDED
    assert SETTLING_HOURS < begin < LONGEST_RETURN_HOURS
    assert built.filter(pl.col("time") == repairs["after_start"].item())["in_band"].item()


def test_no_notes_no_verdicts_and_the_table_keeps_its_columns() -> None:
    built = timeline(unit(1))
    members = pl.DataFrame({"container": [SICK], "peer_group": ["frozen"]})
    nothing = judge_repairs(built, find_defrosts(built), NOTES.empty(), members, members)
    assert nothing.equals(REPAIRS.empty())


def test_the_order_of_the_notes_changes_no_verdict() -> None:
    sick = unit(1, discharge_pressure=pressure((ONSET - 48, BAD), (MENDED, GOOD)))
    notes = [note(ONSET), note(MENDED, line=3), note(MENDED, "ZZZU0000001", 4)]
    assert judged(sick, *notes) == judged(sick, *reversed(notes))


def test_the_repaired_units_and_their_peers_are_all_that_is_needed() -> None:
    sick = unit(1, discharge_pressure=pressure((ONSET, BAD), (MENDED, GOOD)))
    built = timeline(
        sick, *(unit(number) for number in range(2, 12)), *(unit(20 + number) for number in (1, 2))
    )
    members = (
        built.select("container")
        .unique()
        .sort("container")
        .with_columns(
            peer_group=pl.when(pl.col("container") < "QXAU0000020")
            .then(pl.lit("frozen"))
            .otherwise(pl.lit("others"))
        )
    )
    notes = NOTES.conform(pl.DataFrame([note(MENDED - 1)]))
    needed = units_needed(notes, members, members)
    assert needed == [f"QXAU{number:07}" for number in range(1, 12)]
    own = built.filter(pl.col("container").is_in(needed))
    found = judge_repairs(own, find_defrosts(own), notes, members, members)
    assert found["verdict"].to_list() == ["recovered"]
    assert found.equals(judge_repairs(built, find_defrosts(built), notes, members, members))
    assert units_needed(NOTES.empty(), members, members) == []
