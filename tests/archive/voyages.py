"""Finished runs made up for the archive: tables of the schema, without any screening. All is invented."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import polars as pl

from coldsift.schema import (
    CAUSES,
    COMMON_LOG,
    DEFROSTS,
    FEATURES,
    FINDINGS,
    REPAIRS,
    SET_ASIDE,
    UNIT_DAYS,
)

UNITS = ("QXAU0000010", "QXAU0000026", "QXAU0000031")

Rows = Sequence[Mapping[str, Any]]


def day(text: str) -> datetime:
    """Midnight of a day, UTC."""
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


def finished_run(
    folder: Path,
    begin: str = "2031-01-03",
    *,
    units: Sequence[str] = UNITS,
    days: int = 5,
    findings: Mapping[str, Mapping[str, Any]] | None = None,
    features: Rows = (),
    repairs: Rows | None = None,
    mark: float = 0.0,
    sources: Sequence[str] | None = None,
    version: str = "0.1.0",
) -> Path:
    """Write a finished run: six readings a day of every unit, and what is given.

    ``mark`` stands in every table, so that tables of different runs can be told apart; ``findings`` adds to
    or changes columns of a unit's row.
    """
    folder.mkdir(parents=True)
    start = day(begin)
    times = [start + timedelta(hours=4 * step) for step in range(6 * days)]
    tables = {
        FINDINGS: [
            {
                "container": unit,
                "rank": rank,
                "group": "nothing_found",
                "oddness": mark,
                "number_valid": True,
                **(findings or {}).get(unit, {}),
            }
            for rank, unit in enumerate(units, start=1)
        ],
        UNIT_DAYS: [
            {"container": unit, "day": (start + timedelta(days=which)).date(), "air_middle": mark}
            for unit in units
            for which in range(days)
        ],
        CAUSES: [
            {"container": unit, "place": 1, "cause": "healthy", "chance": 1.0, "cause_chance": mark}
            for unit in units
        ],
        DEFROSTS: [
            {"container": unit, "start": start, "end": times[1], "minutes": mark, "from_flag": True}
            for unit in units
        ],
        SET_ASIDE: [],
        **(
            {
                FEATURES: [
                    {"unit": "", "regime": "hold", "samples": 1, "reason": None, **row} for row in features
                ]
            }
            if features
            else {}
        ),
        **({} if repairs is None else {REPAIRS: [{"words": "", "line": 1, **row} for row in repairs]}),
    }
    for table, rows in tables.items():
        frame = pl.DataFrame(rows, infer_schema_length=None) if rows else table.empty()
        table.conform(frame).write_parquet(folder / f"{table.name}.parquet")
    log = pl.DataFrame({"container": units}).join(pl.DataFrame({"time": times}), how="cross")
    (folder / "common_log").mkdir()
    COMMON_LOG.conform(
        log.sort("container", "time").with_columns(
            source=pl.lit("a"), row=pl.int_range(pl.len(), dtype=pl.Int64), supply_air=pl.lit(mark)
        )
    ).write_parquet(folder / "common_log" / "part-00000.parquet")
    named = sources if sources is not None else [f"{begin} {unit}" for unit in units]
    (folder / "manifest.json").write_text(
        json.dumps(
            {
                "tool": "coldsift",
                "version": version,
                "invented": True,
                "parameters": {"mark": str(mark)},
                "sources": [
                    {"path": name, "sha256": hashlib.sha256(name.encode()).hexdigest(), "used": 1}
                    for name in named
                ],
            }
        ),
        encoding="utf-8",
    )
    return folder
