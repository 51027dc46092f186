"""The same job by hand: a careful pandas script, to hold coldsift's time against.

    python -m benchmarks.speed.by_hand --out DIR FOLDER …

What a competent user would write for this one layout: every file read once with the columns and types it
has, groupby over all units at once, numpy where pandas has no word for it, one loop over units only for the
curve fit and the pages. Regimes, most of the features with their views (now, against before, trend),
excursions, defrosts, peers by median and MAD, a ranking, tables, and a plain page a unit.

What it does not make of what coldsift makes: other layouts, units, encodings, clocks, and the account of
every line; unusual readings set aside; defrosts by anything but the flag or a kick of the supply air; events
that the whole ship shares; the features of pace, of clocks and of channels that these files do not hold;
bounds and sensor doubt of excursions; cargo temperatures and hours left; peers by neighbourhood, ambient and
forest; causes, their evidence and first checks; the round and spares; charts, search, and an offline report
for people; a workbook; a manifest with hashes.
"""

from __future__ import annotations

import argparse
import html
import json
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from time import perf_counter
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.optimize import curve_fit

TIME, CONTAINER = "Date and time (UTC)", "Container number"
NUMBERS = {
    "Set point (°C)": "set_point",
    "Supply air (°C)": "supply_air",
    "Return air (°C)": "return_air",
    "Ambient air (°C)": "ambient_air",
    "Suction pressure (bar g)": "suction_pressure",
    "Discharge pressure (bar g)": "discharge_pressure",
    "Suction temperature (°C)": "suction_temperature",
    "Discharge temperature (°C)": "discharge_temperature",
    "Expansion valve (%)": "valve",
    "Compressor frequency (Hz)": "speed",
    "Power (W)": "power",
}
STATES = {"Compressor state": "running", "Defrost state": "defrost", "Power state": "powered"}
ATMOSPHERE = 1.013
GRACE_HOURS, EXCUSED_HOURS = 1.0, 1.5
RECENT, SETTLING = pd.Timedelta(hours=48), pd.Timedelta(hours=48)
CLASSES = ("deep frozen", "frozen", "chilled", "heated")
FLAT = ("return_air", "supply_air", "ambient_air", "suction_pressure", "discharge_pressure")

Frame = Any
"""A pandas frame; pandas has no types that could be checked here."""


@dataclass(frozen=True)
class Result:
    """What the script finds: one row a unit in ``features`` and ``ranking``."""

    features: Frame
    excursions: Frame
    defrosts: Frame
    ranking: Frame


def read(files: Iterable[Path]) -> Frame:
    """All files as one frame, sorted by container and time."""
    columns = [TIME, CONTAINER, *NUMBERS, *STATES]
    types = {**dict.fromkeys(NUMBERS, "float64"), **dict.fromkeys(STATES, "category"), CONTAINER: "category"}
    parts = [
        pd.read_csv(path, usecols=columns, dtype=types, parse_dates=[TIME], date_format="%Y-%m-%d %H:%M:%S")
        for path in files
    ]
    for part in parts:
        for state in STATES:
            # On, off, or not logged.
            part[state] = part[state].map({"on": 1.0, "off": 0.0}).astype("float64")
        part[CONTAINER] = part[CONTAINER].astype("str")
    log = pd.concat(parts, ignore_index=True).rename(
        columns={TIME: "time", CONTAINER: "container", **NUMBERS, **STATES}
    )
    log["container"] = log["container"].astype("category")
    log = log.sort_values(["container", "time"], kind="stable", ignore_index=True)
    log = log.drop_duplicates(["container", "time"], ignore_index=True)
    log[["suction_pressure", "discharge_pressure"]] += ATMOSPHERE
    return log


def with_regimes(log: Frame) -> Frame:
    """Add what each reading stands for and what the unit was doing."""
    log = log.copy()
    unit = log.groupby("container", observed=True, sort=False)
    log["step"] = (unit["time"].shift(-1) - log["time"]).dt.total_seconds() / 3600
    usual = log.groupby("container", observed=True)["step"].transform("median")
    log["gap"] = log["step"] > 2.5 * usual
    log["hours"] = log["step"].where(~log["gap"], usual).fillna(0.0)
    frozen = log["set_point"] <= -10
    log["frozen"] = frozen
    log["air"] = log["return_air"].where(frozen, log["supply_air"])
    log["error"] = log["air"] - log["set_point"]
    log["in_band"] = np.where(frozen, log["error"] <= 3, log["error"].abs() <= 2)
    log["powered"] = log["powered"].fillna(1.0) > 0
    runs = log["running"].fillna((log["speed"] > 1).astype(float)) > 0
    log["running"] = runs
    flagged = log.groupby("container", observed=True)["defrost"].transform("count") > 0
    log["defrost"] = np.where(flagged, log["defrost"].fillna(0) > 0, False)
    if not flagged.all():
        log.loc[~flagged, "defrost"] = _kicks(log[~flagged])
    unit = log.groupby("container", observed=True, sort=False)
    before = unit[["powered", "defrost", "set_point"]].shift(1)
    stepped = (log["set_point"] - before["set_point"]).abs() > 0.3
    back = log["powered"] & (before["powered"].eq(False))
    thawed = ~log["defrost"] & before["defrost"].eq(True) & log["powered"]
    settled = log["in_band"] & log["powered"] & ~log["defrost"]
    arrived = settled.groupby(log["container"], observed=True).cummax()
    half_day = max(1, round(12 / float(usual.median())))
    stalled = (unit["air"].shift(half_day) - log["air"] < 0.5) & log["powered"] & ~log["defrost"]
    stalled = stalled.groupby(log["container"], observed=True).cummax()
    longest = pd.Series(np.select([stepped, back, thawed], [24.0, 24.0, 3.0], 0.0), index=log.index)
    trigger = stepped | back | thawed
    episode = [log["container"], trigger.groupby(log["container"], observed=True).cumsum()]
    since = (
        log["time"] - log["time"].groupby(episode, observed=True).transform("first")
    ).dt.total_seconds() / 3600
    limit = longest.groupby(episode, observed=True).transform("first")
    recovered = settled.groupby(episode, observed=True).cummax()
    log["regime"] = np.select(
        [~log["powered"], log["defrost"], stepped, ~arrived & ~stalled, ~recovered & (since < limit)],
        ["off", "defrost", "step", "pull_down", "recovery"],
        "hold",
    )
    log["excused"] = (
        log["defrost"] | ((limit == 3) & (since < EXCUSED_HOURS)) | (log["regime"] == "pull_down")
    )
    last = log.groupby("container", observed=True)["time"].transform("max")
    first = log.groupby("container", observed=True)["time"].transform("min")
    present = unit["set_point"].transform("last")
    log["present"] = (log["set_point"] - present).abs() <= 0.3
    log["recent"] = log["time"] > last - RECENT
    log["settled"] = (log["time"] >= first + SETTLING) | (last - first <= 2 * SETTLING + RECENT)
    return log


def _kicks(log: Frame) -> Frame:
    """Defrosts of units that log no flag: supply air well above its usual level, compressor standing."""
    usual = (
        log.set_index("time")
        .groupby("container", observed=True, sort=False)["supply_air"]
        .rolling("24h")
        .median()
        .to_numpy()
    )
    kick = (
        log["powered"]
        & ~log["running"]
        & (log["supply_air"] - usual > 3)
        & (log["supply_air"] > log["return_air"] + 1)
    )
    run = (kick != kick.groupby(log["container"], observed=True).shift(1)).cumsum()
    return kick & (log["hours"].groupby(run).transform("sum") <= 4)


def saturation() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Pressure [bar] and saturation temperature [°C] of R134a, tabulated."""
    from CoolProp.CoolProp import PropsSI

    temperatures = np.linspace(-70.0, 95.0, 331)
    pressures = np.asarray(PropsSI("P", "T", temperatures + 273.15, "Q", 1, "R134a")) / 1e5
    return pressures, temperatures


MEDIANS = {
    "control_error": ("error", "hold"),
    "air_sensors_apart": ("split", "air_only"),
    "suction_pressure_running": ("suction_pressure", "cold"),
    "discharge_pressure_running": ("discharge_pressure", "cold"),
    "discharge_temperature_running": ("discharge_temperature", "cold"),
    "superheat": ("superheat", "cold"),
    "coil_to_air": ("coil_to_air", "cold"),
    "coil_use": ("coil_use", "cold"),
    "air_above_suction_line": ("air_above_suction_line", "cold"),
    "pressure_ratio": ("ratio", "cold"),
    "condensing_over_ambient": ("condensing_over_ambient", "cold"),
    "discharge_superheat": ("discharge_superheat", "cold"),
    "split_per_speed": ("split_per_speed", "cold"),
    "capacity_index": ("capacity", "cold"),
    "valve_for_load": ("valve_for_load", "cold"),
    "power_for_flow": ("power_for_flow", "cold"),
    "power_in_defrost": ("power", "thawing"),
    "air_at_stop": ("error_at_stop", "any_hold"),
    "ambient": ("ambient_air", "all"),
    "lift": ("lift", "all"),
}
TIME_MEANS = {
    "split": ("split", "hold"),
    "in_band_share": ("in_band", "hold"),
    "valve_opening": ("valve", "hold"),
    "compressor_speed": ("speed_or_none", "hold"),
    "compressor_duty": ("running", "hold"),
    "power_mean": ("power", "hold"),
    "return_air_repeats": ("return_air_same", "cold"),
    "supply_air_repeats": ("supply_air_same", "cold"),
    "idle_while_warm": ("idle", "any_hold"),
    "compressor_switches": ("switches", "any_hold"),
}
QUANTILES: dict[str, tuple[str, str, float | None, float]] = {
    "split_spread": ("split", "cold", 0.1, 0.9),
    "control_error_high": ("error_size", "hold", None, 0.95),
    "control_swing": ("error", "hold", 0.1, 0.9),
    "discharge_superheat_spread": ("discharge_superheat", "cold", 0.1, 0.9),
    "standstill_over_saturation": ("over_rest", "standing", None, 0.05),
}
"""Feature, the column it is taken of, the readings it is taken over, and, for quantiles, which."""

_OF_QUANTILES = {name: (column, rows) for name, (column, rows, _, _) in QUANTILES.items()}

WATCHED = (
    "split", "control_error", "in_band_share", "suction_pressure_running", "discharge_pressure_running",
    "discharge_temperature_running", "valve_opening", "compressor_speed", "compressor_duty", "power_mean",
    "return_air_repeats", "supply_air_repeats", "superheat", "coil_to_air", "coil_use",
    "air_above_suction_line", "pressure_ratio", "condensing_over_ambient", "discharge_superheat",
    "split_per_speed", "capacity_index", "valve_for_load", "power_for_flow", "discharge_superheat_spread",
    "standstill_over_saturation", "idle_while_warm", "compressor_switches", "air_at_stop", "power_in_defrost",
    "ambient", "lift",
)  # fmt: skip
"""Features that are also taken now, against before, and as a trend."""


def _measured(log: Frame) -> Frame:
    """Columns that the features are taken of, masked to the readings they are taken over."""
    pressures, temperatures = saturation()
    logs = np.log(pressures)
    evaporating = np.interp(np.log(log["suction_pressure"].clip(lower=0.01)), logs, temperatures)
    condensing = np.interp(np.log(log["discharge_pressure"].clip(lower=0.01)), logs, temperatures)
    warmest = np.fmax(log["ambient_air"], log["return_air"])
    of = pd.DataFrame(index=log.index)
    split = log["return_air"] - log["supply_air"]
    unit = log.groupby("container", observed=True, sort=False)
    before = unit[["running", "return_air", "supply_air"]].shift(1)
    switched = before["running"].notna() & (before["running"] != log["running"])
    fast = log["speed"].where(log["speed"] > 10)
    ratio = log["discharge_pressure"] / log["suction_pressure"]
    of["error"], of["split"] = log["error"], split
    of["error_size"] = log["error"].abs()
    of["in_band"], of["running"] = log["in_band"].astype(float), log["running"].astype(float)
    for name in (
        "suction_pressure", "discharge_pressure", "discharge_temperature", "power", "valve", "ambient_air"
    ):  # fmt: skip
        of[name] = log[name]
    of["superheat"] = log["suction_temperature"] - evaporating
    of["coil_to_air"] = log["return_air"] - evaporating
    of["coil_use"] = (split / of["coil_to_air"]).where(of["coil_to_air"] > 2)
    of["air_above_suction_line"] = log["return_air"] - log["suction_temperature"]
    of["ratio"] = ratio
    of["condensing_over_ambient"] = condensing - log["ambient_air"]
    of["discharge_superheat"] = log["discharge_temperature"] - condensing
    of["split_per_speed"] = 100 * split / fast
    of["capacity"] = 100 * split / (fast * log["suction_pressure"])
    of["valve_for_load"] = 100 * log["valve"] / fast
    of["power_for_flow"] = (
        100 * log["power"] / (fast * log["suction_pressure"] * np.log(ratio.where(ratio > 1.2)))
    )
    of["error_at_stop"] = log["error"].where(switched & ~log["running"])
    of["lift"] = log["ambient_air"] - log["set_point"]
    of["speed_or_none"] = log["speed"].where(log["running"], 0.0)
    of["return_air_same"] = (log["return_air"] == before["return_air"]).astype(float)
    of["supply_air_same"] = (log["supply_air"] == before["supply_air"]).astype(float)
    of["idle"] = (~log["running"] & (log["error"] > 1)).astype(float)
    of["switches"] = switched / log.groupby("container", observed=True)["step"].transform("median")
    of["over_rest"] = log["discharge_pressure"] - np.interp(warmest, temperatures, pressures)
    stand = [log["container"], log["running"].groupby(log["container"], observed=True).cumsum()]
    stood = log["hours"].where(~log["running"], 0.0).groupby(stand, observed=True).cumsum() - log["hours"]
    any_hold = log["regime"] == "hold"
    hold = any_hold & log["present"]
    where = {
        "all": pd.Series(True, index=log.index),
        "any_hold": any_hold,
        "hold": hold,
        "cold": hold & log["running"],
        "air_only": hold & ~log["running"],
        "thawing": (log["regime"] == "defrost") & ~log["running"],
        "standing": ~log["running"] & (stood >= 0.25),
    }
    return pd.DataFrame(
        {
            name: of[column].where(where[rows])
            for name, (column, rows) in {**MEDIANS, **TIME_MEANS, **_OF_QUANTILES}.items()
        }
    )


def _statistics(values: Frame, hours: Frame, keys: list[Frame]) -> Frame:
    """Every measured feature by group."""
    grouped = values.groupby(keys, observed=True, sort=True)
    found = [grouped[list(MEDIANS)].median()]
    means = values[list(TIME_MEANS)]
    weights = means.notna().mul(hours, axis=0).groupby(keys, observed=True, sort=True).sum()
    found.append(means.mul(hours, axis=0).groupby(keys, observed=True, sort=True).sum() / weights)
    for name, (_, _, low, high) in QUANTILES.items():
        quantile = grouped[name].quantile(high)
        found.append((quantile if low is None else quantile - grouped[name].quantile(low)).rename(name))
    return pd.concat(found, axis=1)


def features_of(log: Frame, defrosts: Frame) -> Frame:
    """One row a unit, one column a feature, under coldsift's names."""
    measured = _measured(log)
    hours, container = log["hours"], log["container"]
    whole = _statistics(measured, hours, [container])
    parts = [whole]
    watched = list(WATCHED)
    now = _statistics(measured[log["recent"]], hours[log["recent"]], [container[log["recent"]]])[watched]
    past = log["settled"] & ~log["recent"]
    before = _statistics(measured[past], hours[past], [container[past]])[watched]
    parts += [now.add_suffix("_now"), (now - before).add_suffix("_shift")]
    settled = log["settled"]
    daily = _statistics(
        measured[settled], hours[settled], [container[settled], log["time"][settled].dt.floor("D")]
    )[watched]
    parts.append(_theil_sen(daily).add_suffix("_trend"))
    parts += [_of_defrosts(defrosts, log), _of_the_log(log), _pull_downs(log)]
    return pd.concat([_by_name(part) for part in parts], axis=1).sort_index()


def _by_name(table: Frame) -> Frame:
    """The same with plain names as its index: categories of a part do not fit those of another."""
    return table.set_axis(table.index.astype("str"))


def _theil_sen(daily: Frame) -> Frame:
    """Median slope over all pairs of days, all units at once."""
    days = daily.index.levels[1]
    place = (days - days[0]).days.to_numpy()
    later, earlier = np.tril_indices(len(days), -1)
    apart = (place[later] - place[earlier]).astype(float)
    slopes = {}
    for name in daily:
        table = daily[name].unstack().reindex(columns=days).to_numpy()
        steep = (table[:, later] - table[:, earlier]) / apart
        enough = np.isfinite(table).sum(axis=1) >= 4
        slope = np.full(len(table), np.nan)
        slope[enough] = np.nanmedian(steep[enough], axis=1)
        slopes[name] = slope
    return pd.DataFrame(slopes, index=daily.index.levels[0])


def defrosts_of(log: Frame) -> Frame:
    """One row a defrost."""
    run = (log["defrost"] != log["defrost"].groupby(log["container"], observed=True).shift(1)).cumsum()
    following = log.groupby("container", observed=True)["time"].shift(-1)
    rows = log.assign(run=run, following=following)[log["defrost"]]
    table = (
        rows.groupby(["container", "run"], observed=True)
        .agg(
            start=("time", "first"),
            last=("time", "last"),
            following=("following", "last"),
            gap=("gap", "last"),
        )
        .reset_index()
    )
    table["terminated"] = table["following"].notna() & ~table["gap"]
    table["end"] = table["following"].where(table["terminated"], table["last"])
    table["minutes"] = (table["end"] - table["start"]).dt.total_seconds() / 60
    table["terminated"] &= table["minutes"] <= 240
    settled = log.loc[log["in_band"] & ~log["defrost"] & log["powered"], ["container", "time"]]
    table = pd.merge_asof(
        table.sort_values("end"),
        settled.assign(back=settled["time"]).sort_values("time"),
        left_on="end",
        right_on="time",
        by="container",
        direction="forward",
    ).sort_values(["container", "start"], ignore_index=True)
    recovery = (table["back"] - table["end"]).dt.total_seconds() / 60
    table["recovery_minutes"] = recovery.where(table["terminated"])
    return table[["container", "start", "end", "minutes", "terminated", "recovery_minutes"]]


def _of_defrosts(defrosts: Frame, log: Frame) -> Frame:
    ends = log.groupby("container", observed=True)["time"].max()
    table = defrosts.assign(
        apart=defrosts.groupby("container", observed=True)["start"].diff().dt.total_seconds() / 3600
    )
    recent = table["start"] > table["container"].map(ends).astype(table["start"].dtype) - pd.Timedelta(
        hours=96
    )

    def stats(part: Frame) -> Frame:
        lengths = part.assign(minutes=part["minutes"].where(part["terminated"]))
        return lengths.groupby("container", observed=True).agg(
            defrost_interval=("apart", "median"),
            defrost_minutes=("minutes", "median"),
            defrost_recovery=("recovery_minutes", "median"),
        )

    shift = (stats(table[recent]) - stats(table[~recent])).add_suffix("_shift")
    unfinished = (~table["terminated"]).groupby(table["container"], observed=True).mean()
    frosting = log["hours"].where(log["powered"] & log["running"], 0.0)
    stretch = [log["container"], log["defrost"].groupby(log["container"], observed=True).cumsum()]
    between = frosting.groupby(stretch, observed=True).sum().groupby(level=0, observed=True)
    return pd.concat(
        [
            stats(table),
            shift,
            unfinished.rename("defrosts_unfinished"),
            between.max().rename("without_defrost"),
            between.last().rename("frosting_since_defrost"),
        ],
        axis=1,
    )


def _of_the_log(log: Frame) -> Frame:
    """Interval, gaps, hours without power, readings that stood still."""
    unit = log.groupby("container", observed=True)
    off = log["regime"] == "off"
    lost = off & unit["powered"].shift(1).eq(True)
    found = {
        "log_interval": unit["step"].median() * 60,
        "longest_gap": unit["step"].max(),
        "log_hours": unit["hours"].sum(),
        "off_hours": log["hours"].where(off, 0.0).groupby(log["container"], observed=True).sum(),
        "outages": lost.groupby(log["container"], observed=True).sum(),
        "set_point_moved": unit["set_point"].last() - unit["set_point"].first(),
        "pull_down_hours": log["hours"]
        .where(log["regime"] == "pull_down", 0.0)
        .groupby(log["container"], observed=True)
        .sum(),
    }
    cold = (log["regime"] == "hold") & log["running"] & log["present"]
    others = {"return_air": "supply_air", "supply_air": "return_air"}
    for channel in FLAT:
        run = (unit[channel].diff() != 0).cumsum()
        stood = log["hours"].groupby(run).cumsum()
        found[f"{channel}_flat"] = stood.where(cold).groupby(log["container"], observed=True).max()
        if channel in others:
            other = log[others[channel]].groupby(run)
            moved = other.transform("max") - other.transform("min")
            moved = moved.where(log["hours"].groupby(run).transform("sum") >= 2, 0.0).where(log["powered"])
            found[f"{channel}_stuck"] = moved.groupby(log["container"], observed=True).max()
    air = (log["return_air"] + log["supply_air"]) / 2
    return _by_name(pd.DataFrame(found)).assign(warm_up_tau=_warm_up(log.assign(both=air)))


def _warm_up(log: Frame) -> Frame:
    stretch = log["powered"].groupby(log["container"], observed=True).cumsum()
    rows = log.assign(stretch=stretch)[~log["powered"] & ~log["gap"]]
    start = rows.groupby(["container", "stretch"], observed=True)["time"].transform("first")
    rows = rows[rows["time"] - start >= pd.Timedelta(minutes=30)]
    part = rows.groupby(["container", "stretch"], observed=True).agg(
        begin=("time", "first"),
        end=("time", "last"),
        first=("both", "first"),
        last=("both", "last"),
        outside=("ambient_air", "mean"),
    )
    hours = (part["end"] - part["begin"]).dt.total_seconds() / 3600
    kept = (hours >= 1) & (part["outside"] - part["last"] > 5) & (part["last"] > part["first"])
    part, hours = part[kept], hours[kept]
    tau = -hours / np.log((part["outside"] - part["last"]) / (part["outside"] - part["first"]))
    return _by_name(tau.groupby(level=0, observed=True).median())


def _pull_downs(log: Frame) -> Frame:
    """First-order fit of each unit's first pull-down."""

    def curve(hours: Any, end: float, start: float, tau: float) -> Any:
        return end + (start - end) * np.exp(-hours / tau)

    rows: dict[str, dict[str, float]] = {}
    pulling = log[(log["regime"] == "pull_down") & log["air"].notna()]
    for name, part in pulling.groupby("container", observed=True):
        hours = ((part["time"] - part["time"].iloc[0]).dt.total_seconds() / 3600).to_numpy()
        air = part["air"].to_numpy()
        found: dict[str, float] = {}
        if hours[-1] > 0 and len(part) >= 4:
            found["pull_down_rate"] = (air[0] - air[-1]) / hours[-1]
        if len(part) >= 6:
            try:
                (end, start, tau), _ = curve_fit(
                    curve, hours, air, p0=(air[-1], air[0], hours[-1] / 2), maxfev=400
                )
            except RuntimeError:
                rows[str(name)] = found
                continue
            if 0 < tau < 2 * hours[-1] and start - end > 2:
                found["pull_down_tau"] = tau
                found["pull_down_end"] = end - part["set_point"].iloc[-1]
                found["pull_down_fit_error"] = float(
                    np.sqrt(np.mean((curve(hours, end, start, tau) - air) ** 2))
                )
        rows[str(name)] = found
    names = ["pull_down_rate", "pull_down_tau", "pull_down_end", "pull_down_fit_error"]
    fits = pd.DataFrame.from_dict(rows, orient="index", columns=None).reindex(columns=names)
    arrived = log["in_band"] & log["powered"] & ~log["defrost"]
    begin = log.groupby("container", observed=True)["time"].min()
    reached = log[arrived].groupby("container", observed=True)["time"].min()
    hours = _by_name(((reached - begin).dt.total_seconds() / 3600).rename("hours_to_set_point"))
    return fits.join(hours, how="outer")


def excursions_of(log: Frame) -> Frame:
    """Stretches of an hour or longer out of the band, but for defrosts and the first pull-down."""
    out = ~log["in_band"] & ~log["excused"]
    run = (out != out.groupby(log["container"], observed=True).shift(1)).cumsum()
    rows = log.assign(run=run, beyond=log["error"].where(log["error"] > 0, -log["error"]))[out]
    rows = rows.assign(area=rows["beyond"] * rows["hours"])
    table = rows.groupby(["container", "run"], observed=True).agg(
        start=("time", "first"),
        end=("time", "last"),
        hours=("hours", "sum"),
        peak=("beyond", "max"),
        degree_hours=("area", "sum"),
    )
    return table[table["hours"] >= GRACE_HOURS].reset_index().drop(columns="run")


def rank(features: Frame, log: Frame, excursions: Frame) -> Frame:
    """Units against their like by median and MAD; the oddest first."""
    means = _by_name(log.groupby("container", observed=True)[["set_point", "ambient_air"]].median())
    group = np.select(
        [
            means["set_point"] <= -17.5,
            means["set_point"] <= -10,
            means["ambient_air"] < means["set_point"] - 2,
        ],
        [CLASSES[0], CLASSES[1], CLASSES[3]],
        CLASSES[2],
    )
    peers = features.groupby(group)
    middle = peers.transform("median")
    apart = (features - middle).abs()
    spread = 1.4826 * apart.groupby(group).transform("median")
    floor = 0.25 * apart.median().replace(0.0, np.nan)
    odd = (apart / spread.clip(lower=floor, axis=1)).fillna(0.0).clip(upper=20)
    top = np.sort(odd.to_numpy(), axis=1)[:, -5:].mean(axis=1)
    out = _by_name(excursions.groupby("container", observed=True)["hours"].sum())
    hours = out.reindex(features.index).fillna(0.0)
    order = odd.to_numpy().argsort(axis=1)[:, ::-1][:, :3]
    why = ["; ".join(features.columns[places]) for places in order]
    table = pd.DataFrame(
        {"group": group, "oddness": top, "excursion_hours": hours.to_numpy(), "why": why},
        index=features.index,
    )
    return table.sort_values("oddness", ascending=False, kind="stable")


def analyse(log: Frame) -> Result:
    """Everything after reading."""
    rows = with_regimes(log)
    defrosts = defrosts_of(rows)
    excursions = excursions_of(rows)
    features = features_of(rows, defrosts)
    return Result(features, excursions, defrosts, rank(features, rows, excursions))


def write(result: Result, out: Path) -> None:
    """Tables as Parquet and CSV, an index, and a plain page a unit."""
    (out / "units").mkdir(parents=True, exist_ok=True)
    result.features.reset_index(names="container").to_parquet(out / "features.parquet")
    result.excursions.to_parquet(out / "excursions.parquet")
    result.defrosts.to_parquet(out / "defrosts.parquet")
    result.ranking.to_csv(out / "ranking.csv")
    page = "<!doctype html><meta charset=utf-8><title>{0}</title><h1>{0}</h1>{1}"
    (out / "index.html").write_text(page.format("Voyage", result.ranking.to_html()), encoding="utf-8")
    stretches = {str(name): part for name, part in result.excursions.groupby("container", observed=True)}
    for name, values in result.features.iterrows():
        rows = "".join(f"<tr><td>{column}<td>{value:.3g}" for column, value in values.dropna().items())
        text = f"<p>{html.escape(result.ranking.at[name, 'why'])}<table>{rows}</table>"
        if name in stretches:
            text += stretches[name].to_html(index=False)
        (out / "units" / f"{name}.html").write_text(
            page.format(html.escape(str(name)), text), encoding="utf-8"
        )


def main() -> None:
    """Run the script and print the seconds of its stages."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("folders", nargs="+", type=Path)
    options.add_argument("--out", required=True, type=Path)
    chosen = options.parse_args()
    began = perf_counter()
    log = read(path for folder in chosen.folders for path in sorted(folder.glob("*.csv")))
    is_read = perf_counter()
    rows = with_regimes(log)
    defrosts = defrosts_of(rows)
    excursions = excursions_of(rows)
    with_regime = perf_counter()
    features = features_of(rows, defrosts)
    with_features = perf_counter()
    write(Result(features, excursions, defrosts, rank(features, rows, excursions)), chosen.out)
    print(
        json.dumps(
            {
                "seconds": perf_counter() - began,
                "rows": len(log),
                "read": is_read - began,
                "regimes, defrosts, excursions": with_regime - is_read,
                "features": with_features - with_regime,
                "peers, ranking, writing": perf_counter() - with_features,
                "features found": int(features.notna().any().sum()),
            }
        )
    )


if __name__ == "__main__":
    main()
