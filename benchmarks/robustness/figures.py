"""What a run measured, stored by section: plain counts, as each section's ``measure`` gives them."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

FIGURES = Path(__file__).parent / "figures.json"


SECTIONS = ("accounting", "fuzz", "guided", "hostile", "kills", "clocks", "branches", "mutants")

MUST_BE_NOTHING: Mapping[str, tuple[str, ...]] = {
    "accounting": ("lines_off", "values_off", "orders_off"),
    "fuzz": ("failed",),
    "guided": ("skipped", "failed", "ended"),
    "hostile": ("findings",),
    "kills": ("neither", "steps_neither", "outlived", "failures"),
    "branches": ("failed", "below"),
}
"""Counts and lists that say something is broken unless they are 0 or empty."""


def stored(path: Path) -> dict[str, Any]:
    """The stored figures by section; none where nothing was measured yet."""
    if not path.is_file():
        return {}
    held: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return held


def store(figures: Mapping[str, Any], path: Path) -> None:
    """Write the figures, sorted so that a change shows as one line."""
    text = json.dumps(figures, indent=1, sort_keys=True, ensure_ascii=False)
    path.write_text(text + "\n", encoding="utf-8")


def faults_of(name: str, figures: Mapping[str, Any]) -> list[str]:
    """What a section measured that must never be, in words."""
    return [f"{name}, {key}: {figures[key]}" for key in MUST_BE_NOTHING.get(name, ()) if figures[key]]
