"""Contrast of the pages' colours, from the custom properties that all styles use, in both schemes."""

from __future__ import annotations

import re
from importlib import resources

import pytest

TEMPLATES = resources.files("coldsift.report") / "templates"
PALETTES = {"light": "base.css", "dark": "dark.css"}

TEXT = ("ink", "soft", "link", "go", "round", "watch", "quiet", "blind")
TONES = ("go", "round", "watch", "quiet", "blind")
GROUNDS = ("page", "card")

AA_TEXT = 4.5
"""WCAG 2.2, success criterion 1.4.3."""

SUNLIT_TEXT = 7.0
"""WCAG 2.2, success criterion 1.4.6 (enhanced): the pages are read on deck."""

AA_GRAPHICS = 3.0
"""WCAG 2.2, success criterion 1.4.11: edges of controls, and the mark of the focus."""


@pytest.fixture(params=PALETTES)
def palette(request: pytest.FixtureRequest) -> dict[str, str]:
    css = (TEMPLATES / PALETTES[request.param]).read_text(encoding="utf-8")
    return _palette(css)


def _palette(css: str) -> dict[str, str]:
    start = css.index(":root {")
    return dict(re.findall(r"--([a-z-]+): (#[0-9a-f]{6})", css[start : css.index("}", start)]))


def _luminance(colour: str) -> float:
    """Relative luminance (WCAG 2.2, glossary)."""
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def _contrast(one: str, other: str) -> float:
    """Contrast ratio (WCAG 2.2, glossary)."""
    dark, light = sorted((_luminance(one), _luminance(other)))
    return (light + 0.05) / (dark + 0.05)


def test_black_on_white_has_the_contrast_that_the_guideline_states() -> None:
    assert _contrast("#000000", "#ffffff") == pytest.approx(21)
    assert _contrast("#777777", "#777777") == pytest.approx(1)


def test_both_schemes_name_the_same_colours() -> None:
    light, dark = (_palette((TEMPLATES / name).read_text(encoding="utf-8")) for name in PALETTES.values())
    assert light.keys() == dark.keys()
    assert set(TEXT) < light.keys()


@pytest.mark.parametrize("ground", GROUNDS)
@pytest.mark.parametrize("name", TEXT)
def test_text_can_be_read_on_page_and_card(palette: dict[str, str], name: str, ground: str) -> None:
    assert _contrast(palette[name], palette[ground]) >= SUNLIT_TEXT


@pytest.mark.parametrize("tone", TONES)
def test_a_filled_badge_or_button_can_be_read(palette: dict[str, str], tone: str) -> None:
    assert _contrast(palette["card"], palette[tone]) >= AA_TEXT


def test_text_on_coloured_ground_can_be_read(palette: dict[str, str]) -> None:
    assert _contrast(palette["warn-ink"], palette["warn-page"]) >= AA_TEXT
    for name in ("ink", "soft", "link"):
        assert _contrast(palette[name], palette["warn-page"]) >= AA_TEXT
    assert _contrast(palette["ink"], palette["odd"]) >= AA_TEXT


@pytest.mark.parametrize("ground", GROUNDS)
@pytest.mark.parametrize("name", ["focus", "soft", *TONES])
def test_edges_and_the_mark_of_the_focus_can_be_seen(palette: dict[str, str], name: str, ground: str) -> None:
    assert _contrast(palette[name], palette[ground]) >= AA_GRAPHICS
