"""The distributed box against solutions that are known beforehand."""

from dataclasses import replace

import numpy as np
import pytest
from benchmarks.second_plant.box import AIR_HEAT, BoxMake, BoxState, Draught, step_box, stored_heat
from scipy.linalg import expm


def one(value):
    return np.array([float(value)])


def make_box(**changes):
    both = np.array([[1.0], [1.0]])
    box = BoxMake(
        roof=one(12.0),
        side=one(22.0),
        floor=one(11.0),
        wall_heat=np.array([[6e5], [11e5], [7e5]]),
        sun_roof=one(0.02),
        sun_side=one(0.015),
        surface_heat=6e6 * both,
        core_heat=29e6 * both,
        to_surface=400.0 * both,
        to_core=600.0 * both,
        tonnes=10.0 * both,
        respiration=one(0.0),
        transpiration=one(0.0),
        air_heat=one(8e4),
        air_mass=one(50.0),
        front=one(0.44),
        rear=one(0.4),
        full_flow=one(1.5),
        coil_heat=one(7e4),
        coil_air=one(2400.0),
        seal=one(0.0),
        vent=one(0.0),
    )
    return replace(box, **changes)


def box_state(temperature, **changes):
    def flat(*shape):
        return np.full((*shape, 1), float(temperature))

    state = BoxState(
        supply=flat(),
        front=flat(),
        rear=flat(),
        back=flat(),
        surface=flat(2),
        core=flat(2),
        wall=flat(3),
        coil=flat(),
        ice=one(0.0),
        moisture=one(0.0),
        heat_in=one(0.0),
    )
    return replace(state, **changes)


def still_air(outside, flow=0.03, **changes):
    zero = one(0.0)
    draught = Draught(
        flow=one(flow),
        fan_heat=zero,
        heater=zero,
        taken=zero,
        taken_slope=zero,
        outside=one(outside),
        moisture=zero,
        roof_sun=zero,
        side_sun=zero,
        door_leak=zero,
        vent_extra=zero,
        blocked=zero,
        ice_kept=zero,
    )
    return replace(draught, **changes)


def network(box, flow):
    """Rates of the same network with the unit off, written node by node from its conductances."""
    names = [
        "supply",
        "front",
        "rear",
        "back",
        "coil",
        "s0",
        "s1",
        "c0",
        "c1",
        "roof",
        "side",
        "floor",
        "out",
    ]
    place = {name: index for index, name in enumerate(names)}
    heat = dict.fromkeys(("supply", "front", "rear", "back"), float(box.air_heat[0]))
    heat |= {"coil": float(box.coil_heat[0])}
    heat |= {f"s{zone}": float(box.surface_heat[zone, 0]) for zone in (0, 1)}
    heat |= {f"c{zone}": float(box.core_heat[zone, 0]) for zone in (0, 1)}
    heat |= dict(zip(("roof", "side", "floor"), box.wall_heat[:, 0], strict=True))
    rates = np.zeros((len(names), len(names)))

    def carry(node, source, conductance):
        rates[place[node], place[source]] += conductance / heat[node]
        rates[place[node], place[node]] -= conductance / heat[node]

    def join(first, second, conductance):
        carry(first, second, conductance)
        carry(second, first, conductance)

    stream = flow * AIR_HEAT
    strength = (flow / float(box.full_flow[0])) ** 0.6
    reach = 1.0 - np.exp(-float(box.coil_air[0]) * strength / stream)
    front, rear = float(box.front[0]), float(box.rear[0])
    # Off the coil comes return air drawn towards the coil's temperature.
    carry("supply", "back", stream * (1.0 - reach))
    carry("supply", "coil", stream * reach)
    carry("coil", "back", stream * reach)
    carry("front", "supply", stream * front)
    carry("rear", "supply", stream * rear)
    carry("back", "front", stream * front)
    carry("back", "rear", stream * rear)
    carry("back", "supply", stream * (1.0 - front - rear))
    for zone, air in ((0, "front"), (1, "rear")):
        join(air, f"s{zone}", float(box.to_surface[zone, 0]) * (0.45 + 0.55 * strength))
        join(f"s{zone}", f"c{zone}", float(box.to_core[zone, 0]))
        join(air, "side", float(box.side[0]))
    join("back", "roof", 2.0 * float(box.roof[0]))
    join("supply", "floor", 2.0 * float(box.floor[0]))
    for wall in ("roof", "side", "floor"):
        carry(wall, "out", 2.0 * float(getattr(box, wall)[0]))
    return names, rates


def test_warm_up_with_the_unit_off_is_the_matrix_exponential_of_the_network():
    box, state, flow = make_box(), box_state(-18.0), 0.03
    names, rates = network(box, flow)
    start = np.array([-18.0] * (len(names) - 1) + [38.0])
    draught = still_air(38.0, flow)
    for hour in range(1, 49):
        for _ in range(60):
            step_box(box, state, draught, 60.0)
        if hour in (1, 6, 48):
            expected = dict(zip(names, expm(rates * hour * 3600.0) @ start, strict=True))
            ours = {
                "supply": state.supply,
                "rear": state.rear,
                "back": state.back,
                "s0": state.surface[0],
                "c1": state.core[1],
                "roof": state.wall[0],
            }
            for name, value in ours.items():
                assert value[0] == pytest.approx(expected[name], abs=0.05), (name, hour)


def test_slow_warm_up_is_the_single_exponential_of_heat_capacity_over_leak():
    # 20 t at 3.5 kJ/kgK, 45 W/K, 56 K: time constant 432.1 h, at first 0.1296 K/h (computed, heat balance).
    both = np.array([[1.0], [1.0]])
    box = make_box(
        surface_heat=7e6 * both,
        core_heat=28e6 * both,
        to_surface=2e4 * both,
        to_core=2e4 * both,
        wall_heat=np.full((3, 1), 2e4),
        air_heat=one(5e3),
        coil_heat=one(5e3),
    )
    state, draught = box_state(-18.0), still_air(38.0, flow=3.0)
    temperature = [float(state.core.mean())]
    for _ in range(40):
        for _ in range(60):
            step_box(box, state, draught, 60.0)
        temperature.append(float(state.core.mean()))
    hours = np.arange(41)
    expected = 38.0 - 56.0 * np.exp(-hours / 432.1)
    assert np.max(np.abs(np.array(temperature) - expected)) < 0.06
    assert np.diff(temperature)[3:8].mean() == pytest.approx(0.1296 * np.exp(-5.5 / 432.1), rel=0.01)


def test_pull_down_with_a_constant_conductance_follows_the_analytic_solution():
    # dT/dt = −(UA (T − out) + G (T − cold)) / C, one lump: exponential towards the weighted mean.
    both = np.array([[1.0], [1.0]])
    box = make_box(
        surface_heat=4e6 * both,
        core_heat=2e6 * both,
        to_surface=2e4 * both,
        to_core=2e4 * both,
        wall_heat=np.full((3, 1), 2e4),
        air_heat=one(5e3),
        coil_heat=one(2e4),
        coil_air=one(2e5),
        full_flow=one(100.0),
    )
    state, cooling, cold, outside = box_state(25.0), 120.0, -30.0, 30.0
    capacity, pull = 1.2e7 + 4 * 5e3 + 2e4, 45.0 + cooling
    rest = (45.0 * outside + cooling * cold) / pull
    for minute in range(12 * 60):
        draught = still_air(outside, 100.0, taken=cooling * (state.coil - cold), taken_slope=one(cooling))
        step_box(box, state, draught, 60.0)
        if minute % 180 == 179:
            expected = rest + (25.0 - rest) * np.exp(-pull * (minute + 1) * 60.0 / capacity)
            assert state.core.mean() == pytest.approx(expected, abs=0.3)


def test_a_blocked_stow_leaves_the_door_end_warm():
    free, blocked = box_state(-18.0), box_state(-18.0)
    cold = {"taken": one(2000.0), "fan_heat": one(150.0)}
    for _ in range(24 * 60):
        step_box(make_box(), free, still_air(38.0, 0.75, **cold), 60.0)
        step_box(make_box(), blocked, still_air(38.0, 0.75, blocked=one(1.0), **cold), 60.0)
    assert blocked.surface[1, 0] > free.surface[1, 0] + 0.25
    assert blocked.surface[1, 0] > blocked.surface[0, 0] + 0.25


def test_heat_that_came_in_is_the_heat_that_is_stored():
    box = make_box(seal=one(3.0), vent=one(20.0), respiration=one(30.0), transpiration=one(0.05))
    state = box_state(8.0, moisture=one(0.005), ice=one(1.0))
    before = stored_heat(box, state)
    for minute in range(600):
        draught = still_air(
            30.0,
            1.5,
            taken=one(4000.0 if minute % 40 < 25 else 0.0),
            heater=one(0.0 if minute % 40 < 25 else 3000.0),
            fan_heat=one(800.0),
            moisture=one(0.018),
            roof_sun=one(500.0),
        )
        step_box(box, state, draught, 60.0)
    moved = float((stored_heat(box, state) - before)[0])
    assert abs(moved) > 1e6
    assert float(state.heat_in[0]) == pytest.approx(moved, rel=1e-6)
