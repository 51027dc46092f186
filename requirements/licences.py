"""Writes ``docs/licences.md``: under what licence each library may be used, as it says of itself.

Goes in: the lists beside this file, the installed libraries, and, for those that this system does not
install, the files that the package client gets. Comes out: the page. ``make licences`` runs it.
"""

from __future__ import annotations

import json
import re
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Iterator
from email.parser import HeaderParser
from pathlib import Path

HERE = Path(__file__).parent
PAGE = HERE.parent / "docs" / "licences.md"
SETS = {
    "run": ("Needed to run", "`pip install .` brings these."),
    "build": ("Needed to build", "They make the package and are not used by it."),
    "dev": ("Tests and documentation", "The extra `dev`."),
    "speed": ("Measuring speed", "The extra `speed`, beside those above."),
    "robustness": ("Breaking it on purpose", "The extra `robustness`, beside those needed to run."),
    "supply": ("Looking after the libraries", "The extra `supply`, beside those needed to run."),
}
PIN = re.compile(r"^(?P<name>[\w.-]+)==(?P<version>[^ ;]+)(?: ; (?P<where>.*?))? \\$", re.MULTILINE)
COPYLEFT = re.compile(r"GPL|GNU|MPL|Mozilla|EPL|CDDL", re.IGNORECASE)
UNKNOWN = "not stated"

HEAD = """# Licences of the libraries

Made by `make licences` from the pinned versions; what a library says of itself in its package, not advice
on law. coldsift contains none of them: the package client installs each from where it is published. One
exception: every report carries the chart library's script (plotly.js, MIT; its notice stands in the script).
"""
LOOK = """## What to look at

These let others be built on them, but want changes of their own files passed on (MPL, LGPL), or ask more
(GPL). coldsift changes no file of any of them. Whoever passes on an installation with the libraries in it
passes these on too, and keeps their terms.
"""


def pins(name: str) -> Iterator[tuple[str, str, str]]:
    """Name, version and condition of each library of a list."""
    for pin in PIN.finditer((HERE / f"{name}.txt").read_text(encoding="utf-8")):
        yield pin["name"], pin["version"], pin["where"] or ""


def plain(name: str) -> str:
    """A library's name as all clients compare it."""
    return re.sub(r"[-_.]+", "-", name).lower()


def installed() -> dict[str, str]:
    """Licence of each installed library."""
    call = [sys.executable, "-m", "piplicenses", "--from=all", "--format=json", "--with-system"]
    call += ["--with-license-file", "--no-license-path"]
    told = json.loads(subprocess.run(call, capture_output=True, text=True, check=True).stdout)
    return {
        plain(entry["Name"]): _said(
            entry["License-Expression"],
            entry["License-Classifier"],
            entry["License-Metadata"],
            entry["LicenseText"].strip().split("\n")[0],
        )
        for entry in told
    }


def elsewhere(name: str, version: str) -> str:
    """Licence of a library that this system does not install, from its package."""
    with tempfile.TemporaryDirectory() as folder:
        call = [*(sys.executable, "-m", "pip", "--quiet", "download", "--no-deps", "--dest", folder)]
        call += ["--only-binary=:all:", "--python-version=3.13", f"{name}=={version}"]
        subprocess.run(call, check=True)
        (wheel,) = Path(folder).glob("*.whl")
        with zipfile.ZipFile(wheel) as held:
            (place,) = (each for each in held.namelist() if each.endswith(".dist-info/METADATA"))
            told = HeaderParser().parsestr(held.read(place).decode())
    kinds = [
        each.split(" :: ")[-1] for each in told.get_all("Classifier", []) if each.startswith("License ::")
    ]
    return _said(told["License-Expression"], "; ".join(kinds), told["License"])


def _said(*ways: str | None) -> str:
    """The first of the ways in which a package says it that is short enough to be a name."""
    for said in ways:
        words = " ".join((said or "").split())
        if words and words != "UNKNOWN" and len(words) <= 100:
            return words
    return UNKNOWN


def page(licences: dict[str, str]) -> str:
    """The whole page."""
    parts: list[str] = []
    look: dict[tuple[str, str], list[str]] = {}
    for name, (heading, words) in SETS.items():
        rows = sorted(pins(name), key=lambda pin: plain(pin[0]))
        lines = ["| library | version | licence |", "|---|---|---|"]
        for library, version, where in rows:
            licence = licences[plain(library)]
            only = f" (where {where.replace('python_full_version', 'Python')})" if where else ""
            lines.append(f"| {library}{only} | {version} | {licence} |")
            if COPYLEFT.search(licence) or licence == UNKNOWN:
                look.setdefault((library, licence), []).append(heading[0].lower() + heading[1:])
        parts.append(f"## {heading}\n\n{words}\n\n" + "\n".join(lines) + "\n")
    table = ["| library | licence | for |", "|---|---|---|"]
    table += [
        f"| {library} | {licence} | {', '.join(sets)} |" for (library, licence), sets in sorted(look.items())
    ]
    return "\n".join([HEAD, LOOK, "\n".join(table) + "\n", *parts])


def main() -> None:
    """Write the page."""
    licences = installed()
    for name in SETS:
        for library, version, _ in pins(name):
            if plain(library) not in licences:
                licences[plain(library)] = elsewhere(library, version)
    PAGE.write_text(page(licences), encoding="utf-8")


if __name__ == "__main__":
    main()
