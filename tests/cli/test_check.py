"""``coldsift check`` as a user types it."""

from __future__ import annotations

import json
from pathlib import Path

from tests.cli.calls import run

DISPLAY = ("--reading", "set_point=5", "--reading", "supply_air=5.0", "--reading", "return_air=2.2")


def test_readings_alone_give_chances_and_what_to_check_next() -> None:
    done = run("check", *DISPLAY)
    assert done.returncode == 0, done.stderr
    assert "Check next" in done.stdout
    assert "never says that a unit is safe" in done.stdout


def test_json_is_for_machines() -> None:
    done = run("check", *DISPLAY, "--saw", "sensor_plugs_exchanged=yes", "--json")
    told = json.loads(done.stdout)
    assert told["hypotheses"][0]["cause"] == "sensors_swapped"
    assert abs(sum(each["chance"] for each in told["hypotheses"]) - 1) < 1e-9


def test_wrong_calls_say_what_is_known_and_end_with_2(tmp_path: Path) -> None:
    for arguments, named in (
        ((), "give --reading"),
        (("X", "--run", tmp_path), "no finished run"),
        (("X",), "no finished run under reports"),
        ((*DISPLAY, "--saw", "frost=yes"), "sight_glass_bubbles"),
        (("--reading", "supply_air=500"), "physical range"),
        ((*DISPLAY, "--refrigerant", "nonsense"), "R134a"),
        ((*DISPLAY, "--causes", tmp_path / "none.toml"), "none.toml"),
    ):
        done = run("check", *arguments, cwd=tmp_path)
        assert done.returncode == 2, arguments
        assert named in done.stderr
        assert "Traceback" not in done.stderr


def test_observations_are_listed() -> None:
    done = run("check", "--observations")
    assert done.returncode == 0
    assert "sight_glass_bubbles" in done.stdout


def test_a_catalogue_of_ones_own_adds_a_cause(tmp_path: Path) -> None:
    own = tmp_path / "own.toml"
    own.write_text(
        """
[causes.sun_roof_missing]
name = "Sun roof missing"
about = "Invented for a test."
prior = 1.0
if_left = "It stays hot."
[likelihoods.sun_roof_missing]
split_now = "higher"
[observations.roof_there]
question = "Roof there?"
yes = "roof there"
no = "no roof"
how = "Look up."
minutes = 1
risk = "none"
otherwise = 0.98
[observations.roof_there.chance]
sun_roof_missing = 0.02
""",
        encoding="utf-8",
    )
    done = run("check", *DISPLAY, "--causes", own, "--saw", "roof_there=no", "--json")
    causes = [each["cause"] for each in json.loads(done.stdout)["hypotheses"]]
    assert "sun_roof_missing" in causes[:3]
