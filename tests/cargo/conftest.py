"""A voyage with known cargo temperatures, and a small set of invented goods."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

import pytest
from benchmarks.cargo.planted import Planted, first_plant

from coldsift.cargo import Commodity, Goods, Packaging, Rule
from coldsift.simulate import FleetPlan, UnitPlan
from coldsift.simulate.plan import container_number

_LOADS = (
    *((set_point, "citrus", case) for set_point in (3.0, 5.0) for case in ("warm_load", None, None, None)),
    (-20.0, "frozen meat", "warm_load"),
    (-20.0, "frozen fish", None),
    (-18.0, "frozen vegetables", None),
    (-25.0, "ice cream", None),
    (0.0, "chilled meat", None),
    (0.5, "apples", "warm_load"),
    (13.5, "bananas", None),
    (2.0, "dairy", "port_power_off"),
)


@pytest.fixture(scope="session")
def planted() -> Planted:
    """Sixteen healthy units over five days, half of them citrus, some of which log probes; simulated."""
    plan = FleetPlan(
        seed=401,
        start=datetime(2031, 1, 6, tzinfo=UTC),
        days=5,
        route="mixed",
        units=tuple(
            UnitPlan(
                container=container_number(index),
                set_point=set_point,
                cargo=cargo,
                hard_case=case,
                interval_minutes=60 if index % 5 == 4 else 15,
            )
            for index, (set_point, cargo, case) in enumerate(_LOADS)
        ),
    )
    return first_plant(plan)


_PACKAGING = Packaging(
    id="cartons",
    name="Cartons",
    half_thickness=(0.1, 0.2),
    bulk_density=(300.0, 500.0),
    heat_transfer=(5.0, 10.0),
    conductivity_factor=(0.5, 1.0),
    source="invented",
)
_FRUIT = Commodity(
    id="fruit",
    name="Fruit",
    other_names=(),
    group="fruit",
    regime_class="chilled",
    optimum_low=0.0,
    optimum_high=0.0,
    chilling_limit=None,
    freezing_point=-1.5,
    respiration=((0.0, 5.0), (10.0, 15.0)),
    q10=3.0,
    storage_life_days=(30.0, 60.0),
    water=0.85,
    packaging="cartons",
    rule=None,
    sources={},
)
_RULE = Rule(
    id="frozen_rule",
    name="Frozen rule",
    limit_low=None,
    limit_high=-18.0,
    brief_rise=3.0,
    mean_kinetic_limit=None,
    about="",
    source="invented",
)


@pytest.fixture
def goods() -> Goods:
    """Invented goods: a fruit, a tender fruit, frozen goods under a rule, a medicine."""
    commodities = (
        _FRUIT,
        replace(_FRUIT, id="tender", name="Tender fruit", chilling_limit=5.0, optimum_high=6.0),
        replace(
            _FRUIT,
            id="frozen",
            name="Frozen goods",
            group="meat",
            regime_class="deep_frozen",
            optimum_low=-18.0,
            optimum_high=-18.0,
            respiration=(),
            q10=None,
            storage_life_days=None,
            water=0.7,
            rule="frozen_rule",
        ),
        replace(
            _FRUIT,
            id="medicine",
            name="Medicine",
            group="medicine",
            optimum_low=2.0,
            optimum_high=8.0,
            freezing_point=None,
            respiration=(),
            q10=None,
            storage_life_days=None,
            water=None,
            rule="medicine_rule",
        ),
    )
    rules = (
        _RULE,
        replace(
            _RULE, id="medicine_rule", name="Medicine rule", limit_low=2.0, limit_high=8.0, brief_rise=None
        ),
    )
    return Goods(
        commodities={each.id: each for each in commodities},
        rules={each.id: each for each in rules},
        packagings={"cartons": _PACKAGING},
    )
