"""Every line accounted for: generated logs of every layout, counted apart from intake and held against it."""

from __future__ import annotations

import shutil
from collections.abc import Iterable, Sequence
from pathlib import Path
from random import Random
from typing import Any

import polars as pl

from benchmarks.robustness.books import Audit, audit, fingerprint
from benchmarks.robustness.generated_logs import FORMS, Written, draw, draw_rows, draw_voyage, form_of, write
from coldsift.intake import Intake, read_logs


def put(files: Iterable[Written], folder: Path) -> list[Path]:
    """Write files into a folder of their own, made empty."""
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(parents=True)
    paths = []
    for file in files:
        paths.append(folder / file.name)
        paths[-1].write_bytes(file.content)
    return paths


def readings(intake: Intake) -> pl.DataFrame:
    """The common log without the place that each row has in its file."""
    return intake.log.drop("source", "row")


def rows_in_other_orders(random: Random, name: str) -> list[list[Written]]:
    """One sound log: as drawn, its rows shuffled, and dealt out to two files."""
    form = form_of(name, random)
    rows = draw_rows(random, form, spoiled=False)
    shuffled = random.sample(rows, len(rows))
    return [
        [write(random, form, rows, False)],
        [write(random, form, shuffled, False)],
        [write(random, form, shuffled[:2], False, "a"), write(random, form, shuffled[2:], False, "b")],
    ]


def measure(scratch: Path, examples: int = 60) -> dict[str, Any]:
    """Count what becomes of generated logs.

    Parameters
    ----------
    scratch
        Folder for them.
    examples
        Spoiled logs of each form; a third as many sound logs in other orders of rows, and five times as many
        voyages of several files.

    Returns
    -------
    dict
        ``logs`` by form; ``voyages``; ``lines`` of all files; of the lines of their bodies ``used``,
        ``merged`` and ``set_aside``, which the writer of the files and intake agree on but for
        ``lines_off``; ``values`` of the common log held against what was written, and ``values_off``;
        ``orders`` of files and of rows tried, and ``orders_off``, those that changed a byte of what intake
        hands on (of rows: a reading of the common log); ``differences``, the first ten in words.
    """
    total = Audit()
    orders, orders_off = 0, []
    folder = scratch / "logs"

    def add(files: Sequence[Written], intake: Intake) -> None:
        found = audit(files, intake)
        for name in ("lines", "used", "merged", "set_aside", "values", "lost", "off"):
            setattr(total, name, getattr(total, name) + getattr(found, name))

    for name in FORMS:
        for seed in range(examples):
            file = draw(Random(f"{name} {seed}"), name)
            put([file], folder)
            add([file], read_logs([folder]))
        for seed in range(examples // 3):
            known = None
            for files in rows_in_other_orders(Random(f"{name} in order {seed}"), name):
                put(files, folder)
                intake = read_logs([folder])
                add(files, intake)
                known = readings(intake) if known is None else known
                orders += 1
                if not readings(intake).equals(known):
                    orders_off.append(f"rows of {name} {seed}")
    for seed in range(5 * examples):
        random = Random(f"voyage {seed}")
        files = draw_voyage(random)
        paths = put(files, folder)
        intake = read_logs([folder])
        add(files, intake)
        for given in (paths[::-1], random.sample(paths, len(paths))):
            orders += 1
            if fingerprint(read_logs(given)) != fingerprint(intake):
                orders_off.append(f"files of voyage {seed}")
    shutil.rmtree(folder, ignore_errors=True)
    return {
        "logs": dict.fromkeys(FORMS, examples + 3 * (examples // 3)),
        "voyages": 5 * examples,
        "lines": total.lines,
        "used": total.used,
        "merged": total.merged,
        "set_aside": total.set_aside,
        "lines_off": len(total.lost),
        "values": total.values,
        "values_off": len(total.off),
        "orders": orders,
        "orders_off": len(orders_off),
        "differences": [*total.lost, *total.off, *orders_off][:10],
    }
