"""Curves tabulated at equal steps, straight between the points.

Goes in: values at equal steps, one row a curve. Comes out: :class:`Lines`, which looks all of them up at once
for all members.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coldsift.cargo.properties import Array

Places = NDArray[np.intp]
"""Whole numbers that say which."""


@dataclass(frozen=True, slots=True)
class Lines:
    """Curves over the same range; beyond it they stay as at its ends.

    Attributes
    ----------
    lowest, highest, step
        Range, and distance of the points.
    pieces
        Pieces of each curve.
    starts, slopes
        Of every piece, curve after curve: its line's value at 0, and its rise.
    """

    lowest: float
    highest: float
    step: float
    pieces: int
    starts: Array
    slopes: Array

    @classmethod
    def through(cls, lowest: float, step: float, values: Array) -> Lines:
        """Lay lines through values of the shape (curves, points)."""
        pieces = values.shape[1] - 1
        slopes = np.diff(values, axis=1) / step
        starts = values[:, :-1] - slopes * (lowest + step * np.arange(pieces))
        # The last point itself lies on the last piece.
        highest = lowest + step * (pieces - 1e-9)
        return cls(lowest, highest, step, pieces, starts.ravel(), slopes.ravel())

    def at(self, places: Array, curve: Places | int = 0) -> tuple[Array, Array]:
        """Values at some places, and the rise there.

        Parameters
        ----------
        places
            Where.
        curve
            Which curve; of a shape that fits ``places``.
        """
        within = np.clip(places, self.lowest, self.highest)
        piece = ((within - self.lowest) * (1.0 / self.step)).astype(np.intp)
        piece += self.pieces * np.asarray(curve)
        slopes = self.slopes.take(piece)
        return self.starts.take(piece) + slopes * within, slopes
