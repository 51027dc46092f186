"""The insulated box: warm-up, balance, pull-down."""

import numpy as np
import pytest
from scipy.linalg import expm

from coldsift.simulate.box import Box, BoxStores, advance_box
from coldsift.simulate.machines import draw_machines
from coldsift.simulate.plan import UnitPlan, container_number, plan_fleet
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


def test_pull_down_by_a_cooler_of_constant_conductance_follows_the_exponential() -> None:
    """Check values §4: T = −18 + 43 exp(−t/4 h) gives 25, 15.488, −2.181, −12.181 and −15.859 °C.

    One store, cooled in proportion to its distance from −18 °C, no leak: the conductance that makes the time
    constant 4 h is heat capacity over 4 h.
    """
    capacity = 1e6
    box = Box(25.0 * ONE, 25.0 * ONE, 25.0 * ONE)
    stores = BoxStores(ONE, 0.5 * capacity * ONE, 0.5 * capacity * ONE)
    seen = []
    for minute in range(12 * 60 + 1):
        if minute % 60 == 0:
            seen.append(float(box.core[0]))
        advance_box(
            box,
            stores,
            outside=-18.0 * ONE,
            leak=capacity / (4 * 3600.0) * ONE,
            air_to_cargo=1e7 * ONE,
            in_cargo=1e7 * ONE,
            unit_heat=0.0 * ONE,
            respiration=0.0 * ONE,
            seconds=60.0,
        )
    # The implicit step of a minute against 4 h lags the exponential by up to 0.1 K.
    expected = [25.0, 15.488, -2.181, -12.181, -15.859]
    assert [seen[hour] for hour in (0, 1, 4, 8, 12)] == pytest.approx(expected, abs=0.1)


def test_heat_leaks_stay_within_their_class() -> None:
    """Maxima of ISO 1496-2 by size as in check values §6 (from memory, low confidence)."""
    plan = plan_fleet(units=300, days=1, seed=11)
    leak = draw_machines(plan).leak
    for size, maximum in (("20", 26.0), ("40", 48.0), ("40HC", 51.0)):
        drawn = leak[[unit.size == size for unit in plan.units]]
        assert len(drawn) > 10
        assert 0.6 * maximum < drawn.min() < drawn.max() <= maximum


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
