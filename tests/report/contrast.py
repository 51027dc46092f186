"""Contrast of two colours by the formula of the Web Content Accessibility Guidelines."""

from __future__ import annotations


def _luminance(colour: str) -> float:
    """Relative luminance (WCAG 2.2, glossary)."""
    parts = [int(colour[place : place + 2], 16) / 255 for place in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Contrast ratio (WCAG 2.2, glossary)."""
    dark, light = sorted((_luminance(one), _luminance(other)))
    return (light + 0.05) / (dark + 0.05)
