"""Mean kinetic temperature against values computed two ways.

The reference numbers were computed with numpy directly and with scipy's logsumexp, agreeing to 1e-10, for
83.144 kJ/mol. No published example with input and result is known to us, and none is claimed.
"""

from __future__ import annotations

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.special import logsumexp

from coldsift.excursions import mean_kinetic_temperature


def kinetic(values: list[float], hours: list[float] | None = None, energy: float = 83.144) -> float:
    frame = pl.DataFrame(
        {"t": values, "h": hours or [1.0] * len(values)}, schema={"t": pl.Float64, "h": pl.Float64}
    )
    return float(
        frame.select(mean_kinetic_temperature(pl.col("t"), pl.col("h") if hours else None, energy)).item()
    )


@pytest.mark.parametrize(
    ("values", "hours", "expected"),
    [
        ([5.0] * 7, None, 5.0),
        ([20, 30], None, 26.2599),
        ([2, 8], None, 5.5364),
        ([20, 22, 24, 26, 28], None, 24.4210),
        (list(range(15, 31)), None, 23.6093),
        ([25, 40], None, 35.0741),
        ([5] * 9 + [25], None, 10.5292),
        ([2, 25], [23, 1], 5.8254),
        ([5, 15], [167, 1], 5.1135),
        ([-18, -10], [47, 1], -17.6960),
    ],
)
def test_series_give_the_reference_temperature(
    values: list[float], hours: list[float] | None, expected: float
) -> None:
    assert kinetic(values, hours) == pytest.approx(expected, abs=1e-3)


@pytest.mark.parametrize(("energy", "expected"), [(65.0, 25.9856), (100.0, 26.5005)])
def test_activation_energy_moves_the_result_as_computed(energy: float, expected: float) -> None:
    assert kinetic([20, 30], energy=energy) == pytest.approx(expected, abs=1e-3)


@pytest.mark.parametrize(
    ("mean", "swing", "expected"), [(5, 3, 5.2720), (25, 5, 25.6479), (-18, 2, -17.8551)]
)
def test_a_sine_agrees_with_numerical_integration(mean: float, swing: float, expected: float) -> None:
    phase = np.linspace(0, 2 * np.pi, 20_000, endpoint=False)
    ratio = 83.144e3 / 8.314462618
    rate = quad(lambda x: np.exp(-ratio / (mean + swing * np.sin(x) + 273.15)), 0, 2 * np.pi)[0] / (2 * np.pi)
    integrated = -ratio / np.log(rate) - 273.15
    result = kinetic(list(mean + swing * np.sin(phase)))
    assert result == pytest.approx(integrated, abs=1e-4)
    assert result == pytest.approx(expected, abs=1e-3)


temperatures = st.lists(st.floats(-40, 50), min_size=1, max_size=50)


@given(temperatures)
def test_it_lies_between_mean_and_highest(values: list[float]) -> None:
    result = kinetic(values)
    assert np.mean(values) - 1e-6 <= result <= max(values) + 1e-6


@given(temperatures)
def test_order_and_repetition_change_nothing(values: list[float]) -> None:
    assert kinetic(values[::-1]) == pytest.approx(kinetic(values), abs=1e-6)
    assert kinetic(values * 3) == pytest.approx(kinetic(values), abs=1e-6)


@given(temperatures)
def test_it_agrees_with_scipy_logsumexp(values: list[float]) -> None:
    ratio = 83.144e3 / 8.314462618
    exponents = -ratio / (np.array(values) + 273.15)
    reference = -ratio / (logsumexp(exponents) - np.log(len(values))) - 273.15
    assert kinetic(values) == pytest.approx(reference, abs=1e-6)
