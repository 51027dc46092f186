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
"""Where an array lies among the numbers: first byte, count, bytes each."""

_LEVEL = 6
"""Of deflation: 9 gains 1 in 100 and takes five times as long, as measured on simulated logs."""


class Numbers:
    """Arrays of whole numbers, one after the other.

    Neighbouring readings differ little. So each array is kept as steps from number to number, sign in the
    lowest bit, in the fewest bytes that hold them all; and all low bytes first, then all higher ones, for
    like bytes deflate well together.
    """

    def __init__(self) -> None:
        self._parts: list[bytes] = []
        self._length = 0

    def add(self, values: NDArray[np.integer[Any]]) -> Place:
        """Append an array; its numbers and the steps between them lie within ±2³⁰."""
        steps = np.diff(np.append(np.int64(0), values))
        unsigned = (steps << 1) ^ (steps >> 63)
        largest = int(unsigned.max(initial=0))
        width = 1 if largest < 1 << 8 else 2 if largest < 1 << 16 else 4
        planes = unsigned.astype(f"<u{width}").view(np.uint8).reshape(-1, width).T.tobytes()
        place = [self._length, len(values), width]
        self._parts.append(planes)
        self._length += len(planes)
        return place

    def packed(self, header: dict[str, Any]) -> str:
        """Header and numbers as one text: a JSON string of base64 of a zlib stream (RFC 1950)."""
        words = json.dumps(header, separators=(",", ":"), sort_keys=True).encode()
        deflated = zlib.compress(b"\n".join([words, b"".join(self._parts)]), _LEVEL)
        return script_safe(base64.b64encode(deflated).decode())
