"""What is measured, by section, and what of it must never be."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from benchmarks.robustness import accounting, branches, clocks, fuzz, guided, hostile, kills, mutants

SECTIONS: Mapping[str, Callable[[Path], dict[str, Any]]] = {
    "accounting": accounting.measure,
    "fuzz": fuzz.measure,
    "guided": guided.measure,
    "hostile": hostile.measure,
    "kills": kills.measure,
    "clocks": clocks.measure,
    "branches": branches.measure,
    "mutants": mutants.measure,
}

MUST_BE_NOTHING: Mapping[str, tuple[str, ...]] = {
    "accounting": ("lines_off", "values_off", "orders_off"),
    "fuzz": ("failed",),
    "guided": ("skipped", "failed", "ended"),
    "hostile": ("findings",),
    "kills": ("neither", "steps_neither", "outlived", "failures"),
    "branches": ("failed", "below"),
}
"""Counts and lists that say something is broken unless they are 0 or empty."""


def faults_of(name: str, figures: Mapping[str, Any]) -> list[str]:
    """What a section measured that must never be, in words."""
    return [f"{name}, {key}: {figures[key]}" for key in MUST_BE_NOTHING.get(name, ()) if figures[key]]
