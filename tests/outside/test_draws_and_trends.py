"""Draws, trends and roots that are written out for the sake of loading time, against scipy."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.optimize import brentq
from scipy.stats import theilslopes
from scipy.stats.qmc import LatinHypercube

from coldsift.cargo.ensemble import generator, latin_hypercube
from coldsift.cargo.outlook import slope_with_range
from coldsift.cargo.two_nodes import first_eigenvalue


@pytest.mark.parametrize(("count", "axes"), [(48, 18), (192, 18), (1, 3)])
def test_draws_are_those_of_scipy(count: int, axes: int) -> None:
    ours = latin_hypercube(count, axes, generator("QXAU0000016"))
    assert np.array_equal(ours, LatinHypercube(axes, rng=generator("QXAU0000016")).random(count))


@pytest.mark.parametrize("readings", [2, 6, 47, 48])
@pytest.mark.parametrize("digits", [0, 1, 9])
@pytest.mark.parametrize("confidence", [0.8, 0.95])
def test_trends_and_their_range_are_those_of_scipy(readings: int, digits: int, confidence: float) -> None:
    """Rounded readings repeat, which narrows the range."""
    chance = np.random.default_rng(readings + digits)
    for _ in range(20):
        x = np.sort(chance.uniform(-12.0, 0.0, readings))
        y = np.round(0.2 * x + chance.normal(0.0, 0.5, readings), digits)
        expected = theilslopes(y, x, alpha=confidence)
        assert slope_with_range(x, y, confidence) == pytest.approx(
            (expected.slope, expected.low_slope, expected.high_slope), rel=1e-12, abs=1e-15
        )


def test_the_slowest_term_of_a_plate_is_the_root_that_scipy_finds() -> None:
    biot = np.geomspace(1e-4, 1e4, 200)
    roots = [
        brentq(lambda zeta, bi=each: zeta * np.sin(zeta) - bi * np.cos(zeta), 0.0, np.pi / 2) for each in biot
    ]
    assert first_eigenvalue(biot) == pytest.approx(roots, rel=1e-11)
