"""The drawings: what is drawn, what is not, and what is told beside them."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from itertools import pairwise

import matplotlib
import polars as pl
import pytest

from coldsift.dossier import charts, spans
from coldsift.dossier.drawing import LEFT, RIGHT, WIDTH, time_ticks
from coldsift.dossier.model import Reconstruction
from coldsift.report.words import visible
from tests.builders import START
from tests.dossier.drawn import Stroke, marks, strokes, texts
from tests.dossier.reconstructed import GAP, HOSTILE, at, bare, reconstruction

EVERY = (
    charts.overview,
    charts.air,
    charts.happened,
    charts.cargo,
    charts.probes,
    charts.supply,
    charts.edges,
    charts.air_close_up,
    charts.happened_close_up,
    charts.cargo_close_up,
    charts.peers,
    charts.peers_close_up,
)


def _across(of: Reconstruction, hours: float) -> float:
    """Where an instant of the whole window stands on the sheet. [pt]"""
    whole = (of.end - of.start) / timedelta(hours=1)
    return LEFT + hours / whole * (WIDTH - LEFT - RIGHT)


def _bold(chart: charts.Chart | None) -> list[Stroke]:
    assert chart is not None
    return [stroke for stroke in strokes(chart.svg) if stroke.is_bold and len(stroke.points) > 2]


def test_a_gap_is_not_bridged_in_the_chart() -> None:
    of = reconstruction()
    first, last = _across(of, GAP[0]), _across(of, GAP[1])
    lines = _bold(charts.air(of))
    assert any(stroke.points[-1][0] == pytest.approx(first, abs=0.1) for stroke in lines)
    assert any(stroke.points[0][0] == pytest.approx(last, abs=0.1) for stroke in lines)
    for stroke in lines:
        for (left, _), (right, _) in pairwise(stroke.points):
            assert not (left < first + 0.1 and right > last - 0.1)


def test_a_gap_has_a_hatched_box_from_the_coldest_to_the_warmest_possible() -> None:
    of = reconstruction()
    chart = charts.air_close_up(of)
    assert chart is not None
    assert "Possible in a gap (hatched)" in texts(chart.svg)
    brown = [stroke for stroke in strokes(chart.svg) if stroke.look.get("stroke") == "#9a8450"]
    assert len(brown) > 10  # the box and the slanting lines in it
    without = charts.air_close_up(replace(of, gaps=of.gaps.clear()))
    assert without is not None
    assert not [stroke for stroke in strokes(without.svg) if stroke.look.get("stroke") == "#9a8450"]
    assert "No readings" in texts(without.svg)


def test_what_does_not_fit_of_a_gap_is_said_in_numbers() -> None:
    of = reconstruction()
    wide = of.gaps.with_columns(warmest_possible=pl.col("warmest_possible") + 60)
    chart = charts.air(replace(of, gaps=wide))
    assert chart is not None
    assert "↑ 69.3" in texts(chart.svg)


def test_the_furthest_reading_is_drawn_however_long_the_log() -> None:
    of = reconstruction(60)
    chart = charts.overview(of)
    assert chart is not None
    inside = [
        point
        for stroke in _bold(chart)
        for point in stroke.points
        if _across(of, 280) < point[0] < _across(of, 296)
    ]
    highest = min(inside, key=lambda point: point[1])
    assert marks(chart.svg, "#d1383d") == [pytest.approx(highest, abs=0.1)]
    main = spans.main_excursion(of)
    assert main is not None
    assert f"{main['peak']:.1f}\u00a0°C" in texts(chart.svg)


def test_lines_are_told_apart_without_colour() -> None:
    chart = charts.air(reconstruction())
    assert chart is not None
    lines = [stroke.look for stroke in strokes(chart.svg) if "clip-path" in stroke.look]
    looks = {
        (look["stroke"], look.get("stroke-dasharray"), look.get("stroke-width"))
        for look in lines
        if look.get("fill") == "none" and "stroke" in look and look["stroke"] != "var(--grid)"
    }
    without_colour = {look[1:] for look in looks}
    assert len(looks) >= 5
    assert len(without_colour) == len(looks)


def test_a_rise_in_a_defrost_is_a_thin_line_and_not_the_bold_one() -> None:
    of = reconstruction()
    rises = of.timeline.filter(pl.col("defrost"), ~pl.col("in_band"))["time"]
    assert len(rises) > 50
    places = {round(_across(of, (time - START) / timedelta(hours=1)), 1) for time in rises}
    chart = charts.air(of)
    bold = {round(point[0], 1) for stroke in _bold(chart) for point in stroke.points}
    assert not places & bold
    assert chart is not None
    assert "Rise in a defrost" in texts(chart.svg)


def test_the_start_is_bracketed_between_two_readings() -> None:
    of = reconstruction()
    chart = charts.edges(of)
    assert chart is not None
    main = spans.main_excursion(of)
    assert main is not None
    assert f"between {main['start_earliest']:%Y-%m-%d %H:%M} and" in chart.caption
    assert f"Start: {main['start']:%Y-%m-%d %H:%M} UTC" in texts(chart.svg)


def test_a_log_that_begins_outside_the_band_claims_no_start() -> None:
    of = reconstruction()
    nothing = pl.lit(None, dtype=pl.Datetime("us", "UTC"))
    open_ends = of.excursions.with_columns(
        start_earliest=nothing, start_latest=nothing, end_earliest=nothing, end_latest=nothing
    )
    chart = charts.edges(replace(of, excursions=open_ends))
    assert chart is not None
    assert "Start: not in the log" in texts(chart.svg)
    assert "End: not in the log" in texts(chart.svg)
    assert "It had begun before the first reading that could show it" in chart.caption
    assert "had not ended at the last reading" in chart.caption
    close_up = charts.air_close_up(replace(of, excursions=open_ends))
    assert close_up is not None
    assert not [each for each in texts(close_up.svg) if each.startswith(("start ", "end "))]


def test_a_formula_in_a_name_stays_text() -> None:
    chart = charts.happened_close_up(reconstruction())
    assert chart is not None
    assert f"C {visible(f'Terminal {HOSTILE}')}" in texts(chart.svg)


def test_a_name_that_finds_no_room_is_a_letter_and_stands_in_the_key() -> None:
    chart = charts.happened(reconstruction())
    assert chart is not None
    assert "A" in texts(chart.svg)
    assert "A Packing house" not in texts(chart.svg)
    assert spans.KeyLine("A", "Packing house") in chart.key
    # The sheet's own letters do not cover this name; its width is not known, so it is not drawn.
    assert "D" in texts(chart.svg)
    assert spans.KeyLine("D", "收货人") in chart.key


def test_alarms_are_numbered_in_the_drawing_and_quoted_in_the_key() -> None:
    chart = charts.happened(reconstruction())
    assert chart is not None
    assert [each for each in texts(chart.svg) if each.startswith("Alarm")] == [
        "Alarm 1",
        "Alarm 2",
        "Alarm 3",
    ]
    said = {line.mark: line.words for line in chart.key}
    assert said["Alarm 1"] == "“probe check due”, first 2026-01-09 04:00 UTC, in 12 readings"
    assert f"AL 31 {HOSTILE}" in said["Alarm 2"]


def test_many_alarm_texts_share_a_row_and_their_number_is_told() -> None:
    of = reconstruction()
    count = pl.int_range(pl.len())
    noisy = of.timeline.with_columns(
        alarms=pl.when(count < 60).then(pl.concat_list(pl.format("alarm text {}", count)))
    )
    chart = charts.happened(replace(of, timeline=noisy))
    assert chart is not None
    rows = [each for each in texts(chart.svg) if "larm" in each]
    assert rows == [*(f"Alarm {number}" for number in range(1, 11)), "Other alarms"]
    assert chart.key[-1].words == "and 20 more texts; they stand in the log"


def test_an_alarm_at_the_last_reading_is_shown() -> None:
    of = reconstruction()
    last = pl.int_range(pl.len()) == pl.len() - 1
    late = of.timeline.with_columns(alarms=pl.when(last).then(pl.lit(["late"])))
    rows, _ = spans.alarm_spans(spans.whole(replace(of, timeline=late)))
    assert [(label, len(stood)) for label, stood in rows] == [("Alarm 1", 1)]


def test_a_window_that_the_log_does_not_cover_is_shown_as_silent() -> None:
    of = replace(reconstruction(), start=at(-48), end=at(24 * 22))
    silent = spans.silences(spans.whole(of))
    assert silent[0] == spans.Span(at(-48), at(0))
    assert silent[-1].end == at(24 * 22)


def test_every_drawing_says_what_it_shows() -> None:
    of = reconstruction()
    for draw in EVERY:
        chart = draw(of)
        assert chart is not None, draw.__name__
        opening = chart.svg.partition(">")[0]
        assert 'role="img"' in opening
        says = opening.partition('aria-label="')[2]
        assert len(says) > 80, draw.__name__
        assert "2026-01-" in says


def test_every_drawing_has_its_units_and_says_utc() -> None:
    of = reconstruction()
    for draw in EVERY:
        chart = draw(of)
        assert chart is not None
        words = texts(chart.svg)
        assert "UTC" in words, draw.__name__
        if draw not in (charts.happened, charts.happened_close_up):
            assert any(each.endswith((", °C", ", K", ", V", ", W")) for each in words), draw.__name__


def test_what_is_not_logged_is_not_drawn() -> None:
    of = bare()
    assert charts.air(of) is not None
    for draw in (charts.cargo, charts.probes, charts.supply, charts.edges, charts.air_close_up, charts.peers):
        assert draw(of) is None, draw.__name__


def test_no_readings_give_no_drawing() -> None:
    of = reconstruction()
    empty = replace(bare(), timeline=of.timeline.clear())
    assert all(draw(empty) is None for draw in EVERY)


def test_settings_of_the_machine_change_nothing_and_are_left_alone() -> None:
    of = bare()
    plain = charts.air(of)
    with matplotlib.rc_context({"axes.facecolor": "red", "font.size": 30.0}):
        assert charts.air(of) == plain
        assert matplotlib.rcParams["font.size"] == 30.0


@pytest.mark.parametrize("hours", [2, 6, 12, 24, 36, 72, 7 * 24, 20 * 24, 60 * 24, 90 * 24])
@pytest.mark.parametrize("start", [datetime.fromisoformat("2026-01-05T03:07:00+00:00"), START])
def test_time_labels_stay_readable_from_hours_to_months(hours: float, start: datetime) -> None:
    places, labels, _ = time_ticks(start, start + timedelta(hours=hours))
    assert 3 <= len(places) <= 10
    assert all(0 <= place <= hours for place in places)
    assert "2026-" in labels[0]
    # A date is 42 pt wide, an hour 20 pt.
    for (left, label), (right, _) in pairwise(zip(places, labels, strict=True)):
        room = (right - left) / hours * (WIDTH - LEFT - RIGHT)
        assert room > (42 if ":" not in label else 24)


def test_labels_of_days_stand_at_midnight_utc() -> None:
    start = datetime.fromisoformat("2026-01-05T18:00:00+00:00")
    places, labels, _ = time_ticks(start, start + timedelta(days=6))
    assert places[0] == 6
    assert labels[0] == "2026-01-06"
