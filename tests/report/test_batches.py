"""The report is written in batches of units: in which batch a unit is, and where, does not show."""

from __future__ import annotations

import pickle
from datetime import timedelta
from typing import Any

import polars as pl
import pytest
from tests.report.fleet import START, container, material_of, report_arguments, table, timeline
from tests.report.ship import ship_arguments

from coldsift import schema
from coldsift.report import INDEX, Overview, build_report, overview_of, prepare
from coldsift.report.by_unit import ByUnit
from coldsift.report.views import MOST_LISTED

UNITS = 8
NAMES = [container(place + 1) for place in range(UNITS)]


def _batches(log: pl.DataFrame, *names: list[str]) -> list[pl.DataFrame]:
    return [log.filter(pl.col("container").is_in(own)) for own in names]


@pytest.fixture(scope="module")
def arguments() -> dict[str, Any]:
    return ship_arguments(UNITS)


@pytest.mark.parametrize("one_file", [False, True])
def test_the_batches_are_not_seen_in_the_pages(arguments: dict[str, Any], one_file: bool) -> None:
    log = arguments["timeline"]
    material = material_of(arguments)
    whole = dict(build_report(material, [log], one_file=one_file))
    few = _batches(log, NAMES[5:], NAMES[:2], NAMES[2:5])
    assert dict(build_report(material, few, one_file=one_file)) == whole
    assert len(whole) == 2 if one_file else UNITS + 3


def test_pages_of_some_units_can_be_written_in_another_process(arguments: dict[str, Any]) -> None:
    log = arguments["timeline"]
    report = prepare(material_of(arguments))
    sent = pickle.dumps(report.units_of(NAMES[2:4]))
    (own,) = _batches(log, NAMES[2:4])
    pages = dict(pickle.loads(sent).pages(own))
    assert pages == {f"units/{name}.html": pages[f"units/{name}.html"] for name in NAMES[2:4]}
    assert pages.items() <= dict(build_report(report.material, [log])).items()


def test_what_is_sent_for_some_units_holds_nothing_of_the_others(arguments: dict[str, Any]) -> None:
    sent = pickle.dumps(prepare(material_of(arguments)).units_of(NAMES[:1]))
    neighbour, others = NAMES[1], NAMES[2:]
    assert neighbour.encode() in sent, "it is linked to"
    assert not [name for name in others if name.encode() in sent]


def test_readings_of_units_that_were_not_asked_for_are_left_alone(arguments: dict[str, Any]) -> None:
    pages = prepare(material_of(arguments)).units_of([*NAMES[:2], "none of the report"])
    assert [path for path, _ in pages.pages(arguments["timeline"])] == [
        f"units/{each}.html" for each in NAMES[:2]
    ]


def test_a_unit_without_any_reading_has_its_page(arguments: dict[str, Any]) -> None:
    (silent,) = _batches(arguments["timeline"], NAMES[1:])
    pages = dict(build_report(material_of(arguments | {"timeline": silent}), [silent]))
    assert "No readings to draw." in pages[f"units/{NAMES[0]}.html"]
    assert "No readings to draw." not in pages[f"units/{NAMES[1]}.html"]


def test_overviews_of_batches_are_together_that_of_all() -> None:
    log = timeline(NAMES, 6)
    events = table(
        schema.VOYAGE_EVENTS,
        [
            {
                "start": START + timedelta(hours=100),
                "end": START + timedelta(hours=102),
                "kind": kind,
                "units": UNITS,
                "share": 1.0,
            }
            for kind in ("power_off", "log_gap")
        ],
    )
    whole = overview_of(log, events)
    assert set(whole.bystanders["event"]) == {0}, "the gap comes first; no unit has one then"
    assert whole.power_cuts["not_shown"].to_list() == [0] * UNITS
    parts = [overview_of(each, events) for each in _batches(log, NAMES[4:], NAMES[:4])]
    for name in Overview.__slots__:
        assert getattr(Overview.together(parts), name).equals(getattr(whole, name)), name
    assert (whole.first, whole.last) == (log["time"].min(), log["time"].max())


def test_no_readings_have_an_overview_too() -> None:
    nothing = overview_of(timeline(NAMES[:1], 1).clear(), schema.VOYAGE_EVENTS.empty())
    assert nothing.spans.is_empty()
    assert nothing.first is None
    log = timeline(NAMES[:2], 1)
    some = overview_of(log, schema.VOYAGE_EVENTS.empty())
    assert Overview.together([nothing, some]).spans.equals(some.spans)


def test_rows_of_a_unit_are_found_in_the_order_in_which_they_were() -> None:
    rows = ByUnit(pl.DataFrame({"container": ["b", "a", "b", "c"], "place": [2, 1, 1, 3]}))
    assert rows.of(["c", "b", "none"]).rows() == [("c", 3), ("b", 2), ("b", 1)]
    assert rows.of([]).columns == ["container", "place"]


def test_a_large_fleet_has_lines_of_its_most_urgent_units_and_links_to_all() -> None:
    count = MOST_LISTED + 40
    arguments = report_arguments(count, 1, 1)
    report = prepare(material_of(arguments))
    index = dict(report.rest())[INDEX]
    table_of_units, _, after = index.partition('<details class="unlisted">')
    beyond = after.partition("</details>")[0]
    assert table_of_units.count('<tr role="row" class="') >= MOST_LISTED
    for row in report.rows:
        listed = f'data-container="{row.container}"' in table_of_units
        assert listed == (row.rank <= MOST_LISTED)
        assert (f'<a href="{row.page}">{row.container}</a>' in beyond) == (not listed)


def test_a_fleet_that_fits_the_list_is_told_whole() -> None:
    index = dict(prepare(material_of(report_arguments(MOST_LISTED, 1, 1))).rest())[INDEX]
    assert 'class="unlisted"' not in index
    assert 'class="first-units"' not in index
