"""What readings are taken to mean: headings in the trade's words, gauge and absolute, zones, merging."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import polars as pl
import pytest
from CoolProp.CoolProp import PropsSI
from intake_frames import UNITS, assert_accounted, errors, warnings

from coldsift.intake import Intake, read_logs
from coldsift.intake.headings import meaning, split_heading
from coldsift.intake.times import zone_of
from coldsift.intake.units import ATMOSPHERE
from coldsift.schema import CHANNELS

UNIT = UNITS[0]


def read(folder: Path, heading: str, lines: list[str], **options: str) -> Intake:
    path = folder / "log.csv"
    path.write_text("\n".join([heading, *lines]) + "\n", encoding="utf-8")
    intake = read_logs([path], **options)  # type: ignore[arg-type]
    assert_accounted(intake)
    return intake


# ------------------------------------------------------------------------------------------------- headings


@pytest.mark.parametrize(
    ("heading", "channel", "unit"),
    [
        ("Supply air (°C)", "supply_air", "°C"),
        ("Suction pressure [bar g]", "suction_pressure", "bar g"),
        ("Return air temperature, F", "return_air", "F"),
        ("SUPPLY_AIR_TEMP_degC", "supply_air", "degC"),
        ("SetPoint", "set_point", None),
        ("Compressor Suction Temp. (K)", "suction_temperature", "K"),
        ("USDA probe 3 [°C]", "cargo_probe_3", "°C"),
        ("Current phase B (A)", "current_2", "A"),
        ("Discharge press (psi a)", "discharge_pressure", "psi a"),
        ("Relative humidity %", "humidity", "%"),
        ("Date and time (UTC)", "[time]", "UTC"),
        ("Container no.", "[container]", None),
        ("Colour of the door", None, None),
    ],
)
def test_headings_in_the_trades_words_are_understood(
    heading: str, channel: str | None, unit: str | None
) -> None:
    name, found = split_heading(heading)
    assert meaning(name) == channel
    assert found == unit


def test_every_channel_is_found_by_each_of_its_words() -> None:
    for channel in CHANNELS.values():
        for word in channel.words:
            assert meaning(word.upper()) == channel.name


def test_units_in_the_headings_are_converted(tmp_path: Path) -> None:
    intake = read(
        tmp_path,
        "Container;Time (UTC);Set point (°F);Supply air [K];Suction pressure (psi g);Power (kW);"
        "Superheat (°F)",
        [f"{UNIT};2026-04-01 00:00;0;255,15;10,0;4,5;18"],
    )
    row = intake.log.row(0, named=True)
    assert row["set_point"] == pytest.approx(-17.7778, abs=1e-4)
    assert row["supply_air"] == pytest.approx(-18.0, abs=1e-9)
    assert row["suction_pressure"] == pytest.approx(1.01325 + 0.689476, abs=1e-5)
    assert row["power"] == pytest.approx(4500)
    assert row["superheat"] == pytest.approx(10)
    assert "as the file" in intake.sources[0].pressure_reading


def test_a_heading_without_unit_is_taken_when_plausible_and_marked(tmp_path: Path) -> None:
    intake = read(
        tmp_path,
        "Container,Time (UTC),Set point (°C),Supply air,Ambient air",
        [f"{UNIT},2026-04-01 {k:02d}:00,-18,-17.{k},{86 + k}" for k in range(9)],
    )
    assert intake.log["supply_air"].null_count() == 0
    assert intake.log["ambient_air"].null_count() == 9
    texts = [message.what for message in warnings(intake)]
    assert any("'Supply air' says no unit; °C is taken" in text for text in texts)
    assert any("'Ambient air' says no unit and is not plausible" in text for text in texts)


def test_states_come_in_many_words(tmp_path: Path) -> None:
    words = ["on", "OFF", "1", "0", "Yes", "no", "TRUE", "false", "perhaps"]
    intake = read(
        tmp_path,
        "Container,Time (UTC),Set point (°C),Compressor,Evaporator fan (%)",
        [f"{UNIT},2026-04-01 {k:02d}:00,-18,{word},{'high' if k else 'low'}" for k, word in enumerate(words)],
    )
    assert intake.log["compressor_state"].to_list() == [
        True,
        False,
        True,
        False,
        True,
        False,
        True,
        False,
        None,
    ]
    assert intake.log["evaporator_fan_speed"].to_list()[:2] == [50, 100]
    assert intake.set_aside.select("channel", "text").rows() == [("compressor_state", "perhaps")]


@pytest.mark.parametrize(
    ("text", "zone"),
    [
        ("UTC", "UTC"),
        ("Z", "UTC"),
        ("+00:00", "UTC"),
        ("UTC+2", "+02:00"),
        ("GMT-03:30", "-03:30"),
        ("+0530", "+05:30"),
        ("−4 h", "-04:00"),
        ("Europe/Amsterdam", "Europe/Amsterdam"),
        ("2", None),
        ("°C", None),
        ("+25:00", None),
        ("../../etc/passwd", None),
        ("", None),
        (None, None),
    ],
)
def test_zones_have_one_spelling(text: str | None, zone: str | None) -> None:
    assert zone_of(text) == zone


def test_an_offset_line_may_leave_the_sign_out() -> None:
    assert zone_of("2", bare=True) == "+02:00"
    assert split_heading("Cargo probe (1)") == ("Cargo probe (1)", None)


# ------------------------------------------------------------------------------------------------- pressure


def saturation(celsius: float) -> float:
    return float(PropsSI("P", "T", celsius + 273.15, "Q", 1, "R134a")) / 1e5


def pressure_log(gauge: bool, off_hours: int, receiver: bool = False, noise: float = 0.02) -> list[str]:
    """A frozen unit that runs for six hours and then stands still.

    R134a then settles in the cold box; with a receiver shut off, the high side stays with the ambient.
    """
    random = np.random.default_rng(5)
    lines = []
    for k in range(4 * (6 + off_hours)):
        running = k < 24
        hours_off = max(0, k - 24) / 4
        box = -18.0 + 1.5 * hours_off
        ambient = 31.0
        low, high = (1.3, 9.5) if running else (saturation(box), saturation(ambient if receiver else box))
        taken = ATMOSPHERE if gauge else 0.0
        low, high = (value - taken + noise * random.standard_normal() for value in (low, high))
        lines.append(
            f"{UNIT},2026-04-{1 + k // 96:02d} {k // 4 % 24:02d}:{k % 4 * 15:02d},-18,{box:.1f},"
            f"{box + 1:.1f},{ambient},{int(running)},{low:.2f},{high:.2f}"
        )
    return lines


PRESSURES = (
    "Container,Time (UTC),Set point (°C),Supply air (°C),Return air (°C),Ambient air (°C),Compressor,"
    "Suction pressure (bar),Discharge pressure (bar)"
)


@pytest.mark.parametrize("receiver", [True, False])
@pytest.mark.parametrize("gauge", [True, False])
def test_a_long_standstill_settles_gauge_or_absolute(tmp_path: Path, gauge: bool, receiver: bool) -> None:
    intake = read(tmp_path, PRESSURES, pressure_log(gauge, off_hours=8, receiver=receiver))
    (source,) = intake.sources
    assert source.pressure_reading.startswith("gauge:" if gauge else "absolute:")
    assert "R134a" in source.pressure_reading
    assert not any("gauge or absolute" in message.what for message in warnings(intake))
    assert any("gauge or absolute" in message.what for message in intake.messages)
    assert intake.log["suction_pressure"][0] == pytest.approx(1.3, abs=0.1)
    assert intake.log["discharge_pressure"][0] == pytest.approx(9.5, abs=0.1)


def test_heat_flows_one_way_settles_a_log_without_standstill(tmp_path: Path) -> None:
    # 9 bar: condensing at 35.5 °C as absolute, 39.4 °C as gauge (CoolProp); the ambient is 38 °C.
    hot = [f"{UNIT},2026-04-01 {k:02d}:00,2,1.5,3,38,1,1.9,9.0" for k in range(12)]
    intake = read(tmp_path, PRESSURES, hot)
    assert "gauge: as absolute, R134a would condense colder than the ambient in 12 of 12" in (
        intake.sources[0].pressure_reading
    )
    # 1.3 bar: evaporating at -20.5 °C as absolute, -7 °C as gauge; the air blown is -16 °C.
    cold = [f"{UNIT},2026-04-01 {k:02d}:00,-18,-16,-15,31,1,1.3,9.5" for k in range(12)]
    intake = read(tmp_path, PRESSURES, cold)
    assert "absolute: as gauge, R134a would evaporate warmer" in intake.sources[0].pressure_reading


def test_without_any_ground_gauge_is_assumed_and_marked(tmp_path: Path) -> None:
    lines = [line.replace(",1,", ",,", 1) for line in pressure_log(gauge=True, off_hours=0)]
    intake = read(tmp_path, PRESSURES, lines)
    assert "assumed" in intake.sources[0].pressure_reading
    assert any("gauge or absolute" in message.what for message in warnings(intake))


def test_a_pressure_below_zero_can_only_be_gauge(tmp_path: Path) -> None:
    lines = [f"{UNIT},2026-04-01 {k:02d}:00,-25,{-0.3 + k / 100:.2f}" for k in range(12)]
    intake = read(tmp_path, "Container,Time (UTC),Set point (°C),Suction pressure (bar)", lines)
    assert intake.sources[0].pressure_reading.startswith("gauge: 12 readings are below zero")
    assert intake.log["suction_pressure"][0] == pytest.approx(ATMOSPHERE - 0.3)


def test_the_tag_value_table_settles_its_pressures_the_same_way(tmp_path: Path) -> None:
    wide = read(tmp_path, PRESSURES, pressure_log(gauge=False, off_hours=8))
    tags = [
        "Set point",
        "Supply air",
        "Return air",
        "Ambient air",
        "Compressor",
        "Suction pressure",
        "Discharge pressure",
    ]
    units = ["°C", "°C", "°C", "°C", "", "bar", "bar"]
    lines = []
    for line in pressure_log(gauge=False, off_hours=8):
        container, stamp, *values = line.split(",")
        lines += [f"{stamp},{container},{t},{v},{u}" for t, v, u in zip(tags, values, units, strict=True)]
    long = read(tmp_path, "Time (UTC),Container,Tag,Value,Unit of measure", lines)
    assert long.sources[0].pressure_reading == wide.sources[0].pressure_reading
    drop = ["source", "row"]
    assert long.log.drop(drop).equals(wide.log.drop(drop))


# ------------------------------------------------------------------------------------------------- time


def hours(zone_free: list[datetime]) -> list[str]:
    return [f"{UNIT},{stamp:%Y-%m-%d %H:%M},-18,-18.0" for stamp in zone_free]


PLAIN = "Container,Time,Set point (°C),Supply air (°C)"


def test_a_clock_of_unknown_zone_is_read_as_utc_and_marked(tmp_path: Path) -> None:
    stamps = [datetime(2026, 4, 1) + k * timedelta(hours=1) for k in range(5)]
    intake = read(tmp_path, PLAIN, hours(stamps))
    (message,) = warnings(intake)
    assert "--time-zone" in message.do
    assert intake.sources[0].time_zone == "UTC assumed"
    told = read(tmp_path, PLAIN, hours(stamps), time_zone="+05:30")
    assert warnings(told) == []
    assert (intake.log["time"] - told.log["time"]).unique().to_list() == [timedelta(hours=5, minutes=30)]


def test_the_hour_that_comes_twice_is_placed_by_the_order_of_its_readings(tmp_path: Path) -> None:
    # 2026-10-25 in Amsterdam: 02:00 to 03:00 runs first in summer time, then in standard time.
    night = [(1, 0), (1, 30), (2, 0), (2, 30), (2, 0), (2, 30), (3, 0)]
    stamps = [datetime(2026, 10, 25, hour, minute) for hour, minute in night]
    intake = read(tmp_path, PLAIN, hours(stamps), time_zone="Europe/Amsterdam")
    assert intake.log["time"].dt.hour().to_list() == [23, 23, 0, 0, 1, 1, 2]
    assert intake.log["time"].diff().drop_nulls().unique().to_list() == [timedelta(minutes=30)]
    assert any("comes twice" in message.what for message in intake.messages)


def test_a_clock_time_that_comes_twice_with_nothing_to_tell_which_is_set_aside(tmp_path: Path) -> None:
    stamps = [datetime(2026, 10, 25, hour) for hour in (1, 2, 3)]
    intake = read(tmp_path, PLAIN, hours(stamps), time_zone="Europe/Amsterdam")
    assert intake.set_aside["row"].to_list() == [3]
    assert "twice" in intake.set_aside["reason"][0]


def test_a_clock_time_that_the_zone_skips_is_set_aside(tmp_path: Path) -> None:
    # 2026-03-29 in Amsterdam: the clocks go from 02:00 to 03:00.
    stamps = [datetime(2026, 3, 29, hour) for hour in (1, 2, 3)]
    intake = read(tmp_path, PLAIN, hours(stamps), time_zone="Europe/Amsterdam")
    assert intake.set_aside["row"].to_list() == [3]
    assert "does not exist" in intake.set_aside["reason"][0]
    assert intake.log["time"].diff()[1] == timedelta(hours=1)


@pytest.mark.parametrize(
    "texts",
    [
        ["2026-04-01T10:00:00+02:00", "2026-04-01T10:15:00+02:00"],
        ["2026-04-01T08:00:00.000Z", "2026-04-01T08:15:00.000Z"],
        ["01-Apr-2026 08:00 UTC", "01-Apr-2026 08:15 UTC"],
        ["20260401 080000Z".replace(" 080000Z", ""), "20260402"],
        ["1775030400", "1775031300"],
        ["1775030400000", "1775031300000"],
        ["20260401080000", "20260401081500"],
        ["4/1/26 8:00 AM", "4/13/26 8:15 AM"],
    ],
)
def test_many_ways_to_write_a_time_are_read(tmp_path: Path, texts: list[str]) -> None:
    heading = (
        PLAIN if not texts[0].isdigit() or len(texts[0]) in (10, 13) else PLAIN.replace("Time", "Time (UTC)")
    )
    intake = read(tmp_path, heading, [f"{UNIT},{text},-18,-18.0" for text in texts])
    assert errors(intake) == []
    assert intake.log["time"][0].strftime("%Y-%m-%d") == "2026-04-01"
    assert intake.log["time"][0].hour in (8, 0)
    assert intake.log.height == 2


# ------------------------------------------------------------------------------------------------- merging


def test_overlapping_files_complete_each_other(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text(f"{PLAIN.replace('Time', 'Time (UTC)')}\n{UNIT},2026-04-01 00:00,-18,\n")
    (tmp_path / "b.csv").write_text(
        f"Container,Time (UTC),Supply air (°C),Return air (°C)\n{UNIT},2026-04-01 00:00,-18.2,-17\n"
        f"{UNIT},2026-04-01 00:15,-18.3,-17\n"
    )
    intake = read_logs([tmp_path])
    assert_accounted(intake)
    assert intake.log.select("set_point", "supply_air", "return_air").rows() == [
        (-18.0, -18.2, -17.0),
        (None, -18.3, -17.0),
    ]
    assert [(source.used, source.merged) for source in intake.sources] == [(1, 0), (1, 1)]


def test_of_three_rows_for_one_instant_each_is_judged(tmp_path: Path) -> None:
    for name, value in {"a": "-18.0", "b": "-12.0", "c": "-18.0"}.items():
        (tmp_path / f"{name}.csv").write_text(
            f"{PLAIN.replace('Time', 'Time (UTC)')}\n{UNIT},2026-04-01 00:00,-18,{value}\n"
        )
    intake = read_logs([tmp_path])
    assert_accounted(intake)
    assert [(s.used, s.merged, s.set_aside) for s in intake.sources] == [(1, 0, 0), (0, 0, 1), (0, 1, 0)]
    assert intake.set_aside["reason"].to_list() == ["conflicts with a.csv line 2"]
    assert intake.log["supply_air"].to_list() == [-18.0]


def test_every_number_that_is_logged_is_finite_or_null(tmp_path: Path) -> None:
    intake = read(
        tmp_path,
        PLAIN.replace("Time", "Time (UTC)"),
        [
            f"{UNIT},2026-04-01 {k:02d}:00,-18,{text}"
            for k, text in enumerate(["inf", "-inf", "NaN", "1e400", "-18"])
        ],
    )
    values = intake.log["supply_air"].drop_nulls()
    assert values.to_list() == [-18.0]
    assert intake.set_aside.filter(pl.col("channel") == "supply_air")["text"].to_list() == [
        "inf",
        "-inf",
        "1e400",
    ]
