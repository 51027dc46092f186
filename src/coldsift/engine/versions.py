"""The versions of coldsift and of the libraries that shape numbers and pages."""

from __future__ import annotations

from importlib import metadata

import coldsift

LIBRARIES = (
    "polars",
    "numpy",
    "scipy",
    "scikit-learn",
    "plotly",
    "CoolProp",
    "python-stdnum",
    "tsdownsample",
)


def versions(*more: str) -> dict[str, str]:
    """Of coldsift, of :data:`LIBRARIES` and of ``more``."""
    return {"coldsift": coldsift.__version__} | {name: metadata.version(name) for name in (*LIBRARIES, *more)}
