"""The file that holds the thresholds: what it says of itself, and what is said when it is wrong."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from benchmarks.likelihoods.fleets import FITTING_SEEDS
from benchmarks.thresholds.__main__ import FAULT_SHARE_ABOARD, SEEDS, UNITS, likelihoods_sha256

from coldsift.ranking.thresholds import (
    SHIPPED,
    Costs,
    Provenance,
    Thresholds,
    ThresholdsError,
    load_costs,
    load_thresholds,
    to_toml,
)

COSTS = "[costs]\neffort_this_round=30\neffort_watch=10\nloss_this_round=30\nloss_watch=150\n"
WHOLE = f"[thresholds]\nthis_round = 0.3\nwatch = 0.1\n{COSTS}loss_nothing_found=400\n"


def written(folder: Path, text: str) -> Path:
    path = folder / "mine.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_the_shipped_file_is_as_the_benchmark_writes_it() -> None:
    assert to_toml(load_thresholds()) == SHIPPED.read_text(encoding="utf-8")


def test_the_shipped_thresholds_were_chosen_on_fitting_seeds_that_no_fit_has_seen() -> None:
    seeds = load_thresholds().provenance.seeds
    assert seeds == tuple(SEEDS)
    assert max(seeds) < 1000
    assert not set(seeds) & set(FITTING_SEEDS)


def test_the_shipped_provenance_adds_up() -> None:
    """Weighted as stated, faults are the share aboard that the benchmark states."""
    said = load_thresholds().provenance
    assert 0.9 * UNITS * len(SEEDS) < said.units <= UNITS * len(SEEDS)
    weighted = said.faults / (said.faults + said.healthy_weight * (said.units - said.faults))
    assert weighted == pytest.approx(FAULT_SHARE_ABOARD, abs=1e-4)
    assert said.coldsift
    assert said.chosen_by == "python -m benchmarks.thresholds"


def test_the_shipped_thresholds_were_chosen_on_the_shipped_likelihoods() -> None:
    """After `make likelihoods`, `make thresholds` is due: other chances ask for other thresholds."""
    assert load_thresholds().provenance.likelihoods_sha256 == likelihoods_sha256()


def test_the_shipped_file_names_no_day_and_no_machine() -> None:
    text = SHIPPED.read_text(encoding="utf-8")
    assert not re.search(r"20\d\d-\d\d|/home|/tmp|/work|://", text)


def test_two_lines_set_by_hand_will_do(tmp_path: Path) -> None:
    mine = load_thresholds(written(tmp_path, "[thresholds]\nthis_round = 0.5\nwatch = 0\n"))
    assert (mine.this_round, mine.watch, mine.costs) == (0.5, 0.0, None)
    assert mine.provenance.in_words() == "by hand"


def test_what_is_written_is_read_back_whatever_the_names(tmp_path: Path) -> None:
    named = Provenance(
        "coldsift tune", runs=('a "b"\\\n\x7f\x1b[0m', "ünï"), units=50, faults=9, labels_sha256="ab"
    )
    before = Thresholds(0.1 + 0.2, 1e-7, Costs(30, 10.5, 0, 1e7 / 3, 1e9), named)
    assert load_thresholds(written(tmp_path, to_toml(before))) == before


def test_the_provenance_reads_as_a_sentence_for_the_report() -> None:
    chosen = Provenance("chosen so", "on these", seeds=(1, 2, 3), units=50, faults=9, healthy_weight=2.5)
    assert chosen.in_words() == (
        "chosen so; on these; seeds 1 to 3; 50 units, 9 with a fault; each healthy one counted 2.5 times"
    )
    assert "seeds 1, 3, 4;" in Provenance(seeds=(1, 3, 4), coldsift="0").in_words()
    assert "runs a, b; labels SHA-256 ab" in Provenance(runs=("a", "b"), labels_sha256="ab").in_words()


def test_costs_can_stand_alone(tmp_path: Path) -> None:
    costs = load_costs(written(tmp_path, COSTS + "loss_nothing_found=400\n"))
    assert costs == Costs(30, 10, 30, 150, 400)


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("", "mine.toml: [thresholds] is missing"),
        ("[thresholds\n", "mine.toml is not valid TOML"),
        ("thresholds = 3\n", "write [thresholds] and its keys"),
        ("[thresholds]\nthis_round = 0.3\n", "thresholds.watch is missing"),
        ("[thresholds]\nthis_round = 0.3\nwatch = 0.4\n", "watch = 0.4 is above this_round = 0.3"),
        ("[thresholds]\nthis_round = 1.3\nwatch = 0.4\n", "this_round = 1.3: a chance from 0 to 1"),
        ("[thresholds]\nthis_round = 0.3\nwatch = -0.1\n", "watch = -0.1: a chance from 0 to 1"),
        ("[thresholds]\nthis_round = nan\nwatch = 0.1\n", "this_round = nan: a chance from 0 to 1"),
        ("[thresholds]\nthis_round = '0.3'\nwatch = 0.1\n", "this_round = '0.3' is no number"),
        ("[thresholds]\nthis_round = true\nwatch = 0.1\n", "this_round = True is no number"),
        ("[thresholds]\nthis_round = 0.3\nwatch = 0.1\nsoon = 3\n", "thresholds: unknown key soon"),
        (WHOLE + "[flags]\n", "unknown key flags. There are: thresholds, costs, provenance"),
        (WHOLE.replace("=400", "=40"), "loss_watch = 150 is above loss_nothing_found = 40"),
        (WHOLE.replace("effort_watch=10", "effort_watch=-1"), "costs.effort_watch = -1: minutes"),
        (WHOLE.replace("effort_watch=10", "effort_watch=31"), "effort_watch = 31 is above effort_this_round"),
        (WHOLE.replace("loss_watch=150\n", ""), "costs.loss_watch is missing"),
        (WHOLE + "[provenance]\nunits = 'many'\n", "provenance.units = 'many' is of the wrong type"),
        (WHOLE + "[provenance]\nruns = 'one'\n", "provenance.runs = 'one' is of the wrong type"),
        (WHOLE + "[provenance]\nseeds = ['x']\n", "provenance.seeds = ['x'] is of the wrong type"),
        (WHOLE + "[provenance]\nday = 3\n", "provenance: unknown key day"),
    ],
)
def test_a_mistake_is_named_with_its_file_and_what_to_do(tmp_path: Path, text: str, told: str) -> None:
    with pytest.raises(ThresholdsError) as caught:
        load_thresholds(written(tmp_path, text))
    message = str(caught.value)
    assert told in message
    assert message.startswith("mine.toml")
    assert re.search(r"Correct it|Add it|Give it|Write one|write \[", message)


def test_a_file_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(ThresholdsError, match=r"none\.toml.*Name a file"):
        load_thresholds(tmp_path / "none.toml")
