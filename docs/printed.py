"""What the commands on the pages print.

Goes in: a page whose ``console`` blocks show commands behind ``$`` and, under each, what it printed. Comes
out: the same commands run in a folder that looks like a fresh clone, and what they print now.
``python docs/printed.py`` puts it into the pages (all, or those named) where it differs; a test runs the same
and changes nothing.

On a page, a line ``…`` stands for any lines or none, and ``…`` at the end of a line for the rest of it.
"""

from __future__ import annotations

import os
import re
import shutil
import stat
import subprocess
import sys
import tempfile
import textwrap
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

DOCS = Path(__file__).resolve().parent
ROOT = DOCS.parent
BLOCK = re.compile(r"^(?P<indent> *)```console\n(?P<body>.*?)\n *```$", re.MULTILINE | re.DOTALL)
COLUMNS = 92
MARK = "\x01"
BOLD = re.compile(r"\x1b\[\d*m")
SHORT = Path("/tmp")
COPIED = ("Makefile", "sample_logs", "docs/examples")


@dataclass(frozen=True, slots=True)
class Call:
    """A command on a page, and what the page says it prints."""

    command: str
    printed: str


def calls(body: str) -> Iterator[Call]:
    """The commands of one block, their lines together."""
    for part in re.split(r"^\$ ", body, flags=re.MULTILINE)[1:]:
        lines = part.split("\n")
        last = next(at for at, line in enumerate(lines) if not line.endswith("\\"))
        yield Call("\n".join(lines[: last + 1]), "\n".join(lines[last + 1 :]).rstrip())


def blocks(page: str) -> list[re.Match[str]]:
    """The console blocks of a page's text."""
    return list(BLOCK.finditer(page))


def calls_of(page: str) -> list[Call]:
    """All commands of a page's text, in order."""
    return [call for block in blocks(page) for call in calls(textwrap.dedent(block["body"]))]


def pages() -> list[Path]:
    """The pages that show commands with what they print."""
    return sorted(path for path in DOCS.rglob("*.md") if blocks(path.read_text("utf-8")))


@contextmanager
def clone() -> Iterator[Path]:
    """A folder with what the commands need; the installed coldsift stands for the virtual environment.

    Its path is short, since a terminal breaks lines with long ones.
    """
    with tempfile.TemporaryDirectory(prefix="c", dir=SHORT if SHORT.is_dir() else None) as name:
        folder = Path(name)
        _lay_out(folder)
        yield folder


def _lay_out(folder: Path) -> None:
    for name in COPIED:
        copy = shutil.copytree if (ROOT / name).is_dir() else shutil.copy
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        copy(ROOT / name, folder / name)
    bin_folder = folder / ".venv" / "bin"
    bin_folder.mkdir(parents=True)
    for name, arguments in (("python", ""), ("coldsift", " -m coldsift.cli")):
        script = bin_folder / name
        script.write_text(f'#!/bin/sh\nexec "{sys.executable}"{arguments} "$@"\n')
        script.chmod(script.stat().st_mode | stat.S_IXUSR)
    (bin_folder / "activate").write_text("")
    (folder / ".venv" / ".ready").write_text("")


def run(page: str, folder: Path) -> list[str]:
    """Run all commands of a page, one after the other, in ``folder``; what each wrote to standard output."""
    script = "".join(f"{call.command}\nprintf '{MARK}'\n" for call in calls_of(page))
    environment = {
        **os.environ,
        "PATH": f"{folder / '.venv' / 'bin'}{os.pathsep}{os.environ['PATH']}",
        # A terminal of one width, without colours: what a reader sees, the progress left out.
        "TTY_COMPATIBLE": "1",
        "NO_COLOR": "1",
        "TERM": "xterm",
        "COLUMNS": str(COLUMNS),
        "POLARS_TABLE_WIDTH": str(COLUMNS),
        # As if make had not been called by another make, as it is by the tests'.
        "MAKEFLAGS": "",
        "MAKELEVEL": "0",
    }
    done = subprocess.run(
        ["bash", "-s"],
        input=script.encode(),
        cwd=folder,
        env=environment,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        check=False,
    )
    told = BOLD.sub("", done.stdout.decode()).replace(str(folder) + os.sep, "")
    told = re.sub(r"[^\S\n]+$", "", told, flags=re.MULTILINE)
    return [part.strip("\n") for part in told.split(MARK)[:-1]]


def same(said: str, printed: str) -> bool:
    """True where a page says what was printed."""
    pattern = "".join(map(_line_pattern, said.split("\n")))
    return re.fullmatch(pattern, f"{printed}\n") is not None


def _line_pattern(line: str) -> str:
    if line == "…":
        return r"(?:[^\n]*\n)*?"
    rest = r"[^\n]*" if line.endswith("…") else ""
    return f"{re.escape(line.removesuffix('…'))}{rest}\n"


def main() -> None:
    """Write what the commands print now into the pages that say otherwise."""
    for path in [Path(name).resolve() for name in sys.argv[1:]] or pages():
        text = path.read_text("utf-8")
        with clone() as folder:
            now = iter(run(text, folder))

        def renewed(block: re.Match[str], now: Iterator[str] = now) -> str:
            told = []
            for call in calls(textwrap.dedent(block["body"])):
                printed = next(now)
                told.append(f"$ {call.command}")
                told.append(call.printed if same(call.printed, printed) else printed)
            body = textwrap.indent("\n".join(filter(None, told)), block["indent"])
            return f"{block['indent']}```console\n{body}\n{block['indent']}```"

        renewed_text = BLOCK.sub(renewed, text)
        if renewed_text != text:
            path.write_text(renewed_text, "utf-8")
            print(f"{path.relative_to(ROOT)}: written anew")


if __name__ == "__main__":
    main()
