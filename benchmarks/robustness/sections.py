"""What is measured, by section."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

from benchmarks.robustness import accounting, branches, clocks, fuzz, guided, hostile, kills, mutants

MEASURES: Mapping[str, Callable[[Path], dict[str, Any]]] = {
    "accounting": accounting.measure,
    "fuzz": fuzz.measure,
    "guided": guided.measure,
    "hostile": hostile.measure,
    "kills": kills.measure,
    "clocks": clocks.measure,
    "branches": branches.measure,
    "mutants": mutants.measure,
}
