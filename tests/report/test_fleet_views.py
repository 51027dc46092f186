"""The fleet as a whole: shared events, peer groups, and the numbers that its charts draw."""

from __future__ import annotations

import base64
import json
import re
from datetime import timedelta
from typing import Any

import numpy as np
import polars as pl
import pytest
from numpy.typing import NDArray
from tests import builders
from tests.report.fleet import (
    FEATURE_WORDS,
    HOSTILE,
    START,
    container,
    defrosts,
    findings,
    material_of,
    pages,
    report_arguments,
    table,
    timeline,
    unit_days,
)
from tests.report.outline import Outline

from coldsift import schema
from coldsift.features import FEATURES
from coldsift.peers import peer_groups
from coldsift.regimes import unit_traits
from coldsift.report import INDEX, FeatureWords
from coldsift.report.fleet_charts import fleet_data, packed
from coldsift.report.fleet_views import fleet_view
from coldsift.report.model import FleetView
from coldsift.report.views import list_rows

MEGABYTE = 1_000_000


def unpacked(stored: dict[str, Any]) -> NDArray[np.float64]:
    """What templates/fleet.js reads from packed numbers."""
    whole = np.frombuffer(base64.b64decode(stored["data"]), f"<{stored['type']}")
    limits = np.iinfo(whole.dtype)
    none = limits.max if limits.min == 0 else limits.min
    return np.where(whole == none, np.nan, whole / 10.0 ** stored["digits"])


def viewed(count: int = 5, bad: int = 1, days: int = 3, **changes: Any) -> FleetView:
    material = material_of(report_arguments(count, bad, days, **changes))
    rows = list_rows(material, {}, lambda anchor: f"#{anchor}")
    return fleet_view(material, rows, len(rows))


def drawn(count: int = 5, bad: int = 1, days: int = 3, **changes: Any) -> dict[str, Any]:
    data: dict[str, Any] = json.loads(viewed(count, bad, days, **changes).data)
    return data


def column(data: dict[str, Any], name: str) -> NDArray[np.float64]:
    return unpacked(data["days"]["columns"][name]).reshape(data["units"], data["days"]["count"])


# ---------------------------------------------------------------------------------------- packed numbers


@pytest.mark.parametrize(
    ("values", "digits", "kind"),
    [
        ([0, 254, np.nan], 0, "u1"),
        ([-127, 127, np.nan], 0, "i1"),
        ([0, 255], 0, "u2"),
        ([-12.8, 3.1, np.nan], 1, "i2"),
        ([0.25, 4000.75], 2, "i4"),
        ([np.nan, np.nan], 0, "u1"),
        ([], 0, "u1"),
    ],
)
def test_numbers_take_the_fewest_bytes_and_come_back_as_they_were(
    values: list[float], digits: int, kind: str
) -> None:
    stored = packed(np.array(values, dtype=float), digits)
    assert stored["type"] == kind
    np.testing.assert_allclose(unpacked(stored), values)


def test_a_number_that_does_not_fit_is_an_error_and_not_another_number() -> None:
    with pytest.raises(OverflowError, match="does not fit four bytes"):
        packed(np.array([3e9]))


# ---------------------------------------------------------------------------------------- days


def test_every_day_of_every_unit_is_drawn_as_the_table_has_it() -> None:
    data = drawn(12, 2, 14)
    given = unit_days([container(place + 1) for place in range(12)], 14)
    assert data["days"]["first"] == "2031-03-01"
    silent = (given["coverage"] == 0).to_numpy().reshape(12, 14)
    assert silent.sum() == 1
    for name in ("hours_outside", "hours_off", "air_low", "air_high", "split", "defrosts", "alarms"):
        expected = given[name].cast(pl.Float64).to_numpy().reshape(12, 14)
        np.testing.assert_allclose(column(data, name), np.where(silent, np.nan, expected))


def test_a_day_without_readings_has_no_number_at_all() -> None:
    data = drawn(12, 2, 14)
    for name in data["days"]["columns"]:
        assert np.isnan(column(data, name)[2, 8]), name
        assert name in ("longest_defrost",) or not np.isnan(column(data, name)[2, 7]), name


def test_days_before_a_log_begins_are_days_without_readings() -> None:
    names = [container(place + 1) for place in range(5)]
    days = unit_days(names, 3)
    late = days.filter((pl.col("container") != names[3]) | (pl.col("day") > START.date()))
    assert np.isnan(column(drawn(unit_days=late), "hours_off")[3]).tolist() == [True, False, False]


def test_rows_follow_the_list_whatever_the_order_of_the_table() -> None:
    names = [container(place + 1) for place in range(5)]
    ranked = findings(names, rank=[5, 4, 3, 2, 1], group=["watch"] * 5)
    days = unit_days(names, 12)
    outside = column(drawn(5, 1, 12, findings=ranked, unit_days=days.reverse()), "hours_outside")
    assert np.nanmax(outside, axis=1).tolist() == [0, 0, 0, 0, 20]


# ---------------------------------------------------------------------------------------- features


def test_features_with_most_odd_units_come_first_and_those_that_only_describe_last() -> None:
    names = [container(place + 1) for place in range(5)]
    words = FeatureWords("", "", "hold", "", "", "")
    distances = {"split": [0.1, 4.0, -5.0, 0, 0], "superheat": [0, 0, 9.0, 0, 0], "ambient": [8.0] * 5}
    rows = [
        {
            "container": name,
            "feature": feature,
            "value": 1.0,
            "unit": "K",
            "regime": "hold",
            "samples": 9,
            "z": z,
        }
        for feature, each in distances.items()
        for name, z in zip(names, each, strict=True)
    ]
    data = drawn(features=table(schema.FEATURES, rows), feature_words=dict.fromkeys(distances, words))
    assert [(each["id"], each["odd"]) for each in data["features"]] == [
        ("split", 2),
        ("superheat", 1),
        ("ambient", 5),
    ]


def test_a_dot_has_the_value_and_distance_of_its_unit_and_the_range_of_its_group() -> None:
    data = drawn(12, 2, 3)
    split = next(each for each in data["features"] if each["id"] == "split_hold")
    np.testing.assert_allclose(unpacked(split["values"]), [0.3, *[2.4] * 11])
    np.testing.assert_allclose(unpacked(split["distances"]), [-7.2, *[0.4] * 11])
    assert split["ranges"] == [pytest.approx([1.92, 2.4, 2.88])] * 2
    assert unpacked(data["peerGroups"]).tolist() == [0, 1] * 6


def test_a_feature_that_no_unit_has_is_not_offered() -> None:
    assert "pull_down_rate" not in [each["id"] for each in drawn()["features"]]


@pytest.mark.parametrize("spread", [1e-4, 0.02, 3.0, 400.0, 60_000.0])
def test_dots_are_placed_finer_than_the_eye_tells_however_large_the_feature(spread: float) -> None:
    names = [container(place + 1) for place in range(5)]
    values = 5 * spread + spread * np.linspace(0, 1, 5)
    rows = [
        {"container": name, "feature": "split", "value": value, "unit": "K", "regime": "hold", "samples": 9}
        for name, value in zip(names, values, strict=True)
    ]
    data = drawn(features=table(schema.FEATURES, rows), feature_words={"split": FEATURE_WORDS["split_hold"]})
    placed = unpacked(data["features"][0]["values"])
    assert np.abs(placed - values).max() < spread / 100


# ---------------------------------------------------------------------------------------- defrosts


def test_defrosts_keep_their_start_and_length_and_whether_they_ended() -> None:
    names = [container(place + 1) for place in range(5)]
    table_ = defrosts(names, 3).with_columns(
        terminated=pl.col("start") != START + timedelta(hours=12),
        minutes=pl.when(pl.col("start") == START + timedelta(hours=12)).then(240.0).otherwise("minutes"),
    )
    stored = drawn(defrosts=table_.reverse())["defrosts"]
    assert unpacked(stored["counts"]).tolist() == [12.0] * 5
    after = unpacked(stored["after"]).reshape(5, 12).cumsum(axis=1)
    np.testing.assert_allclose(after, np.tile(np.arange(12) * 360.0, (5, 1)))
    minutes = unpacked(stored["minutes"]).reshape(5, 12)
    assert minutes[:, 2].tolist() == [-240.0] * 5
    assert set(np.delete(minutes, 2, axis=1).ravel()) == {30.0}


# ---------------------------------------------------------------------------------------- size and safety


def test_four_hundred_units_over_sixty_days_stay_within_a_megabyte_and_a_half() -> None:
    # Invented numbers without any pattern are the worst that can come.
    random = np.random.default_rng(7)
    units, days = 400, 60
    names = [container(place + 1) for place in range(units)]
    features = pl.DataFrame(
        {
            "container": np.repeat(names, len(FEATURES)),
            "feature": list(FEATURES) * units,
            "value": random.lognormal(1.0, 1.0, units * len(FEATURES)),
            "z": random.normal(0, 2, units * len(FEATURES)),
            "unit": "K",
            "regime": "hold",
            "samples": 100,
        }
    )
    count = units * days
    daily = unit_days(names, days).with_columns(
        coverage=random.uniform(0.2, 1, count),
        hours_off=random.uniform(0, 24, count),
        hours_outside=random.uniform(0, 24, count),
        degree_hours=random.uniform(0, 400, count),
        air_low=random.uniform(-30, 15, count),
        air_middle=random.uniform(-30, 15, count),
        air_high=random.uniform(-30, 15, count),
        split=random.uniform(-1, 6, count),
    )
    arguments = report_arguments(5, 1, 3) | {
        "findings": findings(names),
        "unit_days": daily,
        "features": schema.FEATURES.conform(features),
        "defrosts": defrosts(names, days),
        "feature_words": dict.fromkeys(FEATURES, FEATURE_WORDS["split_hold"]),
    }
    material = material_of(arguments)
    rows = list_rows(material, {}, lambda anchor: anchor)
    assert len(fleet_data(material, rows, ["chilled", "frozen"])) <= 1.5 * MEGABYTE


def test_the_charts_hold_numbers_only_and_no_text_of_a_log() -> None:
    names = [f"QXAU{HOSTILE}", *(container(place + 1) for place in range(4))]
    changes = {
        "findings": findings(names),
        "timeline": timeline(names, 3),
        "unit_days": unit_days(names, 3),
        "defrosts": defrosts(names, 3),
    }
    data = viewed(**changes).data
    assert "alert" not in data
    assert json.loads(data)["units"] == 5
    html = pages(5, 1, 3, **changes)[INDEX]
    assert '<script>alert("1")' not in html
    assert "<script>alert" in Outline(html).text


def test_the_same_fleet_gives_the_same_bytes_in_any_row_order() -> None:
    arguments = report_arguments(8, 1, 3)
    turned = {name: frame.reverse() for name, frame in arguments.items() if isinstance(frame, pl.DataFrame)}
    assert viewed(8, 1, 3) == viewed(8, 1, 3, **turned)


# ---------------------------------------------------------------------------------------- shared events


def _events(kind: str) -> pl.DataFrame:
    event = {
        "start": START + timedelta(hours=10),
        "end": START + timedelta(hours=13),
        "kind": kind,
        "units": 3,
        "share": 0.6,
    }
    return table(schema.VOYAGE_EVENTS, [event])


def _sailed() -> pl.DataFrame:
    """Five logs of a day: off, off, powered, silent, and one that begins after the event."""
    names = [container(place + 1) for place in range(5)]
    day = timeline(names, 1, gap_hours=0)
    hour = (pl.col("time") - START).dt.total_minutes() / 60
    during = (hour >= 10) & (hour < 13)
    off = during & pl.col("container").is_in(names[:2])
    return (
        day.with_columns(regime=pl.when(off).then(pl.lit("off")).otherwise("regime").cast(schema.REGIME))
        .filter((pl.col("container") != names[3]) | ~((hour > 9) & (hour < 14)))
        .filter((pl.col("container") != names[4]) | (hour > 15))
        .with_columns(
            gap=(pl.col("time").shift(-1).over("container") - pl.col("time") > timedelta(hours=1)).fill_null(
                False
            )
        )
    )


def test_units_that_kept_power_in_a_blackout_are_told_and_those_not_yet_logged_are_not() -> None:
    (others,) = viewed(timeline=_sailed(), voyage_events=_events("power_off")).bystanders
    assert [(other.container, other.instead) for other in others] == [
        (container(3), "had power"),
        (container(4), "no readings then"),
    ]
    assert others[0].page == f"#unit-{container(3)}"


def test_units_with_readings_in_a_shared_gap_are_told() -> None:
    (others,) = viewed(timeline=_sailed(), voyage_events=_events("log_gap")).bystanders
    assert [other.container for other in others] == [container(place) for place in (1, 2, 3)]
    assert {other.instead for other in others} == {"had readings"}


def test_the_page_names_who_did_not_share_an_event() -> None:
    text = Outline(pages(5, 1, 3, timeline=_sailed(), voyage_events=_events("power_off"))[INDEX]).text
    assert re.search(rf"2 units {container(3)} ?: had power {container(4)} ?: no readings then", text)


# ---------------------------------------------------------------------------------------- peer groups


def _grouped() -> FleetView:
    """Twelve frozen units and a lone chilled one, grouped as the peers stage does it."""
    hours = builders.clock(96, 60)

    def unit(place: int, set_point: float) -> pl.DataFrame:
        air = np.full(len(hours), set_point)
        return builders.log(
            hours,
            container(place + 1),
            set_point=set_point,
            return_air=air + 0.2,
            supply_air=air - 1.0,
            ambient_air=31.0,
        )

    built = builders.timeline(*(unit(place, -18.0) for place in range(12)), unit(12, 13.0))
    groups = peer_groups(unit_traits(built))
    return viewed(13, 1, 3, peer_groups=groups.chosen, peer_members=groups.members)


def test_a_peer_group_says_in_words_what_it_is_made_of() -> None:
    frozen, _ = _grouped().groups
    assert frozen.name.replace("\u00a0", " ") == (
        "Deep frozen, air cooled, ambient about 30 °C, log interval over 20 min"
    )
    assert dict(frozen.made_of) | {"Ambient air": "about 30 °C"} == dict(frozen.made_of)
    assert dict(frozen.made_of)["Condenser"] == "air cooled"
    assert frozen.level == "same class, cooling, ambient and log interval"
    assert frozen.wider == ""
    assert len(frozen.compared) == 12
    assert frozen.others == ()


def test_a_wider_group_says_why_and_who_else_is_in_it() -> None:
    _, widest = _grouped().groups
    assert widest.name == "All units"
    assert widest.wider.startswith("fewer than 8 units have the same class")
    assert widest.compared == ((container(13), f"#unit-{container(13)}"),)
    assert len(widest.others) == 12


def test_a_peer_group_tells_where_its_units_really_are() -> None:
    chilled, frozen = viewed(12, 2, 3).groups
    assert dict(chilled.made_of)["Set points"] == "2.0\u00a0°C"
    assert dict(frozen.made_of)["Set points"] == "−18.0\u00a0°C"
