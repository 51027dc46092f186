"""Storage life spent, by Q10.

Goes in: temperatures over time. Comes out: days of storage life spent beyond what the optimum would have
taken.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from coldsift.cargo.cargoes import Cargo
from coldsift.cargo.properties import Array


def ageing_rate(temperature: ArrayLike, optimum: float | Array, q10: float | Array) -> Array:
    """How many times faster goods age than at their optimum: Q10^((t − optimum)/10), at least 1.

    Parameters
    ----------
    temperature, optimum
        [°C]
    q10
        Factor for 10 K.

    Notes
    -----
    Colder than the optimum nothing is won: what cold harms it is told by the limits.
    """
    above = np.maximum(np.asarray(temperature, dtype=np.float64) - optimum, 0.0)
    return np.asarray(np.power(q10, above / 10.0))


@dataclass(frozen=True, slots=True)
class Ageing:
    """How the cargoes of some units age; arrays of the shape (units, 1), nan where it is not known."""

    optimum: Array
    q10: Array

    @classmethod
    def of(cls, cargoes: Sequence[Cargo]) -> Ageing | None:
        """None when none of them has a storage life and a Q10."""
        known = [
            (cargo.optimum[1], cargo.q10)
            if cargo.optimum and cargo.q10 and cargo.life_days
            else (np.nan, np.nan)
            for cargo in cargoes
        ]
        optimum, q10 = np.array(known, dtype=np.float64).T[:, :, None]
        return None if np.isnan(q10).all() else cls(optimum, q10)

    def beyond_optimum(self, temperature: Array, days: Array) -> Array:
        """Storage life spent in some days beyond those days. [d]."""
        return np.asarray(days * (ageing_rate(temperature, self.optimum, self.q10) - 1.0))
