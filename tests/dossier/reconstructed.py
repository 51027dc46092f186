"""An invented reconstruction for the dossier's tests: hostile text wherever a log or a file brings text."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from functools import cache
from typing import Any

import numpy as np
import polars as pl

from coldsift import schema
from coldsift.dossier.model import (
    Answer,
    CauseNote,
    Event,
    FileNote,
    Reconstruction,
    Sensitivity,
    SourceNote,
    TreatmentNote,
)
from coldsift.excursions import find_excursions
from coldsift.protocols import ProbeVerdict
from coldsift.regimes import find_defrosts
from tests.builders import START, clock, log, timeline

CONTAINER = "QXAU0000001"
HOSTILE = '<script>alert("1")</script>$\\frac{1}{0}$\u202e</table></svg>'
LONG = "compressor did not answer within its time and was tried again " * 6

OFF = (282.0, 291.0)
"""Hours from the start during which the unit had no power."""
GAP = (286.0, 290.0)
"""Hours from the start without readings."""


def at(hours: float) -> datetime:
    """An instant so many hours after the start."""
    return START + timedelta(hours=hours)


def readings(days: float = 20, minutes: int = 15) -> pl.DataFrame:
    """A chilled unit: pull-down, hold with defrosts, hours without power, and a rise while it has none."""
    hours = clock(24 * days, minutes)
    random = np.random.default_rng(4)
    defrosting = (hours > 20) & (hours % 8 < 0.5)
    off = (hours >= OFF[0]) & (hours < OFF[1])
    since = np.clip(hours - OFF[0], 0, OFF[1] - OFF[0])
    after = np.clip(hours - OFF[1], 0, None)
    rise = 7.5 * (1 - np.exp(-since / 5)) * np.exp(-after / 2.5)
    air = 2 + 16 * np.exp(-hours / 4) + rise + random.normal(0, 0.12, len(hours))
    supply = air - np.where(off, 0.0, 0.5) + np.where(defrosting & ~off, 4.0, 0.0)
    alarms = [
        [f"AL 31 {HOSTILE}", LONG]
        if 290.5 <= hour < 292
        else ["probe check due"]
        if 100 <= hour < 103
        else []
        for hour in hours
    ]
    logged = log(
        hours,
        CONTAINER,
        set_point=2.0,
        supply_air=np.round(supply, 1),
        return_air=np.round(air + np.where(off, 0.3, 0.9), 1),
        ambient_air=np.round(27 + 5 * np.sin(hours * 2 * np.pi / 24), 1),
        cargo_probe_1=np.round(2.3 + 6 * np.exp(-hours / 30) + 0.3 * rise, 1),
        cargo_probe_2=np.round(2.1 + 5 * np.exp(-hours / 36) + 0.2 * rise, 1),
        voltage_1=np.where(off, 0.0, np.round(440 + random.normal(0, 2, len(hours)), 0)),
        power=np.where(off, 0.0, np.round(3800 + 900 * np.sin(hours / 5), -1)),
        power_state=~off,
        defrost_state=defrosting & ~off,
        alarms=alarms,
    )
    silent = ((hours > GAP[0]) & (hours < GAP[1])) | ((hours > 60) & (hours < 66))
    return logged.filter(~pl.Series(silent))


def table(of: schema.Table, rows: list[dict[str, Any]]) -> pl.DataFrame:
    """Rows as one of coldsift's tables, all of the one container."""
    if not rows:
        return of.empty()
    return of.conform(
        pl.DataFrame([{"container": CONTAINER} | row for row in rows], infer_schema_length=None)
    )


def cargo_temperatures(line: pl.DataFrame) -> pl.DataFrame:
    """Invented: the air, smoothed, with a band of its own for core and surface."""
    smooth = pl.col("controlling_air")
    return schema.CARGO_TEMPERATURES.conform(
        line.select(
            "container",
            "time",
            surface=(smooth - 2).ewm_mean(half_life=24) * 0.6 + 2.6,
            core=(smooth - 2).ewm_mean(half_life=120) * 0.4 + 2.9,
        ).with_columns(
            surface_low=pl.col("surface") - 0.5,
            surface_high=pl.col("surface") + 0.6,
            core_low=pl.col("core") - 0.7,
            core_high=pl.col("core") + 0.9,
        )
    )


def peers(hours: float) -> pl.DataFrame:
    """Forty other units that keep their temperature."""
    count = int(hours)
    random = np.random.default_rng(7)
    middle = random.normal(0.1, 0.05, count)
    return schema.PEERS_THEN.conform(
        pl.DataFrame(
            {
                "time": [at(hour) for hour in range(count)],
                "units": [41 - (hour % 7 == 0) for hour in range(count)],
                "outside": [int(hour % 90 < 2) for hour in range(count)],
                "low": middle - 0.4,
                "median": middle,
                "high": middle + 0.5,
            }
        )
    )


def treatment(days: int = 14) -> TreatmentNote:
    """A treatment that two probes keep until the unit stood without power."""
    rows = [
        {
            "protocol": "invented_14",
            "probe": probe,
            "day": day,
            "start": at(24 * day),
            "end": at(24 * (day + 1)),
            "verdict": "break" if day == 12 else "cannot_judge" if day == 3 else "holds",
            "readings": 96,
            "coldest": 0.9 + 0.1 * place,
            "warmest": 3.9 if day == 12 else 1.6 + 0.1 * place,
            "longest_gap_minutes": 240.0 if day == 12 else 15.0,
            "credited_days": float(day if day < 12 else max(day - 13, 0)),
            "reason": f"warmer than the ladder allows {HOSTILE}" if day == 12 else "every reading within",
        }
        for place, probe in enumerate(("cargo_probe_1", "cargo_probe_2"))
        for day in range(1, days + 1)
    ]
    return TreatmentNote(
        name=f"Invented treatment of 14 days {HOSTILE}",
        edition="invented, 2026",
        source="invented",
        about="14 days in a row with every probe at 1.7 °C or colder",
        verdict="not_complete",
        reason="A break on day 12 set the count back.",
        earliest_completion=at(24 * 27),
        probes=(
            ProbeVerdict("cargo_probe_1", "not_complete", 1.0, "3.9 °C on day 12"),
            ProbeVerdict("cargo_probe_2", "cannot_judge", 0.0, HOSTILE),
        ),
        how_counted=(f"At or below 1.7 °C for 14 days {HOSTILE}.",),
        assumed=("The probes read 0 °C in melting ice.",),
        days=schema.TREATMENT_DAYS.conform(
            pl.DataFrame([{"container": CONTAINER} | row for row in rows], infer_schema_length=None)
        ),
    )


def answers() -> tuple[Answer, ...]:
    """Five answers as long as real ones."""
    return (
        Answer(
            "What happened, and when?",
            "The supply air rose above its band at 4.0 °C at 2026-01-16 19:27 UTC and was back within it at "
            "2026-01-17 05:19 UTC. One other is listed.",
            "The start lies between 2026-01-16 19:15 and 2026-01-16 20:00; the end between 2026-01-17 04:45 "
            f"and 2026-01-17 06:00. That the probe erred and not the air is very unlikely: {HOSTILE}.",
        ),
        Answer(
            "How far, and for how long?",
            "To 8.1 °C, 4.1 K beyond the edge; outside for at least 5.9 h, 11 K h beyond the edge, mean "
            "kinetic temperature 5.9 °C. Gaps leave open up to 10.8 h and 42 K h. Cargo (invented fruit): "
            "reckoned core at its warmest 3.1 °C (2.4 to 4.0 °C) at 2026-01-17 09:15 UTC; the outer cargo "
            "was not reckoned above its limit of 4.5 °C.",
            "With a probe that is 0.5 K off it would be 5.9 to 7.2 h and 12 to 18 K h. The cargo is "
            "reckoned from the air, with its band.",
        ),
        Answer(
            "Why, most likely?",
            "The supply was off at this unit for 9.0 h in it or shortly before, from 2026-01-16 18:00 UTC. "
            "Likeliest of the causes weighed: power interrupted, 94 %: power off as logged.",
            "Up to 41 like units had readings at the same hours; they were outside their bands for under "
            "1 % of them: it was this box, not the ship.",
        ),
        Answer(
            "In whose custody?",
            f"It began with the terminal {HOSTILE}. By holder: terminal 5.9 h (11 K h).",
            "No hand-over lies within the uncertainty of the start. Who had it is as the events file says.",
        ),
        Answer(
            "What can the log not tell?",
            "Where the 2 cargo probes sat in the stow is not in the log. Nothing was logged for 10.0 h in 2 "
            "gaps. Nothing is known before 2026-01-05 00:00 and after 2026-01-24 23:45 UTC.",
            "Everything the log cannot tell stands in its own section.",
        ),
    )


@cache
def reconstruction(days: float = 20, minutes: int = 15) -> Reconstruction:
    """The whole of it; the figures beside those of the log are invented."""
    line = timeline(readings(days, minutes))
    found = find_excursions(line)
    main = found.filter(pl.col("start") > at(280))["start"][0]
    is_main = pl.col("start") == main
    # What a later stage fills, where it has not: so that every cell of the page has something to show.
    excursions = schema.EXCURSIONS.conform(
        found.with_columns(
            pl.col("hours_at_most").fill_null(pl.col("hours") + pl.col("gap_hours")),
            pl.col("degree_hours_at_most").fill_null(1.5 * pl.col("degree_hours")),
            pl.col("peak_at_most").fill_null(pl.col("peak") + 0.8),
            sensor_doubt_why=pl.when(is_main)
            .then(pl.lit(f"both air sensors rose together {HOSTILE}"))
            .otherwise("sensor_doubt_why"),
        )
    )
    row = excursions.filter(is_main).row(0, named=True)
    hostile_source = SourceNote(
        "s1",
        f"invented/hold 3/{HOSTILE}.csv",
        "ab12" * 16,
        1_048_576,
        "semicolon_celsius",
        "Written in UTC+02:00 as its heading says; checked against the power cuts of 40 other units",
        2000,
        1894,
        96,
        10,
        1894,
        (f"Ten lines are not readable: {HOSTILE}",),
    )
    return Reconstruction(
        container=CONTAINER,
        number_valid=False,
        start=START,
        end=at(24 * days),
        answers=answers(),
        timeline=line,
        excursions=excursions,
        excursion_parts=table(
            schema.EXCURSION_PARTS,
            [
                {
                    "excursion": main,
                    "division": division,
                    "part": part,
                    "start": row["start"],
                    "end": row["end"],
                    "hours": hours,
                    "gap_hours": gap,
                    "degree_hours": area,
                    "peak": peak,
                }
                for division, part, hours, gap, area, peak in (
                    ("regime", "off", 4.4, 4.0, 11.2, 8.5),
                    ("regime", "recovery", 2.1, 0.0, 3.9, 8.1),
                    ("custody", f"Terminal {HOSTILE}", 6.5, 4.0, 15.1, 8.5),
                    ("custody", None, 0.0, 0.0, 0.0, None),
                )
            ],
        ),
        defrost_rises=table(
            schema.DEFROST_RISES,
            [
                {
                    "start": at(24 + 8 * place),
                    "end": at(25 + 8 * place),
                    "minutes": 25.0 + place,
                    "peak": 5.4,
                    "above_set_point": 3.4,
                    "rule": "after_defrost_practice",
                    "within_rule": place != 5,
                }
                for place in range(30)
            ],
        ),
        gaps=table(
            schema.GAPS,
            [
                {
                    "start": at(first),
                    "end": at(last),
                    "hours": last - first,
                    "air_before": before,
                    "air_after": after,
                    "coldest_possible": coldest,
                    "warmest_possible": warmest,
                    "hours_outside_at_most": outside,
                    "rests_on": f"fastest warming seen in this unit, 1.6 K/h {HOSTILE}",
                }
                for first, last, before, after, coldest, warmest, outside in (
                    (60.0, 66.0, 1.6, 1.5, 0.9, 6.2, 3.1),
                    (GAP[0], GAP[1], 5.6, 7.7, 5.1, 9.3, 4.0),
                    (400.0, 400.0, None, None, None, None, None),
                )
            ],
        ),
        defrosts=find_defrosts(line),
        cargo=table(
            schema.CARGO,
            [
                {
                    "cargo": f"Invented fruit {HOSTILE}",
                    "known_from": "the facts file",
                    "limit_low": 0.0,
                    "limit_high": 4.5,
                    "limit_from": "the contract, as the facts file says",
                    "surface": 2.5,
                    "core": 2.9,
                    "core_low": 2.1,
                    "core_high": 3.8,
                    "fitted": True,
                    "fit_error": 0.3,
                    "pulling_down": False,
                    "life_lost_days": 1.2,
                    "life_days": 40.0,
                }
            ],
        ),
        cargo_temperatures=cargo_temperatures(line),
        peers=peers(24 * days),
        custody=table(
            schema.CUSTODY,
            [
                {
                    "start": at(first),
                    "end": at(last) if last else None,
                    "holder": holder,
                    "event": event,
                    "place": place,
                    "line": number,
                }
                for number, (first, last, holder, event, place) in enumerate(
                    (
                        (-10.0, 30.0, "Packing house", "stuffed", "inland"),
                        (30.0, 276.0, "Sea carrier", "received", HOSTILE),
                        (276.0, 300.0, f"Terminal {HOSTILE}", "discharged", "port"),
                        (300.0, None, "收货人", "handed over", None),
                    ),
                    start=2,
                )
            ],
        ),
        notes=table(
            schema.NOTES,
            [
                {
                    "time": at(291.5),
                    "observation": f"plug found out {HOSTILE}",
                    "action": "plugged in",
                    "part": None,
                    "line": 4,
                }
            ],
        ),
        set_points=schema.SET_POINTS.empty(),
        repairs=schema.REPAIRS.empty(),
        set_aside=schema.SET_ASIDE.conform(
            pl.DataFrame(
                [
                    {
                        "source": "s1",
                        "file": f"invented/{HOSTILE}.csv",
                        "row": 10 + place,
                        "container": CONTAINER,
                        "channel": "supply_air" if place % 2 else None,
                        "reason": "sensor error value" if place % 2 else "time stamp not readable",
                        "text": f"31/02/2031;{HOSTILE};{place}",
                    }
                    for place in range(10)
                ]
            )
        ),
        main_excursion=main,
        sensitivity=tuple(
            Sensitivity(what, hours, area, at(282 + shift), at(292 + shift) if shift else None)
            for what, hours, area, shift in (
                ("probe reads 0.5 K too high", 5.9, 11.9, 0.2),
                ("probe reads 0.5 K too low", 7.2, 18.4, -0.2),
                ("band 0.5 K wider", 5.9, 11.9, 0.2),
                ("band 0.5 K narrower", 7.2, 18.4, 0.0),
            )
        ),
        causes=(
            CauseNote(
                "power_interrupted",
                "Power interrupted",
                0.94,
                ("Power off as logged from 18:00 to 03:00", f"Voltage 0 V meanwhile {HOSTILE}"),
                (),
            ),
            CauseNote(
                "supply_sensor_drift",
                "Supply air sensor drifts",
                0.03,
                (),
                ("Supply and return rise together",),
            ),
            CauseNote("other_cause", "None of the causes known here", 0.02, (), ()),
        ),
        treatment=treatment(),
        events=(
            Event(at(0), None, "log", "First reading in the window", "s1"),
            Event(at(60), at(66), "gap", "No readings for 6.0 h", "s1"),
            Event(at(276), None, "custody", f"Discharged: Terminal {HOSTILE}", "events file, line 4"),
            Event(at(282), at(291), "power", "Power off", "s1"),
            Event(
                main, row["end"], "excursion", "Supply air above its band, peak 8.5 °C", "reckoned from s1"
            ),
            Event(at(290.5), at(292), "alarm", f"AL 31 {HOSTILE} {LONG}", "s1"),
            Event(at(291.5), None, "note", f"Plug found out {HOSTILE}; plugged in", "notes file, line 4"),
        ),
        cannot_tell=(
            "Whether the plug was out or the supply was dead: the log shows only that there was no voltage.",
            f"What the pulp was: no probe is known to sit in the fruit {HOSTILE}",
        ),
        cautions=(
            "This dossier advises; it is no survey, and it never says that a cargo or a unit is safe.",
            "Mains voltage and refrigerant under pressure: only licensed people open a unit.",
        ),
        sources=(hostile_source, replace(hostile_source, id="s2", path="invented/notes.csv", messages=())),
        cargo_notes=(f"Net mass not told: 8 to 28 t {HOSTILE}.",),
        other_sources=41,
        files=(FileNote(f"Custody events {HOSTILE}", f"custody {HOSTILE}.csv", "c" * 64),),
        clock_checks=(
            "Times run on without a step back.",
            "Power cuts fall within 15 min of those of 40 other units of the ship.",
        ),
        parameters={"Band, chilled": "± 2.0 K", "Grace time": f"1.0 h {HOSTILE}"},
        versions={"coldsift": "0.1.0", "polars": "2.1.0"},
        reproduce="coldsift dossier QXAU0000001 logs --since 2026-01-05 --verify bundle.zip",
        invented=True,
    )


def bare() -> Reconstruction:
    """A reconstruction with nothing beside the readings: no custody, probes, treatment, excursion, peers."""
    full = reconstruction()
    line = full.timeline.filter(pl.col("time").is_between(at(100), at(150))).with_columns(
        pl.lit(None, dtype=pl.Float64).alias(name)
        for name in ("cargo_probe_1", "cargo_probe_2", "voltage_1", "power", "ambient_air")
    )
    nothing = {
        name: getattr(full, name).clear()
        for name in (
            "excursions",
            "excursion_parts",
            "defrost_rises",
            "gaps",
            "defrosts",
            "cargo",
            "cargo_temperatures",
            "peers",
            "custody",
            "notes",
            "set_aside",
        )
    }
    return replace(
        full,
        **nothing,
        start=at(100),
        end=at(150),
        timeline=line.with_columns(alarms=pl.lit(None, dtype=pl.List(pl.String))),
        main_excursion=None,
        sensitivity=(),
        causes=(),
        treatment=None,
        events=(),
        cannot_tell=(),
        clock_checks=(),
        sources=full.sources[1:],
        number_valid=True,
        invented=False,
    )
