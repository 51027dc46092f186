"""Lists every file that may be installed, by its SHA-256: ``make lock`` after a change of dependencies.

Goes in: ``pyproject.toml`` and the versions of ``constraints.txt``. Comes out, beside this file: one list for
the build and one for each set of extras, for every system and Python that coldsift runs on. Versions are
chosen in ``constraints.txt`` and nowhere else. Where the packages come from is said neither here nor there:
it is the package client's business.
"""

from __future__ import annotations

import subprocess
import sys
import tomllib
from collections.abc import Sequence
from pathlib import Path

HERE = Path(__file__).parent
PROJECT, CONSTRAINTS = HERE.parent / "pyproject.toml", HERE.parent / "constraints.txt"
HEAD = "# Made by make lock from constraints.txt; not to be edited.\n"
OLDEST = {"build": "3.11", "run": "3.11"}
"""Oldest Python of a list; that of the others is what the documentation's extensions need."""
OLDEST_OTHERWISE = "3.11.5"
EDITABLE = ("editables",)
"""What the build asks for besides when it is installed to be worked on."""
SETS = ("dev", "speed", "robustness", "supply")


def resolved(name: str, source: str, *options: str) -> dict[str, str]:
    """Requirement and hashes of every package of a list, by its first line."""
    call = [
        *(sys.executable, "-m", "uv", "pip", "compile", source, *options, "--constraint", str(CONSTRAINTS)),
        *("--universal", "--python-version", OLDEST.get(name, OLDEST_OTHERWISE), "--generate-hashes"),
        *("--no-header", "--no-annotate", "--no-emit-index-url", "--no-python-downloads", "--quiet"),
    ]
    declared = tomllib.loads(PROJECT.read_text(encoding="utf-8"))["build-system"]["requires"]
    requires = "\n".join([*declared, *EDITABLE])
    told = subprocess.run(call, input=requires, capture_output=True, text=True, check=False)
    if told.returncode:
        sys.exit(f"the list {name} could not be made: {told.stderr}")
    blocks: dict[str, str] = {}
    first = ""
    for line in told.stdout.splitlines(keepends=True):
        if not line.startswith(" "):
            first = line
        blocks[first] = blocks.get(first, "") + line
    return blocks


def write(name: str, blocks: dict[str, str], before: Sequence[str] = ()) -> None:
    """Write a list that is read together with those before it."""
    others = "".join(f"-r {other}.txt\n" for other in before)
    (HERE / f"{name}.txt").write_text(HEAD + others + "".join(blocks.values()), encoding="utf-8")


def main() -> None:
    """Make all lists anew."""
    build = resolved("build", "-")
    write("build", build)
    run = resolved("run", str(PROJECT))
    write("run", run)
    for extra in SETS:
        every = resolved(extra, str(PROJECT), "--extra", extra)
        write(extra, {first: block for first, block in every.items() if run.get(first) != block}, ["run"])


if __name__ == "__main__":
    main()
