"""What a run measured, stored by section: plain counts, as each section's ``measure`` gives them."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

FIGURES = Path(__file__).parent / "figures.json"


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
