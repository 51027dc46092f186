from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import polars as pl
import pytest

from coldsift.changes import EarlierRunError, compare_runs, earlier_findings
from coldsift.schema import FINDINGS

UNIT = "QXAU4313976"


def findings(*units: dict[str, Any]) -> pl.DataFrame:
    rows = [
        {
            "container": UNIT,
            "rank": place,
            "group": "watch",
            "cause_1": "low_refrigerant",
            "chance_1": 0.6,
            "number_valid": True,
            **unit,
        }
        for place, unit in enumerate(units, 1)
    ]
    return FINDINGS.conform(pl.DataFrame(rows, infer_schema_length=None) if rows else FINDINGS.empty())


def change(now: dict[str, Any], then: dict[str, Any]) -> tuple[str, str]:
    (row,) = compare_runs(findings(now), findings(then)).to_dicts()
    return row["change"], row["words"]


@pytest.mark.parametrize(
    ("then", "now", "kind"),
    [
        ("watch", "go_now", "worse"),
        ("nothing_found", "watch", "worse"),
        ("go_now", "this_round", "better"),
        ("this_round", "nothing_found", "better"),
        ("this_round", "this_round", "same"),
        ("cannot_tell", "watch", "worse"),
        ("cannot_tell", "nothing_found", "better"),
        ("nothing_found", "cannot_tell", "worse"),
        ("go_now", "cannot_tell", "worse"),
        ("cannot_tell", "cannot_tell", "same"),
    ],
)
def test_a_unit_is_worse_in_a_more_urgent_group_and_when_its_log_no_longer_tells(
    then: str, now: str, kind: str
) -> None:
    assert change({"group": now}, {"group": then})[0] == kind


def test_the_words_name_both_groups() -> None:
    assert change({"group": "go_now"}, {"group": "watch"})[1] == "Then: watch; now: go now."


def test_air_that_has_left_its_band_since_is_worse_within_the_same_group() -> None:
    assert change({"hours_to_limit": 0.0}, {"hours_to_limit": 30.0})[0] == "worse"
    assert change({"hours_to_limit": 0.0}, {})[0] == "worse"
    assert change({"hours_to_limit": 12.0}, {"hours_to_limit": 30.0})[0] == "same"


def test_air_that_is_back_in_its_band_is_better_within_the_same_group() -> None:
    assert change({}, {"hours_to_limit": 0.0})[0] == "better"


def test_another_first_cause_is_told_by_name() -> None:
    kind, words = change({"cause_1": "condenser_fouled"}, {})
    assert kind == "cause_changed"
    assert "Lack of refrigerant" in words


def test_a_cause_too_unlikely_to_name_has_not_changed() -> None:
    assert change({"cause_1": "condenser_fouled", "chance_1": 0.01}, {})[0] == "same"


def test_a_cause_of_a_unit_with_nothing_found_is_no_change() -> None:
    quiet = {"group": "nothing_found"}
    assert change({**quiet, "cause_1": "condenser_fouled"}, quiet)[0] == "same"


def test_a_cause_of_the_users_own_catalogue_stands_by_its_id() -> None:
    assert "own_cause" in change({"cause_1": "own_cause"}, {})[1]


def test_new_and_gone_units_are_listed_with_the_worse_ones_first() -> None:
    now = findings({"container": "A", "group": "go_now"}, {"container": "B"}, {"container": "D"})
    then = findings({"container": "A"}, {"container": "C", "group": "go_now"}, {"container": "D"})
    table = compare_runs(now, then)
    assert table.select("container", pl.col("change").cast(pl.String)).rows() == [
        ("A", "worse"),
        ("B", "new_unit"),
        ("C", "gone"),
        ("D", "same"),
    ]
    gone = table.filter(pl.col("container") == "C").to_dicts()[0]
    assert (gone["group_now"], gone["group_then"], gone["cause_now"]) == (None, "go_now", None)


def test_a_run_against_itself_is_the_same_throughout() -> None:
    run = findings({"container": "A"}, {"container": "B", "group": "cannot_tell", "cause_1": None})
    assert compare_runs(run, run)["change"].cast(pl.String).to_list() == ["same", "same"]


def test_an_empty_run_has_lost_every_unit() -> None:
    assert compare_runs(findings(), findings({}))["change"].cast(pl.String).to_list() == ["gone"]


@pytest.fixture
def run(tmp_path: Path) -> Path:
    findings({}).write_parquet(tmp_path / "findings.parquet")
    (tmp_path / "manifest.json").write_text(json.dumps({"tool": "coldsift", "version": "0.9"}))
    return tmp_path


def test_an_earlier_run_is_read_as_it_was_written(run: Path) -> None:
    assert earlier_findings(run).equals(findings({}))


def test_columns_that_a_later_version_added_do_no_harm(run: Path) -> None:
    findings({}).with_columns(added=1).write_parquet(run / "findings.parquet")
    assert earlier_findings(run).equals(findings({}))


def test_a_folder_that_is_no_run_is_refused_with_what_is_missing(tmp_path: Path) -> None:
    with pytest.raises(EarlierRunError, match=r"manifest\.json and findings\.parquet missing"):
        earlier_findings(tmp_path)
    with pytest.raises(EarlierRunError, match="not a folder"):
        earlier_findings(tmp_path / "nowhere")


@pytest.mark.parametrize("text", ["{", "[]", '{"tool": "other", "version": "1"}'])
def test_a_manifest_of_something_else_is_refused(run: Path, text: str) -> None:
    (run / "manifest.json").write_text(text)
    with pytest.raises(EarlierRunError, match="not that of a coldsift run"):
        earlier_findings(run)


def test_a_damaged_table_is_refused(run: Path) -> None:
    (run / "findings.parquet").write_bytes(b"PAR1 not really")
    with pytest.raises(EarlierRunError, match="cannot be read"):
        earlier_findings(run)


def test_findings_of_another_schema_are_refused_with_the_version_that_wrote_them(run: Path) -> None:
    findings({}).drop("hours_to_limit").write_parquet(run / "findings.parquet")
    assert earlier_findings(run)["hours_to_limit"].null_count() == findings({}).height
    findings({}).drop("rank").write_parquet(run / "findings.parquet")
    with pytest.raises(EarlierRunError, match=r"coldsift 0\.9.*lack rank"):
        earlier_findings(run)
    findings({}).with_columns(group=pl.lit("urgent")).write_parquet(run / "findings.parquet")
    with pytest.raises(EarlierRunError, match="not as this version writes them"):
        earlier_findings(run)
