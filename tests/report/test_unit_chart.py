"""The packed figure of one unit: every reading, gaps, states, alarms, excursions, like units."""

from __future__ import annotations

import json
import re
from datetime import timedelta
from importlib import resources
from itertools import pairwise
from typing import Any

import numpy as np
import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.report.charted import Opened, chart_of, full_log, notes, opened, peer_band, with_alarms
from tests.report.contrast import contrast
from tests.report.fleet import HOSTILE, START, container, defrosts, excursion, table, timeline

from coldsift import schema
from coldsift.report.packing import Numbers
from coldsift.report.unit_chart import (
    LONGEST_TEXT,
    MOST_ALARM_ROWS,
    MOST_ALARMS_LISTED,
    MOST_MODES,
    MOST_READINGS,
    ON_OR_OFF,
    PANELS,
    RELATIVE_RESOLUTION,
    WORDS,
)
from coldsift.schema import CHANNELS, REGIMES

NAME = container(1)
NOTHING = schema.PEER_BANDS.empty(), schema.EXCURSIONS.empty(), schema.DEFROSTS.empty(), schema.NOTES.empty()
HOUR = 3600


def _figure(log: pl.DataFrame, **given: pl.DataFrame) -> Opened:
    empty = dict(zip(("peers", "excursions", "defrosts", "notes"), NOTHING, strict=True))
    return opened(chart_of(log, **(empty | given)))


def _seconds(log: pl.DataFrame) -> list[int]:
    return (log["time"] - START).dt.total_seconds().to_list()


@pytest.fixture(scope="module")
def log() -> pl.DataFrame:
    return full_log(NAME)


@pytest.fixture(scope="module")
def figure(log: pl.DataFrame) -> Opened:
    return _figure(log)


@given(st.lists(st.integers(-(2**29), 2**29)))
def test_packed_numbers_come_back_as_they_were(values: list[int]) -> None:
    numbers = Numbers()
    places = {"before": numbers.add(np.array([7])), "own": numbers.add(np.array(values, dtype=np.int64))}
    back = opened(numbers.packed(places))
    assert back.array(back.header["own"]).tolist() == values
    assert back.array(back.header["before"]).tolist() == [7]


def test_every_reading_of_sixty_days_is_in_the_figure() -> None:
    log = full_log(NAME, days=60, gap_hours=0)
    figure = _figure(log)
    assert log.height > 5700
    for name in ("supply_air", "suction_pressure", "power", "current_2", "cargo_probe_3"):
        seconds, values = figure.readings(name)
        assert seconds.tolist() == _seconds(log)
        assert values == pytest.approx(log[name].to_numpy(), abs=1e-9)


def test_a_figure_of_sixty_days_stays_under_150_kilobytes() -> None:
    log = full_log(NAME, days=60, gap_hours=0)
    bands = pl.concat(peer_band(channel, -1.0, 1.0, days=60) for channel in ("supply_air", "power"))
    chart = chart_of(log, bands, *NOTHING[1:])
    assert len(opened(chart).header["lines"]) >= 25
    assert len(chart) < 150_000


def test_no_panel_mixes_units_of_measure(figure: Opened) -> None:
    lines = figure.header["lines"]
    for panel in figure.header["panels"]:
        assert len({lines[place]["unit"] for place in panel["lines"] + panel["beside"]}) == 1


def test_every_measured_channel_of_the_common_log_has_its_panel(figure: Opened) -> None:
    placed = [name for panel in PANELS for name in panel.channels]
    measured = {name for name, channel in CHANNELS.items() if not channel.is_state}
    assert measured <= set(placed)
    assert len(placed) == len(set(placed))
    drawn = {name for names in figure.panels().values() for name in names}
    assert measured - drawn == {"economizer_valve", "evaporator_fan_speed"}
    labels = [state["label"] for state in figure.header["states"]]
    on_or_off = (
        "compressor_state",
        "heater_state",
        "power_state",
        "economizer_valve",
        "evaporator_fan_speed",
    )
    assert labels == [CHANNELS[name].label for name in on_or_off]


def test_a_channel_that_was_not_logged_has_no_line_and_no_panel() -> None:
    assert _figure(timeline([NAME], 2)).panels() == {
        "air": ["set_point", "supply_air", "return_air", "band_low", "band_high"],
        "ambient": ["ambient_air"],
    }


def test_nothing_logged_is_nothing_to_draw() -> None:
    empty = timeline([NAME], 2).with_columns(
        pl.lit(None, dtype=pl.Float64).alias(name)
        for name in ("set_point", "supply_air", "return_air", "ambient_air", "band_low", "band_high")
    )
    assert chart_of(empty, *NOTHING) == ""
    assert chart_of(timeline([NAME], 2).head(1), *NOTHING) == ""


def test_readings_that_are_no_numbers_are_missing() -> None:
    log = timeline([NAME], 2).with_columns(
        supply_air=pl.when(pl.int_range(pl.len()) == 5).then(float("nan")).otherwise(pl.col("supply_air"))
    )
    seconds, values = _figure(log).readings("supply_air")
    assert len(values) == log.height - 1
    assert 5 * 900 not in seconds


def test_lines_break_at_a_gap_of_the_log(log: pl.DataFrame, figure: Opened) -> None:
    place = log["gap"].arg_true()[0] + 1
    for name in ("supply_air", "power", "evaporating"):
        assert figure.breaks(name) == [place]


def test_a_gap_is_kept_when_the_reading_before_it_is_missing_in_this_line() -> None:
    log = timeline([NAME]).with_columns(
        supply_air=pl.when(pl.col("gap")).then(None).otherwise(pl.col("supply_air"))
    )
    figure = _figure(log)
    assert figure.breaks("supply_air") == [log["gap"].arg_true()[0]]
    assert len(figure.breaks("return_air")) == 1


def test_a_long_stretch_without_one_probe_breaks_only_its_own_line() -> None:
    hours = (pl.col("time") - START).dt.total_hours()
    log = timeline([NAME]).with_columns(
        return_air=pl.when(hours.is_between(50, 60)).then(None).otherwise(pl.col("return_air"))
    )
    figure = _figure(log)
    assert len(figure.breaks("return_air")) == 2
    assert len(figure.breaks("supply_air")) == 1


def test_a_probe_logged_every_second_reading_is_one_line() -> None:
    log = timeline([NAME], gap_hours=0).with_columns(
        ambient_air=pl.when(pl.int_range(pl.len()) % 2 == 0).then(pl.col("ambient_air"))
    )
    figure = _figure(log)
    assert figure.breaks("ambient_air") == []
    assert figure.readings("ambient_air")[0].tolist() == _seconds(log)[::2]


def test_a_reading_that_stands_alone_is_a_stretch_of_its_own() -> None:
    log = timeline([NAME], 1).with_columns(
        ambient_air=pl.when(pl.int_range(pl.len()).is_in([40, 70, 71, 72])).then(pl.col("ambient_air"))
    )
    figure = _figure(log)
    assert figure.readings("ambient_air")[0].tolist() == [place * 900 for place in (40, 70, 71, 72)]
    assert figure.breaks("ambient_air") == [1]


def test_thinning_keeps_a_single_spike_in_a_log_of_every_minute() -> None:
    log = timeline([NAME], 14, minutes=1, gap_hours=0)
    place = 13_001
    spiked = log.with_columns(
        supply_air=pl.when(pl.int_range(pl.len()) == place).then(59.5).otherwise(pl.col("supply_air"))
    )
    seconds, values = _figure(spiked).readings("supply_air")
    assert log.height > 20_000
    assert len(values) <= MOST_READINGS + 2
    assert values[seconds == _seconds(log)[place]].tolist() == [59.5]


def test_a_thinned_set_point_keeps_the_minute_of_its_change() -> None:
    log = timeline([NAME], 14, minutes=1, gap_hours=0).with_columns(
        set_point=pl.when(pl.int_range(pl.len()) < 7001).then(2.0).otherwise(5.0)
    )
    seconds, values = _figure(log).readings("set_point")
    assert list(zip(seconds.tolist(), values.tolist(), strict=True)) == [
        (0, 2.0),
        (7001 * 60, 5.0),
        (_seconds(log)[-1], 5.0),
    ]


@pytest.mark.parametrize(("decimals", "shown"), [(0, 0), (1, 1), (2, 2)])
def test_numbers_keep_the_resolution_they_were_logged_with(decimals: int, shown: int) -> None:
    values = pl.Series(np.round(np.linspace(-20.2, 4.4, 192), decimals))
    figure = _figure(timeline([NAME], 2).with_columns(return_air=values))
    assert figure.line("return_air")["digits"] == shown
    assert figure.readings("return_air")[1] == pytest.approx(values.to_numpy(), abs=1e-9)


def test_a_log_in_whole_degrees_fahrenheit_comes_back_as_whole_degrees() -> None:
    # t/°C = (t/°F − 32)/1.8: NIST SP 811, appendix B.8 (from memory).
    logged = np.arange(192) % 40
    figure = _figure(timeline([NAME], 2).with_columns(return_air=pl.Series((logged - 32) / 1.8)))
    _, values = figure.readings("return_air")
    assert figure.line("return_air")["digits"] == 1
    assert np.round(values * 1.8 + 32, 1).tolist() == logged.tolist()


def test_numbers_without_decimals_are_kept_finer_than_their_panel_shows(log: pl.DataFrame) -> None:
    figure = _figure(log)
    of_panel = [log[name] for name in figure.panels()["circuit"]]
    span = max(map(pl.Series.max, of_panel)) - min(map(pl.Series.min, of_panel))
    error = np.abs(figure.readings("evaporating")[1] - log["evaporating"].to_numpy()).max()
    assert 0 < error <= RELATIVE_RESOLUTION * span


def test_the_numbers_of_a_line_are_those_of_all_its_readings() -> None:
    log = timeline([NAME], 14, minutes=1)
    own = log["return_air"]
    expected = [own[0], own[-1], own.min(), own.max(), own.median(), log.height]
    assert _figure(log).line("return_air")["numbers"] == pytest.approx(expected)


def test_regimes_cover_the_log_once_and_a_gap_has_no_readings(log: pl.DataFrame, figure: Opened) -> None:
    regimes = figure.header["regimes"]
    spans = figure.spans(regimes)
    assert spans[0][0] == 0
    assert spans[-1][1] == figure.header["end"] == (log["time"][-1] - START).total_seconds() + 900
    assert all(before[1] == after[0] for before, after in pairwise(spans))
    unknown = [span for span in spans if REGIMES[span[2]] == "unknown"]
    gap = log.filter("gap")["time"][0] - START
    assert unknown == [(int(gap.total_seconds()) + 900, 209.25 * HOUR, REGIMES.index("unknown"))]
    off = [span[:2] for span in spans if REGIMES[span[2]] == "off"]
    assert off == [(100.25 * HOUR, 103 * HOUR)]
    assert sum(regimes["hours"]) * HOUR == pytest.approx(spans[-1][1])


def test_states_are_on_off_or_not_known_and_end_at_a_gap(log: pl.DataFrame) -> None:
    hours = (pl.col("time") - START).dt.total_hours()
    log = log.with_columns(heater_state=pl.when(hours >= 24).then(hours < 48))
    figure = _figure(log)
    heater = next(state for state in figure.header["states"] if state["label"] == "Heater")
    gap = int((log.filter("gap")["time"][0] - START).total_seconds()) + 900
    assert figure.spans(heater) == [
        (24 * HOUR, 48 * HOUR, 1),
        (48 * HOUR, gap, 0),
        (209.25 * HOUR, figure.header["end"], 0),
    ]
    assert heater["hours"] == 24


def test_a_valve_that_is_never_half_open_is_a_state_and_any_other_a_line(log: pl.DataFrame) -> None:
    figure = _figure(log)
    assert figure.panels()["valves"] == ["expansion_valve_opening", "hot_gas_valve"]
    economizer = next(state for state in figure.header["states"] if state["label"] == "Economizer valve")
    assert economizer["valve"]
    assert figure.spans(economizer)[0] == (0, 9 * 900, 1)
    half_open = log.with_columns(
        economizer_valve=pl.when(pl.int_range(pl.len()) == 3).then(50.0).otherwise("economizer_valve")
    )
    assert "economizer_valve" in _figure(half_open).panels()["valves"]
    assert set(ON_OR_OFF) < set(CHANNELS)


def test_modes_are_those_of_the_log_the_commonest_first(log: pl.DataFrame) -> None:
    figure = _figure(log)
    mode = figure.header["mode"]
    assert mode["names"] == ["cooling", "fan only"]
    assert figure.spans(mode)[:2] == [(0, 9 * 900, 0), (9 * 900, 12 * 900, 1)]


def test_a_log_with_another_mode_in_every_reading_names_only_the_commonest() -> None:
    log = timeline([NAME], 2).with_columns(mode=pl.int_range(pl.len()).cast(pl.String) + HOSTILE)
    figure = _figure(log)
    assert len(figure.header["mode"]["names"]) == MOST_MODES
    assert max(span[2] for span in figure.spans(figure.header["mode"])) == MOST_MODES


def test_alarms_are_spans_with_their_text_the_longest_first() -> None:
    log = with_alarms(timeline([NAME]), {"return air high": (10, 20), "phase order": (15, 40)})
    rows = _figure(log).header["alarms"]["rows"]
    figure = _figure(log)
    assert [(row["text"], row["hours"]) for row in rows] == [("phase order", 25), ("return air high", 10)]
    assert [figure.spans(row) for row in rows] == [[(15 * HOUR, 40 * HOUR, 1)], [(10 * HOUR, 20 * HOUR, 1)]]


def test_an_alarm_before_and_after_a_gap_is_two_spans() -> None:
    figure = _figure(with_alarms(timeline([NAME]), {"return air high": (190, 220)}))
    (row,) = figure.header["alarms"]["rows"]
    assert len(figure.spans(row)) == 2
    assert row["hours"] == pytest.approx(30 - 9, abs=0.5)


def test_many_different_alarms_share_one_row_and_are_counted() -> None:
    texts = {f"text {number:03}": (0.0, 200.0 - number) for number in range(130)}
    alarms = _figure(with_alarms(timeline([NAME]), texts)).header["alarms"]
    assert [row["text"] for row in alarms["rows"]] == list(texts)[:MOST_ALARM_ROWS]
    assert [text for text, _ in alarms["others"]] == list(texts)[MOST_ALARM_ROWS:][:MOST_ALARMS_LISTED]
    assert alarms["unlisted"] == 130 - MOST_ALARM_ROWS - MOST_ALARMS_LISTED
    assert "starts" in alarms


def test_a_log_without_alarms_has_no_alarm_rows() -> None:
    for log in (timeline([NAME], 2), timeline([NAME], 2).drop("alarms", "mode")):
        assert _figure(log).header["alarms"]["rows"] == []


def test_hidden_characters_of_alarms_modes_and_notes_show_and_long_texts_are_cut() -> None:
    log = with_alarms(timeline([NAME], 2), {HOSTILE: (1, 5), "x" * 5000: (2, 3)})
    log = log.with_columns(mode=pl.lit(HOSTILE))
    header = _figure(log, notes=notes(NAME, {3: HOSTILE})).header
    visible = HOSTILE.replace("\u202e", "‹U+202E›")
    short, long = header["alarms"]["rows"]
    assert short["text"] == header["mode"]["names"][0] == header["notes"][0][1] == visible
    assert long["text"] == "x" * LONGEST_TEXT + "…"


def test_notes_are_at_their_time_with_what_was_seen_done_and_used() -> None:
    told = notes(NAME, {6: "coil iced over", 30: "seen again"}).with_columns(
        action=pl.Series([None, "defrosted by hand"]), part=pl.Series(["fuse", None])
    )
    assert _figure(timeline([NAME], 2), notes=told).header["notes"] == [
        [6 * HOUR, "coil iced over · fuse"],
        [30 * HOUR, "seen again · defrosted by hand"],
    ]


def test_excursions_have_their_peak_at_the_reading_that_comes_nearest() -> None:
    log = timeline([NAME], bad=1)
    inside = log.filter(pl.col("time").is_between(START + timedelta(hours=250), START + timedelta(hours=270)))
    peak = inside["controlling_air"].max()
    rows = [
        excursion(NAME, 250, 20, peak=peak),
        excursion(NAME, 0, 5, peak=None, kind="initial_warm_load"),
    ]
    drawn, warm_load = _figure(log, excursions=table(schema.EXCURSIONS, rows)).header["excursions"]
    assert (drawn["start"], drawn["end"], drawn["counts"]) == (250 * HOUR, 270 * HOUR, True)
    where = inside.filter(pl.col("controlling_air") == peak)["time"][0]
    assert drawn["peak_at"] == (where - START).total_seconds()
    assert (warm_load["kind"], warm_load["counts"], warm_load["peak_at"]) == ("First pull-down", False, None)


def test_defrosts_bring_their_warmest_coil_reading_and_their_end() -> None:
    figure = _figure(timeline([NAME], 2), defrosts=defrosts([NAME], 2))
    told = figure.header["defrosts"]
    assert [span[:2] for span in figure.spans(told)][:2] == [(0, 1800), (6 * HOUR, 6 * HOUR + 1800)]
    assert set(told["coil"]) == {15.0}
    assert set(told["terminated"]) == {True}


def test_like_units_are_drawn_on_the_units_own_set_point() -> None:
    hours = (pl.col("time") - START).dt.total_hours()
    log = timeline([NAME], 2).with_columns(set_point=pl.when(hours < 24).then(2.0).otherwise(5.0))
    bands = pl.concat([peer_band("ambient_air", 27.0, 29.0), peer_band("supply_air", -1.0, 1.0)])
    figure = _figure(log, peers=bands)
    supply, ambient = (figure.line(name)["peers"] for name in ("supply_air", "ambient_air"))
    assert figure.array(supply["times"]).tolist() == [6 * HOUR * quarter for quarter in range(8)]
    assert (figure.array(supply["low"]) / 10).tolist() == [1.0] * 4 + [4.0] * 4
    assert (figure.array(supply["high"]) / 10).tolist() == [3.0] * 4 + [6.0] * 4
    assert (figure.array(ambient["middle"]) / 10).tolist() == [28.0] * 8
    assert set(figure.array(ambient["units"])) == {11}


def test_like_units_without_an_own_set_point_to_lie_on_are_left_out() -> None:
    log = timeline([NAME], 2).with_columns(set_point=pl.lit(None, dtype=pl.Float64))
    figure = _figure(log, peers=peer_band("supply_air", -1.0, 1.0))
    assert "peers" not in figure.line("supply_air")


def test_like_units_before_and_after_this_log_are_left_out() -> None:
    figure = _figure(timeline([NAME], 2), peers=peer_band("ambient_air", 27.0, 29.0, days=14))
    assert figure.array(figure.line("ambient_air")["peers"]["times"]).max() == 42 * HOUR


def test_the_same_log_gives_the_same_text(log: pl.DataFrame) -> None:
    assert chart_of(log, *NOTHING) == chart_of(log.clone(), *NOTHING)


def test_nothing_in_a_figure_can_end_the_script_element_it_stands_in() -> None:
    log = with_alarms(timeline([NAME], 2), {HOSTILE: (1, 5)})
    chart = chart_of(log, *NOTHING)
    assert re.fullmatch(r'"[A-Za-z0-9+/=]+"', chart)
    assert json.loads(chart) == chart.strip('"')


def test_a_clock_far_off_keeps_the_rest_of_the_line() -> None:
    log = timeline([NAME], gap_hours=0)
    far = log.tail(1).with_columns(time=pl.col("time") + pl.duration(days=14_000), gap=pl.lit(False))
    broken = log.with_columns(gap=pl.int_range(pl.len()) == pl.len() - 1)
    figure = _figure(pl.concat([broken, far]))
    assert figure.breaks("supply_air") == [log.height]
    assert figure.readings("supply_air")[1][:-1] == pytest.approx(log["supply_air"].to_numpy())


def test_every_word_that_a_figure_brings_along_is_listed_for_translation(figure: Opened) -> None:
    header = figure.header
    shown = {panel["title"] for panel in header["panels"]} | set(header["regimes"]["names"])
    shown |= {line["label"] for line in header["lines"]} | {state["label"] for state in header["states"]}
    assert shown <= set(WORDS)
    assert {line["unit"] for line in header["lines"]} <= set(WORDS)


def _colours(css: str) -> dict[str, str]:
    return dict(re.findall(r"--chart-([a-z_-]+): (#[0-9a-f]{6})", css))


@pytest.fixture(scope="module")
def palettes() -> dict[str, dict[str, str]]:
    css = (resources.files("coldsift.report") / "templates" / "charts.css").read_text(encoding="utf-8")
    light, dark = css.split("@media screen", 1)
    return {"light": _colours(light), "dark": _colours(dark)}


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_lines_keep_3_to_1_and_words_4_and_a_half_to_1_on_their_ground(
    palettes: dict[str, dict[str, str]], scheme: str
) -> None:
    # WCAG 2.2, success criteria 1.4.3 (text) and 1.4.11 (graphics). Grid and hold carry no meaning.
    palette: dict[str, Any] = palettes[scheme]
    ground = palette["ground"]
    assert palettes["light"].keys() == palettes["dark"].keys()
    for name in ("ink", "soft"):
        assert contrast(palette[name], ground) >= 4.5, name
    for name in palette.keys() - {"ground", "rule", "grid", "hold", "mode-other"}:
        assert contrast(palette[name], ground) >= 3, name
