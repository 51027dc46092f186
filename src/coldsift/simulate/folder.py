"""A simulated voyage on disk: logs in the layouts of real life, and beside them what was planted."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

import polars as pl

from coldsift.places import OutputError, held, is_no_room, no_room
from coldsift.simulate import Fleet, simulate
from coldsift.simulate.faults import HEALTHY
from coldsift.simulate.layouts import write_logs
from coldsift.simulate.papers import papers_of
from coldsift.simulate.plan import START, FleetPlan, UnitPlan, plan_fleet, sample_voyage

TRUTH = "voyage.json"

SAMPLE_NAME = "Invented voyage of the QX fleet"

SAMPLE_LAYOUTS = (
    "comma_iso",
    "semicolon_preamble",
    "fahrenheit_psi",
    "tag_value+gzip",
    "two_heading_rows",
    "workbook",
    "fleet_parquet",
    "plain_words",
    "comma_iso+split",
    "semicolon_preamble+zip",
    "fixed_width",
    "json_lines",
)
"""Layouts of the sample, dealt round to its units."""


HARD_CASE_WORDS = {
    "warm_load": "cargo loaded warm",
    "hot_stow": "in the sun and beside hot neighbours on deck",
    "port_power_off": "hours without a socket in port",
    "set_point_change": "an ordered change of set point",
}


class VoyageError(Exception):
    """The voyage could not be written; says why and what to do."""


def refuse_used(out: Path) -> None:
    """Raise :class:`VoyageError` when the folder is there and holds anything."""
    if out.exists() and (not out.is_dir() or any(out.iterdir())):
        raise VoyageError(f"{out} is not an empty folder. Name a new one with --out.")


def dealt_round(units: Iterable[UnitPlan], layouts: Sequence[str]) -> dict[str, str]:
    """A layout for each container, in turn."""
    return {unit.container: layouts[place % len(layouts)] for place, unit in enumerate(units)}


def write_sample(out: Path) -> list[Path]:
    """Write the invented voyage of ``sample_logs``.

    Parameters
    ----------
    out
        New or empty folder.

    Returns
    -------
    list of pathlib.Path
        The log files.
    """
    plan = sample_voyage()
    return _write(plan, out, SAMPLE_NAME, dealt_round(plan.units, SAMPLE_LAYOUTS), papers_of)


def write_voyage(
    out: Path,
    *,
    units: int,
    days: float,
    seed: int,
    route: str,
    fault_share: float,
    layout: str,
    start: datetime = START,
) -> list[Path]:
    """Write a voyage of chosen size.

    Parameters
    ----------
    out
        New or empty folder.
    units, days, seed, route, fault_share, start
        See :func:`coldsift.simulate.plan.plan_fleet`.
    layout
        One layout for every unit.

    Returns
    -------
    list of pathlib.Path
        The log files.

    Raises
    ------
    VoyageError
        When the folder holds files, or the layout is not known.
    """
    plan = plan_fleet(units=units, days=days, seed=seed, route=route, fault_share=fault_share, start=start)
    return _write(
        plan, out, f"Simulated voyage, seed {seed}", {unit.container: layout for unit in plan.units}
    )


def _write(
    plan: FleetPlan,
    out: Path,
    name: str,
    assignment: dict[str, str],
    papers: Callable[[Fleet], dict[str, str]] = lambda fleet: {},
) -> list[Path]:
    refuse_used(out)
    fleet = simulate(plan)

    def fill(staging: Path) -> list[Path]:
        try:
            written = write_logs(fleet.log, staging, assignment)
        except ValueError as error:
            raise VoyageError(str(error)) from error
        truth = json.dumps(truth_of(fleet, name, assignment), indent=1, ensure_ascii=False)
        (staging / TRUTH).write_text(truth + "\n", encoding="utf-8", newline="")
        texts = papers(fleet)
        about = read_me(fleet, name, assignment, tuple(texts))
        for file, text in {"README.md": about, **texts}.items():
            (staging / file).write_text(text, encoding="utf-8", newline="")
        return written

    return write_new(out, fill)


def write_new(out: Path, fill: Callable[[Path], list[Path]]) -> list[Path]:
    """Fill a folder that is new or empty, whole or not at all.

    Parameters
    ----------
    out
        The folder.
    fill
        Writes everything into the folder it is given, and names the log files.

    Returns
    -------
    list of pathlib.Path
        The log files in their place.

    Raises
    ------
    VoyageError
        When it holds anything, or cannot be written.
    """
    try:
        with held(out) as place:
            staging = place.room("part")
            staging.chmod(0o755)
            try:
                written = fill(staging)
                refuse_used(out)
                place.put(staging)
            except OSError as error:
                why = no_room(out.parent, staging) if is_no_room(error) else f"{error.strerror or error}."
                raise VoyageError(f"Writing {out} failed: {why} Nothing was left there.") from error
    except OutputError as error:
        raise VoyageError(str(error)) from error
    return [out / path.relative_to(staging) for path in written]


def truth_of(fleet: Fleet, name: str, assignment: dict[str, str]) -> dict[str, Any]:
    """What was planted, ready for JSON; times UTC, temperatures °C.

    Parameters
    ----------
    fleet
        From :func:`coldsift.simulate.simulate`.
    name
        Of the voyage.
    assignment
        Layout of each container.

    Returns
    -------
    dict
        ``invented`` is always true: nothing simulated may be taken for a record of a real voyage.
    """
    layouts = pl.DataFrame({"container": list(assignment), "layout": list(assignment.values())})
    truth = fleet.truth.drop("layout", strict=False).join(
        layouts, on="container", how="left", maintain_order="left"
    )
    return {
        "invented": True,
        "name": name,
        "seed": fleet.plan.seed,
        "days": fleet.plan.days,
        "route": fleet.plan.route,
        "units": _records(truth),
        "defrosts": _records(fleet.defrosts),
        "excursions": _records(fleet.excursions),
    }


def read_me(fleet: Fleet, name: str, assignment: dict[str, str], papers: Sequence[str] = ()) -> str:
    """What a reader of the folder must know first: that it is invented, and what is planted.

    Parameters
    ----------
    fleet, name, assignment
        As for :func:`truth_of`.
    papers
        Files on the voyage beside the logs.

    Returns
    -------
    str
        Markdown.
    """
    truth = fleet.truth.sort("container")
    planted = truth.filter(pl.col("cause") != HEALTHY)
    hard = truth.filter(pl.col("hard_case").is_not_null())
    layouts = sorted(set(assignment.values()))
    blackouts = [
        f"- The whole ship is without power for {hours:g} h from hour {start:g} on: nobody's fault."
        for start, hours in fleet.plan.blackouts
    ]
    lines = [
        f"# {name}",
        "",
        "**Everything in this folder is invented.** `coldsift simulate` made the logs: no such ship,",
        "voyage, cargo or container exists, and the container numbers are made up with valid check digits.",
        f"{truth.height} units, {fleet.plan.days:g} days, seed {fleet.plan.seed}, in these layouts: "
        f"{', '.join(layouts)}.",
        "`voyage.json` holds the whole truth for machines: faults, defrosts and excursions of the true air.",
        *(
            [f"Papers of the voyage, invented too: {', '.join(f'`{paper}`' for paper in papers)}."]
            if papers
            else []
        ),
        "",
        "## Planted faults",
        "",
        "| container | cause | severity, 0 to 1 | from, UTC | mended, UTC | set point, °C |",
        "|---|---|---|---|---|---|",
        *(
            f"| {row['container']} | {row['cause']} | {row['severity']:.2f} | {row['onset']:%Y-%m-%d %H:%M} "
            f"| {_instant(row['repaired'])} | {row['set_point']:g} |"
            for row in planted.iter_rows(named=True)
        ),
        "",
        "## Healthy, and hard to tell",
        "",
        *(
            f"- {row['container']}: {HARD_CASE_WORDS[row['hard_case']]}."
            for row in hard.iter_rows(named=True)
        ),
        *blackouts,
        "",
        "All other units are healthy.",
    ]
    return "\n".join(lines) + "\n"


def _instant(time: datetime | None) -> str:
    return f"{time:%Y-%m-%d %H:%M}" if time else "never"


def _records(frame: pl.DataFrame) -> list[dict[str, Any]]:
    """Rows with times as ISO text."""
    times = [name for name, dtype in frame.schema.items() if isinstance(dtype, pl.Datetime)]
    rounded = frame.with_columns(
        pl.col(times).dt.strftime("%Y-%m-%dT%H:%M:%SZ"), pl.selectors.float().round(4)
    )
    return rounded.to_dicts()
