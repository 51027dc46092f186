"""Data inside a page's script elements."""

from __future__ import annotations

import json
from typing import Any


def script_safe(value: Any) -> str:
    """JSON in which nothing can end the script element it stands in."""
    text = json.dumps(value, ensure_ascii=True, separators=(",", ":"), sort_keys=True)
    return text.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026")
