"""Storage life by Q10, heat leak and warm-up against values computed by hand."""

from __future__ import annotations

import numpy as np
import pytest

from coldsift.cargo.leak import heat_leak, leak_heat, warm_up_rate, warm_up_time
from coldsift.cargo.life import ageing_rate


def test_ten_kelvin_warmer_ages_by_q10() -> None:
    """Q10 2: twice as fast in 10 K; Q10 3 from 2 to 8 °C: 1.93318 times; computed."""
    assert ageing_rate(10.0, 0.0, 2.0) == pytest.approx(2.0)
    assert ageing_rate(8.0, 2.0, 3.0) == pytest.approx(1.93318, abs=1e-5)


def test_life_left_after_some_warm_days() -> None:
    """30 d at 0 °C, Q10 3; 5 d at 5 °C and 2 d at 10 °C leave 15.3397 d; computed."""
    spent = float(np.dot([5.0, 2.0], ageing_rate([5.0, 10.0], 0.0, 3.0)))
    assert 30.0 - spent == pytest.approx(15.3397, abs=1e-4)


def test_colder_than_the_optimum_wins_no_life() -> None:
    assert ageing_rate([-5.0, 0.0], 0.0, 3.0) == pytest.approx([1.0, 1.0])


def test_heat_that_leaks_into_a_box() -> None:
    """40 W/K, 38 °C outside, −18 °C inside: 2240 W; 26 W/K: 1456 W; computed."""
    assert leak_heat(40.0, 38.0, -18.0) == pytest.approx(2240.0)
    assert leak_heat(26.0, 38.0, -18.0) == pytest.approx(1456.0)


def test_heat_leak_from_the_walls() -> None:
    """K 0.40, Si 110, Se 130 m²: 47.833 W/K; computed, K √(Si Se) as in ATP Annex 1, App. 2, from memory."""
    assert heat_leak(0.40, 110.0, 130.0) == pytest.approx(47.833, abs=5e-4)


def test_a_full_box_warms_slowly() -> None:
    """20 t at 3.5 kJ/(kg K), 45 W/K, 56 K: 432.1 h, 0.1296 K/h at first; computed."""
    capacity = 20_000.0 * 3500.0
    assert warm_up_time(capacity, 45.0) == pytest.approx(432.1, abs=0.05)
    assert warm_up_rate(capacity, 45.0, 38.0, -18.0) == pytest.approx(0.1296, abs=5e-5)
