"""The sheet that every chart is drawn on, and how it becomes an ``svg`` element of the page."""

from __future__ import annotations

import io
import math
import re
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from typing import Any
from xml.etree import ElementTree

import matplotlib
from markupsafe import Markup
from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.backends.backend_svg import FigureCanvasSVG
from matplotlib.figure import Figure
from matplotlib.font_manager import findfont, get_font
from matplotlib.markers import TICKDOWN

from coldsift.report.words import visible

WIDTH, LEFT, RIGHT = 511.0, 52.0, 24.0
"""Width of every sheet (180 mm: A4 less its margins), and what is left free for labels on its sides. [pt]"""

INK, SOFT, RULE, CARD = "#1a2026", "#525b65", "#d4d2ca", "#ffffff"
"""Colours that follow the page: dark on light, light on dark, black on paper."""

LETTER = 0.62
"""Width of a letter at most, as a share of its size; a usual one is narrower."""

_THEME = {INK: "var(--ink)", SOFT: "var(--soft)", RULE: "var(--grid)", CARD: "var(--card)"}
_FONT = "DejaVu Sans"
_STYLE = {
    # Letters stay letters: the printed text can be searched and copied.
    "svg.fonttype": "none",
    "font.family": _FONT,
    "font.size": 7.5,
    # Text from logs is never read as a formula.
    "text.parse_math": False,
    "text.color": INK,
    "axes.labelcolor": INK,
    "axes.edgecolor": SOFT,
    "axes.facecolor": "none",
    "axes.linewidth": 0.6,
    "axes.grid": True,
    "axes.axisbelow": True,
    "grid.color": RULE,
    "grid.linewidth": 0.5,
    "xtick.color": SOFT,
    "xtick.labelcolor": INK,
    "ytick.color": SOFT,
    "ytick.labelcolor": INK,
    "xtick.major.size": 3.0,
    "ytick.major.size": 2.0,
    "figure.facecolor": "none",
    "legend.frameon": False,
    "legend.fontsize": 7.0,
    "legend.handlelength": 2.6,
    "legend.handletextpad": 0.6,
    "legend.columnspacing": 1.2,
    "legend.borderaxespad": 0.0,
    "legend.borderpad": 0.0,
    "lines.solid_capstyle": "butt",
}
_LEGEND_LINE = 11.0
_TICK_LABELS = 24.0
_SMALL_MARK = 1.5

# Hours between labels, and between the marks among them.
_TICK_STEPS = (
    (0.25, 0.25),
    (0.5, 0.25),
    (1.0, 0.25),
    (2.0, 1.0),
    (3.0, 1.0),
    (6.0, 1.0),
    (12.0, 3.0),
    (24.0, 6.0),
    (48.0, 24.0),
    (4 * 24.0, 24.0),
    (7 * 24.0, 24.0),
    (14 * 24.0, 24.0),
    (28 * 24.0, 7 * 24.0),
    (91 * 24.0, 7 * 24.0),
)
_DECLARATION = re.compile(r"([a-z-]+): ([^;]+)")
_LEFT_TO_THE_PAGE = {"font-family", "stroke-linejoin", "stroke-linecap"}
_FRACTION = re.compile(r"-?\d+\.\d{3,}")


@contextmanager
def house_style(name: str) -> Iterator[None]:
    """Settings for one drawing; ids inside it are made from its name, unlike any other on the page.

    Matplotlib keeps its settings for the whole process: draw in one thread.
    """
    with matplotlib.rc_context():
        # Settings of the machine shall not show.
        matplotlib.rcdefaults()
        settings: dict[Any, Any] = _STYLE | {"svg.hashsalt": name}
        matplotlib.rcParams.update(settings)
        yield


class Sheet:
    """Panels one below the other, all with the same left and right edge, under one legend.

    Use it inside :func:`house_style`.
    """

    def __init__(self) -> None:
        self.figure = Figure()
        FigureCanvasSVG(self.figure)
        self.legend: list[Artist] = []
        self._placed: list[tuple[Axes, float, float, float, float]] = []
        self._used = 2.0

    def panel(
        self,
        height: float,
        start: datetime,
        end: datetime,
        *,
        labels: bool = True,
        left: float = LEFT,
        right: float = WIDTH - RIGHT,
        beside: bool = False,
        most: int = 9,
        marks: bool = True,
    ) -> Axes:
        """Add axes below those there are.

        Parameters
        ----------
        height
            Of the axes, without tick labels. [pt]
        start, end
            First and last instant shown; positions on the axes are hours since ``start``.
        labels
            False where a panel below carries the time.
        left, right
            Its edges, from the left of the sheet. [pt]
        beside
            True to stand beside the last panel instead.
        most
            Most time labels that find room.
        marks
            False for a panel without marks of time.
        """
        axes = self.figure.add_axes((0, 0, 1, 1))
        top = self._placed[-1][1] if beside else self._used
        self._placed.append((axes, top, height, left, right))
        if not beside:
            self._used += height + (_TICK_LABELS if labels else 5.0)
        _time_axis(axes, start, end, labels, most, marks)
        return axes

    def scale(self, axes: Axes) -> tuple[float, float]:
        """What a point of the sheet is across and up, on axes whose limits are set."""
        height, left, right = next(place[2:] for place in self._placed if place[0] is axes)
        (first, last), (low, high) = axes.get_xlim(), axes.get_ylim()
        return (last - first) / (right - left), (high - low) / height

    def space(self, height: float) -> None:
        """Leave some free above the next panel. [pt]"""
        self._used += height

    def svg(self, says: str) -> Markup:
        """Return the sheet as an ``svg`` element: no style of its own, no address in it.

        Parameters
        ----------
        says
            The drawing in words, for who cannot see it.
        """
        rows = _wrapped(self.legend)
        above = len(rows) * _LEGEND_LINE
        whole = above + self._used
        self.figure.set_size_inches(WIDTH / 72, whole / 72)
        for axes, top, height, left, right in self._placed:
            axes.set_position(
                (left / WIDTH, 1 - (above + top + height) / whole, (right - left) / WIDTH, height / whole)
            )
        for place, row in enumerate(rows):
            self.figure.legend(
                handles=row,
                loc="upper left",
                bbox_to_anchor=(0.0, 1 - place * _LEGEND_LINE / whole),
                ncols=len(row),
            )
        self.figure.align_ylabels()
        stream = io.BytesIO()
        nothing = dict.fromkeys(("Date", "Creator", "Format", "Type"))
        self.figure.savefig(stream, format="svg", metadata=nothing)
        return _element(stream.getvalue(), visible(says))


def _wrapped(handles: list[Artist]) -> list[list[Artist]]:
    """Legend entries in rows that find room, each name once."""
    rows: list[list[Artist]] = []
    used = WIDTH
    for label, handle in {str(handle.get_label()): handle for handle in handles}.items():
        # Its line, the spaces around it, and letters of usual width.
        width = 31 + len(label) * 0.86 * LETTER * 7
        if used + width > WIDTH:
            rows.append([])
            used = 0
        rows[-1].append(handle)
        used += width
    return rows


def _time_axis(axes: Axes, start: datetime, end: datetime, labels: bool, most: int, marks: bool) -> None:
    axes.set_xlim(0, (end - start) / timedelta(hours=1))
    places, texts, between = time_ticks(start, end, most)
    axes.set_xticks(places, texts if labels else [""] * len(places), linespacing=1.1)
    if marks:
        # One line of marks: as ticks each would be a whole family of artists.
        small = [place for place in between if place not in places]
        axes.plot(
            small,
            [0.0] * len(small),
            linestyle="",
            marker=TICKDOWN,
            markersize=_SMALL_MARK,
            markeredgewidth=0.6,
            color=SOFT,
            transform=axes.get_xaxis_transform(),
            clip_on=False,
        )
    else:
        axes.tick_params(axis="x", length=0)
    if labels:
        axes.annotate(
            "UTC",
            (0, 0),
            (-26, -5),
            xycoords="axes fraction",
            textcoords="offset points",
            ha="right",
            va="top",
            color=SOFT,
            annotation_clip=False,
        )


def time_ticks(start: datetime, end: datetime, most: int = 9) -> tuple[list[float], list[str], list[float]]:
    """Where a time axis has labels, what they say, and where it has small marks. [h since ``start``]

    Labels stand at whole steps of the day in UTC; below a day they say the hour, and a new date.
    """
    span = (end - start) / timedelta(hours=1)
    step, small = next((each for each in _TICK_STEPS if span / each[0] <= most), _TICK_STEPS[-1])
    midnight = start.replace(hour=0, minute=0, second=0, microsecond=0)
    into_the_day = (start - midnight) / timedelta(hours=1)

    def places(every: float) -> list[float]:
        first = math.ceil(into_the_day / every) * every - into_the_day if every < 24 else -into_the_day % 24
        count = math.floor((span - first) / every + 1e-9) + 1
        return [first + place * every for place in range(count)]

    texts, shown = [], None
    for place in places(step):
        # To the nearest minute: hours as floats do not hit it by themselves.
        instant = start + timedelta(minutes=round(place * 60))
        day = instant.strftime("%Y-%m-%d")
        if step >= 24:
            texts.append(day)
        else:
            texts.append(instant.strftime("%H:%M") + (f"\n{day}" if day != shown else ""))
        shown = day
    return places(step), texts, places(small)


def drawable(text: str) -> bool:
    """Whether the sheet's own font has every letter of a text, so that its width is known."""
    letters = get_font(findfont(_FONT)).get_charmap()
    return all(ord(letter) in letters for letter in text)


def _element(drawn: bytes, says: str) -> Markup:
    root = ElementTree.fromstring(drawn)
    _adopt(root, set(re.findall(rb"#([\w-]+)", drawn)))
    for side in ("width", "height", "version"):
        root.attrib.pop(side, None)
    root.attrib |= {"class": "drawing", "role": "img", "aria-label": says}
    return Markup(ElementTree.tostring(root, encoding="unicode"))


def _adopt(element: ElementTree.Element, used: set[bytes]) -> None:
    """Turn an element and all in it into what an HTML page takes without a style of its own."""
    element.tag = element.tag.partition("}")[2]
    element.tail = None
    if element.tag != "text":
        element.text = None
    attributes: dict[str, str] = {}
    for key, value in element.attrib.items():
        if key == "style":
            declared = dict(_DECLARATION.findall(value))
            attributes |= {
                name: _THEME.get(said.strip(), said.strip())
                for name, said in declared.items()
                if name not in _LEFT_TO_THE_PAGE
            }
        elif key == "id":
            if value.encode() in used:
                attributes["id"] = value
        elif not (key == "transform" and value.startswith("rotate(-0 ")):
            attributes[key.partition("}")[2] or key] = _FRACTION.sub(_shorter, " ".join(value.split()))
    element.attrib.clear()
    element.attrib.update(attributes)
    for child in list(element):
        if child.tag.endswith(("}metadata", "}style")):
            element.remove(child)
        else:
            _adopt(child, used)


def _shorter(found: re.Match[str]) -> str:
    """A hundredth of a point is finer than any printer."""
    return f"{float(found[0]):.2f}".rstrip("0").rstrip(".")
