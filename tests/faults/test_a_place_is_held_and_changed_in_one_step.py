"""Whatever ends a run, and at whatever step: the earlier outputs stand, whole, or the new ones."""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from coldsift import places
from coldsift.engine.folders import holding, write_whole
from coldsift.engine.write import OWN
from coldsift.places import OutputError, held

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="processes are copied here")

CHANGING = {"os.rename", "os.remove", "os.rmdir", "os.mkdir", "shutil.rmtree", "ctypes.dlsym"}
EARLIER, NEW = {"mark": "earlier", "units/one": "1"}, {"mark": "new", "units/two": "2"}


def filled(folder: Path, files: dict[str, str]) -> None:
    for name, text in files.items():
        (folder / name).parent.mkdir(exist_ok=True)
        (folder / name).write_text(text, encoding="utf-8")


def contents(folder: Path) -> dict[str, str]:
    return {
        path.relative_to(folder).as_posix(): path.read_text(encoding="utf-8")
        for path in folder.rglob("*")
        if path.is_file()
    }


def in_a_copy_of_this_process(work: Callable[[], None]) -> int:
    """Do it there; gives how it ended, below zero for a signal."""
    child = os.fork()
    if child == 0:
        try:
            work()
            os._exit(0)
        except OutputError:
            os._exit(2)
        except BaseException:
            os._exit(1)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def written_until_step(out: Path, steps: int) -> int:
    """Write anew; before a step that changes anything the process is killed."""

    def write() -> None:
        left = steps

        def step(event: str, arguments: tuple[object, ...]) -> None:
            nonlocal left
            if event in CHANGING and (event != "ctypes.dlsym" or "renameat2" in map(str, arguments)):
                left -= 1
                if left == 0:
                    os.kill(os.getpid(), signal.SIGKILL)

        sys.addaudithook(step)
        write_whole(out, "mark", lambda folder: filled(folder, NEW))

    return in_a_copy_of_this_process(write)


@pytest.mark.parametrize("can_exchange", [True, False])
def test_a_run_killed_before_any_of_its_steps_leaves_the_earlier_outputs_or_the_new_ones(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, can_exchange: bool
) -> None:
    if not can_exchange:
        monkeypatch.setattr(places, "_exchanged", lambda one, other: False)
    outcomes = []
    for step in range(1, 100):
        out = tmp_path / str(step) / "out"
        out.mkdir(parents=True)
        filled(out, EARLIER)
        ended = written_until_step(out, step)
        told: list[str] = []
        left = len(list(out.parent.glob(".out.coldsift/*.*")))
        gone = not out.exists()
        with held(out, told.append):
            there = contents(out)
            assert not list(out.parent.glob(".out.coldsift/*.*"))
        assert there in (EARLIER, NEW)
        assert bool(told) == bool(left)
        assert not gone or (not can_exchange and "put back" in told[0])
        assert list(out.parent.iterdir()) == [out]
        outcomes.append(there == NEW)
        if ended == 0:
            break
        assert ended == -signal.SIGKILL
    assert outcomes == sorted(outcomes), "first the earlier ones, then the new ones"
    assert outcomes[0] is False
    assert outcomes[-1] is True
    assert len(outcomes) > 8


def test_a_second_run_into_the_same_place_is_refused_at_once_and_disturbs_nothing(tmp_path: Path) -> None:
    out, link = tmp_path / "out", tmp_path / "link"
    link.symlink_to(out)
    told: list[str] = []
    with held(out) as place:
        room = place.room("part")
        for name in (out, link):
            assert in_a_copy_of_this_process(lambda name=name: second(name)) == 2  # type: ignore[misc]
        assert room.is_dir()
    with held(out, told.append):
        pass
    assert not told
    assert sorted(tmp_path.iterdir()) == [link]


def second(out: Path) -> None:
    # A copy of this process has what it holds; another process has not.
    places._held.clear()
    with held(out):
        pass


def test_outputs_written_to_a_link_go_to_where_it_leads(tmp_path: Path) -> None:
    (tmp_path / "really").mkdir()
    filled(tmp_path / "really", EARLIER)
    (tmp_path / "out").symlink_to(tmp_path / "really")
    assert write_whole(tmp_path / "out", "mark", lambda folder: filled(folder, NEW)) == tmp_path / "out"
    assert (tmp_path / "out").is_symlink()
    assert contents(tmp_path / "really") == NEW
    assert sorted(path.name for path in tmp_path.iterdir()) == ["out", "really"]


@pytest.mark.parametrize(
    ("foreign", "named"),
    [("units/photo.jpg", "units/photo.jpg"), ("notes.txt", "notes.txt"), ("mine/a.html", "mine/a.html")],
)
def test_a_file_that_somebody_put_among_the_outputs_is_never_taken_away(
    tmp_path: Path, foreign: str, named: str
) -> None:
    out = tmp_path / "out"
    out.mkdir()
    filled(out, {"manifest.json": '{"tool": "coldsift"}', "units/A.html": "", ".DS_Store": ""})
    with holding(out, "manifest.json", OWN):
        pass
    filled(out, {foreign: "mine"})
    before = contents(out)
    with pytest.raises(OutputError, match=f"did not write: {named}"):
        write_whole(out, "manifest.json", lambda folder: None, OWN)
    assert contents(out) == before


def test_a_file_that_is_put_there_while_the_outputs_are_written_is_kept_too(tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    filled(out, {"manifest.json": '{"tool": "coldsift"}'})
    with pytest.raises(OutputError, match=r"did not write: photo\.jpg"):
        write_whole(out, "manifest.json", lambda folder: filled(out, {"photo.jpg": "mine"}), OWN)
    assert contents(out)["photo.jpg"] == "mine"


def test_another_programs_manifest_does_not_make_a_folder_ours(tmp_path: Path) -> None:
    filled(tmp_path, {"manifest.json": '{"name": "a web page"}', "index.html": "<p>"})
    with pytest.raises(OutputError, match="did not write"):
        write_whole(tmp_path, "manifest.json", lambda folder: None, OWN)
    assert (tmp_path / "index.html").exists()


@pytest.fixture
def told() -> Iterator[list[str]]:
    yield []


@pytest.mark.parametrize("stop", [KeyboardInterrupt, SystemExit])
def test_a_run_that_is_stopped_says_what_stands_there(
    tmp_path: Path, told: list[str], stop: type[BaseException]
) -> None:
    out = tmp_path / "out"

    def stopped(folder: Path) -> None:
        raise stop

    with pytest.raises(stop), held(out, told.append):
        write_whole(out, "mark", stopped)
    write_whole(out, "mark", lambda folder: filled(folder, EARLIER))
    with pytest.raises(stop), held(out, told.append):
        write_whole(out, "mark", stopped)
    with pytest.raises(stop), held(out, told.append):
        write_whole(out, "mark", lambda folder: filled(folder, NEW))
        raise stop
    assert [words.removeprefix("Stopped. ") for words in told] == [
        f"Nothing was written to {out}.",
        f"{out} is as it was.",
        f"{out} holds the new outputs, whole.",
    ]
    assert contents(out) == NEW
    assert list(tmp_path.iterdir()) == [out]


def test_a_clock_that_was_set_back_changes_nothing(tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    filled(out, EARLIER)
    left = tmp_path / ".out.coldsift" / "part.of_a_killed_run"
    left.mkdir(parents=True)
    far = 4_102_444_800
    for path in (out, out / "mark", left, left.parent):
        os.utime(path, (far, far))
    write_whole(out, "mark", lambda folder: filled(folder, NEW))
    assert contents(out) == NEW
    assert list(tmp_path.iterdir()) == [out]
