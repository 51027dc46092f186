"""Circuit and box features of whole logs against published and independently computed values.

Sources. "Computed" superheats: CoolProp 8.0.0 called directly. Voltage imbalance: three worked examples of
the definition in NEMA MG 1, read in excerpts of public texts; the standard itself was not opened. They are
the instructions of a motor protector (203, 210, 212 V: 2.5 %), a thread of an engineering forum on NEMA MG
1-2011 (462, 463, 455 V: 1.1 %) and an article on limits and derating (480, 476, 472 V: 0.84 %). Warm-up: the
differential equation solved by scipy. Trends: scipy's ``theilslopes``.
"""

from __future__ import annotations

from typing import Any

import CoolProp.CoolProp as coolprop
import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.stats import theilslopes
from tests.builders import clock, log
from tests.features.measured import measured, value

ATMOSPHERE = 1.01325
"""[bar], by definition."""

HOURS = clock(24)
COLD: dict[str, Any] = {
    "set_point": -18.0,
    "supply_air": -19.5,
    "return_air": -17.6,
    "ambient_air": 38.0,
    "compressor_state": True,
}
NAME = "QXAU0000001"


@pytest.mark.parametrize(
    ("refrigerant", "gauge", "pipe", "superheat", "tolerance"),
    [
        ("R134a", 1.0, 0.0, 9.909, 0.05),
        ("R134a", 0.5, -10.0, 6.923, 0.05),
        ("R404A", 1.5, -15.0, 9.612, 0.1),
        ("R404A", 3.0, 2.0, 14.027, 0.1),
    ],
)
def test_superheat_of_a_whole_log(
    refrigerant: str, gauge: float, pipe: float, superheat: float, tolerance: float
) -> None:
    """Computed; suction in bar gauge, absolute in the log."""
    unit = log(HOURS, **COLD, suction_pressure=gauge + ATMOSPHERE, suction_temperature=pipe)
    found = value(measured(unit, refrigerants={NAME: refrigerant}), "superheat")
    assert found == pytest.approx(superheat, abs=tolerance)


def test_the_mistakes_that_give_a_false_superheat_are_not_made() -> None:
    """Bubble for dew temperature gives 10.244 K, not 9.612 K; gauge for absolute 26.36 K, not 9.909 K."""
    blend = log(HOURS, **COLD, suction_pressure=1.5 + ATMOSPHERE, suction_temperature=-15.0)
    found = value(measured(blend, refrigerants={NAME: "R404A"}), "superheat")
    assert abs(found - 10.244) > 0.5
    # Taken for R134a the same readings give a pipe 11 K colder than what boils in it.
    dew = coolprop.PropsSI("T", "P", (1.5 + ATMOSPHERE) * 1e5, "Q", 1, "R134a") - 273.15
    assert value(measured(blend), "superheat") == pytest.approx(-15.0 - dew, abs=0.05)
    assert value(measured(blend), "superheat") < -10
    absolute = log(HOURS, **COLD, suction_pressure=1.0, suction_temperature=0.0)
    assert value(measured(absolute), "superheat") == pytest.approx(26.36, abs=0.05)


@pytest.mark.parametrize(
    ("refrigerant", "gauge", "condensing", "tolerance"),
    [("R134a", 9.0, 39.437, 0.05), ("R404A", 15.0, 34.542, 0.1)],
)
def test_condensing_temperature_of_a_whole_log(
    refrigerant: str, gauge: float, condensing: float, tolerance: float
) -> None:
    """Computed, bubble line."""
    unit = log(HOURS, **(COLD | {"ambient_air": 25.0}), discharge_pressure=gauge + ATMOSPHERE)
    found = value(measured(unit, refrigerants={NAME: refrigerant}), "condensing_over_ambient")
    assert found == pytest.approx(condensing - 25.0, abs=tolerance)


@pytest.mark.parametrize(
    ("volts", "printed", "tolerance"),
    [
        # The text goes on with rounded figures, 5.3 of 208.3; unrounded it is 2.56.
        ((203.0, 210.0, 212.0), 2.5, 0.07),
        ((462.0, 463.0, 455.0), 1.1, 0.05),
        ((480.0, 476.0, 472.0), 0.84, 0.005),
    ],
)
def test_voltage_imbalance_of_worked_examples(
    volts: tuple[float, float, float], printed: float, tolerance: float
) -> None:
    """100 × largest distance from the mean / mean."""
    for order in ((0, 1, 2), (2, 0, 1), (1, 2, 0)):
        phases: dict[str, Any] = {f"voltage_{place + 1}": volts[order[place]] for place in range(3)}
        found = value(measured(log(HOURS, **COLD, **phases)), "voltage_imbalance")
        assert found == pytest.approx(printed, abs=tolerance)


def test_the_spread_between_phases_is_not_their_imbalance() -> None:
    """480 to 472 V of 476 V would be 1.68 %, twice the defined value: the article's own warning."""
    unit = log(HOURS, **COLD, voltage_1=480.0, voltage_2=476.0, voltage_3=472.0)
    assert value(measured(unit), "voltage_imbalance") < 1.0


# The heat leak: 20 t of cargo at 3.5 kJ/kg K behind 45 W/K.
CAPACITY = 20_000 * 3500.0
"""[J/K]"""


def warming(heat_leak: float, hours: float, ambient: float = 38.0) -> np.ndarray:
    """Box temperature after the supply fails at −18 °C, by scipy. [°C]

    Parameters are the heat leak [W/K] and how long it lasts [h]; one value a quarter of an hour.
    """
    solved = solve_ivp(
        lambda _, box: heat_leak * (ambient - box) * 3600 / CAPACITY,
        (0.0, hours),
        [-18.0],
        t_eval=np.arange(0, hours, 0.25),
        rtol=1e-10,
        atol=1e-10,
    )
    return np.asarray(solved.y[0])


def unplugged(air: np.ndarray) -> Any:
    """Features of a unit that holds −18 °C for a day and then warms without power."""
    before = np.full(96, -18.0)
    whole = np.concatenate([before, air])
    hours = np.arange(len(whole)) / 4
    return measured(
        log(
            hours,
            set_point=-18.0,
            return_air=whole,
            supply_air=whole,
            ambient_air=38.0,
            power_state=hours < 24,
        )
    )


def test_the_time_constant_of_twenty_tonnes_behind_45_watt_per_kelvin() -> None:
    """Computed: C / UA = 432.1 h."""
    assert value(unplugged(warming(45.0, 48.0)), "warm_up_tau") == pytest.approx(432.1, abs=0.05)


def test_it_warms_by_an_eighth_of_a_kelvin_an_hour_at_first() -> None:
    """Computed: 45 W/K × 56 K / C = 0.1296 K/h; the fitted constant gives it back."""
    air = warming(45.0, 48.0)
    assert (air[1] - air[0]) * 4 == pytest.approx(0.1296, abs=1e-4)
    tau = value(unplugged(air), "warm_up_tau")
    assert 56.0 / tau == pytest.approx(0.1296, abs=5e-5)


@pytest.mark.parametrize(("heat_leak", "watt"), [(40.0, 2240.0), (26.0, 1456.0)])
def test_the_heat_leak_follows_from_the_time_constant(heat_leak: float, watt: float) -> None:
    """Computed: 40 W/K and 26 W/K at 38 °C outside and −18 °C inside; UA = C / τ."""
    tau = value(unplugged(warming(heat_leak, 48.0)), "warm_up_tau")
    found = CAPACITY / (3600 * tau)
    assert found == pytest.approx(heat_leak, rel=1e-5)
    assert found * (38.0 - -18.0) == pytest.approx(watt, rel=1e-5)


def test_a_day_and_night_outside_moves_the_heat_leak_by_little() -> None:
    """The formula takes the mean of the ambient: over two whole days a swing of 5 K costs 2 %."""
    hours = np.arange(0, 48, 0.25)
    solved = solve_ivp(
        lambda t, box: 45.0 * (38.0 + 5.0 * np.sin(2 * np.pi * t / 24) - box) * 3600 / CAPACITY,
        (0.0, 48.0),
        [-18.0],
        t_eval=hours,
        rtol=1e-10,
        atol=1e-10,
    )
    assert value(unplugged(solved.y[0]), "warm_up_tau") == pytest.approx(432.1, rel=0.02)


def test_the_trend_of_superheat_equals_scipys_theil_sen_slope() -> None:
    """A charge that leaks: superheat rises by about half a kelvin a day; the first two days settle."""
    hours = clock(24 * 9)
    pipe = -15.0 + np.floor(hours / 24) * 0.5 + np.random.default_rng(8).normal(0, 0.6, len(hours))
    pipe[(hours > 120) & (hours < 130)] = 12.0
    unit = log(hours, **COLD, suction_pressure=1.2, suction_temperature=pipe)
    dew = coolprop.PropsSI("T", "P", 1.2e5, "Q", 1, "R134a") - 273.15
    days = np.arange(2, 9)
    daily = [np.median((pipe - dew)[np.floor(hours / 24) == day]) for day in days]
    found = measured(unit)
    assert value(found, "superheat_trend") == pytest.approx(theilslopes(daily, days).slope, rel=1e-9)
    assert value(found, "superheat_trend") == pytest.approx(0.5, abs=0.1)
    # The last two days against those before, by numpy.
    recent = hours > hours[-1] - 48
    now, before = np.median(pipe[recent]), np.median(pipe[~recent & (hours >= 48)])
    assert value(found, "superheat_shift") == pytest.approx(now - before)
    assert value(found, "superheat_now") == pytest.approx(now - dew, abs=0.005)
