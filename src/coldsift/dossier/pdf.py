"""The dossier on paper: printed by the Chromium or Chrome of the machine."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import tempfile
from collections.abc import Mapping
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Literal

BROWSERS = ("chromium", "chromium-browser", "google-chrome", "google-chrome-stable", "chrome")
NAMED_BY = "COLDSIFT_BROWSER"
"""Environment variable that names the browser where it goes by none of these names."""

SECONDS = 120
"""Longest that printing may take. [s]"""

PRINTED_AT = b"D:20000101000000+00'00'"
"""Stands in every file for the time of printing, so that the same dossier gives the same bytes."""

_TIME = re.compile(rb"(/(?:CreationDate|ModDate) \()D:\d{14}[+-]\d\d'\d\d'(\))")
_NODE = re.compile(rb"\(node\d{8}\)")

Paper = Literal["A4", "Letter"]


class NoBrowser(Exception):
    """No browser was found, or it did not print; the message says what to do."""


def print_pdf(html: str, target: Path, paper: Paper = "A4") -> None:
    """Print a dossier to a PDF file.

    Parameters
    ----------
    html
        From :func:`coldsift.dossier.build_dossier`.
    target
        The file; written whole or not at all.
    paper
        Size of the sheets.

    Raises
    ------
    NoBrowser
        When there is no Chromium or Chrome, or it fails.

    Notes
    -----
    The same text gives the same bytes with the same browser and fonts.
    """
    browser = find_browser()
    target = target.resolve()
    # Beside the target: some browsers may read and write nowhere but among the user's own files.
    with tempfile.TemporaryDirectory(
        prefix="coldsift-", dir=target.parent, ignore_cleanup_errors=True
    ) as folder:
        page, printed = Path(folder) / "dossier.html", Path(folder) / "dossier.pdf"
        page.write_text(html.replace("<html ", f'<html data-paper="{paper}" ', 1), encoding="utf-8")
        _run(_command(browser, page, printed))
        if not printed.exists():
            raise NoBrowser(f"{browser} ended without printing. {_INSTEAD}")
        printed.write_bytes(settled(printed.read_bytes()))
        printed.replace(target)


def print_papers(html: str, targets: Mapping[Paper, Path]) -> None:
    """Print a dossier on several papers at the same time, each to its file; see :func:`print_pdf`.

    Raises
    ------
    NoBrowser
        When one was not printed; the others may have been.
    """
    if not targets:
        return
    with ThreadPoolExecutor(len(targets)) as pool:
        for printed in [pool.submit(print_pdf, html, target, paper) for paper, target in targets.items()]:
            printed.result()


def find_browser() -> str:
    """Path of the browser to print with.

    Raises
    ------
    NoBrowser
        When there is none.
    """
    named = os.environ.get(NAMED_BY)
    for name in (named,) if named else BROWSERS:
        if found := shutil.which(name):
            return found
    if named:
        raise NoBrowser(f"{NAMED_BY} names {named}, which cannot be run. {_INSTEAD}")
    raise NoBrowser(f"No Chromium or Chrome was found to print with. {_INSTEAD}")


_INSTEAD = (
    "Install Chromium (Debian: apt-get install chromium), or name one in the environment variable "
    f"{NAMED_BY}, or open the HTML in any browser and print it from there."
)


def _command(browser: str, page: Path, printed: Path) -> list[str]:
    # Root cannot have the sandbox; everybody else keeps it.
    root = ["--no-sandbox"] if hasattr(os, "geteuid") and os.geteuid() == 0 else []
    return [
        browser,
        "--headless=new",
        *root,
        "--disable-gpu",
        "--disable-background-networking",
        "--disable-component-update",
        "--disable-default-apps",
        "--disable-extensions",
        "--disable-sync",
        "--host-resolver-rules=MAP * ~NOTFOUND",
        "--no-first-run",
        "--no-pings",
        f"--user-data-dir={page.parent / 'profile'}",
        "--no-pdf-header-footer",
        "--generate-pdf-document-outline",
        f"--print-to-pdf={printed}",
        page.as_uri(),
    ]


def _run(command: list[str]) -> None:
    try:
        done = subprocess.run(command, capture_output=True, timeout=SECONDS, check=False)
    except subprocess.TimeoutExpired as error:
        raise NoBrowser(f"{command[0]} did not print within {SECONDS} s. {_INSTEAD}") from error
    except OSError as error:
        raise NoBrowser(f"{command[0]} cannot be run: {error}. {_INSTEAD}") from error
    if done.returncode != 0:
        said = done.stderr.decode(errors="replace").strip().splitlines()
        last = f" It said: {said[-1]}" if said else ""
        raise NoBrowser(f"{command[0]} failed (exit status {done.returncode}).{last} {_INSTEAD}")


def settled(pdf: bytes) -> bytes:
    """Replace what differs from one printing to the next, byte for byte as long.

    That is the time, and the names of table cells, which the browser numbers by whatever else it has opened;
    their order stays, for the file lists them in it.
    """
    pdf = _TIME.sub(lambda found: found[1] + PRINTED_AT + found[2], pdf)
    names = {name: b"(node%08d)" % place for place, name in enumerate(sorted(set(_NODE.findall(pdf))))}
    return _NODE.sub(lambda found: names[found[0]], pdf)
