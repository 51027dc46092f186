"""Commands called as a user types them: in a process of their own, or, much sooner, in the tests' own."""

from __future__ import annotations

import contextlib
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

from typer.testing import CliRunner

from coldsift.cli.app import app


@dataclass(frozen=True, slots=True)
class Done:
    """How a command ended and what it printed."""

    returncode: int
    stdout: str
    stderr: str


def run(*arguments: object, cwd: Path | None = None) -> Done:
    """Call a command within this process; anything that would end in a traceback fails the test."""
    with contextlib.chdir(cwd or Path.cwd()):
        result = CliRunner().invoke(app, [*map(str, arguments)], prog_name="coldsift")
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return Done(result.exit_code, result.stdout, result.stderr)


def run_alone(*arguments: object, cwd: Path | None = None) -> Done:
    """Call a command in a process of its own, as from a terminal."""
    command = [sys.executable, "-m", "coldsift.cli", *map(str, arguments)]
    done = subprocess.run(command, capture_output=True, text=True, encoding="utf-8", check=False, cwd=cwd)
    return Done(done.returncode, done.stdout, done.stderr)
