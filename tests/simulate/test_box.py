"""The insulated box: warm-up, balance, pull-down."""

import numpy as np
import pytest
from scipy.linalg import expm

from coldsift.simulate.box import Box, BoxStores, advance_box
from coldsift.simulate.machines import draw_machines
from coldsift.simulate.plan import UnitPlan, container_number
from coldsift.simulate.voyage import ROW_CHANNELS, Trace, sail

from .conftest import voyage

ONE = np.ones(1)


def warm_up(hours: int, exchange: float, air_store: float) -> Box:
    """20 t at 3.5 kJ/kg K, 45 W/K, −18 °C inside and 38 °C outside, unit off."""
    box = Box(-18.0 * ONE, -18.0 * ONE, -18.0 * ONE)
    stores = BoxStores(air_store * ONE, 0.25 * 7e7 * ONE, 0.75 * 7e7 * ONE)
    for _ in range(hours * 60):
        advance_box(
            box,
            stores,
            outside=38.0 * ONE,
            leak=45.0 * ONE,
            air_to_cargo=exchange * ONE,
            in_cargo=exchange * ONE,
            unit_heat=0.0 * ONE,
            respiration=0.0 * ONE,
            seconds=60.0,
        )
    return box


def test_warm_up_with_the_unit_off_follows_the_exponential() -> None:
    # Check values, warm-up row: time constant 432.1 h, first rate 0.1296 K/h (computed: C/UA, UA·dT/C).
    hours = 100
    box = warm_up(hours, exchange=1e6, air_store=1.0)
    expected = 38.0 - 56.0 * np.exp(-hours / 432.1)
    assert box.core[0] == pytest.approx(expected, abs=0.01)
    assert warm_up(1, exchange=1e6, air_store=1.0).core[0] + 18.0 == pytest.approx(0.1296, rel=0.01)


def test_three_stores_follow_the_matrix_exponential() -> None:
    hours, exchange, air = 50, 400.0, 4e5
    leak, surface, core = 45.0, 0.25 * 7e7, 0.75 * 7e7
    rates = np.array(
        [
            [-(leak + exchange) / air, exchange / air, 0.0],
            [exchange / surface, -2 * exchange / surface, exchange / surface],
            [0.0, exchange / core, -exchange / core],
        ]
    )
    expected = 38.0 + expm(rates * hours * 3600.0) @ np.full(3, -56.0)
    box = warm_up(hours, exchange, air)
    np.testing.assert_allclose([box.air[0], box.surface[0], box.core[0]], expected, atol=0.02)


@pytest.fixture(scope="module")
def trace() -> Trace:
    units = (
        UnitPlan(container=container_number(0), set_point=-20.0),
        UnitPlan(container=container_number(1), set_point=5.0, cargo="avocados"),
        UnitPlan(container=container_number(2), set_point=3.0, cargo="citrus", hard_case="warm_load"),
        UnitPlan(
            container=container_number(3),
            cause="door_or_seal_leak",
            severity=1.0,
            set_point=2.0,
            cargo="dairy",
        ),
        UnitPlan(container=container_number(4), cause="heater_stuck_on", severity=1.0, set_point=-18.0),
    )
    plan = voyage(*units, days=2)
    return sail(plan, draw_machines(plan))


def test_heat_in_and_out_is_heat_stored(trace: Trace) -> None:
    heat = trace.heat
    came_in = heat.leak + heat.unit + heat.respiration
    turned_over = np.abs(heat.leak) + np.abs(heat.unit)
    np.testing.assert_array_less(np.abs(came_in - heat.stored), 0.01 * turned_over)
    np.testing.assert_array_less(1e7, np.abs(heat.unit))


def test_a_warm_load_is_pulled_down_without_turning_back(trace: Trace) -> None:
    """Once the cold has reached the core, it goes one way; the unit's lift aboard is left out."""
    core = trace.rows[4 * 6 :, ROW_CHANNELS.index("core"), 2]
    powered = trace.rows[4 * 6 :, ROW_CHANNELS.index("power_state"), 2] > 0
    assert np.all(np.diff(core)[powered[1:]] < 0)
    assert core[0] - core[-1] > 4.0
