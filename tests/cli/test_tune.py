"""``coldsift tune``, and ``screen --thresholds``, as a user types them."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from tests.cli.calls import run
from tests.cli.test_commands import GOOD
from tests.engine.test_labelled import finished_run, number

from coldsift.ranking import load_thresholds

OWN_COSTS = """
[costs]
effort_this_round = 200
effort_watch = 10
loss_this_round = 0
loss_watch = 150
loss_nothing_found = 400
"""


@pytest.fixture
def voyage(tmp_path: Path) -> Path:
    """50 units, the last ten of them faulty and only watched; labels.csv beside it."""
    units = [
        {
            "container": number(place),
            "chance_of_fault": 0.15 if place >= 40 else 0.02,
            "group": "watch" if place >= 40 else "nothing_found",
        }
        for place in range(50)
    ]
    found = [f"{number(place)},{'fault' if place >= 40 else 'healthy'}" for place in range(50)]
    text = "\n".join(["container,found", *found, f"{number(77)},fault", f"{number(3)},\x1b[31mhaunted"])
    (tmp_path / "labels.csv").write_text(text, encoding="utf-8")
    return finished_run(tmp_path / "voyage", *units)


def test_tuning_writes_thresholds_that_screening_then_uses(voyage: Path) -> None:
    out = voyage.parent / "mine.toml"
    done = run("tune", voyage, "--labels", voyage.parent / "labels.csv", "--out", out)
    assert done.returncode == 0, done.stderr
    assert "52 labels = 50 used (10 with a fault, 40 healthy) + 0 said again + 2 set aside" in done.stdout
    assert f"1 set aside, container in none of the runs: line 52 {number(77)}" in done.stdout
    assert "watch 10 of 10, nothing found 40 of 40" in done.stdout
    assert "biased history" in done.stdout
    assert "3200  as the runs grouped them" in done.stdout
    assert "1200  this round from" in done.stdout
    assert "10% to  25%:  15% → 100% (10 units)" in done.stdout
    assert "\x1b" not in done.stdout
    chosen = load_thresholds(out)
    assert 0.02 < chosen.watch <= chosen.this_round < 0.15

    (voyage.parent / "log.csv").write_text(GOOD, encoding="utf-8")
    done = run("screen", voyage.parent / "log.csv", "--thresholds", out, "--out", voyage.parent / "run")
    assert done.returncode == 0, done.stderr
    said = json.loads((voyage.parent / "run" / "manifest.json").read_text(encoding="utf-8"))["parameters"]
    page = (voyage.parent / "run" / "index.html").read_text(encoding="utf-8")
    assert said["thresholds"] == (
        f"this round from a chance of a fault of {chosen.this_round:g}, watch from {chosen.watch:g}"
    )
    assert said["thresholds from"].startswith("mine.toml: coldsift tune; labelled history; runs voyage")
    assert str(voyage.parent) not in said["thresholds from"]
    assert said["thresholds from"] in page


def test_dearer_looks_are_chosen_less(voyage: Path) -> None:
    costs, out = voyage.parent / "costs.toml", voyage.parent / "mine.toml"
    costs.write_text(OWN_COSTS, encoding="utf-8")
    done = run("tune", voyage, "--labels", voyage.parent / "labels.csv", "--out", out, "--costs", costs)
    assert done.returncode == 0, done.stderr
    chosen = load_thresholds(out)
    assert chosen.this_round > 0.15 >= chosen.watch
    assert chosen.costs is not None
    assert chosen.costs.effort_this_round == 200


def test_too_few_labels_write_nothing_and_say_how_many_more(voyage: Path) -> None:
    labels, out = voyage.parent / "few.csv", voyage.parent / "mine.toml"
    labels.write_text(f"container,found\n{number(1)},healthy\n{number(45)},fault\n", encoding="utf-8")
    done = run("tune", voyage, "--labels", labels, "--out", out)
    assert done.returncode == 2
    assert "2 labels = 2 used" in done.stdout
    assert "38 more labelled units, 7 more with a fault" in done.stderr
    assert not out.exists()


def test_wrong_calls_say_what_to_do_and_end_with_2(voyage: Path) -> None:
    labels, wrong = voyage.parent / "labels.csv", voyage.parent / "wrong.toml"
    wrong.write_text("[thresholds]\nthis_round = 0.1\nwatch = 0.2\n", encoding="utf-8")
    out = ("--out", voyage.parent / "mine.toml")
    for arguments, named in (
        (("tune", voyage.parent, "--labels", labels, *out), "screen --out"),
        (("tune", voyage, "--labels", voyage.parent / "none.csv", *out), "none.csv"),
        (("tune", voyage, "--labels", labels, "--costs", wrong, *out), "wrong.toml: [costs] is missing"),
        (("tune", voyage, "--labels", labels, "--out", labels), "holds no thresholds"),
        (("screen", labels, "--thresholds", wrong), "wrong.toml, thresholds.watch = 0.2 is above"),
        (("screen", labels, "--thresholds", voyage.parent / "none.toml"), "none.toml"),
    ):
        done = run(*arguments, cwd=voyage.parent)
        assert done.returncode == 2, arguments
        assert named in done.stderr
        assert "Traceback" not in done.stderr
    assert not (voyage.parent / "mine.toml").exists()
