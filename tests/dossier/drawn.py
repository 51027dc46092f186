"""What is drawn in a chart: its lines as points, its texts, its boxes."""

from __future__ import annotations

import re
from dataclasses import dataclass
from xml.etree import ElementTree

Point = tuple[float, float]


@dataclass(frozen=True)
class Stroke:
    """One path: its look and its points. [pt from the top left of the sheet]"""

    look: dict[str, str]
    points: tuple[Point, ...]

    @property
    def is_bold(self) -> bool:
        """True for the air that the unit is controlled by."""
        return (
            self.look.get("stroke") == "var(--ink)"
            and self.look.get("stroke-width") == "1.3"
            and "stroke-dasharray" not in self.look
        )


def strokes(svg: str) -> list[Stroke]:
    """Every path that stands for itself."""
    root = ElementTree.fromstring(svg)
    found = []
    for path in root.iter("path"):
        numbers = [float(each) for each in re.findall(r"-?\d+(?:\.\d+)?", path.get("d", ""))]
        points = tuple(zip(numbers[::2], numbers[1::2], strict=True))
        found.append(Stroke({key: value for key, value in path.attrib.items() if key != "d"}, points))
    return found


def texts(svg: str) -> list[str]:
    """Every text in it."""
    return ["".join(text.itertext()) for text in ElementTree.fromstring(svg).iter("text")]


def marks(svg: str, colour: str) -> list[Point]:
    """Where marks of a colour stand. [pt from the top left of the sheet]"""
    return [
        (float(use.attrib["x"]), float(use.attrib["y"]))
        for use in ElementTree.fromstring(svg).iter("use")
        # Shaded areas are placed in the same way, but let the lines below them through.
        if use.get("fill") == colour and "fill-opacity" not in use.attrib
    ]
