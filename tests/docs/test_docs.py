"""The documentation is whole: it builds, its links lead somewhere, its commands exist, it stays offline."""

from __future__ import annotations

import importlib.util
import os
import re
import shlex
import subprocess
import sys
from collections.abc import Iterator
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import pytest
import typer.main
from tests.browser.opened import PHONE, WIDE

from coldsift.causes import load_catalogue
from coldsift.cli.app import app
from coldsift.features import FEATURES, View
from coldsift.report.glossary import load_glossary
from coldsift.schema import TABLES

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"
PAGES = (ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted(DOCS.rglob("*.md")))
SITE_PAGES = ("index.html", "tours/technician.html", "words.html", "reference/features.html")
FETCHING = {"script": "src", "link": "href", "img": "src", "iframe": "src", "source": "src"}


def relative(path: Path) -> str:
    return path.relative_to(ROOT).as_posix()


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The built site."""
    for needed in ("mkdocs", "material", "mkdocstrings"):
        if importlib.util.find_spec(needed) is None:
            pytest.skip(f"{needed} is not installed: the documentation was not built")
    folder = tmp_path_factory.mktemp("site")
    built = subprocess.run(
        [sys.executable, "-m", "mkdocs", "build", "--strict", "--site-dir", str(folder)],
        cwd=ROOT,
        env={**os.environ, "NO_MKDOCS_2_WARNING": "1"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert built.returncode == 0, built.stderr
    assert "WARNING" not in built.stderr
    return folder


class Fetched(HTMLParser):
    """Addresses that a page makes the browser ask for."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.addresses: list[str] = []
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        address = dict(attrs).get(FETCHING.get(tag, ""))
        if address:
            self.addresses.append(address)


def test_the_site_builds_without_a_warning_and_has_every_part(site: Path) -> None:
    def words(page: str) -> str:
        return (site / page).read_text("utf-8")

    assert all(f"coldsift {name}" in words("reference/commands.html") for name in ("screen", "layout draft"))
    assert all(f">{name}<" in words("reference/tables.html") for name in TABLES)
    features = words("reference/features.html")
    assert all(
        f"<code>{each.name}</code>" in features for each in FEATURES.values() if each.view is View.WHOLE
    )
    catalogue = load_catalogue()
    causes = words("reference/causes.html")
    assert all(f'id="{name}"' in causes for name in (*catalogue.causes, *catalogue.observations))
    assert all(entry.term in words("words.html") for entry in load_glossary())
    assert "never says that a unit is safe" in words("cautions.html")
    assert "unit_features" in words("reference/stages.html")
    assert "write_outputs" in words("reference/python.html")


def test_the_site_asks_for_nothing_elsewhere(site: Path) -> None:
    asked = {
        (page.relative_to(site).as_posix(), address)
        for page in site.rglob("*.html")
        for address in Fetched(page.read_text("utf-8")).addresses
        if re.match(r"(?:[a-z]+:)?//", address)
    }
    assert asked == set()
    styles = (path.read_text("utf-8") for path in site.rglob("*.css"))
    assert [
        found for style in styles for found in re.findall(r"(?:url\(|@import)\s*[\"']?https?:", style)
    ] == []


def test_every_file_that_a_page_of_the_site_needs_is_in_it(site: Path) -> None:
    missing = {
        (page.relative_to(site).as_posix(), address)
        for page in site.rglob("*.html")
        if page.name != "404.html"
        for address in Fetched(page.read_text("utf-8")).addresses
        if not (page.parent / re.split(r"[#?]", address)[0]).exists()
    }
    assert missing == set()


@pytest.mark.browser
@pytest.mark.parametrize("viewport", [WIDE, PHONE], ids=["desk", "phone"])
def test_the_site_opens_from_the_disk_and_stays_there(
    site: Path, browser: Any, viewport: dict[str, int]
) -> None:
    context = browser.new_context(viewport=viewport)
    page = context.new_page()
    asked: list[str] = []
    said: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    for name in SITE_PAGES:
        page.goto((site / name).as_uri())
        page.wait_for_load_state("networkidle")
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), name
    context.close()
    assert asked
    assert [address for address in asked if not address.startswith(site.as_uri())] == []
    assert said == []


@pytest.mark.browser
def test_the_site_is_searched_without_a_server(site: Path, browser: Any) -> None:
    context = browser.new_context(viewport=WIDE)
    page = context.new_page()
    page.goto((site / "index.html").as_uri())
    page.locator("input.md-search__input").click()
    page.keyboard.type("superheat")
    found = page.locator(".md-search-result__item a")
    found.first.wait_for()
    assert "words.html" in " ".join(link.get_attribute("href") for link in found.all())
    context.close()


@pytest.mark.parametrize("page", PAGES, ids=relative)
def test_links_and_pictures_are_there(page: Path) -> None:
    """Here the links that a reader of the files follows; the strict build holds those of the site."""
    targets = re.findall(
        r"\]\(([^)\s]+)\)", re.sub(r"```.*?```", "", page.read_text("utf-8"), flags=re.DOTALL)
    )
    files = (target.partition("#")[0] for target in targets if not target.startswith(("#", "http")))
    generated = re.findall(
        r'^    "([a-z_/]+\.md)": ', (DOCS / "reference.py").read_text("utf-8"), re.MULTILINE
    )
    there = {(DOCS / name).resolve() for name in generated}
    missing = [
        file
        for file in files
        if not (page.parent / file).exists() and (page.parent / file).resolve() not in there
    ]
    assert missing == []


def test_every_picture_is_used_and_small() -> None:
    text = "".join(page.read_text("utf-8") for page in PAGES)
    for picture in (DOCS / "images").iterdir():
        assert f"images/{picture.name}" in text, picture.name
        assert picture.stat().st_size < 200_000, picture.name


def lines_of_code(page: Path) -> Iterator[str]:
    """Command lines of a page, continued lines joined."""
    text = page.read_text("utf-8")
    code = [*re.findall(r"```(?:console|sh)\n(.*?)```", text, re.DOTALL)]
    code += re.findall(
        r"(?:^(?: {4}|\t).*\n?)+", re.sub(r"```.*?```", "", text, flags=re.DOTALL), re.MULTILINE
    )
    for block in code:
        for line in re.sub(r"\\\n\s*", " ", block).split("\n"):
            yield re.sub(r"^\s*(\$ )?(\.venv(/bin/|\\Scripts\\))?", "", line)
    yield from re.findall(
        r"`((?:coldsift|make|python -m benchmarks)[^`]*)`", re.sub(r"```.*?```", "", text, flags=re.DOTALL)
    )


COMMANDS = sorted(
    {
        line.strip()
        for page in PAGES
        for line in lines_of_code(page)
        if re.match(r"(coldsift|make)( |$)|python -m benchmarks", line)
    }
)


def parsed(line: str) -> None:
    """Parse a command line as coldsift does, without running it."""
    words = shlex.split(line.partition(" > ")[0], comments=True)[1:]
    command: Any = typer.main.get_command(app)
    context = None
    while hasattr(command, "commands"):
        if not words or words[0].startswith("-"):
            return
        name = words.pop(0)
        command = command.commands[name]
        context = command.context_class(command, info_name=name, parent=context)
    # A command that is only named, in running text, has no arguments to hold against.
    if words:
        command.make_context(command.name, words)


@pytest.mark.parametrize("line", COMMANDS)
def test_every_command_that_is_shown_exists(line: str) -> None:
    if line.startswith("coldsift"):
        parsed(line)
    elif line.startswith("make"):
        targets = re.findall(r"^([a-z-]+):(?!=)", (ROOT / "Makefile").read_text("utf-8"), re.MULTILINE)
        assert set(shlex.split(line, comments=True)[1:]) <= set(targets)
    else:
        assert importlib.util.find_spec(shlex.split(line, comments=True)[2]) is not None


def test_the_commands_of_the_pages_were_found() -> None:
    assert sum(line.startswith("coldsift screen") for line in COMMANDS) >= 5
    assert {"make report", "make test"} <= {" ".join(shlex.split(line, comments=True)) for line in COMMANDS}


@pytest.mark.parametrize(
    "line",
    ["coldsift screen LOGS --no-such-option", "coldsift nothing LOGS", "coldsift screen LOGS --band wide"],
)
def test_a_wrong_command_would_be_noticed(line: str) -> None:
    with pytest.raises(Exception, match=r"no-such-option|nothing|valid number"):
        parsed(line)


def test_the_figures_of_the_readme_are_those_measured() -> None:
    accuracy = (DOCS / "accuracy.md").read_text("utf-8")

    def measured(row: str) -> list[str]:
        found = re.search(rf"^\| {row} \|(.*)$", accuracy, re.MULTILINE)
        assert found is not None
        return [f"{round(float(share))}" for share in re.findall(r"([\d.]+)% \(", found[1])]

    (faulty, faulty_second), (healthy, healthy_second) = map(
        measured, ("faulty units flagged", "healthy units flagged")
    )
    readme = (ROOT / "README.md").read_text("utf-8")
    assert f"{faulty} of 100 faulty units are flagged and {healthy} of 100 healthy ones" in readme
    assert f"built apart from the first, {faulty_second} and {healthy_second}." in readme
