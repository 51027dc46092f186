"""Every library that may be installed is pinned, known by its SHA-256, and listed with its licence."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest
from requirements.licences import PIN, SETS, pins, plain

import coldsift

ROOT = Path(__file__).parents[2]
LISTS = sorted((ROOT / "requirements").glob("*.txt"))
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))


def listed(name: str) -> set[str]:
    """Libraries of a list, with those of the lists that it begins with."""
    text = (ROOT / "requirements" / f"{name}.txt").read_text(encoding="utf-8")
    before = re.findall(r"^-r (\w+)\.txt$", text, re.MULTILINE)
    return {plain(library) for library, _, _ in pins(name)}.union(*map(listed, before))


def wanted(requirements: list[str]) -> set[str]:
    names = (re.match(r"[\w.-]+", requirement) for requirement in requirements)
    return {plain(name[0]) for name in names if name} - {"coldsift"}


def test_there_is_a_list_for_each_set_of_libraries() -> None:
    assert {path.stem for path in LISTS} == set(SETS)


def test_the_lists_hold_the_pinned_versions_and_no_other() -> None:
    constraints = (ROOT / "constraints.txt").read_text(encoding="utf-8").splitlines()
    pinned = {
        (plain(name), version)
        for name, version in (line.split("==") for line in constraints if line and line[0] != "#")
    }
    assert {(plain(name), version) for path in LISTS for name, version, _ in pins(path.stem)} == pinned


def test_what_the_project_names_is_in_its_list() -> None:
    assert wanted(PROJECT["project"]["dependencies"]) <= listed("run")
    assert wanted(PROJECT["build-system"]["requires"]) <= listed("build")
    extras = PROJECT["project"]["optional-dependencies"]
    assert wanted(extras["cluster"]) <= listed("dev")
    for extra in set(SETS) - {"run", "build"}:
        assert wanted(extras[extra]) <= listed(extra)


@pytest.mark.parametrize("path", LISTS, ids=lambda path: path.stem)
def test_each_library_has_the_digests_of_its_files_and_no_address(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    blocks = re.split(r"^(?=[\w.-]+==)", text, flags=re.MULTILINE)[1:]
    assert blocks
    for block in blocks:
        first, *digests = block.rstrip("\n").splitlines()
        assert PIN.fullmatch(first)
        assert digests
        assert all(re.fullmatch(r"    --hash=sha256:[0-9a-f]{64}( \\)?", line) for line in digests)
    assert "://" not in text


def test_the_page_of_licences_is_of_these_versions() -> None:
    page = (ROOT / "docs" / "licences.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| ([\w.-]+)(?: \(where [^|]+\))? \| (\d[^|]*) \| ([^|]+) \|$", page, re.MULTILINE)
    assert [(name, version) for name, version, _ in rows] == [
        (name, version)
        for name_of_set in SETS
        for name, version, _ in sorted(pins(name_of_set), key=lambda pin: plain(pin[0]))
    ]
    assert all(licence.strip() for _, _, licence in rows)


def test_the_version_stands_in_one_place_and_the_change_log_tells_of_it() -> None:
    assert PROJECT["project"]["dynamic"] == ["version"]
    assert PROJECT["tool"]["hatch"]["version"]["path"] == "src/coldsift/__init__.py"
    told = re.findall(
        r"^## (\d+\.\d+\.\d+)", (ROOT / "CHANGELOG.md").read_text(encoding="utf-8"), re.MULTILINE
    )
    assert told[0] == coldsift.__version__
    assert told == sorted(told, key=lambda version: [*map(int, version.split("."))], reverse=True)
