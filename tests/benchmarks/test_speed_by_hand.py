"""The script that coldsift's time is held against does the same job: same defrosts, same features."""

from __future__ import annotations

from pathlib import Path

import polars as pl
import pytest

from coldsift.excursions import find_excursions
from coldsift.features import FEATURES, unit_features, with_saturation
from coldsift.intake import read_logs
from coldsift.regimes import build_timeline, find_defrosts, find_voyage_events, mark_shared, regime_intervals

pytest.importorskip("pandas", reason="pandas is not installed")

from benchmarks.speed import by_hand
from benchmarks.speed.sizes import DECIMALS, STATES, as_file, csv_files

SAMPLE = Path("sample_logs")
UNITS = ("QXAU4313976", "QXAU4472474", "QXAU4630970", "XQFU4472524", "XQTU4234768", "ZZBU4789495")
"""Chilled and frozen, with defrost flag and without; the last leaves its band for a day and a half."""

SHARED_APART = frozenset({"off_hours", "outages"})
"""The script does not know of events that the whole ship shares."""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Some units of the sample, written as the benchmark writes its files."""
    folder = tmp_path_factory.mktemp("logs")
    log = read_logs([SAMPLE / f"{name}.csv" for name in UNITS]).log
    for unit in log.select("container", "time", *DECIMALS, *STATES, "alarms").partition_by("container"):
        name = str(unit["container"][0])
        as_file(unit, name, copy=1).write_csv(folder / f"{name}.csv")
    return folder


@pytest.fixture(scope="module")
def ours(folder: Path) -> dict[str, pl.DataFrame]:
    timeline = build_timeline(read_logs([folder]).log)
    timeline = mark_shared(timeline, find_voyage_events(regime_intervals(timeline)))
    defrosts = find_defrosts(timeline)
    return {
        "defrosts": defrosts,
        "excursions": find_excursions(timeline),
        "features": unit_features(with_saturation(timeline), defrosts),
    }


@pytest.fixture(scope="module")
def theirs(folder: Path) -> by_hand.Result:
    return by_hand.analyse(by_hand.read(csv_files([folder])))


def test_the_script_finds_the_same_defrosts(ours: dict[str, pl.DataFrame], theirs: by_hand.Result) -> None:
    expected = ours["defrosts"].group_by("container").len().sort("container")
    counted = theirs.defrosts.groupby("container", observed=True).size()
    assert expected.height > 0
    assert {name: int(counted[name]) for name in expected["container"]} == dict(expected.iter_rows())


def test_the_scripts_features_are_coldsifts(ours: dict[str, pl.DataFrame], theirs: by_hand.Result) -> None:
    """Nine in ten within a tenth of what counts as an ordinary difference between units."""
    close = compared = 0
    for container, feature, value in (
        ours["features"].drop_nulls("value").select("container", "feature", "value").iter_rows()
    ):
        if feature in theirs.features and feature not in SHARED_APART:
            compared += 1
            close += (
                abs(float(theirs.features.at[container, feature]) - value) <= FEATURES[feature].scale / 10
            )
    assert compared > 300
    assert close >= 0.9 * compared


def test_the_scripts_split_in_hold_is_coldsifts(
    ours: dict[str, pl.DataFrame], theirs: by_hand.Result
) -> None:
    split = ours["features"].filter(pl.col("feature") == "split").drop_nulls("value")
    assert split.height == len(UNITS)
    for container, value in split.select("container", "value").iter_rows():
        assert float(theirs.features.at[container, "split"]) == pytest.approx(value, abs=0.02)


def test_the_script_sees_the_hours_out_of_the_band(
    ours: dict[str, pl.DataFrame], theirs: by_hand.Result
) -> None:
    """Within one log interval (half an hour) at each end of each: it does not interpolate."""
    minutes = ours["excursions"].select(
        "container", hours=(pl.col("end") - pl.col("start")).dt.total_minutes() / 60
    )
    expected = minutes.group_by("container").agg(pl.col("hours").sum(), stretches=pl.len())
    found = theirs.excursions.groupby("container", observed=True)["hours"].sum()
    assert expected.height > 0
    for container, hours, stretches in expected.iter_rows():
        assert float(found[container]) == pytest.approx(hours, abs=1.0 * stretches)


def test_the_script_takes_most_features_of_these_files(
    ours: dict[str, pl.DataFrame], theirs: by_hand.Result
) -> None:
    known = set(ours["features"].drop_nulls("value")["feature"])
    taken = set(theirs.features.columns[theirs.features.notna().any()])
    assert len(known & taken) / len(known) > 0.9


def test_the_script_writes_a_page_a_unit(theirs: by_hand.Result, tmp_path: Path) -> None:
    by_hand.write(theirs, tmp_path)
    assert {path.stem for path in (tmp_path / "units").glob("*.html")} == set(UNITS)
    assert all(name in (tmp_path / "index.html").read_text(encoding="utf-8") for name in UNITS)
