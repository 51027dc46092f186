"""What was seen by hand, and readings noted down from a display."""

from __future__ import annotations

import json
import math
from pathlib import Path

import polars as pl
import pytest

from coldsift.causes import load_catalogue
from coldsift.engine.checking import (
    Checked,
    CheckError,
    as_json,
    check_readings,
    check_run,
    conclude,
    finished_run,
    parse_answers,
    read_answers,
)
from coldsift.engine.readings import ReadingError, parse_readings, reading_distances

SAMPLE = Path(__file__).parents[2] / "sample_logs"

MASKED_VALVE = (
    "set_point=-18",
    "supply_air=8",
    "return_air=8.1",
    "evaporator_temperature=8.2",
    "suction_temperature=7.9",
    "ambient_air=28",
    "suction_pressure=-0.98bar_g",
    "discharge_pressure=7bar_g",
    "compressor_frequency=100",
    "expansion_valve_opening=100",
)
"""An invented unit: expansion valve shut, economizer path open. Common practice, no source."""

GOOD_UNIT = (
    "set_point=-18",
    "supply_air=-20.5",
    "return_air=-18.2",
    "evaporator_temperature=-21.5",
    "suction_temperature=-17",
    "ambient_air=28",
    "suction_pressure=0.05bar_g",
    "discharge_pressure=8bar_g",
    "discharge_temperature=62",
    "compressor_frequency=50",
    "expansion_valve_opening=18",
)


@pytest.fixture(scope="module")
def run(sample_run: Path) -> Path:
    return sample_run


@pytest.fixture(scope="module")
def valve_unit() -> str:
    units = json.loads((SAMPLE / "voyage.json").read_text(encoding="utf-8"))["units"]
    return next(unit["container"] for unit in units if unit["cause"] == "expansion_valve_not_opening")


def from_readings(*texts: str, saw: tuple[str, ...] = ()) -> Checked:
    catalogue = load_catalogue()
    causes, evidence = check_readings(parse_readings(texts), "R134a", catalogue)
    return conclude(causes, evidence, parse_answers(saw, catalogue), catalogue)


def chances(checked: Checked) -> dict[str, float]:
    return {each.id: each.chance for each in checked.hypotheses}


def test_the_masked_expansion_valve_is_named_first_from_the_log(run: Path, valve_unit: str) -> None:
    """Discharge low, no trip, all temperatures alike: the sign that misleads."""
    catalogue = load_catalogue()
    causes, evidence = check_run(run, valve_unit)
    checked = conclude(causes, evidence, {}, catalogue)
    assert checked.hypotheses[0].id == "expansion_valve_not_opening"
    supporting = evidence.filter(pl.col("cause") == "expansion_valve_not_opening", pl.col("side") == "for")
    assert any("Superheat" in words for words in supporting["words"])
    hidden = " ".join(catalogue.causes["expansion_valve_not_opening"].hidden_by).lower()
    assert "economizer" in hidden
    assert "consequence" in hidden


def test_the_masked_expansion_valve_is_named_first_from_the_display_alone() -> None:
    checked = from_readings(*MASKED_VALVE)
    assert checked.hypotheses[0].id == "expansion_valve_not_opening"
    assert checked.hypotheses[0].chance > 0.5


def test_frost_at_the_economizer_and_a_full_sight_glass_point_the_same_way() -> None:
    before = chances(from_readings(*MASKED_VALVE))
    after = chances(from_readings(*MASKED_VALVE, saw=("frost_at_economizer=yes", "sight_glass_bubbles=no")))
    assert after["expansion_valve_not_opening"] > before["expansion_valve_not_opening"]
    assert after["low_refrigerant"] < before["low_refrigerant"]


@pytest.mark.parametrize(
    ("saw", "kind"),
    [
        (("valve_coil_pulses=yes", "valve_coil_resistance_off=yes"), "coil_dead"),
        (("valve_coil_pulses=no", "valve_wiring_broken=yes"), "wiring"),
        (("valve_coil_pulses=no", "valve_wiring_broken=no"), "controller_output"),
        (
            ("valve_coil_pulses=yes", "valve_coil_resistance_off=no", "magnet_moves_suction=no"),
            "valve_body_stuck",
        ),
    ],
)
def test_voltage_pulses_and_the_magnet_split_coil_wiring_output_and_body(
    saw: tuple[str, ...], kind: str
) -> None:
    """Pulses at the terminals point to the coil, none to wiring or controller; a magnet clears the body."""
    first = from_readings(*MASKED_VALVE, saw=saw).hypotheses[0]
    assert first.id == "expansion_valve_not_opening"
    assert first.kinds[0][0] == kind


def test_the_magnet_comes_with_its_caution() -> None:
    catalogue = load_catalogue()
    how = catalogue.observations["magnet_moves_suction"].how.lower()
    cautions = " ".join(catalogue.causes["expansion_valve_not_opening"].cautions).lower()
    assert "never leave it in place" in how
    assert "flood" in cautions


def test_a_good_display_leaves_nothing_wrong_likeliest() -> None:
    assert from_readings(*GOOD_UNIT).hypotheses[0].id == "healthy"


def test_chances_sum_to_one_and_answers_taken_back_leave_no_trace(run: Path, valve_unit: str) -> None:
    catalogue = load_catalogue()
    causes, evidence = check_run(run, valve_unit)
    plain = conclude(causes, evidence, {}, catalogue)
    seen = conclude(causes, evidence, {"sight_glass_bubbles": True}, catalogue)
    again = conclude(causes, evidence, {}, catalogue)
    assert math.isclose(sum(chances(seen).values()), 1.0, abs_tol=1e-12)
    assert chances(plain) == chances(again)
    assert "sight_glass_bubbles" not in {check.observation for check in seen.checks}


def test_machines_get_the_same(run: Path, valve_unit: str) -> None:
    catalogue = load_catalogue()
    checked = conclude(*check_run(run, valve_unit), {"sight_glass_bubbles": False}, catalogue)
    told = json.loads(json.dumps(as_json(checked)))
    assert told["answers"] == {"sight_glass_bubbles": False}
    assert told["hypotheses"][0]["cause"] == checked.hypotheses[0].id
    assert told["next_checks"][0]["observation"] == checked.checks[0].observation


@pytest.mark.parametrize(
    ("text", "channel", "value"),
    [
        ("supply_air=14 °F", "supply_air", -10.0),
        ("suction_pressure=1.0bar_g", "suction_pressure", 2.01325),
        ("suction_pressure=29.0075psi_a", "suction_pressure", 2.0),
        ("discharge_pressure=1000kPa_a", "discharge_pressure", 10.0),
        ("power=3.2kW", "power", 3200.0),
        ("supply_air=-1,5", "supply_air", -1.5),
        ("compressor_state=on", "compressor_state", True),
        ("condenser_cooling=water", "condenser_cooling", "water"),
    ],
)
def test_readings_are_converted_once(text: str, channel: str, value: float | bool | str) -> None:
    read = parse_readings([text])[channel]
    assert read == (pytest.approx(value, abs=2e-4) if isinstance(value, float) else value)


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("sucton_pressure=1bar_g", "suction_pressure"),
        ("suction_pressure=1", "gauge or absolute"),
        ("suction_pressure=1bar", "gauge or absolute"),
        ("suction_pressure=1parsec", "bar_g"),
        ("supply_air=3V", "°F"),
        ("supply_air=200", "-60 to 80 °C"),
        ("suction_pressure=-1.2bar_g", "0 to 15 bar absolute"),
        ("supply_air=warm", "not a number"),
        ("supply_air", "CHANNEL=VALUE"),
        ("compressor_state=perhaps", "on or off"),
        ("alarms=all", "supply_air"),
    ],
)
def test_a_reading_that_cannot_be_is_refused_with_what_can(text: str, named: str) -> None:
    with pytest.raises(ReadingError, match=named.replace("+", r"\+")):
        parse_readings([text])


def test_a_reading_given_twice_is_refused() -> None:
    with pytest.raises(ReadingError, match="twice"):
        parse_readings(["supply_air=1", "supply_air=2"])


def test_readings_that_do_not_combine_are_refused_with_those_that_do() -> None:
    with pytest.raises(CheckError, match="set_point"):
        from_readings("humidity=80")


def test_superheat_of_readings_is_that_of_the_published_table() -> None:
    """R134a, suction 1.0 bar gauge, pipe 0.0 °C: 9.909 K (computed with CoolProp 8.0.0, check values)."""
    table = reading_distances(parse_readings(["suction_pressure=1.0bar_g", "suction_temperature=0"]), "R134a")
    value = table.filter(pl.col("feature") == "superheat_now")["value"].item()
    assert value == pytest.approx(9.909, abs=0.02)


@pytest.mark.parametrize(
    ("text", "named"),
    [
        ("frost=yes", "sight_glass_bubbles"),
        ("sight_glass_buble=yes", "Did you mean sight_glass_bubbles"),
        ("sight_glass_bubbles=maybe", "=yes or sight_glass_bubbles=no"),
    ],
)
def test_an_unknown_observation_gives_the_known_ones(text: str, named: str) -> None:
    with pytest.raises(CheckError, match=named):
        parse_answers([text], load_catalogue())


def test_yes_and_no_to_one_question_is_refused() -> None:
    with pytest.raises(CheckError, match="as yes and as no"):
        parse_answers(["sight_glass_bubbles=yes", "sight_glass_bubbles=no"], load_catalogue())


def test_answers_saved_from_the_page_are_read_back(tmp_path: Path) -> None:
    saved = tmp_path / "answers.json"
    saved.write_text(
        json.dumps(
            {"coldsift_answers": 1, "container": "CSQU3054383", "answers": {"sight_glass_bubbles": True}}
        ),
        encoding="utf-8",
    )
    catalogue = load_catalogue()
    assert read_answers(saved, "CSQU3054383", catalogue) == {"sight_glass_bubbles": True}
    with pytest.raises(CheckError, match="not for TASU1170000"):
        read_answers(saved, "TASU1170000", catalogue)


@pytest.mark.parametrize("text", ["", "[1]", '{"answers": {}}', '{"coldsift_answers": 1, "container": "X"}'])
def test_a_file_without_answers_is_refused(tmp_path: Path, text: str) -> None:
    saved = tmp_path / "answers.json"
    saved.write_text(text, encoding="utf-8")
    with pytest.raises(CheckError, match=r"answers\.json"):
        read_answers(saved, "X", load_catalogue())


def test_a_container_that_is_not_in_the_run_is_named_with_near_ones(run: Path, valve_unit: str) -> None:
    with pytest.raises(CheckError, match=valve_unit):
        check_run(run, valve_unit[:-1] + ("0" if valve_unit[-1] != "0" else "1"))


def test_a_folder_without_a_run_is_refused(tmp_path: Path) -> None:
    with pytest.raises(CheckError, match="screen --out"):
        finished_run(tmp_path)
