"""The pull-down fit against planted constants and against scipy's curve_fit."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import curve_fit

from coldsift.features.pull_down import fit_exponential


def model(t: np.ndarray, end: float, amplitude: float, tau: float) -> np.ndarray:
    return end + amplitude * np.exp(-t / tau)


def test_the_handbook_curve_gives_back_its_constants() -> None:
    """T = -18 + 43 exp(-t/4 h); the values at 0, 1, 4, 8, 12 h were computed by hand."""
    hours = np.array([[0.0, 1.0, 4.0, 8.0, 12.0]])
    air = np.array([[25.0, 15.488, -2.181, -12.181, -15.859]])
    tau, end, start, error = fit_exponential(hours, air)
    assert tau[0] == pytest.approx(4.0, abs=0.002)
    assert end[0] == pytest.approx(-18.0, abs=0.01)
    assert start[0] == pytest.approx(25.0, abs=0.01)
    assert error[0] < 0.001


@pytest.mark.parametrize("tau", [0.8, 3.0, 12.0, 60.0])
@pytest.mark.parametrize("minutes", [5, 15, 60])
def test_scipy_finds_the_same_constants_in_noise(tau: float, minutes: int) -> None:
    generator = np.random.default_rng(int(tau * 10) + minutes)
    hours = np.arange(0, 3 * tau, minutes / 60)
    if len(hours) < 8:
        hours = np.linspace(0, 3 * tau, 8)
    air = model(hours, -20.0, 40.0, tau) + generator.normal(0, 0.3, len(hours))
    fitted, end, start, error = fit_exponential(hours[None], air[None])
    reference, _ = curve_fit(model, hours, air, p0=(-18.0, 35.0, tau * 1.3))
    assert fitted[0] == pytest.approx(reference[2], rel=1e-3)
    assert end[0] == pytest.approx(reference[0], abs=0.02)
    assert start[0] - end[0] == pytest.approx(reference[1], abs=0.02)
    assert error[0] == pytest.approx(np.sqrt(np.mean((air - model(hours, *reference)) ** 2)), rel=1e-3)
    assert fitted[0] == pytest.approx(tau, rel=0.15)


def test_units_of_unequal_length_are_fitted_each_for_itself() -> None:
    long, short = np.arange(0, 24, 0.25), np.arange(0, 10, 0.25)
    hours = np.full((2, len(long)), np.nan)
    air = np.full((2, len(long)), np.nan)
    hours[0], air[0] = long, model(long, -18, 30, 6.0)
    hours[1, : len(short)], air[1, : len(short)] = short, model(short, 2, 15, 2.0)
    tau, end, _, _ = fit_exponential(hours, air)
    assert tau == pytest.approx([6.0, 2.0], rel=1e-3)
    assert end == pytest.approx([-18.0, 2.0], abs=0.01)
