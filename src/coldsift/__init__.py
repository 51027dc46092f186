"""coldsift: from a folder of reefer controller logs to a ranked list of containers to inspect.

``coldsift.screen(paths)`` does what the command ``coldsift screen`` does and returns the tables.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from coldsift.engine import Screening, screen

__version__ = "1.0.0"
__all__ = ["Screening", "__version__", "screen"]


def __getattr__(name: str) -> Any:
    # Loaded on first use: the command line must answer --help without loading polars and scikit-learn.
    if name in {"Screening", "screen"}:
        from coldsift import engine

        return getattr(engine, name)
    raise AttributeError(f"module 'coldsift' has no attribute {name!r}")
