"""Contrast of the pages' colours, from the custom properties that all styles use, in both schemes."""

from __future__ import annotations

import re
from importlib import resources

import pytest
from tests.report.contrast import contrast

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


def test_black_on_white_has_the_contrast_that_the_guideline_states() -> None:
    assert contrast("#000000", "#ffffff") == pytest.approx(21)
    assert contrast("#777777", "#777777") == pytest.approx(1)


def test_both_schemes_name_the_same_colours() -> None:
    light, dark = (_palette((TEMPLATES / name).read_text(encoding="utf-8")) for name in PALETTES.values())
    assert light.keys() == dark.keys()
    assert set(TEXT) < light.keys()


@pytest.mark.parametrize("ground", GROUNDS)
@pytest.mark.parametrize("name", TEXT)
def test_text_can_be_read_on_page_and_card(palette: dict[str, str], name: str, ground: str) -> None:
    assert contrast(palette[name], palette[ground]) >= SUNLIT_TEXT


@pytest.mark.parametrize("tone", TONES)
def test_a_filled_badge_or_button_can_be_read(palette: dict[str, str], tone: str) -> None:
    assert contrast(palette["card"], palette[tone]) >= AA_TEXT


def test_text_on_coloured_ground_can_be_read(palette: dict[str, str]) -> None:
    assert contrast(palette["warn-ink"], palette["warn-page"]) >= AA_TEXT
    for name in ("ink", "soft", "link"):
        assert contrast(palette[name], palette["warn-page"]) >= AA_TEXT
    assert contrast(palette["ink"], palette["odd"]) >= AA_TEXT


@pytest.mark.parametrize("ground", GROUNDS)
@pytest.mark.parametrize("name", ["focus", "soft", *TONES])
def test_edges_and_the_mark_of_the_focus_can_be_seen(palette: dict[str, str], name: str, ground: str) -> None:
    assert contrast(palette[name], palette[ground]) >= AA_GRAPHICS
