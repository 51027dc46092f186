"""A fault that is mended under way: the machine is in order again, the box takes its time."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import polars as pl
import pytest

from coldsift.simulate import UnitPlan, sample_voyage
from coldsift.simulate.plan import container_number

from .conftest import START, Voyage, sail_all

ONSET, MENDED = 30.0, 54.0
AT = START + timedelta(hours=MENDED)
SETTLED = START + timedelta(hours=MENDED + 24)

SOUND = UnitPlan(container=container_number(0), set_point=-20.0)
FAULTY = replace(SOUND, cause="expansion_valve_not_opening", severity=1.0, onset_hours=ONSET)
UNITS = {
    "goes on": FAULTY,
    "mended": replace(FAULTY, repaired_hours=MENDED),
    "mended too late": replace(FAULTY, repaired_hours=1000.0),
    "one of two mended": replace(
        FAULTY,
        cause="condenser_fouled",
        repaired_hours=MENDED,
        also="heater_stuck_on",
        also_severity=1.0,
        also_onset_hours=ONSET,
    ),
    "sound": SOUND,
}


@pytest.fixture(scope="module")
def mended() -> Voyage:
    """All of them the same machine."""
    return sail_all(UNITS, machines_drawn=1)


def readings(voyage: Voyage, name: str) -> pl.DataFrame:
    return voyage.log(name).drop("container", "row")


def late_median(voyage: Voyage, name: str, column: str) -> float:
    value = (
        readings(voyage, name)
        .filter(pl.col("time") > SETTLED, pl.col("compressor_state"), ~pl.col("defrost_state"))[column]
        .median()
    )
    assert isinstance(value, float)
    return value


def test_until_the_repair_the_unit_is_the_one_that_is_never_mended(mended: Voyage) -> None:
    until = pl.col("time") < AT
    goes_on = readings(mended, "goes on")
    assert readings(mended, "mended").filter(until).equals(goes_on.filter(until))
    assert not readings(mended, "mended").filter(~until).equals(goes_on.filter(~until))


def test_a_repair_after_the_voyage_changes_no_reading(mended: Voyage) -> None:
    assert readings(mended, "mended too late").equals(readings(mended, "goes on"))


def test_a_new_valve_brings_suction_and_air_back(mended: Voyage) -> None:
    for column, apart in (("suction_pressure", 0.15), ("return_air", 0.5), ("evaporator_temperature", 2.0)):
        sound = late_median(mended, "sound", column)
        assert late_median(mended, "mended", column) == pytest.approx(sound, abs=apart)
        assert late_median(mended, "goes on", column) != pytest.approx(sound, abs=2 * apart)


def test_the_box_is_still_warm_when_the_repair_is_done(mended: Voyage) -> None:
    first = readings(mended, "mended").filter(pl.col("time") >= AT).head(1)
    assert first["return_air"].item() > first["set_point"].item() + 1.0


def test_the_second_fault_of_a_unit_goes_on(mended: Voyage) -> None:
    power = late_median(mended, "one of two mended", "power")
    assert power > late_median(mended, "sound", "power") + 2000.0


def test_truth_says_when_a_fault_was_mended_and_when_none_was(mended: Voyage) -> None:
    assert mended.table("truth", "mended")["repaired"].to_list() == [AT]
    assert mended.table("truth", "goes on")["repaired"].to_list() == [None]


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"cause": "healthy", "severity": 0.0}, "no fault to mend"),
        ({"cause": "warm_cargo"}, "no fault to mend"),
        ({"repaired_hours": ONSET}, "before it begins"),
        ({"cause": "clock_wrong"}, "twice"),
    ],
)
def test_what_cannot_be_mended_says_why(changes: dict[str, object], says: str) -> None:
    with pytest.raises(ValueError, match=says):
        replace(UNITS["mended"], **changes)  # type: ignore[arg-type]


def test_the_sample_voyage_has_one_repair_that_helped_one_that_did_not_and_one_too_late_to_tell() -> None:
    added = sample_voyage().units[-3:]
    hours = sample_voyage().days * 24
    helped, useless, late = (unit.repaired_hours for unit in added)
    assert helped is not None
    assert hours - helped > 96
    assert useless is None
    assert late is not None
    assert hours - late < 12
