"""What the index says of the data it rests on, and of its own method."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import polars as pl
import pytest
from tests.report.fleet import (
    HOSTILE,
    START,
    container,
    material_of,
    pages,
    report_arguments,
    table,
    timeline,
)
from tests.report.outline import Outline

from coldsift import schema
from coldsift.features import FEATURES
from coldsift.intake import read_logs
from coldsift.report import INDEX, FeatureWords, MessageView, SourceView
from coldsift.report.fleet_views import quality_view
from coldsift.report.glossary import load_glossary, read_glossary
from coldsift.report.method_views import feature_sections, fixed_values
from coldsift.report.model import ClockView
from coldsift.report.views import list_rows, log_views

NAMES = [container(place + 1) for place in range(5)]


@pytest.fixture(scope="module")
def outline() -> Outline:
    return Outline(pages()[INDEX])


def _html(**changes: object) -> str:
    return pages(5, 1, 3, **changes)[INDEX]


def _text(**changes: object) -> str:
    return Outline(_html(**changes)).text.replace("\u00a0", " ")


def _part(html: str, identity: str) -> str:
    """The text of one section."""
    start = html.index(f'id="{identity}"')
    return Outline(html[start - 60 : html.index("</section>", start)]).text.replace("\u00a0", " ")


# ---------------------------------------------------------------------------------------- accounting


def test_every_row_of_every_file_is_accounted_for_on_the_page(outline: Outline) -> None:
    text = outline.text
    assert "1349 rows read = 1340 used + 4 merged + 5 set aside" in text
    assert "time stamp not readable whole line 2" in text
    assert "invented/hold_2.csv, line 10: 31/02/2031;0" in text
    assert "What to do: Mend the line or leave it: it was set aside." in text
    assert "ab12" * 16 in text


def test_of_what_was_set_aside_three_examples_are_shown_and_the_place_of_the_rest() -> None:
    rows = [
        {"source": "s1", "file": "a.csv", "row": row, "reason": "time not readable", "text": f"line {row}"}
        for row in range(10, 15)
    ]
    part = _part(_html(set_aside=table(schema.SET_ASIDE, rows)), "set-aside")
    assert "time not readable whole line 5" in part
    assert [f"a.csv, line {row}" in part for row in range(10, 15)] == [True] * 3 + [False] * 2
    assert "set_aside.parquet" in part


def test_notes_on_the_files_are_told_apart_from_messages() -> None:
    note = MessageView("note", "invented/a.csv", 2, "32 lines repeat others; merged.", "")
    assert "Notes on the files (1)" in _text(messages=(note,))


def test_ship_wide_events_are_listed_once(outline: Outline) -> None:
    assert outline.text.count("2031-03-05 04:00") == 1
    assert "held against no single unit" in outline.text


def test_text_from_files_is_shown_as_it_stands_and_never_as_markup() -> None:
    html = _html(
        sources=(SourceView(HOSTILE, HOSTILE, HOSTILE, HOSTILE, 1, 1, 0, 0, HOSTILE, HOSTILE, HOSTILE),),
        messages=(MessageView("warning", HOSTILE, 1, HOSTILE, HOSTILE),),
        set_aside=table(
            schema.SET_ASIDE,
            [{"source": "s1", "file": HOSTILE, "row": 1, "reason": HOSTILE, "text": HOSTILE}],
        ),
        parameters={HOSTILE: HOSTILE},
        feature_words={"split_hold": FeatureWords(*[HOSTILE] * 6)},
    )
    assert '<script>alert("1")' not in html
    assert "\u202e" not in html
    for identity in ("quality", "set-aside", "files", "method-parameters"):
        assert '<script>alert("1")</script>‹U+202E›</details>' in _part(html, identity), identity


# ---------------------------------------------------------------------------------------- clocks


def _lag(lags: dict[str, float | None]) -> pl.DataFrame:
    rows: list[dict[str, Any]] = [
        {
            "container": name,
            "feature": "clock_lag",
            "value": lag,
            "unit": "h",
            "regime": "all",
            "samples": 96,
            "reason": None if lag is not None else "not logged: ambient air",
        }
        for name, lag in lags.items()
    ]
    rows += [row | {"feature": "log_interval", "value": 15.0, "unit": "min"} for row in rows]
    return table(schema.FEATURES, rows)


SOURCE = SourceView(
    "hold_2.csv", "generic", "utf-8", "+02:00 by the preamble", 1, 1, 0, 0, "ab12" * 16, "", "s1"
)


def _clocks(**changes: object) -> list[ClockView]:
    given = {"features": _lag(dict.fromkeys(NAMES, 0.0)), "sources": (SOURCE,), "messages": ()}
    material = material_of(report_arguments(5, 1, 6, **(given | changes)))
    rows = list_rows(material, {}, lambda anchor: anchor)
    return list(quality_view(material, rows, log_views(material, rows), len(rows)).clocks)


def test_a_clock_without_a_fault_is_called_so_only_when_it_was_checked() -> None:
    assert {clock.verdict for clock in _clocks()} == {"no clock fault seen"}
    unknown_file = _clocks(sources=(replace(SOURCE, id=""),))
    assert {clock.verdict for clock in unknown_file} == {"not fully checked"}
    assert unknown_file[0].steps == ("not checked: its files are not known",)
    blind = _clocks(features=_lag({NAMES[0]: None} | dict.fromkeys(NAMES[1:], 0.0)))
    assert [clock.verdict for clock in blind[:2]] == ["not fully checked", "no clock fault seen"]
    assert blind[0].day_wave == "not checked: not logged: ambient air"


def test_a_clock_off_the_fleets_day_wave_is_to_be_looked_at() -> None:
    ahead, behind, *_ = _clocks(
        features=_lag({NAMES[0]: 3.0, NAMES[1]: -2.0} | dict.fromkeys(NAMES[2:], 0.0))
    )
    assert (ahead.verdict, ahead.day_wave) == ("look at it", "3\u00a0h ahead of the fleet’s")
    assert (behind.faulty, behind.day_wave) == (True, "2\u00a0h behind the fleet’s")


def test_each_units_log_says_interval_span_and_the_zone_of_its_files() -> None:
    clock = _clocks()[0]
    assert clock.interval == "15\u00a0min"
    assert clock.zones == ("+02:00 by the preamble",)
    assert (clock.log.first_reading, clock.log.last_reading) == ("2031-03-01 00:00", "2031-03-06 23:45")


def test_a_unit_with_power_in_the_ships_blackout_stands_apart() -> None:
    day = timeline(NAMES, 6)
    lit = (pl.col("container") == NAMES[2]) & (pl.col("regime") == "off")
    apart = day.with_columns(regime=pl.when(lit).then(pl.lit("hold")).otherwise("regime").cast(schema.REGIME))
    first, _, third, *_ = _clocks(timeline=apart)
    assert first.power_cuts == "shows the only one"
    assert third.power_cuts.startswith("1 of 1 not shown (12 readings with power)")
    assert third.verdict == "look at it"


def test_without_a_shared_power_cut_that_check_was_not_made() -> None:
    clock = _clocks(voyage_events=schema.VOYAGE_EVENTS.empty())[0]
    assert clock.power_cuts.startswith("not checked:")
    assert clock.verdict == "no clock fault seen"


HEADING = "Container number,Date and time (UTC),Set point (°C),Supply air (°C),Return air (°C)"


def _read(folder: Path, hours: list[float], names: list[str]) -> tuple[MessageView, ...]:
    lines = [
        f"{name},{(START + timedelta(hours=hour)).strftime('%Y-%m-%d %H:%M:%S')},-18.0,-18.2,-17.4"
        for name in names
        for hour in hours
    ]
    path = folder / "hold_2.csv"
    path.write_text("\n".join([HEADING, *lines]), encoding="utf-8")
    intake = read_logs([path])
    assert intake.log.height
    return tuple(
        MessageView(message.severity, SOURCE.file, message.line, message.what, message.do)
        for message in intake.messages
    )


HOURLY = [float(hour) for hour in range(60)]


@pytest.mark.parametrize(
    ("hours", "words", "faulty"),
    [
        ([*HOURLY[:30], *[hour - 5.5 for hour in HOURLY[30:]]], "steps back", True),
        ([*HOURLY[:30], *[hour + 24 * 9 for hour in HOURLY[30:]]], "leaps forward", True),
        ([hour - 24 * 365 * 60 if hour < 2 else hour for hour in HOURLY], "clock was not set", True),
        ([*HOURLY, 59.0], "same container and time", False),
        (HOURLY, "none seen", False),
    ],
)
def test_what_the_intake_says_of_a_clock_is_told_of_the_unit(
    tmp_path: Path, hours: list[float], words: str, faulty: bool
) -> None:
    clock = _clocks(
        timeline=timeline(NAMES[:1], 6), messages=_read(tmp_path, hours, NAMES[:1]), voyage_events=_no_event()
    )[0]
    assert words in " ".join(clock.steps)
    assert clock.faulty is faulty


def test_in_a_file_of_several_units_only_the_one_that_is_named_is_faulty(tmp_path: Path) -> None:
    stepped = [*HOURLY[:30], *[hour - 5.5 for hour in HOURLY[30:]]]
    first, second, *_ = _clocks(messages=_read(tmp_path, stepped, NAMES[:1]))
    assert (first.faulty, second.faulty) == (True, False)
    assert second.steps == ("its file has 1 more messages on the clocks of its units",)


def _no_event() -> pl.DataFrame:
    return schema.VOYAGE_EVENTS.empty()


# ---------------------------------------------------------------------------------------- method


def _catalogue_words() -> dict[str, FeatureWords]:
    return {
        name: FeatureWords(each.words, each.unit, each.regime, each.formula, each.source, each.look_first)
        for name, each in FEATURES.items()
    }


def test_the_method_states_parameters_formulas_and_sources(outline: Outline) -> None:
    for words in ("± 2.0 K", "median of return air − supply air", "common practice, no source"):
        assert words in outline.text


def test_every_feature_of_the_catalogue_stands_in_the_method_once_with_formula_and_source() -> None:
    sections = feature_sections(_catalogue_words())
    rows = [row for section in sections for row in section.rows]
    named = [variant.id for row in rows for variant in row.variants]
    assert sorted(named) == sorted(FEATURES)
    assert all(row.words.formula and row.words.source for row in rows)
    assert [variant.words for variant in rows[0].variants] == [
        "",
        "last 48 h",
        "change, last 48 h against before",
        "trend by the day",
    ]


def test_a_change_of_temperature_is_told_in_kelvin_for_it_has_no_zero() -> None:
    units = {
        variant.id: variant.unit
        for section in feature_sections(_catalogue_words())
        for row in section.rows
        for variant in row.variants
    }
    assert units["ambient"] == "°C"
    assert units["ambient_shift"] == "K"
    assert units["ambient_trend"] == "K/d"
    assert units["defrost_termination_shift"] == "K"


def test_a_feature_that_is_freed_of_the_units_task_says_so() -> None:
    part = _part(_html(feature_words=_catalogue_words()), "method-features")
    assert "Split (return minus supply) compared after taking out what goes by set point" in part
    assert "median of return_air − supply_air" in part


def test_fixed_values_come_from_the_code_that_uses_them(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("coldsift.report.method_views.SMALLEST_GROUP", 77)
    assert any(each.value == "77 units" for each in fixed_values())


def test_every_fixed_value_stands_on_the_page_with_its_source(outline: Outline) -> None:
    values = fixed_values()
    assert {each.stage for each in values} == {
        "reading",
        "doing",
        "features",
        "peers",
        "excursions",
        "ranking",
    }
    for each in values:
        assert re.sub(r"\s+", " ", f"{each.what} {each.value} {each.source}") in outline.text


# ---------------------------------------------------------------------------------------- glossary

SMALL = """
[[entry]]
term = "split"
meaning = "Return air minus supply air."
unit = "K"

[[entry]]
term = "Defrost"
meaning = "Melting the ice off the coil."
source = "a handbook"
"""


def test_the_glossary_is_sorted_by_term_whatever_the_case() -> None:
    defrost, split = read_glossary(SMALL)
    assert (defrost.term, defrost.unit, defrost.source) == ("Defrost", "", "a handbook")
    assert (split.term, split.unit, split.source) == ("split", "K", "")


def test_the_shipped_glossary_stands_on_the_page(outline: Outline) -> None:
    entries = load_glossary()
    assert [entry.term.casefold() for entry in entries] == sorted(entry.term.casefold() for entry in entries)
    assert len({entry.term.casefold() for entry in entries}) == len(entries)
    for entry in entries:
        assert entry.meaning in outline.text


def test_an_index_without_files_features_or_units_still_says_so() -> None:
    empty = {
        name: schema.TABLES[name].empty()
        for name in (
            "findings",
            "features",
            "causes",
            "evidence",
            "excursions",
            "defrosts",
            "unit_days",
            "cargo",
        )
    }
    html = pages(
        5,
        1,
        3,
        **empty,
        voyage_events=_no_event(),
        set_aside=schema.SET_ASIDE.empty(),
        timeline=timeline(NAMES, 3).clear(),
        peer_groups=pl.DataFrame(
            schema={"container": pl.String, "peer_group": pl.String, "level": pl.String}
        ),
        peer_members=pl.DataFrame(schema={"container": pl.String, "peer_group": pl.String}),
        peer_bands=schema.TABLES["peer_bands"].empty(),
        sources=(),
        messages=(),
        reasons=schema.TABLES["reasons"].empty(),
        notes=schema.TABLES["notes"].empty(),
        feature_words={},
    )[INDEX]
    text = Outline(html).text
    assert "No unit was read." in text
    assert "Nothing was found that many units shared" in text
    assert "No unit has peers." in text
