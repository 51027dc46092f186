"""``docs/robustness.md``, from the stored figures and the list of what was found."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from benchmarks.robustness.branches import GOAL
from benchmarks.robustness.figures import SECTIONS

HERE = Path(__file__).parent
PAGE = HERE.parents[1] / "docs" / "robustness.md"
FOUND = HERE / "found.toml"


AREAS = {
    "accounting": "Lines and readings",
    "fuzz": "Bent files",
    "hostile": "Text that attacks",
    "faults": "Runs, folders and disks",
    "clocks": "Clocks",
    "plugins": "Layouts of your own",
    "supply": "Libraries and versions",
    "verify": "A dossier reckoned again",
    "tests": "Tests",
}
"""Areas of the list of what was found, in words."""


def write_page(figures: Mapping[str, Any], path: Path = PAGE) -> None:
    """Write the page; sections that were not measured yet say so."""
    room = Environment(
        loader=FileSystemLoader(HERE),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        autoescape=False,
    )
    room.filters["count"] = "{:,}".format
    room.filters["percent"] = "{:.1%}".format
    found = tomllib.loads(FOUND.read_text(encoding="utf-8"))
    text = room.get_template("robustness.md.jinja").render(
        **{name: figures.get(name) for name in SECTIONS},
        found=found,
        mended=sum(len(area["mended"]) for area in found.values()),
        still=sum(len(area["still"]) for area in found.values()),
        goal=GOAL,
        table=_table,
        survivors=_survivors,
        clock_rows=_clock_rows,
        offsets=_offsets,
        stage_rows=_stage_rows,
        part_rows=_part_rows,
        words=AREAS,
    )
    path.write_text(text, encoding="utf-8")


def _clock_rows(clocks: Mapping[str, Any]) -> Iterable[Sequence[object]]:
    """A row for each kind of fleet: how sure it is, and what was found of each size."""
    for condition, kinds in clocks.items():
        if condition == "all":
            continue
        right = kinds["none"]["0"]
        yield (
            condition,
            right["half_width"][0],
            f"{right['apart']} of {right['units']}",
            *(f"{told['apart']} of {told['units']}" for _, told in _by_size(kinds["offset"])),
            ", ".join(
                f"{told['drift_stated']} of {told['units']} at {size.lstrip('-')}"
                for size, told in _by_size(kinds["drift"])
            ),
        )


def _offsets(clocks: Mapping[str, Any]) -> list[str]:
    """Headings of the offsets that were planted."""
    first = next(kinds for condition, kinds in clocks.items() if condition != "all")
    return [f"{size.lstrip('-')} min off" for size, _ in _by_size(first["offset"])]


def _by_size(planted: Mapping[str, Any]) -> list[tuple[str, Any]]:
    return sorted(planted.items(), key=lambda each: abs(int(each[0])))


def _stage_rows(branches: Mapping[str, Any]) -> Iterable[Sequence[object]]:
    for name, stage in branches["stages"].items():
        lines, taken = stage["lines_run"] / max(stage["lines"], 1), stage["branch_share"]
        yield name, stage["lines"], f"{lines:.1%}", stage["branches"], f"{taken:.1%}"


def _part_rows(mutants: Mapping[str, Any]) -> Iterable[Sequence[object]]:
    for name, part in mutants["parts"].items():
        noticed = part["killed"] + part["killed_by_error"] + part["killed_by_limit"]
        yield name, part["sampled"], noticed, part["survived"], part["equivalent"]


def _survivors(mutants: Mapping[str, Any]) -> str:
    """Every mutant of the sample that no test noticed, with what was thought of it."""
    return _table(
        ("place", "line as it is", "as it was changed to", "verdict"),
        (
            (
                f"`{each['file']}`, `{each['within']}`",
                _code(each["text"]),
                _code(each["becomes"]),
                f"{each['verdict']}: {each['why']}" if each["why"] else each["verdict"],
            )
            for each in mutants["survivors"]
        ),
    )


def _code(text: str) -> str:
    """A line of a program in a cell of a table."""
    return f"`{text.strip().replace('|', chr(92) + '|')}`" if text.strip() else "(taken out)"


def _table(heads: Sequence[str], rows: Iterable[Sequence[object]]) -> str:
    lines = [heads, ["---"] * len(heads), *rows]
    return "\n".join(f"| {' | '.join(map(str, line))} |" for line in lines)
