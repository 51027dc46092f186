"""A figure's words and numbers as one short text inside a page.

Goes in: a header that JSON can say, and arrays of whole numbers that it refers to. Comes out: one text that
is safe inside a script element; templates/chart_data.js opens it in the browser.
"""

from __future__ import annotations

import base64
import json
import zlib
from typing import Any

import numpy as np
from numpy.typing import NDArray

from coldsift.report.embedded import script_safe

Place = list[int]
"""Where an array lies among the numbers: first byte, count, bytes each. Known when all arrays are packed."""

_LEVEL = 4
"""Of deflation: 6 gains 2 in 100 and takes twice as long, as measured on simulated logs."""


class Numbers:
    """Arrays of whole numbers, one after the other.

    Neighbouring readings differ little. So each array is kept as steps from number to number, sign in the
    lowest bit, in the fewest bytes that hold them all; and all low bytes first, then all higher ones, for
    like bytes deflate well together.
    """

    def __init__(self) -> None:
        self._arrays: list[NDArray[Any]] = []
        self._places: list[Place] = []

    def add(self, values: NDArray[Any]) -> Place:
        """Append an array of whole numbers, which may be floating; they and their steps lie within ±2³⁰."""
        place = [0, len(values), 1]
        self._arrays.append(values)
        self._places.append(place)
        return place

    def packed(self, header: dict[str, Any]) -> str:
        """Header and numbers as one text: a JSON string of base64 of a zlib stream (RFC 1950)."""
        numbers = self._planes()
        words = json.dumps(header, separators=(",", ":"), sort_keys=True).encode()
        deflated = zlib.compress(b"\n".join([words, numbers]), _LEVEL)
        return script_safe(base64.b64encode(deflated).decode())

    def _planes(self) -> bytes:
        """All arrays as bytes; tells each place. One pass over all of them, for most are short."""
        values = np.concatenate([*self._arrays, [0]], dtype=np.int64, casting="unsafe")
        counts = np.array([len(array) for array in self._arrays])
        ends = np.cumsum(counts)
        begins = ends - counts
        steps = np.diff(values, prepend=0)
        steps[begins] = values[begins]
        unsigned = (steps << 1) ^ (steps >> 63)
        # The last number is none of an array's; it gives an empty one at the end something to look at.
        largest = np.where(counts > 0, np.maximum.reduceat(unsigned, begins), 0)
        widths = np.where(largest < 1 << 8, 1, np.where(largest < 1 << 16, 2, 4))
        planes = [plane.tobytes() for plane in unsigned.astype("<u4").view(np.uint8).reshape(-1, 4).T]
        parts = []
        length = 0
        for place, begin, end, width in zip(
            self._places, begins.tolist(), ends.tolist(), widths.tolist(), strict=True
        ):
            place[0], place[2] = length, width
            parts += [plane[begin:end] for plane in planes[:width]]
            length += width * (end - begin)
        return b"".join(parts)
