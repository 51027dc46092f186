"""Odd again, back after a repair, drifting: what an archive says, reckoned again by other means."""

from __future__ import annotations

import random
from datetime import timedelta
from itertools import combinations
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from scipy import stats
from tests.archive.voyages import UNITS, day, finished_run

from coldsift.archive import AGAIN, CAME_BACK, DRIFT, add_run, again
from coldsift.causes import load_catalogue
from coldsift.features import FEATURES

FIRST, SECOND, THIRD = UNITS
BEGINS = ("2031-01-03", "2031-02-20", "2031-05-01", "2031-06-30", "2031-09-15")


def odd(
    cause: str | None = "low_refrigerant", group: str = "this_round", chance: float = 0.6
) -> dict[str, Any]:
    return {"group": group, "cause_1": cause, "chance_1": chance}


def value(container: str, feature: str, number: float | None, others: float | None = None) -> dict[str, Any]:
    return {"container": container, "feature": feature, "value": number, "peer_median": others}


def repair(container: str, time: str, part: str | None = None, **more: Any) -> dict[str, Any]:
    return {"container": container, "time": day(time), "part": part, "verdict": "recovered", **more}


@pytest.fixture
def kept(tmp_path: Path) -> Any:
    """Adds voyages one after another, named by their number, from what is given of each."""
    archive = tmp_path / "archive"

    def keep(*voyages: dict[str, Any]) -> Path:
        for number, (begin, voyage) in enumerate(zip(BEGINS, voyages, strict=False), start=1):
            add_run(finished_run(tmp_path / f"voyage {number}", begin, **voyage), archive)
        return archive

    return keep


def test_a_unit_odd_on_two_voyages_is_named_and_one_odd_once_is_not(kept: Any) -> None:
    found = again(
        kept(
            {"findings": {FIRST: odd(), SECOND: odd(None, "watch")}},
            {"findings": {FIRST: odd("frosted_coil", "go_now"), THIRD: odd()}},
            {"findings": {FIRST: {"group": "cannot_tell"}}},
        )
    )
    assert found.voyages == 3
    (row,) = found.odd.to_dicts()
    assert (row["container"], row["odd"], row["voyages"]) == (FIRST, 2, 2)
    assert row["words"].startswith("Odd on 2 of 2 voyages: voyage 1 (this round, ")
    assert "; voyage 2 (go now, " in row["words"]


def test_of_units_odd_as_often_those_with_one_cause_come_first(kept: Any) -> None:
    found = again(
        kept(
            {"findings": {FIRST: odd(), SECOND: odd("evaporator_iced"), THIRD: odd("other_cause")}},
            {
                "findings": {
                    FIRST: odd("evaporator_iced"),
                    SECOND: odd("evaporator_iced"),
                    THIRD: odd("other_cause"),
                }
            },
            {"findings": {SECOND: odd("healthy", "watch")}},
        )
    )
    assert found.odd.select("container", "odd", "same").rows() == [
        (SECOND, 3, 2),
        (FIRST, 2, 1),
        (THIRD, 2, 0),
    ]
    words = dict(found.odd.select("container", "words").iter_rows())
    assert words[SECOND] == (
        "Odd on 3 of 3 voyages, on 2 with the same likeliest cause: "
        "voyage 1 (this round, evaporator iced up); voyage 2 (this round, evaporator iced up); "
        "voyage 3 (watch)."
    )
    assert words[THIRD] == (
        "Odd on 2 of 3 voyages: voyage 1 (this round, a cause that is not in the catalogue); "
        "voyage 2 (this round, a cause that is not in the catalogue)."
    )


def test_oddness_over_many_voyages_counts_as_a_plain_loop_does(kept: Any) -> None:
    chance = random.Random(3)
    units = [f"QXAU00000{number:02}0" for number in range(30)]
    groups = ["go_now", "this_round", "watch", "nothing_found", "cannot_tell"]
    dealt = [{unit: chance.choice(groups) for unit in chance.sample(units, 24)} for _ in BEGINS]
    found = again(
        kept(
            *(
                {"units": [*voyage], "findings": {unit: odd(None, group) for unit, group in voyage.items()}}
                for voyage in dealt
            )
        )
    )
    expected = {}
    for unit in units:
        judged = [voyage[unit] for voyage in dealt if voyage.get(unit, "cannot_tell") != "cannot_tell"]
        stood_out = sum(group != "nothing_found" for group in judged)
        if stood_out > 1:
            expected[unit] = (stood_out, len(judged))
    assert {row["container"]: (row["odd"], row["voyages"]) for row in found.odd.to_dicts()} == expected
    counts = found.odd["odd"].to_list()
    assert counts == sorted(counts, reverse=True)


def test_a_cause_that_leads_again_after_its_repair_came_back(kept: Any) -> None:
    archive = kept(
        {"findings": {FIRST: odd()}, "repairs": [repair(FIRST, "2031-01-05", action="charged")]},
        {"findings": {FIRST: {"cause_1": "low_refrigerant", "chance_1": 0.01}}},
        {"findings": {FIRST: odd(chance=0.7)}},
        {"findings": {FIRST: odd(chance=0.9)}},
    )
    (row,) = again(archive).came_back.to_dicts()
    names = {row["voyage"]: row["name"] for row in pl.read_parquet(archive / "voyages.parquet").to_dicts()}
    assert (row["container"], row["cause"]) == (FIRST, "low_refrigerant")
    assert (names[row["repaired_on"]], names[row["back_on"]]) == ("voyage 1", "voyage 3")
    assert (row["chance"], row["times"], row["verdict"]) == (0.7, 2, "recovered")
    assert row["words"].endswith(
        "repaired 2031-01-05 (charged), and the likeliest cause again on voyage 3 and on 1 more."
    )


def test_another_cause_another_unit_or_an_earlier_voyage_is_no_return(kept: Any) -> None:
    found = again(
        kept(
            {"findings": {FIRST: odd(), SECOND: odd("more_than_one"), THIRD: odd("frosted_coil")}},
            {
                "findings": {FIRST: odd("frosted_coil"), SECOND: odd("more_than_one"), THIRD: odd()},
                "repairs": [repair(unit, "2031-02-22") for unit in UNITS],
            },
        )
    )
    assert found.came_back.is_empty()


def test_a_part_tells_the_cause_that_was_repaired(kept: Any) -> None:
    catalogue = load_catalogue()
    cause = next(cause for cause in catalogue.causes.values() if cause.parts)
    part = f"  {cause.parts[0].upper()} "
    found = again(
        kept(
            {"repairs": [repair(FIRST, "2031-01-05", part), repair(SECOND, "2031-01-05", "no part of ours")]},
            {"findings": {FIRST: odd(cause.id), SECOND: odd(cause.id)}},
        )
    )
    assert found.came_back.select("container", "cause", "part").rows() == [(FIRST, cause.id, part)]


def test_a_repair_on_the_next_voyage_is_of_what_was_found_before(kept: Any) -> None:
    found = again(
        kept(
            {"findings": {FIRST: odd()}},
            {"repairs": [repair(FIRST, "2031-02-21")]},
            {"findings": {FIRST: odd()}},
        )
    )
    assert found.came_back.select("container", "cause").rows() == [(FIRST, "low_refrigerant")]


def test_a_split_that_falls_away_from_the_others_drifts(kept: Any) -> None:
    values = [(4.0, 4.0), (3.6, 4.1), (3.1, 4.0), (2.5, 4.2)]
    found = again(kept(*({"features": [value(FIRST, "split", own, others)]} for own, others in values)))
    (row,) = found.drift.to_dicts()
    assert (row["container"], row["feature"], row["unit"], row["voyages"]) == (FIRST, "split", "K", 4)
    assert (row["first"], row["last"], row["steady"]) == (4.0, 2.5, 1.0)
    assert row["words"] == (
        f"Split fell by {-row['change']:.1f} K over 4 voyages in 178 days; that of like units on the same "
        f"voyages rose by {row['others_change']:.1f} K."
    )


def test_what_is_no_drift(kept: Any) -> None:
    steady = {
        "two voyages make no trend": ("split", (4.0, 4.0), (2.0, 4.0)),
        "the others went the same way: the weather": ("split", (4.0, 4.0), (3.0, 3.0), (2.0, 2.0)),
        "less than like units differ anyway": ("split", (4.0, 4.0), (3.95, 4.0), (3.9, 4.0)),
        "to and fro": ("split", (4.0, 4.0), (2.0, 4.0), (3.5, 4.0)),
        "keeps the cold better": ("warm_up_tau", (200.0, 300.0), (300.0, 300.0), (400.0, 300.0)),
        "not looked at": ("suction_pressure_running", (1.0, 2.0), (2.0, 2.0), (3.0, 2.0)),
    }
    moved = {"falls away from the others": ("split", (4.0, 4.0), (3.0, 4.0), (2.0, 4.0))}
    voyages: list[list[dict[str, Any]]] = [[], [], []]
    for case, (feature, *values) in {**steady, **moved}.items():
        for voyage, (own, others) in zip(voyages, values, strict=False):
            voyage.append(value(case, feature, own, others))
    found = again(kept(*({"features": features} for features in voyages)))
    assert found.drift["container"].to_list() == [*moved]


def test_a_box_that_lets_in_more_heat_is_told_without_others_to_compare_with(kept: Any) -> None:
    found = again(
        kept(*({"features": [value(FIRST, "warm_up_tau", hours)]} for hours in (300.0, 220.0, 150.0)))
    )
    (row,) = found.drift.to_dicts()
    assert (row["change"], row["others_change"]) == (row["own_change"], None)
    assert row["words"].startswith("Warm-up time without power fell by ")
    assert row["words"].endswith("; there were no like units to compare with.")


def test_defrosts_that_come_closer_together_are_a_drift(kept: Any) -> None:
    hours = [(48.0, 48.0), (36.0, 47.0), (24.0, 48.0)]
    found = again(kept(*({"features": [value(SECOND, "defrost_interval", *each)]} for each in hours)))
    assert found.drift["container"].to_list() == [SECOND]


def test_slopes_are_those_of_scipy(kept: Any) -> None:
    """Check: scipy.stats.theilslopes, and scipy.stats.kendalltau for the steadiness of rows without ties."""
    chance = random.Random(11)
    units = [f"QXAU00000{number:02}0" for number in range(12)]
    rows: list[list[dict[str, Any]]] = [[] for _ in BEGINS]
    series: dict[str, list[tuple[float, float, float]]] = {}
    for unit in units:
        trend = chance.uniform(-8, 8)
        for which, begin in enumerate(BEGINS):
            if chance.random() < 0.2:
                continue
            years = day(begin).timestamp() / timedelta(days=365.25).total_seconds()
            others = 4 + chance.gauss(0, 0.2)
            own = others + trend * which / 10 + chance.gauss(0, 0.3)
            rows[which].append(value(unit, "split", own, others))
            series.setdefault(unit, []).append((years, own, others))
    found = again(kept(*({"units": units, "features": each} for each in rows)))
    expected = {}
    for unit, points in series.items():
        years, own, others = (list(column) for column in zip(*points, strict=True))
        if len(years) < 3:
            continue
        span = years[-1] - years[0]
        apart = [mine - theirs for mine, theirs in zip(own, others, strict=True)]
        pairs = [later > earlier for earlier, later in combinations(apart, 2)]
        steady = max(sum(pairs), len(pairs) - sum(pairs)) / len(pairs)
        assert steady == pytest.approx((1 + abs(stats.kendalltau(years, apart).statistic)) / 2)
        moved = stats.theilslopes(apart, years).slope * span
        if abs(moved) >= FEATURES["split"].scale and steady >= 0.8:
            expected[unit] = [
                moved,
                stats.theilslopes(own, years).slope * span,
                stats.theilslopes(others, years).slope * span,
                steady,
            ]
    ours = {
        row["container"]: [row[name] for name in ("own_change", "change", "others_change", "steady")]
        for row in found.drift.to_dicts()
    }
    assert 2 < len(expected) < len(units)
    assert ours.keys() == expected.keys()
    for unit, numbers in expected.items():
        assert ours[unit] == pytest.approx(numbers, rel=1e-9)
    sizes = found.drift["own_change"].abs().to_list()
    assert sizes == sorted(sizes, reverse=True)


def test_an_archive_of_one_voyage_has_nothing_again(kept: Any) -> None:
    found = again(kept({"findings": {FIRST: odd()}, "features": [value(FIRST, "split", 3.0, 4.0)]}))
    for table, frame in ((AGAIN, found.odd), (CAME_BACK, found.came_back), (DRIFT, found.drift)):
        assert frame.equals(table.empty())


def test_of_many_voyages_the_last_are_named(tmp_path: Path) -> None:
    archive = tmp_path / "archive"
    for month in range(1, 8):
        add_run(
            finished_run(tmp_path / f"trip {month}", f"2031-{month:02}-01", findings={FIRST: odd(None)}),
            archive,
        )
    (words,) = again(archive).odd["words"]
    named = "; ".join(f"trip {month} (this round)" for month in range(3, 8))
    assert words == f"Odd on 7 of 7 voyages, the last 5: {named}."
