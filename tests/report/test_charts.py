"""The chart of one unit: gaps, shading, excursions and thinning."""

from __future__ import annotations

import base64
import json
from datetime import timedelta
from typing import Any

import numpy as np
import polars as pl
import pytest
from tests.report.fleet import START, container, defrosts, excursion, table, timeline

from coldsift import schema
from coldsift.report.charts import LINE_POINTS, script_safe, stretches, thinned, unit_chart

NAME = container(1)
TYPES = {"u1": np.uint8, "u4": np.uint32, "f4": np.float32}


def _numbers(packed: dict[str, str]) -> np.ndarray[Any, Any]:
    return np.frombuffer(base64.b64decode(packed["bdata"]), dtype=TYPES[packed["dtype"]])


def _traces(log: pl.DataFrame, excursions: list[dict[str, Any]] | None = None) -> dict[str, dict[str, Any]]:
    chart = unit_chart(log, table(schema.EXCURSIONS, excursions or []), defrosts([NAME], 2))
    return {trace["name"]: trace for trace in json.loads(chart)["data"]}


def test_lines_break_where_readings_are_missing() -> None:
    log = timeline([NAME])
    supply = _traces(log)["Supply air"]
    seconds, values = _numbers(supply["x"]), _numbers(supply["y"])
    last_before = log.filter(pl.col("gap"))["time"][0]
    at = (last_before - START).total_seconds()
    breaks = np.flatnonzero(np.isnan(values))
    assert at in seconds[breaks]
    inside = (seconds > at) & (seconds < at + 9 * 3600)
    assert not np.isfinite(values[inside]).any()
    # No drawn piece crosses the gap: between the readings on either side of it stands a break.
    drawn = np.flatnonzero(np.isfinite(values))
    crossing = np.flatnonzero(np.diff(seconds[drawn].astype(int)) > 8 * 3600)
    assert len(crossing) == 1
    assert drawn[crossing[0] + 1] - drawn[crossing[0]] > 1


def test_a_gap_is_kept_when_the_reading_before_it_is_missing_in_this_line() -> None:
    log = timeline([NAME]).with_columns(
        supply_air=pl.when(pl.col("gap")).then(None).otherwise(pl.col("supply_air"))
    )
    supply = _traces(log)["Supply air"]
    assert np.isnan(_numbers(supply["y"])).sum() == 2  # one break at the gap, one at the end


def test_a_long_stretch_without_one_probe_breaks_only_its_own_line() -> None:
    hours = (pl.col("time") - START).dt.total_hours()
    log = timeline([NAME]).with_columns(
        return_air=pl.when(hours.is_between(50, 60)).then(None).otherwise(pl.col("return_air"))
    )
    traces = _traces(log)
    assert np.isnan(_numbers(traces["Return air"]["y"])).sum() == 3
    assert np.isnan(_numbers(traces["Supply air"]["y"])).sum() == 2


def test_a_probe_logged_every_second_reading_is_one_line() -> None:
    log = timeline([NAME], gap_hours=0).with_columns(
        ambient_air=pl.when(pl.int_range(pl.len()) % 2 == 0).then(pl.col("ambient_air"))
    )
    assert np.isnan(_numbers(_traces(log)["Ambient air"]["y"])).sum() == 1


def test_a_reading_that_stands_alone_is_a_dot() -> None:
    log = timeline([NAME], 1)
    alone = log.with_columns(ambient_air=pl.when(pl.int_range(pl.len()) == 40).then(pl.col("ambient_air")))
    trace = _traces(alone)["Ambient air"]
    assert trace["mode"] == "markers"
    assert _numbers(trace["y"]) == pytest.approx([log["ambient_air"][40]])


def test_a_channel_that_was_not_logged_is_not_drawn() -> None:
    log = timeline([NAME], 2).with_columns(ambient_air=pl.lit(None, dtype=pl.Float64))
    assert "Ambient air" not in _traces(log)
    nothing = log.with_columns(
        pl.lit(None, dtype=pl.Float64).alias(name)
        for name in ("set_point", "supply_air", "return_air", "band_low", "band_high")
    )
    assert unit_chart(nothing, schema.EXCURSIONS.empty(), schema.DEFROSTS.empty()) == ""


def test_the_band_is_dashed_and_a_frozen_unit_has_no_lower_edge() -> None:
    chilled = _traces(timeline([NAME], 2))
    assert chilled["Band, lower edge"]["line"]["dash"] == "dash"
    assert set(_numbers(chilled["Band, upper edge"]["y"])[:-1]) == {4.0}
    frozen = timeline([container(9), NAME], 2).filter(pl.col("set_point") < -10)
    assert "Band, lower edge" not in _traces(frozen)


def test_defrosts_off_time_and_missing_readings_are_shaded_each_in_its_own_way() -> None:
    traces = _traces(timeline([NAME]))
    shades = {name: traces[name]["marker"]["pattern"]["shape"] for name in _SHADES}
    assert len(set(shades.values())) == 3
    starts, widths = (_numbers(traces["Defrost"][key]) for key in ("x", "width"))
    assert starts.tolist() == [6 * 3600 * place for place in range(8)]
    assert widths.tolist() == [30 * 60 * 1000] * 8
    assert _numbers(traces["Power off"]["x"]).tolist() == [100.25 * 3600]
    assert _numbers(traces["Power off"]["width"]).tolist() == [2.75 * 3600 * 1000]
    assert _numbers(traces["No usable readings"]["width"])[0] > 9 * 3600 * 1000


_SHADES = ("Defrost", "Power off", "No usable readings")


def test_excursions_are_marked_from_start_to_end_with_their_peak() -> None:
    log = timeline([NAME], bad=1)
    inside = log.filter(pl.col("time").is_between(START + timedelta(hours=250), START + timedelta(hours=270)))
    peak = inside["controlling_air"].max()
    traces = _traces(log, [excursion(NAME, 250, 20, peak=peak)])
    strip, mark = traces["Excursion"], traces["Excursion peak"]
    assert _numbers(strip["x"]).tolist() == [250 * 3600]
    assert _numbers(strip["width"]).tolist() == [20 * 3600 * 1000]
    assert _numbers(mark["y"]) == pytest.approx([peak], abs=1e-5)
    where = inside.filter(pl.col("controlling_air") == peak)["time"][0]
    assert _numbers(mark["x"]).tolist() == [(where - START).total_seconds()]


def test_thinning_keeps_a_single_spike_in_a_long_log() -> None:
    log = timeline([NAME], 60, gap_hours=0)
    place = 3001
    spiked = log.with_columns(
        supply_air=pl.when(pl.int_range(pl.len()) == place).then(59.5).otherwise(pl.col("supply_air"))
    )
    supply = _traces(spiked)["Supply air"]
    seconds, values = _numbers(supply["x"]), _numbers(supply["y"])
    assert log.height > 5000
    assert len(values) <= LINE_POINTS + 3
    at = (log["time"][place] - START).total_seconds()
    assert values[seconds == at].tolist() == [59.5]


@pytest.mark.parametrize("points", [8, 9, 100, 601])
def test_thinning_keeps_both_extremes_ends_and_order(points: int) -> None:
    random = np.random.default_rng(points)
    values = random.normal(size=5000).astype(np.float32)
    chosen = thinned(np.arange(5000) * 900, values, points)
    assert {values.argmin(), values.argmax(), 0, 4999} <= set(chosen.tolist())
    assert (np.diff(chosen) > 0).all()
    assert len(chosen) <= points + 2


def test_a_clock_far_off_does_not_starve_the_rest_of_the_line() -> None:
    log = timeline([NAME], gap_hours=0)
    far = log.tail(1).with_columns(time=pl.col("time") + pl.duration(days=14_000), gap=pl.lit(False))
    log = pl.concat(
        [
            log.with_columns(
                gap=pl.when(pl.int_range(pl.len()) == pl.len() - 1).then(True).otherwise(pl.col("gap"))
            ),
            far,
        ]
    )
    supply = next(
        trace
        for trace in json.loads(unit_chart(log, schema.EXCURSIONS.empty(), schema.DEFROSTS.empty()))["data"]
        if trace["name"] == "Supply air" and trace["mode"] == "lines"
    )
    assert np.isfinite(_numbers(supply["y"])).sum() > LINE_POINTS * 0.9


def test_stretches_cover_every_reading_once() -> None:
    seconds = np.array([0, 900, 1800, 9000, 9900, 50_000])
    gap_after = np.array([False, True, False, False, False, True])
    assert stretches(seconds, gap_after) == [(0, 2), (2, 3), (3, 5), (5, 6)]
    assert stretches(seconds[:0], gap_after[:0]) == []


def test_nothing_in_a_figure_can_end_the_script_element_it_stands_in() -> None:
    hostile = {"name": "</script><!--<script>&\u2028"}
    text = script_safe(hostile)
    assert not set("<>&\u2028") & set(text)
    assert json.loads(text) == hostile
