"""The exact series for a body at an even temperature that meets air of another.

Goes in: Biot number, shape, Fourier numbers. Comes out: the share of the first difference that is left.
Eigenvalues by scipy's brentq; the constants of the first term are checked against the handbook tables in
``tests/outside/test_transient_conduction.py``.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq
from scipy.special import j0, j1, jn_zeros

from coldsift.cargo.slab import CYLINDER, PLATE

Array = NDArray[np.float64]

TERMS = 60


def eigenvalues(biot: float, shape: int, terms: int = TERMS) -> Array:
    """Roots ζ of the shape's equation: ζ tan ζ, ζ J1/J0 or 1 − ζ cot ζ equal to Bi."""
    if shape == PLATE:
        starts = np.arange(terms) * np.pi
        return _roots(lambda z: z * np.sin(z) - biot * np.cos(z), starts, starts + np.pi / 2)
    if shape == CYLINDER:
        starts = np.concatenate(([0.0], jn_zeros(1, terms)[:-1]))
        return _roots(lambda z: z * j1(z) - biot * j0(z), starts, jn_zeros(0, terms))
    starts = np.arange(terms) * np.pi
    return _roots(lambda z: (1 - biot) * np.sin(z) - z * np.cos(z), starts, starts + np.pi)


def _roots(equation: Callable[[float], float], starts: ArrayLike, ends: ArrayLike) -> Array:
    starts, ends = np.asarray(starts), np.asarray(ends)
    return np.array([brentq(equation, a + 1e-9, b, xtol=1e-13) for a, b in zip(starts, ends, strict=True)])


def amplitudes(zeta: Array, shape: int) -> Array:
    """Factors C of the terms."""
    if shape == PLATE:
        return np.asarray(4 * np.sin(zeta) / (2 * zeta + np.sin(2 * zeta)))
    if shape == CYLINDER:
        return np.asarray(2 / zeta * j1(zeta) / (j0(zeta) ** 2 + j1(zeta) ** 2))
    return np.asarray(4 * (np.sin(zeta) - zeta * np.cos(zeta)) / (2 * zeta - np.sin(2 * zeta)))


def left_over(biot: float, shape: int, fourier: Array, place: float = 0.0, terms: int = TERMS) -> Array:
    """Share of the first difference to the air that is left.

    Parameters
    ----------
    biot, shape
        Of the body.
    fourier
        α t / L².
    place
        0 in the middle, 1 at the face.
    terms
        Of the series.
    """
    zeta = eigenvalues(biot, shape, terms)
    if shape == PLATE:
        across = np.cos(zeta * place)
    elif shape == CYLINDER:
        across = j0(zeta * place)
    else:
        across = np.sinc(zeta * place / np.pi)
    return np.asarray(np.exp(-np.outer(fourier, zeta**2)) @ (amplitudes(zeta, shape) * across))


def outer_quarter_left_over(biot: float, fourier: Array) -> Array:
    """The same for the mean of a plate's outer quarter."""
    zeta = eigenvalues(biot, PLATE)
    mean = (np.sin(zeta) - np.sin(0.75 * zeta)) / (0.25 * zeta)
    return np.asarray(np.exp(-np.outer(fourier, zeta**2)) @ (amplitudes(zeta, PLATE) * mean))
