"""A broken parser is named and left out, the others go on; a declaration can neither run code nor hang."""

from __future__ import annotations

import hashlib
import json
import os
import pickle
import re
import subprocess
import sys
import time
from collections.abc import Callable, Iterable, Iterator
from importlib import metadata
from pathlib import Path

import pytest
from tests.builders import SMALL_LAYOUT as SMALL
from tests.cli.calls import run

import coldsift
from coldsift.engine import Settings
from coldsift.engine.write import manifest
from coldsift.intake import read_logs
from coldsift.intake.declaration import MOST_BYTES
from coldsift.intake.layouts import load_layouts, own_folder

OWN = {path.parent.name for path in own_folder().glob("*/layout.toml")}


def declared(home: Path, text: str | bytes = SMALL, name: str = "small") -> Path:
    folder = home / name
    folder.mkdir(parents=True, exist_ok=True)
    content = text.encode() if isinstance(text, str) else text
    (folder / "layout.toml").write_bytes(content)
    return home


def small_log(home: Path, name: str = "log.csv", hours: int = 30) -> Path:
    path = home / name
    rows = [f"QXAU0000016,2031-01-0{1 + hour // 24} {hour % 24:02d}:00,-18.5,-18" for hour in range(hours)]
    path.write_text("\n".join(["Box,When,Blown,Wanted", *rows]) + "\n", encoding="utf-8")
    return path


BROKEN: dict[str, str | bytes] = {
    "torn": "[layout\nname = 3",
    "not_text": b"\xff\xfe\x00[layout]",
    "deep": "a = " + "[" * 5000 + "]" * 5000,
    "long_number": "a = " + "9" * 5000,
    "unknown_key": SMALL + 'shell = "rm"\n',
    "unknown_keys": SMALL.replace("[text]", "[text]\n" + "\n".join(f"k{n} = 1" for n in range(50))),
    "number_for_text": SMALL.replace('delimiter = ","', "delimiter = 7"),
    "table_for_list": SMALL.replace("[[column]]", "[column]", 1).replace("[[column]]", "[other]"),
    "no_heading": SMALL.replace('"Blown"', "[]"),
    "odd_encoding": SMALL.replace("[text]", '[text]\nencoding = "no-such"'),
    "packing_encoding": SMALL.replace("[text]", '[text]\nencoding = "zlib"'),
    "code_encoding": SMALL.replace("[text]", '[text]\nencoding = "unicode_escape"'),
    "path_encoding": SMALL.replace("[text]", '[text]\nencoding = "../evil"'),
    "path_zone": SMALL.replace('"UTC"', '"../../../etc/passwd"'),
    "empty_separator": SMALL + '[preamble]\nseparator = ""\n',
    "empty_alarm_separator": SMALL + '[values]\nalarm_separator = ""\n',
    "text_sentinels": SMALL + '[values]\nsentinels = "-999"\n',
    "endless_sentinels": SMALL + "[values]\nsentinels = [inf, nan]\n",
    "huge_sentinels": SMALL + f"[values]\nsentinels = [1{'0' * 400}]\n",
    "far_field": SMALL.replace("[text]", 'form = "fixed_width"\n[text]')
    + '[[field]]\nheading = "When"\nstart = 10000000000000000000000\nwidth = 3\n',
    "text_field": SMALL + '[[field]]\nheading = "When"\nstart = "one"\nwidth = 3\n',
    "torn_pattern": SMALL.replace('columns = ["Box"]', 'file_name = "(["'),
    "backward_pattern": SMALL.replace('columns = ["Box"]', r"file_name = '([A-Z])\1'"),
    "swelling_pattern": SMALL.replace('columns = ["Box"]', 'file_name = "((a{1000}){1000}){1000}"'),
    "heading_rows": SMALL.replace("[text]", "[text]\nheading_rows = true"),
    "huge": "# " + "x" * MOST_BYTES,
}


def test_each_broken_declaration_is_named_and_all_others_go_on(tmp_path: Path) -> None:
    mine = declared(tmp_path / "mine")
    for name, text in BROKEN.items():
        declared(mine, text.replace('"small"', f'"{name}"') if isinstance(text, str) else text, name)
    os.mkfifo(declared(mine, "", "pipe") / "pipe" / "pipe")
    (mine / "pipe" / "layout.toml").unlink()
    (mine / "pipe" / "pipe").rename(mine / "pipe" / "layout.toml")
    (mine / "device").mkdir()
    (mine / "device" / "layout.toml").symlink_to("/dev/zero")
    layouts, messages = load_layouts([mine])
    assert {layout.name for layout in layouts} == OWN | {"small"}
    left_out = {message.file.split("/")[0] for message in messages}
    assert left_out == {*BROKEN, "pipe", "device"}
    assert all(message.severity == "warning" and len(message.what) < 300 for message in messages)
    intake = read_logs([small_log(tmp_path)], parsers=[mine])
    assert intake.log.height == 30
    assert intake.sources[0].layout == "small"


def test_a_folder_that_is_no_text_can_be_told_of(tmp_path: Path) -> None:
    place = os.fsencode(tmp_path) + b"/mine/\xff\xfe"
    os.makedirs(place)  # noqa: PTH103 - such a name is no text
    Path(os.fsdecode(place), "layout.toml").write_text("[", encoding="utf-8")
    _, messages = load_layouts([tmp_path / "mine"])
    json.dumps([message.what + message.file for message in messages]).encode()
    assert "\ufffd" in messages[0].file
    messages[0].file.encode()


def test_a_pattern_that_would_take_ages_by_going_back_takes_none(tmp_path: Path) -> None:
    # (a+)+$ over n letters takes 2^n steps where an engine goes back.
    text = SMALL.replace('columns = ["Box"]', 'file_name = "(a+)+X$"').replace('"Box"', '"Boxes"')
    mine = declared(tmp_path / "mine", text)
    log = small_log(tmp_path, "a" * 200 + ".csv")
    log.write_text(log.read_text().replace("Box,", "").replace("QXAU0000016,", ""))
    begun = time.monotonic()
    intake = read_logs([log], parsers=[mine], layout="small")
    assert time.monotonic() - begun < 5
    assert intake.sources[0].used == 0


@pytest.mark.parametrize(
    "pattern", [r"unit_([A-Z]{4}\d{7})", r"([A-Z]{4}[0-9]{7})\.csv$", r"(?i)UNIT_([a-z]{4}\d{7})"]
)
def test_the_number_is_found_in_the_files_name(tmp_path: Path, pattern: str) -> None:
    text = SMALL.replace('columns = ["Box"]', f"file_name = '{pattern}'")
    log = small_log(tmp_path, "unit_QXAU0000016.csv")
    log.write_text(log.read_text().replace("Box,", "").replace("QXAU0000016,", ""))
    intake = read_logs([log], parsers=[declared(tmp_path / "mine", text)], layout="small")
    assert intake.log["container"].unique().to_list() == ["QXAU0000016"]


def test_two_of_one_name_are_told_and_the_one_named_later_counts(tmp_path: Path) -> None:
    first = declared(tmp_path / "first")
    second = declared(tmp_path / "second", SMALL.replace("Blown", "Blower"))
    layouts, messages = load_layouts([first, second])
    (small,) = (layout for layout in layouts if layout.name == "small")
    assert small.columns[0].headings == ("Blower",)
    assert small.origin == "folder second"
    (message,) = messages
    assert "folder second takes the place of another of this name: folder first" in message.what
    assert load_layouts([first, first])[1] == []
    (message,) = load_layouts(
        [declared(tmp_path / "third", SMALL.replace("small", "comma_iso"), "comma_iso")]
    )[1]
    assert "comes with coldsift" in message.what


def test_a_folder_linked_to_itself_ends(tmp_path: Path) -> None:
    mine = declared(tmp_path / "mine")
    (mine / "again").symlink_to(mine, target_is_directory=True)
    (mine / "linked").symlink_to(mine / "small", target_is_directory=True)
    (mine / "small" / "loop").symlink_to(mine / "small", target_is_directory=True)
    layouts, messages = load_layouts([mine])
    assert {layout.name for layout in layouts} == OWN | {"small"}
    # A layout bears the name of its folder.
    assert [message.file for message in messages] == ["linked/layout.toml"]


class PlugIn:
    """Stands for an installed entry point."""

    dist = None

    def __init__(self, name: str, loaded: Callable[[], object]) -> None:
        self.name, self.load = name, loaded


def _ends() -> object:
    sys.exit(0)


def _prints() -> object:
    print("{}")
    return "/no/such/folder"


def _fails() -> object:
    raise RuntimeError("three\nlines\nof it")


def test_a_plug_in_that_ends_prints_or_returns_nonsense_stops_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    mine = declared(tmp_path / "mine")
    points = [
        PlugIn("ends", _ends),
        PlugIn("fails_late", lambda: _fails),
        PlugIn("nothing", lambda: None),
        PlugIn("many", lambda: [mine]),
        PlugIn("prints", lambda: _prints),
        PlugIn("sound", lambda: mine),
    ]
    monkeypatch.setattr(metadata, "entry_points", lambda group: points)
    layouts, messages = load_layouts()
    assert {layout.name for layout in layouts} == OWN | {"small"}
    named = [message.file for message in messages]
    assert named == [
        *(f"plug-in {name}" for name in ("ends", "fails_late", "many", "nothing")),
        "/no/such/folder",
    ]
    assert capsys.readouterr().out == ""


EVIL = "from pathlib import Path\nPath({marker!r}).write_text('run')\n"


@pytest.fixture
def baited(tmp_path: Path) -> Iterator[tuple[Path, Path]]:
    """A folder of logs with everything in it that might be run, and the file that tells when it was."""
    logs, marker = tmp_path / "logs", tmp_path / "marker"
    logs.mkdir()
    small_log(logs, "unit.csv")
    small = logs / "small"
    declared(logs, SMALL)
    text = EVIL.format(marker=str(marker))
    for place in (logs, small):
        for name in (
            "reader",
            "parser",
            "plugin",
            "layout",
            "conftest",
            "sitecustomize",
            "usercustomize",
            "baited",
        ):
            (place / f"{name}.py").write_text(text)
    (logs / "__init__.py").write_text(text)
    (logs / "layout.toml").write_text(SMALL)
    held = logs / "baited-1.0.dist-info"
    held.mkdir()
    (held / "METADATA").write_text("Metadata-Version: 2.1\nName: baited\nVersion: 1.0\n")
    (held / "entry_points.txt").write_text("[coldsift.parsers]\nbaited = baited:folder\n")
    yield logs, marker


def test_nothing_in_the_folder_of_logs_or_in_the_current_one_is_ever_run(baited: tuple[Path, Path]) -> None:
    logs, marker = baited
    command = Path(sys.executable).with_name("coldsift")
    done = subprocess.run(
        [command, "layout", "try", "unit.csv"], cwd=logs, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert "small" not in done.stdout
    assert not marker.exists()


def test_a_package_that_lies_in_the_current_folder_is_none_that_is_installed(
    baited: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    logs, marker = baited
    # As python -m puts it there.
    monkeypatch.syspath_prepend(str(logs))
    monkeypatch.chdir(logs)
    told = run("layout", "list")
    assert told.returncode == 0
    assert "plug-in baited of baited 1.0: This plug-in is left out" in told.stderr
    assert "not installed" in told.stderr
    assert not marker.exists()


def test_the_manifest_names_every_parser_that_read_something(sample_run: Path) -> None:
    told = json.loads((sample_run / "manifest.json").read_text(encoding="utf-8"))
    used = {source["layout"] for source in told["sources"]} - {"generic", None}
    assert told["parsers"] == [
        {
            "name": name,
            "from": "comes with coldsift",
            "sha256": hashlib.sha256((own_folder() / name / "layout.toml").read_bytes()).hexdigest(),
        }
        for name in sorted(used)
    ]
    assert len(used) > 3


def test_a_layout_that_is_edited_while_logs_are_read_is_told_as_it_was_read_by(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    mine = declared(tmp_path / "mine")

    def then_edited(folders: Iterable[Path]) -> object:
        loaded = load_layouts(folders)
        declared(tmp_path / "mine", SMALL.replace('"Blown"', '"Blown away"'))
        return loaded

    monkeypatch.setattr("coldsift.engine.reading.load_layouts", then_edited)
    told = manifest(coldsift.screen([small_log(tmp_path)], Settings(parsers=(mine,))))
    assert [(each["name"], each["sha256"]) for each in told["parsers"]] == [
        ("small", hashlib.sha256(SMALL.encode()).hexdigest())
    ]


def test_a_layout_says_where_it_comes_from(tmp_path: Path) -> None:
    layouts, _ = load_layouts([declared(tmp_path / "mine")])
    (small,) = (layout for layout in layouts if layout.name == "small")
    assert small.origin == "folder mine"
    assert small.sha256 == hashlib.sha256(SMALL.encode()).hexdigest()


def test_layouts_go_to_other_processes_and_machines_as_they_are(tmp_path: Path) -> None:
    layouts, _ = load_layouts([declared(tmp_path / "mine")])
    again = pickle.loads(pickle.dumps(layouts))
    assert again == layouts
    assert [layout.origin for layout in again] == [layout.origin for layout in layouts]


def test_hostile_declarations_can_be_tried_on_a_file(tmp_path: Path) -> None:
    mine = declared(tmp_path / "mine", SMALL.replace("small", "torn"), "bent")
    log = small_log(tmp_path)
    tried = run("layout", "try", log, "--parsers", mine)
    assert tried.returncode == 0
    assert "generic" in tried.stdout
    assert "bent/layout.toml: This layout is left out" in tried.stderr
    missing = run("layout", "try", log, "--parsers", tmp_path / "none")
    assert missing.returncode == 0


def test_no_code_of_ours_reads_what_can_run_code() -> None:
    source = Path(coldsift.__file__).parent
    runs = re.compile(
        r"import (yaml|marshal|shelve)|pickle\.loads?\(|(?<![.\w])(eval|exec)\(|os\.system|shell=True"
    )
    texts = {path.name: path.read_text(encoding="utf-8") for path in source.rglob("*.py")}
    assert len(texts) > 100
    assert [name for name, text in sorted(texts.items()) if runs.search(text)] == []
