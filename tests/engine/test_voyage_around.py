"""The sample voyage with every paper: what the papers change in the list, and what is told beside it."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import polars as pl
import pytest

import coldsift
from coldsift.changes import EarlierRunError
from coldsift.engine import Screening, Settings, write_outputs

SAMPLE = Path(__file__).parents[2] / "sample_logs"
BOOKED_OTHERWISE, MISTYPED, NOT_LOGGED = "QXAU4630970", "ZZRU4710255", "XQTU6122263"


@pytest.fixture(scope="module")
def screening(sample_with_papers: Screening) -> Screening:
    return sample_with_papers


@pytest.fixture(scope="module")
def run(screening: Screening, tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("around") / "out"
    write_outputs(screening, out, "Sample")
    return out


def planted() -> dict[str, dict[str, object]]:
    units = json.loads((SAMPLE / "voyage.json").read_text(encoding="utf-8"))["units"]
    return {unit["container"]: unit for unit in units}


def test_a_healthy_unit_set_otherwise_than_booked_is_gone_to_now(screening: Screening) -> None:
    row = screening.findings.row(by_predicate=pl.col("container") == BOOKED_OTHERWISE, named=True)
    assert planted()[BOOKED_OTHERWISE]["cause"] == "healthy"
    assert row["group"] == "go_now"
    assert row["why"].startswith("Set to 4.0 °C, but the booking orders 2.0 °C")


def test_units_set_as_booked_are_told_to_agree_and_no_other(screening: Screening) -> None:
    kinds = dict(screening.analysis.set_points.select("container", "kind").iter_rows())
    assert [container for container, kind in kinds.items() if kind != "agrees"] == [BOOKED_OTHERWISE]
    assert len(kinds) == len(screening.findings)


def test_a_box_without_a_log_and_a_number_mistyped_on_the_plan_are_both_listed(screening: Screening) -> None:
    told = screening.aboard.unmatched
    assert told.filter(kind="no_log")["container"].to_list() == [NOT_LOGGED, "ZZRU7410255"]
    (words,) = told.filter(kind="no_place")["words"]
    assert told.filter(kind="no_place")["container"].item() == MISTYPED
    assert "ZZRU7410255" in words and "typing error" in words


def test_the_round_goes_to_what_is_most_urgent_first_until_the_hours_run_out(screening: Screening) -> None:
    stops = screening.aboard.round
    groups = stops["group"].cast(str).to_list()
    order = ["go_now", "this_round", "watch", "cannot_tell"]
    assert groups == sorted(groups, key=order.index)
    assert 0 < stops["within"].sum() < len(stops)
    assert stops.filter("within")["elapsed_minutes"].max() <= 60.0
    assert (stops["elapsed_minutes"].diff().drop_nulls() > 0).all()


def test_repairs_are_judged_as_they_were_planted(screening: Screening) -> None:
    verdicts = dict(screening.aboard.repairs.select("container", "verdict").iter_rows())
    truth = planted()
    assert truth["ZZBU4789495"]["repaired"] is not None
    assert verdicts["ZZBU4789495"] == "recovered"
    for in_vain in ("ZZRU4789500", "ZZRU4314001"):
        assert truth[in_vain]["repaired"] is None
        assert verdicts[in_vain] == "unchanged"
    assert verdicts["XQTU4789513"] == "too_early"


def test_what_was_used_is_no_longer_on_board_for_the_next_unit(screening: Screening) -> None:
    heater = screening.aboard.parts.row(by_predicate=pl.col("part") == "drain heater", named=True)
    assert heater["on_board"] - heater["used"] == 0
    wanted = screening.aboard.parts_wanted.filter(part="drain heater")
    assert set(wanted["state"]) == {"short"}


def test_a_run_against_itself_has_nothing_new(screening: Screening, run: Path) -> None:
    again = coldsift.screen([SAMPLE], replace(screening.settings, since=run))
    assert set(again.aboard.changes["change"]) == {"same"}
    assert len(again.aboard.changes) == len(again.findings)


def test_a_run_without_papers_tells_what_the_papers_changed(run: Path) -> None:
    plain = coldsift.screen([SAMPLE], Settings(since=run))
    changed = plain.aboard.changes.filter(pl.col("change") != "same")
    (words,) = changed.filter(container=BOOKED_OTHERWISE)["words"]
    assert words.startswith("Then: go now; now: ")


def test_an_earlier_run_that_is_none_is_refused(tmp_path: Path) -> None:
    with pytest.raises(EarlierRunError, match=str(tmp_path.name)):
        coldsift.screen([SAMPLE], Settings(since=tmp_path))


def test_the_same_logs_and_papers_give_the_same_bytes(
    screening: Screening, run: Path, tmp_path: Path
) -> None:
    again = tmp_path / "again"
    write_outputs(coldsift.screen([SAMPLE], screening.settings), again, "Sample")
    files = sorted(path.relative_to(run) for path in run.rglob("*") if path.is_file())
    assert files == sorted(path.relative_to(again) for path in again.rglob("*") if path.is_file())
    assert len(files) > len(planted())
    changed = [str(name) for name in files if (run / name).read_bytes() != (again / name).read_bytes()]
    assert changed == []
