"""Every item against its band and the other boxes; expected values are worked out on paper."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import polars as pl
import pytest

from coldsift.pre_trip import inspect_log, load_pass_bands
from coldsift.pre_trip.views import overall_words
from coldsift.refrigerant import saturation
from coldsift.schema import PRE_TRIP
from tests.pre_trip.inspected import START, by_hand, judged, later, planted, simulated, verdicts, words


def value(item: str, **changed: object) -> float:
    items = judged(by_hand(**changed)).items
    return float(items.filter(pl.col("item") == item)["value"][0])


def test_a_box_as_it_should_be_has_nothing_outside_and_nothing_to_watch() -> None:
    assert set(verdicts(judged(by_hand())).values()) == {"within", "not_tested"}


def test_times_and_rates_are_those_on_paper() -> None:
    assert value("pull_down_chilled_minutes") == 60
    # The return air is last above 0 °C at its second reading, at 2 − 18.5/17 = 0.91 °C: 85 min to go.
    assert value("pull_down_frozen_minutes") == 85
    assert value("defrost_minutes") == 20
    assert value("return_minutes") == 20
    assert value("defrost_end") == 20.0
    assert value("defrost_heater_power") == 3600
    assert value("sensors_apart") == pytest.approx(-0.5)
    assert value("voltage") == 400


def test_standstill_pressure_is_held_against_saturation_at_the_ambient() -> None:
    # R134a at 25 °C: 6.654 bar, by CoolProp (Tillner-Roth & Baehr 1994).
    rest = float(saturation("R134a").bubble_pressure(25.0))
    assert rest == pytest.approx(6.654, abs=0.01)
    changed = {"suction_pressure": rest, "discharge_pressure": rest + 1.0}
    assert value("standstill_pressure", **changed) == pytest.approx(1.0, abs=0.01)
    assert verdicts(judged(by_hand(**changed)))["standstill_pressure"] == "outside"


def test_an_imbalance_by_the_definition_of_nema() -> None:
    # 462, 463 and 455 V: the mean is 460 V, the furthest 5 V off it, 1.09 % (a worked example of the
    # definition in NEMA MG 1, told in a forum of engineers).
    changed = {"voltage_1": 462.0, "voltage_2": 463.0, "voltage_3": 455.0}
    assert value("voltage_imbalance", **changed) == pytest.approx(1.087, abs=0.001)
    assert verdicts(judged(by_hand(**changed)))["voltage_imbalance"] == "watch"


@pytest.mark.parametrize(
    ("frequency", "volts", "verdict"),
    [(50.0, 400.0, "within"), (50.0, 350.0, "outside"), (60.0, 350.0, "outside"), (60.0, 380.0, "outside"),
     (60.0, 440.0, "within"), (50.0, 380.0, "within"), (45.0, 400.0, "not_tested")],
)  # fmt: skip
def test_the_voltage_band_goes_by_the_mains(frequency: float, volts: float, verdict: str) -> None:
    changed = {"frequency": frequency, **{f"voltage_{phase}": volts for phase in (1, 2, 3)}}
    assert verdicts(judged(by_hand(**changed)))["voltage"] == verdict


def test_a_warm_day_allows_a_longer_pull_down() -> None:
    items = {
        ambient: judged(by_hand(ambient_air=ambient)).items.filter(
            pl.col("item") == "pull_down_chilled_minutes"
        )
        for ambient in (5.0, 25.0, 30.0)
    }
    assert [frame["high"][0] for frame in items.values()] == [60.0, 115.0, 130.0]
    assert [str(frame["verdict"][0]) for frame in items.values()] == ["watch", "within", "within"]


def test_an_ambient_that_no_band_is_given_for_is_not_judged() -> None:
    inspection = judged(by_hand(ambient_air=48.0))
    assert verdicts(inspection)["pull_down_chilled_minutes"] == "not_tested"
    assert "48" in words(inspection, "pull_down_chilled_minutes")
    assert verdicts(judged(by_hand(ambient_air=None)))["pull_down_chilled_minutes"] == "not_tested"


def test_a_pull_down_that_never_arrives_is_outside_once_its_time_is_up() -> None:
    early = by_hand().filter(pl.col("time") < START + timedelta(minutes=70))
    assert verdicts(judged(early))["pull_down_chilled_minutes"] == "not_tested"
    assert "not reached" in words(judged(early), "pull_down_chilled_minutes")
    stuck = by_hand(supply_air=9.0, set_point=0.0)
    assert verdicts(judged(stuck))["pull_down_chilled_minutes"] == "outside"
    assert words(judged(stuck), "pull_down_chilled_minutes").startswith("Not at set point after")


def test_a_channel_that_is_not_logged_is_named() -> None:
    inspection = judged(by_hand())
    assert verdicts(inspection)["highest_current"] == "not_tested"
    assert words(inspection, "highest_current") == "Not tested: not logged: current 1, current 2, current 3."


def test_a_box_unlike_the_others_of_its_day_is_watched() -> None:
    boxes = [f"QXAU00000{place}" for place in range(10, 16)]
    alike = pl.concat([by_hand(container) for container in boxes])
    assert "watch" not in verdicts(judged(alike), boxes[0]).values()
    odd = by_hand("QXAU0000099", power=pl.Series(by_hand()["power"]) + 900)
    both = judged(pl.concat([alike, odd]))
    assert verdicts(both, "QXAU0000099")["defrost_heater_power"] == "watch"
    assert "6 other boxes of the day are at 3600 W" in " ".join(both.items["words"])
    elsewhere = judged(pl.concat([alike, later(odd, 72)]))
    assert verdicts(elsewhere, "QXAU0000099")["defrost_heater_power"] == "within"


def test_a_step_that_only_this_box_lacks_is_watched_once() -> None:
    boxes = [f"QXAU00000{place}" for place in range(10, 15)]
    whole = pl.concat([by_hand(container) for container in boxes])
    short = by_hand("QXAU0000099").filter(~pl.col("defrost_state")).head(60)
    own = verdicts(judged(pl.concat([whole, short])), "QXAU0000099")
    assert own["defrost_minutes"] == "watch"
    assert own["defrost_end"] == "not_tested"


def test_boxes_with_something_outside_come_first() -> None:
    frames = [
        by_hand("QXAU0000010"),
        by_hand("QXAU0000011", supply_air=9.0),
        by_hand("QXAU0000012", voltage_1=385.0),
    ]
    items = judged(pl.concat(frames)).items
    order = items["container"].unique(maintain_order=True).to_list()
    assert order == ["QXAU0000011", "QXAU0000012", "QXAU0000010"]
    assert items.columns == PRE_TRIP.names


@pytest.mark.parametrize(
    ("counts", "told"),
    [
        ({"within": 20}, "Nothing outside its band."),
        ({"within": 20, "watch": 3, "not_tested": 4}, "Nothing outside its band; 3 to watch; 4 not tested."),
        ({"outside": 1, "within": 2}, "1 outside its band."),
        ({"outside": 2, "watch": 1}, "2 outside their band; 1 to watch."),
        ({"not_tested": 9}, "Nothing could be tested."),
    ],
)
def test_no_box_is_ever_called_safe_or_passed(counts: dict[str, int], told: str) -> None:
    assert overall_words(counts) == told


@pytest.mark.parametrize("ambient", [8.0, 18.0, 28.0])
def test_simulated_good_boxes_have_nothing_outside(ambient: float) -> None:
    inspection, _ = simulated(ambient=ambient)
    assert inspection.items.filter(pl.col("verdict") == "outside")["words"].to_list() == []
    within = inspection.items.filter(pl.col("verdict") == "within").height
    assert within > 0.8 * inspection.items.height


@pytest.mark.parametrize(
    ("cause", "severity", "items"),
    [
        ("heater_failed", 0.6, {"defrost_heater_power", "heating_split"}),
        ("return_sensor_drift", 0.6, {"sensors_apart"}),
        ("overcharge_or_air", 0.6, {"standstill_pressure"}),
        ("condenser_fouled", 0.8, {"condensing_over_ambient"}),
        ("low_refrigerant", 0.8, {"pull_down_superheat"}),
        ("phase_imbalance", 0.8, {"voltage_imbalance", "pull_down_current_imbalance"}),
        ("defrost_not_terminating", 1.0, {"defrost_minutes"}),
        ("door_or_seal_leak", 1.0, {"pull_down_frozen_minutes"}),
    ],
)
def test_a_planted_fault_is_outside_where_a_technician_would_look(
    cause: str, severity: float, items: set[str]
) -> None:
    inspection, truth = simulated(((1, cause, severity),))
    (container,) = planted(truth)
    outside = {item for item, verdict in verdicts(inspection, container).items() if verdict == "outside"}
    assert items <= outside
    assert inspection.items["container"][0] == container


def test_the_same_logs_give_the_same_table() -> None:
    assert judged(by_hand()).items.equals(judged(by_hand()).items)


def test_a_coarse_log_does_not_blame_the_end_of_a_defrost() -> None:
    coarse = judged(by_hand().gather_every(3))
    assert verdicts(coarse)["defrost_end"] == "not_tested"
    assert "too coarse" in words(coarse, "defrost_end")


def test_ones_own_band_decides(tmp_path: Path) -> None:
    own = tmp_path / "own.toml"
    own.write_text("[items.pull_down_chilled_minutes]\nhigh = 45\n", encoding="utf-8")
    inspection = inspect_log(by_hand(), load_pass_bands(own))
    assert verdicts(inspection)["pull_down_chilled_minutes"] == "outside"
    assert words(inspection, "pull_down_chilled_minutes") == "60 min is above the band: at most 45 min."
