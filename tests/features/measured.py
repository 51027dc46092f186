"""Features of small hand-made logs."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

import polars as pl
from tests.builders import timeline

from coldsift.features import unit_features, with_saturation
from coldsift.regimes import find_defrosts


def measured(*logs: pl.DataFrame, refrigerants: Mapping[str, str] = MappingProxyType({})) -> pl.DataFrame:
    """Every feature of every unit; R134a in those not named in ``refrigerants``."""
    built = timeline(*logs)
    return unit_features(with_saturation(built, refrigerants), find_defrosts(built))


def value(frame: pl.DataFrame, name: str, container: str | None = None) -> Any:
    """Value of one feature, None where there is none."""
    return _row(frame, name, container)["value"]


def reason(frame: pl.DataFrame, name: str, container: str | None = None) -> str:
    """Why a feature has no value, empty where it has one."""
    return str(_row(frame, name, container)["reason"] or "")


def _row(frame: pl.DataFrame, name: str, container: str | None) -> dict[str, object]:
    rows = frame.filter(pl.col("feature") == name)
    if container:
        rows = rows.filter(pl.col("container") == container)
    assert len(rows) == 1
    return rows.row(0, named=True)
