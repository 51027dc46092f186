"""Nothing coldsift does by itself asks the network: not even where there is none to ask."""

from __future__ import annotations

import functools
import json
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from tests.browser.opened import CHROMIUM, QUIET
from tests.conftest import SAMPLE

ALONE = ["unshare", "--map-root-user", "--net"]
"""Runs a program where there is no interface at all, not even that of the machine to itself."""

COMMANDS = """
import json, socket, sys
from pathlib import Path

asked = []

def watch(event, arguments):
    if event == "socket.__new__" and arguments[1] != socket.AF_UNIX:
        asked.append([event, str(arguments[1])])
    elif event in ("socket.connect", "socket.bind") and isinstance(arguments[1], tuple):
        asked.append([event, str(arguments[1])])
    elif event in ("socket.getaddrinfo", "socket.gethostbyname", "urllib.Request"):
        asked.append([event, str(arguments[0])])

sys.addaudithook(watch)
from coldsift.cli.app import app

home = Path(sys.argv[1])
statuses = []
for command in (
    ["screen", home / "logs", "--out", home / "run"],
    ["archive", "add", home / "run", "--to", home / "archive"],
    ["archive", "again", "--archive", home / "archive"],
    ["archive", "sql", "SELECT count(*) FROM findings", "--archive", home / "archive"],
    ["dossier", sys.argv[2], "--archive", home / "archive", "--out", home / "dossier"],
):
    try:
        app([*map(str, command)], prog_name="coldsift")
    except SystemExit as ended:
        statuses.append(ended.code)
(home / "told.json").write_text(json.dumps({"statuses": statuses, "asked": asked}))
"""


@functools.cache
def alone() -> list[str]:
    """How to run something without any network; empty where that is not allowed."""
    if (
        shutil.which(ALONE[0]) is None
        or subprocess.run([*ALONE, "true"], capture_output=True, check=False).returncode
    ):
        return []
    return ALONE


def test_commands_open_no_socket_and_need_no_network(tmp_path: Path) -> None:
    (tmp_path / "logs").mkdir()
    log = min(SAMPLE.glob("*.zip"), key=lambda path: path.stat().st_size)
    shutil.copy(log, tmp_path / "logs")
    done = subprocess.run(
        [*alone(), sys.executable, "-c", COMMANDS, tmp_path, log.stem],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    told = json.loads((tmp_path / "told.json").read_text(encoding="utf-8"))
    assert told == {"statuses": [0] * 5, "asked": []}, done.stdout + done.stderr
    assert (tmp_path / "dossier" / "index.html").is_file()
    if not alone():
        pytest.skip("no socket was opened; a place without network cannot be made here")


def test_a_socket_would_have_been_noticed(tmp_path: Path) -> None:
    asking = COMMANDS.replace(
        "from coldsift.cli.app import app", "app = lambda *_, **__: socket.socket().close()"
    )
    subprocess.run([sys.executable, "-c", asking, tmp_path, ""], check=True)
    told = json.loads((tmp_path / "told.json").read_text(encoding="utf-8"))
    assert [event for event, _ in told["asked"]] == ["socket.__new__"] * 5


@pytest.mark.browser
def test_pages_show_all_they_hold_without_network(sample_run: Path) -> None:
    if CHROMIUM is None:
        pytest.skip("no chromium found on this machine")
    if not alone():
        pytest.skip("a place without network cannot be made here")
    unit = sorted((sample_run / "units").glob("*.html"))[0]
    for page, made in ((sample_run / "index.html", unit.stem), (unit, 'class="main-svg"')):
        done = subprocess.run(
            [
                *(*alone(), CHROMIUM, "--headless", *QUIET, "--window-size=1200,3000"),
                *("--virtual-time-budget=8000", "--dump-dom", page.as_uri()),
            ],
            capture_output=True,
            text=True,
            check=True,
            timeout=120,
        )
        assert made in done.stdout
