"""The saturation tables: what they hold, how near to CoolProp they are, what they refuse."""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import CoolProp.CoolProp as coolprop
import numpy as np
import polars as pl
import pytest

from coldsift.refrigerant import (
    DEFAULT_REFRIGERANT,
    KNOWN,
    REFUSALS,
    UnknownRefrigerant,
    canonical,
    saturation,
    subcooling,
    superheat,
)
from coldsift.refrigerant.make import tables, write
from coldsift.refrigerant.saturation import TABLES

BLENDS = ("R404A", "R513A", "R452A", "R407C", "R410A", "R507A")
LARGEST_ERROR = 0.002
"""Promised in the docstring. [K]"""


def state(name: str) -> coolprop.AbstractState:
    return coolprop.AbstractState("HEOS", f"{name}.mix" if name in BLENDS else name)


def reasons(name: str, *pressures: float) -> list[str]:
    return [REFUSALS[code] for code in saturation(name).refusal(pressures)]


def test_the_shipped_tables_are_what_make_computes() -> None:
    made, shipped = tables(), pl.read_parquet(TABLES)
    assert made.schema == shipped.schema
    assert tuple(shipped["name"]) == KNOWN
    for column in shipped.columns[1:]:
        for row, stored in zip(made[column], shipped[column], strict=True):
            np.testing.assert_allclose(row, stored, atol=1e-6)


def test_the_shipped_file_is_small_and_its_tables_determine_its_bytes(tmp_path: Path) -> None:
    again = tmp_path / "again.parquet"
    write(pl.read_parquet(TABLES), again)
    assert again.read_bytes() == TABLES.read_bytes()
    assert TABLES.stat().st_size < 400_000


@pytest.mark.parametrize("name", KNOWN)
def test_temperatures_equal_direct_calls(name: str) -> None:
    lines = saturation(name)
    low, high = lines.temperature[0], lines.temperature[-1]
    random = np.random.default_rng(20).uniform(low, high, 400)
    near_the_ends = [low + 0.013, low + 0.26, high - 0.26, high - 0.013]
    direct, solved = state(name), 0
    for celsius in (*random, *near_the_ends):
        for quality, temperature_of in ((0, lines.bubble_temperature), (1, lines.dew_temperature)):
            try:
                direct.update(coolprop.QT_INPUTS, quality, celsius + 273.15)
            except ValueError:  # the flash of a blend misses single temperatures
                continue
            bar = direct.p() / 1e5
            if lines.refusal(bar):  # a blend's bubble line goes above the last dew pressure, and so on
                continue
            assert temperature_of(bar) == pytest.approx(celsius, abs=LARGEST_ERROR)
            solved += 1
    assert solved > 700


@pytest.mark.parametrize("name", KNOWN)
def test_temperatures_equal_direct_calls_from_pressure(name: str) -> None:
    # From pressure, CoolProp also answers where it has nothing from temperature and a spline stands in. At
    # the top of a blend it now and then finds a wrong solution (R410A at 42.63 bar: 128 K off), hence 95 %.
    lines = saturation(name)
    random = np.random.default_rng(21)
    ends = np.log([lines.lowest_pressure, 0.95 * lines.highest_pressure])
    pressures = np.concatenate([np.exp(random.uniform(*ends, 200)), random.uniform(*np.exp(ends), 200)])
    direct, solved = state(name), 0
    for quality, found in ((0, lines.bubble_temperature(pressures)), (1, lines.dew_temperature(pressures))):
        for bar, celsius in zip(pressures, found, strict=True):
            try:
                direct.update(coolprop.PQ_INPUTS, bar * 1e5, quality)
            except ValueError:
                continue
            assert celsius == pytest.approx(direct.T() - 273.15, abs=LARGEST_ERROR)
            solved += 1
    assert solved > 700


@pytest.mark.parametrize("name", KNOWN)
def test_pressures_equal_direct_calls(name: str) -> None:
    lines = saturation(name)
    direct, solved = state(name), 0
    for celsius in np.random.default_rng(22).uniform(lines.temperature[0], lines.temperature[-1], 200):
        for quality, pressure_of in ((0, lines.bubble_pressure), (1, lines.dew_pressure)):
            try:
                direct.update(coolprop.QT_INPUTS, quality, celsius + 273.15)
            except ValueError:
                continue
            assert pressure_of(celsius) == pytest.approx(direct.p() / 1e5, rel=2e-4)
            solved += 1
    assert solved > 350


@pytest.mark.parametrize("name", KNOWN)
def test_both_lines_rise_and_dew_is_never_colder_than_bubble(name: str) -> None:
    lines = saturation(name)
    pressures = np.geomspace(lines.lowest_pressure, lines.highest_pressure, 2000)
    dew, bubble = lines.dew_temperature(pressures), lines.bubble_temperature(pressures)
    assert (np.diff(dew) > 0).all()
    assert (np.diff(bubble) > 0).all()
    assert (dew >= bubble - 1e-6).all()
    if name not in BLENDS:
        assert dew == pytest.approx(bubble, abs=1e-6)


@pytest.mark.parametrize("name", KNOWN)
def test_pressure_and_temperature_undo_each_other(name: str) -> None:
    lines = saturation(name)
    pressures = np.geomspace(lines.lowest_pressure, lines.highest_pressure, 500)
    assert lines.dew_pressure(lines.dew_temperature(pressures)) == pytest.approx(pressures, rel=1e-9)
    assert lines.bubble_pressure(lines.bubble_temperature(pressures)) == pytest.approx(pressures, rel=1e-9)


@pytest.mark.parametrize("name", KNOWN)
def test_every_refused_pressure_has_a_reason_and_no_temperature(name: str) -> None:
    lines = saturation(name)
    assert reasons(name, 0.0, -0.4, -1.0) == [REFUSALS[1]] * 3
    assert reasons(name, lines.lowest_pressure * 0.999) == ["below the triple point"]
    assert reasons(name, lines.critical_pressure * 1.001, np.inf) == ["above the critical pressure"] * 2
    assert reasons(name, (lines.highest_pressure + lines.critical_pressure) / 2) == [
        "too near the critical point"
    ]
    assert reasons(name, lines.lowest_pressure, lines.highest_pressure) == ["", ""]
    pressures = np.concatenate([[-1.0, 0.0, np.inf, np.nan], np.geomspace(1e-7, 200, 500)])
    for found in (lines.dew_temperature(pressures), lines.bubble_temperature(pressures)):
        np.testing.assert_array_equal(np.isnan(found), (lines.refusal(pressures) > 0) | np.isnan(pressures))


def test_a_missing_pressure_is_missing_and_not_refused() -> None:
    lines = saturation("R134a")
    assert np.isnan(lines.dew_temperature(np.nan))
    assert lines.refusal(np.nan) == 0
    assert np.isnan(lines.dew_pressure(np.nan))
    assert np.isnan(superheat([np.nan, 2.0], [0.0, np.nan], "R134a")).all()


def test_a_full_vacuum_on_the_gauge_says_so() -> None:
    assert reasons("R134a", -1.5 + 1.01325) == ["zero or below (a full vacuum is −1.013 bar gauge)"]


@pytest.mark.parametrize("bar", [0.013, 0.2, 1.01325, 5.0])
def test_carbon_dioxide_below_its_triple_point_is_refused(bar: float) -> None:
    # CoolProp answers here without an error: −356 944 K at 0.013 bar, −88 °C at one atmosphere.
    assert reasons("CO2", bar) == ["below the triple point"]
    assert np.isnan(saturation("CO2").dew_temperature(bar))


@pytest.mark.parametrize("name", ["R404A", "R452A"])
def test_a_blend_below_the_triple_point_of_a_component_is_refused(name: str) -> None:
    assert reasons(name, 0.013) == ["below the triple point"]


def test_temperatures_outside_the_table_have_no_pressure() -> None:
    lines = saturation("R744")
    assert np.isnan(lines.dew_pressure([-60.0, 31.5])).all()
    assert np.isnan(lines.bubble_pressure([-60.0, 31.5])).all()


def test_the_tables_cover_what_reefers_meet() -> None:
    assert saturation("R134a").lowest_pressure < 0.013
    assert saturation("R134a").highest_pressure > 40
    for name in BLENDS:
        assert saturation(name).lowest_pressure < 0.04
        assert saturation(name).highest_pressure > 30


def test_shapes_are_kept() -> None:
    pressures = np.array([[1.0, 2.0, -1.0], [5.0, np.nan, 99.0]])
    lines = saturation("R404A")
    for found in (lines.dew_temperature(pressures), lines.bubble_temperature(pressures)):
        assert found.shape == pressures.shape
    assert lines.refusal(pressures).tolist() == [[0, 0, 1], [0, 0, 3]]
    assert superheat(pressures, 5.0, "R404A").shape == pressures.shape
    assert subcooling(pressures, pressures, "R404A").shape == pressures.shape


@pytest.mark.parametrize(
    ("spelling", "name"),
    [
        ("R134a", "R134a"),
        ("r-134a", "R134a"),
        ("R 134A", "R134a"),
        ("HFC-134a", "R134a"),
        (" 134a ", "R134a"),
        ("HFO-1234yf", "R1234yf"),
        ("r404a", "R404A"),
        ("R-513A", "R513A"),
        ("R 452 A", "R452A"),
        ("CO2", "R744"),
        ("R-744 (CO2)", "R744"),
        ("carbon dioxide", "R744"),
        ("propane", "R290"),
        ("R1234ze(E)", "R1234ze(E)"),
        ("r448a", "R448A"),
    ],
)
def test_spellings_have_one_designation(spelling: str, name: str) -> None:
    assert canonical(spelling) == name
    assert canonical(name) == name


@pytest.mark.parametrize("name", ["", "R", "R999Z", "oil", "R134a&R32", "%&", "x" * 5000, "R２"])
def test_an_unknown_name_is_told_what_is_known(name: str) -> None:
    with pytest.raises(UnknownRefrigerant, match="CoolProp") as caught:
        canonical(name)
    message = str(caught.value)
    assert all(known in message for known in KNOWN)
    assert len(message) < 400


def test_a_fluid_without_a_shipped_table_is_tabulated_on_the_spot() -> None:
    lines = saturation("propane")
    boiling = coolprop.PropsSI("T", "P", 101325, "Q", 1, "Propane") - 273.15
    assert lines.name == "R290"
    assert lines.dew_temperature(1.01325) == pytest.approx(boiling, abs=LARGEST_ERROR)
    assert saturation("R-290") is lines


@pytest.mark.parametrize("name", ["R401A", "R452C", "R451A", "helium"])
def test_a_fluid_coolprop_cannot_compute_is_refused_by_name(name: str) -> None:
    # No binary pair; no critical point; lines that fall; hardly any liquid range.
    with pytest.raises(UnknownRefrigerant, match=re.escape(canonical(name))):
        saturation(name)


def test_the_default_is_known() -> None:
    assert DEFAULT_REFRIGERANT in KNOWN
    assert saturation(DEFAULT_REFRIGERANT).name == DEFAULT_REFRIGERANT


def test_known_refrigerants_do_not_wait_for_coolprop() -> None:
    program = (
        "import sys; from coldsift.refrigerant import KNOWN, saturation\n"
        "for name in KNOWN: saturation(name).dew_temperature(10.0)\n"
        "sys.exit(any(module.startswith(('CoolProp', 'scipy')) for module in sys.modules))"
    )
    assert subprocess.run([sys.executable, "-c", program], check=False).returncode == 0
