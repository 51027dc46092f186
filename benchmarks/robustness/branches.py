"""How much of each stage the tests run: lines and branches, in every process that they start."""

from __future__ import annotations

import hashlib
import json
import os
import re
import subprocess
import sys
from collections import Counter
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parents[2]
PACKAGE = ROOT / "src" / "coldsift"

GOAL = 0.9
"""Share of a stage's branches that tests should take."""

WORKERS = "2"


def measure(scratch: Path) -> dict[str, Any]:
    """Run the tests, those in the browser apart, and count what they reach.

    Parameters
    ----------
    scratch
        Folder for the counts: they are taken from there while code and tests are the same.

    Returns
    -------
    dict
        ``passed``, ``failed`` and ``skipped`` tests; ``stages``, by name ``lines``, ``lines_run``,
        ``branches``, ``branches_taken`` and their share ``branch_share`` (1 where there is no branch);
        ``whole``, the same of all code; and ``below``, the stages (folders) with a smaller share than
        ``GOAL``.
    """
    scratch.mkdir(parents=True, exist_ok=True)
    report, key = scratch / "coverage.json", _digest()
    known = json.loads(report.read_text()) if report.is_file() else {}
    if known.get("key") != key:
        known = {"key": key, **_run(scratch)}
        report.write_text(json.dumps(known))
    counts: dict[str, Counter[str]] = {}
    for path, found in known["files"].items():
        counts.setdefault(_stage(path), Counter()).update(found)
    stages = {name: _with_share(counts[name]) for name in sorted(counts)}
    return {
        **known["tests"],
        "stages": stages,
        "whole": _with_share(sum(counts.values(), Counter())),
        "below": [
            name
            for name, stage in stages.items()
            if stage["branch_share"] < GOAL and (PACKAGE / name).is_dir()
        ],
    }


def _stage(path: str) -> str:
    return Path(path).parts[0].removesuffix(".py").replace("__init__", "coldsift")


def _with_share(counts: Counter[str]) -> dict[str, Any]:
    names = ("lines", "lines_run", "branches", "branches_taken")
    share = counts["branches_taken"] / counts["branches"] if counts["branches"] else 1.0
    return {**{name: counts[name] for name in names}, "branch_share": round(share, 4)}


def _run(scratch: Path) -> dict[str, Any]:
    """Counts by file, and how the tests went."""
    for old in scratch.glob(".coverage*"):
        old.unlink()
    data = f"--data-file={scratch / '.coverage'}"
    coverage = [sys.executable, "-m", "coverage"]
    one_thread = os.environ | {"POLARS_MAX_THREADS": "1", "OMP_NUM_THREADS": "1"}
    tests = [
        "-m",
        "pytest",
        "-n",
        WORKERS,
        "--dist",
        "loadfile",
        "-m",
        "not browser",
        "-p",
        "no:cacheprovider",
    ]
    # What fails is counted, not passed over: the caller sees it.
    with (scratch / "tests.txt").open("w") as said:
        subprocess.run([*coverage, "run", data, *tests], cwd=ROOT, env=one_thread, stdout=said, check=False)
    subprocess.run([*coverage, "combine", "--quiet", data, str(scratch)], cwd=ROOT, check=True)
    whole = scratch / "whole.json"
    subprocess.run([*coverage, "json", "--quiet", data, "-o", str(whole)], cwd=ROOT, check=True)
    files = {
        str((ROOT / path).relative_to(PACKAGE)): {
            "lines": found["summary"]["num_statements"],
            "lines_run": found["summary"]["covered_lines"],
            "branches": found["summary"]["num_branches"],
            "branches_taken": found["summary"]["covered_branches"],
        }
        for path, found in json.loads(whole.read_text())["files"].items()
    }
    ended = (scratch / "tests.txt").read_text().strip().splitlines()[-1]
    counted = {
        name: sum(map(int, re.findall(rf"(\d+) {name}", ended))) for name in ("passed", "failed", "skipped")
    }
    return {"tests": counted, "files": files}


def _digest() -> str:
    whole = hashlib.sha256()
    for path in sorted([*PACKAGE.rglob("*"), *(ROOT / "tests").rglob("*.py"), ROOT / "pyproject.toml"]):
        if path.is_file() and "__pycache__" not in path.parts:
            whole.update(f"{path.relative_to(ROOT)}\0".encode() + path.read_bytes())
    return whole.hexdigest()


if __name__ == "__main__":
    print(json.dumps(measure(ROOT / "build" / "robustness" / "coverage"), indent=2))
