"""Hostile text: a voyage of nothing else, and whether any output obeys it.

Goes in: a scratch folder. Comes out: counts. The tests hold every output to the same checks.
"""

from __future__ import annotations

import csv
import re
import zipfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import openpyxl

from benchmarks.robustness.hostile_voyage import HostileVoyage, Texts, write_inspections, write_voyage
from coldsift.dossier import build_dossier
from coldsift.dossier.pdf import NoBrowser, find_browser, print_pdf
from coldsift.engine import Screening, screen, write_outputs
from coldsift.engine.pre_trip import inspect_paths, write_pre_trip
from coldsift.engine.reconstructing import Request, reconstruct_from
from coldsift.hidden_characters import shows

OF_THE_DOSSIER = 6
"""Which of the containers has a dossier: one that runs warm."""

_MACHINES = re.compile(r"<(script|style)\b.*?</\1>", re.DOTALL)
_ISOLATED = re.compile("\u2068([^\u2068\u2069<>]*)\u2069")
_FORMULA = re.compile(r"[\t\r]|\s*[=+\-@＝＋－＠]")
_ACTS = (b"/JavaScript", b"/JS ", b"/URI", b"/Launch", b"/OpenAction", b"/SubmitForm", b"/EmbeddedFile")

STRUCTURE = """html => {
  const drawn = new Set(["g", "path", "text", "use", "defs", "clipPath", "rect", "line", "circle"]);
  const drawing = (svg) => {
    const inside = [...svg.querySelectorAll("*")].map((element) => element.localName);
    const strange = inside.filter((name) => !drawn.has(name));
    return `svg<${strange.join()}>`;
  };
  const lists = new Set(["tbody", "ul", "ol", "dl", "select", "p"]);
  const of = (element) => {
    if (element.localName === "svg") return drawing(element);
    const inner = [...element.children].map(of);
    if (lists.has(element.localName)) inner.sort();
    const names = [...element.attributes].map((attribute) => attribute.name).sort();
    return `${element.localName}[${names}](${element.getAttribute("class") ?? ""})<${inner.join("")}>`;
  };
  return of(new DOMParser().parseFromString(html, "text/html").documentElement);
}"""
"""Elements, names of attributes and classes of a page that is read and not run; lists in any order.

What a drawing has depends on which label finds room; there only what no drawing has is told.
"""

OBEYS = r"""() => [
  ...(window.__hit === undefined ? [] : ["a script of the text ran"]),
  ...[...document.querySelectorAll("*")].flatMap((element) => [...element.attributes]
    .filter(({ name, value }) => /^on/i.test(name) ||
      (/(href|src|action)$/i.test(name) &&
        !/^(#|data:,|data:image\/png;|shared\.js|\.\.\/|units\/|index\.html|handover\.html)/.test(value)))
    .map(({ name, value }) => `${element.localName} ${name}=${value}`)),
]"""
"""What a page, as it stands in the browser, would do because a text says so."""

TOO_WIDE = "() => document.documentElement.scrollWidth - document.documentElement.clientWidth"
"""How far a page goes beyond the window. [px]"""


@dataclass(frozen=True, slots=True)
class Made:
    """A voyage with its outputs on the disk.

    Attributes
    ----------
    voyage, screening
        As written, and as screened.
    out
        Folder of the run.
    pages
        Every page by a name that both twins share.
    depot
        Folder of the pre-trip inspections' outputs.
    """

    voyage: HostileVoyage
    screening: Screening
    out: Path
    pages: Mapping[str, Path]
    depot: Path


def make(folder: Path, *, hostile: bool = True) -> Made:
    """Write the voyage, screen it and write its outputs, a dossier and a page of pre-trip inspections.

    Parameters
    ----------
    folder
        To write into.
    hostile
        False for the twin with harmless texts.
    """
    voyage = write_voyage(folder, hostile=hostile)
    screening = screen([voyage.logs], voyage.settings)
    out = folder / "out"
    write_outputs(screening, out, voyage.name)
    found = screening.findings.sort("rank")["container"].to_list()
    pages = dict(zip((f"unit {rank}" for rank, _ in enumerate(found, 1)), _unit_pages(out), strict=True))
    container = voyage.containers[OF_THE_DOSSIER]
    dossier = folder / "dossier.html"
    reconstructed = reconstruct_from(screening.of_container(container), Request(container, None, None))
    dossier.write_text(build_dossier(reconstructed), encoding="utf-8")
    depot = folder / "pre_trip"
    inspected = inspect_paths([write_inspections(folder / "depot", hostile=hostile)])
    pre_trip = write_pre_trip(inspected, depot, Texts(hostile).one("Title", 3))
    return Made(
        voyage,
        screening,
        out,
        {
            "index": out / "index.html",
            "handover": out / "handover.html",
            "dossier": dossier,
            "pre-trip": pre_trip,
            **pages,
        },
        depot,
    )


def _unit_pages(out: Path) -> list[Path]:
    """Pages of the units, by rank."""
    index = (out / "index.html").read_text(encoding="utf-8")
    anchors = dict.fromkeys(re.findall(r'<tr role="row"[^>]* data-unit="unit-([^"]+)"', index))
    return [out / "units" / f"{anchor}.html" for anchor in anchors]


def hidden_in(html: str) -> list[str]:
    """Places of a page where something stands that does not show or turns what is around it."""
    text = _ISOLATED.sub(r"\1", _MACHINES.sub("", html)).replace("\n", " ")
    return [piece for piece in text.split(">") if not shows(piece)]


def formulas_in_workbook(path: Path) -> tuple[int, list[str]]:
    """Cells of a workbook, and what in it a spreadsheet program would reckon, follow or fetch."""
    faults = []
    cells = 0
    for sheet in openpyxl.load_workbook(path).worksheets:
        for row in sheet.iter_rows():
            for cell in row:
                cells += cell.value is not None
                says = isinstance(cell.value, str)
                if cell.data_type == "f" or cell.hyperlink or (says and not is_neutral(str(cell.value))):
                    faults.append(f"{sheet.title} {cell.coordinate}: {cell.value!r}")
    with zipfile.ZipFile(path) as parts:
        for name in parts.namelist():
            content = parts.read(name)
            if "externalLink" in name or b"<hyperlink" in content or b"<f>" in content:
                faults.append(f"{name}: a link or a formula")
    return cells, faults


def formulas_in_csv(path: Path) -> tuple[int, list[str]]:
    """Fields of a CSV, and those that a spreadsheet program would reckon, at commas or at semicolons."""
    text = path.read_bytes().decode("utf-8-sig")
    rows = list(csv.reader(text.splitlines()))
    fields = [field for row in rows for field in row]
    pieces = [piece.lstrip('" ') for line in text.splitlines() for piece in line.split(";")[1:]]
    return len(fields), [each for each in (*fields, *pieces) if not (is_neutral(each) or _is_number(each))]


def is_neutral(text: str) -> bool:
    """Whether no spreadsheet program takes a text for a formula."""
    return not _FORMULA.match(text)


def _is_number(text: str) -> bool:
    return re.fullmatch(r"[+-]?\d+(\.\d+)?(e[+-]?\d+)?", text) is not None


def acts_in_pdf(pdf: bytes) -> list[str]:
    """What a PDF would do when it is opened or clicked at."""
    return [act.decode() for act in _ACTS if act in pdf]


def watched(page: Any) -> list[str]:
    """What a page says, asks or fetches from elsewhere, from now on."""
    said: list[str] = []

    def refuse(dialog: Any) -> None:
        said.append(dialog.message)
        dialog.dismiss()

    page.on("console", lambda message: said.append(message.text))
    page.on("pageerror", lambda error: said.append(str(error)))
    page.on("dialog", refuse)
    page.on("popup", lambda other: said.append(f"opened {other.url}"))
    page.on("request", lambda request: said.append(request.url) if _is_elsewhere(request.url) else None)
    return said


def _is_elsewhere(address: str) -> bool:
    return not address.startswith(("file:///", "data:,"))


def measure(scratch: Path) -> dict[str, Any]:
    """Make both twins and look at every output of the hostile one.

    Parameters
    ----------
    scratch
        Empty folder.

    Returns
    -------
    dict
        ``texts``: hostile texts placed; ``pages``: pages looked at for characters that do not show;
        ``cells``: cells and fields of workbook and CSV; ``pages_opened``: pages opened in a browser, as they
        are and without their policy, and ``structures``: pages whose elements were compared with the
        harmless twin's (both 0 where there is no browser); ``findings``: what was found wrong, in words.
    """
    hostile = make(scratch / "hostile")
    faults = [f"{name}: {each}" for name, path in hostile.pages.items() for each in hidden_in(_read(path))]
    cells, found = formulas_in_workbook(hostile.out / "findings.xlsx")
    faults += found
    for path in (hostile.out / "findings.csv", hostile.depot / "pre_trip.csv"):
        fields, found = formulas_in_csv(path)
        cells += fields
        faults += found
    opened, compared, found = _in_browser(hostile, scratch)
    return {
        "texts": len(hostile.voyage.placed),
        "pages": len(hostile.pages),
        "cells": cells,
        "pages_opened": opened,
        "structures": compared,
        "findings": [*faults, *found],
    }


def _in_browser(hostile: Made, scratch: Path) -> tuple[int, int, list[str]]:
    """Open the pages, as they are and without their policy; pages opened and compared, and faults."""
    try:
        from playwright.sync_api import sync_playwright

        executable = find_browser()
    except (ImportError, NoBrowser):
        return 0, 0, []
    faults: list[str] = []
    opened = 0
    harmless = make(scratch / "harmless", hostile=False)
    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=executable, args=["--no-sandbox", "--disable-gpu"])
        blank = browser.new_page()
        for name, path in hostile.pages.items():
            texts = (_read(path), _read(harmless.pages[name]))
            if len({blank.evaluate(STRUCTURE, text) for text in texts}) > 1:
                faults.append(f"{name}: other elements than with harmless texts")
        for without_policy in (False, True):
            context = browser.new_context(bypass_csp=without_policy)
            for path in hostile.pages.values():
                page = context.new_page()
                said = watched(page)
                page.goto(path.as_uri(), wait_until="load")
                faults += [*page.evaluate(OBEYS), *said]
                opened += 1
                page.close()
        browser.close()
    printed = scratch / "dossier.pdf"
    print_pdf(_read(hostile.pages["dossier"]), printed)
    return opened, len(hostile.pages), [*faults, *acts_in_pdf(printed.read_bytes())]


def _read(path: Path) -> str:
    return path.read_text(encoding="utf-8")
