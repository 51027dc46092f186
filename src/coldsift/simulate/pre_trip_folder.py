"""Simulated pre-trip inspections on disk: logs in layouts of real life, and beside them what was planted."""

from __future__ import annotations

import json
from pathlib import Path

import polars as pl

from coldsift.simulate.faults import HEALTHY
from coldsift.simulate.folder import TRUTH, dealt_round, refuse_used, write_new
from coldsift.simulate.layouts import write_logs
from coldsift.simulate.pre_trip import PreTripLogs, PreTripPlan, inspect_boxes, sample_pre_trip

SAMPLE_LAYOUTS = ("comma_iso", "semicolon_preamble", "fahrenheit_psi", "comma_iso", "fixed_width")
"""Dealt round to the boxes."""


def write_pre_trip_sample(out: Path) -> list[Path]:
    """Write the invented inspections of ``docs/examples/pre_trip``.

    Parameters
    ----------
    out
        New or empty folder.

    Returns
    -------
    list of pathlib.Path
        The log files.

    Raises
    ------
    VoyageError
        When the folder holds files, or cannot be written.
    """
    refuse_used(out)
    plan = sample_pre_trip()
    logs = inspect_boxes(plan)
    truth = {
        "invented": True,
        "name": "Invented pre-trip inspections",
        "seed": plan.seed,
        "ambient": plan.ambient,
        "units": logs.truth.to_dicts(),
    }

    def fill(folder: Path) -> list[Path]:
        written = write_logs(logs.log, folder, dealt_round(plan.units, SAMPLE_LAYOUTS))
        text = json.dumps(truth, indent=1, ensure_ascii=False)
        (folder / TRUTH).write_text(text + "\n", encoding="utf-8", newline="")
        (folder / "README.md").write_text(_read_me(plan, logs), encoding="utf-8", newline="")
        return written

    return write_new(out, fill)


def _read_me(plan: PreTripPlan, logs: PreTripLogs) -> str:
    planted = logs.truth.filter(pl.col("cause") != HEALTHY)
    lines = [
        "# Invented pre-trip inspections",
        "",
        "**Everything in this folder is invented.** `coldsift simulate --pre-trip --out FOLDER` made",
        "the logs: no such depot, unit or container exists, and the container numbers are made up with valid",
        "check digits.",
        f"{logs.truth.height} empty boxes side by side at {plan.ambient:g} °C, a reading every 5 minutes:",
        "fans only, pull-down to 0 °C and hold, pull-down to −18 °C and hold, a defrost and back, heating to",
        "18 °C and hold, off.",
        "`voyage.json` holds what was planted for machines.",
        "",
        "| container | planted fault | severity, 0 to 1 |",
        "|---|---|---|",
        *(
            f"| {row['container']} | {row['cause']}{_drift(row)} | {row['severity']:.2f} |"
            for row in planted.iter_rows(named=True)
        ),
        "",
        "All other boxes are in order.",
    ]
    return "\n".join(lines) + "\n"


def _drift(row: dict[str, object]) -> str:
    drift = row["probe_drift"]
    return f" ({drift:+.1f} K)" if isinstance(drift, float) else ""
