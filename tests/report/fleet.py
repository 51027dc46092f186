"""An invented fleet for the report's tests: frames as the other stages would hand them over."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import polars as pl
from numpy.typing import NDArray
from stdnum import iso6346

from coldsift import schema
from coldsift.causes import HEALTHY, SEVERAL, Catalogue, check_table, load_catalogue
from coldsift.report import INDEX, FeatureWords, Material, MessageView, SourceView, build_report, overview_of

START = datetime(2031, 3, 1, tzinfo=UTC)
HOSTILE = '<script>alert("1")</script>\u202e</details>'

FEATURE_WORDS = {
    "split_hold": FeatureWords(
        "Split in hold",
        "K",
        "hold",
        "median of return air − supply air",
        "common practice, no source",
        "evaporator coil and fans",
    ),
    "pull_down_rate": FeatureWords(
        "Pull-down rate", "K/h", "pull-down", "Theil–Sen slope", "common practice, no source", "air flow"
    ),
    "off_time": FeatureWords(
        "Time off", "h", "off", "sum of off intervals", "common practice, no source", "plug and breaker"
    ),
}


def container(number: int) -> str:
    """A container number of no owner with its right check digit (ISO 6346)."""
    stem = f"QXAU{number:06d}"
    return stem + iso6346.calc_check_digit(stem)


def timeline(
    containers: list[str], days: int = 14, minutes: int = 15, bad: int = 0, gap_hours: float = 9
) -> pl.DataFrame:
    """Invented logs: chilled and frozen boxes, one gap and one hour off each; the first ``bad`` run warm."""
    frames = [
        _unit_log(name, place, days, minutes, place < bad, gap_hours) for place, name in enumerate(containers)
    ]
    return pl.concat(frames).sort("container", "time")


def _unit_log(name: str, place: int, days: int, minutes: int, warm: bool, gap_hours: float) -> pl.DataFrame:
    random = np.random.default_rng(place)
    count = days * 24 * 60 // minutes
    hours = np.arange(count) * minutes / 60
    set_point = -18.0 if place % 2 else 2.0
    supply = set_point - 0.6 + random.normal(0, 0.15, count)
    supply += 25 * np.exp(-hours / 5)
    late = np.clip((hours - hours[-1] * 0.7) / 24, 0, None) * 1.5
    supply += late if warm else 0
    defrosting = (hours % 6) < 0.5
    supply += np.where(defrosting, 6.0, 0)
    supply_air = np.round(supply, 1)
    return_air = np.round(supply + 1.2 + random.normal(0, 0.1, count), 1)
    ambient = np.round(28 + 6 * np.sin(hours * 2 * np.pi / 24), 1)
    off = (hours > 100) & (hours < 103)
    frozen = set_point <= -10
    frame = pl.DataFrame(
        {
            "container": [name] * count,
            "time": [START + timedelta(hours=float(hour)) for hour in hours],
            "source": ["s1"] * count,
            "row": np.arange(count) + 2,
            "set_point": np.full(count, set_point),
            "supply_air": supply_air,
            "return_air": return_air,
            "ambient_air": ambient,
            "controlling_air": return_air if frozen else supply_air,
            "band_low": np.full(count, np.nan if frozen else set_point - 2),
            "band_high": np.full(count, set_point + (3 if frozen else 2)),
            "regime": np.where(off, "off", np.where(defrosting, "defrost", "hold")),
        }
    ).with_columns(pl.col("band_low").fill_nan(None), pl.col("regime").cast(schema.REGIME))
    hour = (pl.col("time") - START).dt.total_minutes() / 60
    frame = frame.filter((hour < 200) | (hour > 200 + gap_hours)).with_columns(
        gap=((pl.col("time").shift(-1) - pl.col("time")) > timedelta(minutes=2.5 * minutes)).fill_null(False),
        time=pl.col("time").cast(schema.TIME),
    )
    missing = [
        pl.lit(None, dtype=column.dtype).alias(column.name)
        for column in schema.COMMON_LOG.columns
        if column.name not in frame.columns
    ]
    return frame.with_columns(missing)


def findings(containers: list[str], **columns: list[Any]) -> pl.DataFrame:
    """One finding a container, groups dealt out from most urgent to least."""
    count = len(containers)
    groups = ["go_now", "this_round", "watch", "nothing_found", "cannot_tell"]
    shares = [0.05, 0.15, 0.35, 0.9, 1.01]
    group = [
        groups[next(i for i, share in enumerate(shares) if place / max(count, 1) < share)]
        for place in range(count)
    ]
    base: dict[str, list[Any]] = {
        "container": containers,
        "rank": list(range(1, count + 1)),
        "group": group,
        "oddness": [max(8.0 - place, 0.2) for place in range(count)],
        "why": [
            "Return air 3.1 °C above its band and rising" if each != "nothing_found" else None
            for each in group
        ],
        "first_check": [
            "evaporator coil for ice, then fan current" if each in groups[:3] else None for each in group
        ],
        "chance_of_fault": [round(max(0.97 - 0.04 * place, 0.02), 2) for place in range(count)],
        "hours_to_limit": [{0: 0.0, 1: 7.3, 2: 70.0}.get(place) for place in range(count)],
        "value_at_risk": [1.0] * count,
        "regime_class": ["frozen" if place % 2 else "chilled" for place in range(count)],
        "set_point": [-18.0 if place % 2 else 2.0 for place in range(count)],
        "coverage": [0.97] * count,
        "cannot_tell": ["no return air logged" if each == "cannot_tell" else None for each in group],
        "number_valid": [True] * count,
    }
    return schema.FINDINGS.conform(pl.DataFrame(base | columns, strict=False, infer_schema_length=None))


def excursion(name: str, start_hour: float = 250, hours: float = 20, **columns: Any) -> dict[str, Any]:
    """One excursion of a chilled unit."""
    start = START + timedelta(hours=start_hour)
    end = start + timedelta(hours=hours)
    step = timedelta(minutes=15)
    return {
        "container": name,
        "start": start,
        "end": end,
        "start_earliest": start - step,
        "start_latest": start,
        "end_earliest": end - step,
        "end_latest": end,
        "peak": 6.4,
        "band_edge": 4.0,
        "hours": hours,
        "gap_hours": 0.0,
        "degree_hours": 28.4,
        "mean_kinetic_temperature": 5.6,
        "sensor_doubt": 0.05,
        "sensor_doubt_why": "supply and return agree",
        "kind": "excursion",
        "along_with": "defrost",
    } | columns


def table(of: schema.Table, rows: list[dict[str, Any]]) -> pl.DataFrame:
    """Rows as one of coldsift's tables."""
    return of.conform(pl.DataFrame(rows, infer_schema_length=None)) if rows else of.empty()


def defrosts(containers: list[str], days: int = 14) -> pl.DataFrame:
    """A defrost every six hours."""
    rows = [
        {
            "container": name,
            "start": START + timedelta(hours=6 * place),
            "end": START + timedelta(hours=6 * place, minutes=30),
            "minutes": 30.0,
            "termination_temperature": 15.0,
            "from_flag": True,
            "terminated": True,
            "recovery_minutes": 25.0,
        }
        for name in containers
        for place in range(days * 4)
    ]
    return table(schema.DEFROSTS, rows)


def features(containers: list[str]) -> pl.DataFrame:
    """Three features a unit; the first unit's split is far from its peers, the last has none."""
    rows = [
        {
            "container": name,
            "feature": feature,
            "value": value if place else value / 8,
            "unit": FEATURE_WORDS[feature].unit,
            "regime": "hold",
            "samples": 800,
            "peer_low": value * 0.8,
            "peer_median": value,
            "peer_high": value * 1.2,
            "peers": len(containers) - 1,
            "z": 0.4 if place else -7.2,
        }
        for place, name in enumerate(containers)
        for feature, value in (("split_hold", 2.4), ("off_time", 3.0))
    ]
    rows += [
        {
            "container": name,
            "feature": "pull_down_rate",
            "unit": "K/h",
            "regime": "pull_down",
            "samples": 0,
            "reason": "no pull-down in the log",
        }
        for name in containers
    ]
    return table(schema.FEATURES, rows)


CATALOGUE = load_catalogue()
LIKELIEST = "expansion_valve_not_opening"
PAIR = ("evaporator_iced", "door_or_seal_leak")


def likely(names: list[str], groups: list[str], catalogue: Catalogue = CATALOGUE) -> NDArray[np.float64]:
    """Invented chances, ``(units, leaves)``: the first unit's valve stays shut, the second has two faults."""
    leaves = [cause for cause, _ in check_table(catalogue).leaves]
    chances = np.zeros((len(names), len(leaves)))
    for place, group in enumerate(groups):
        random = np.random.default_rng(place)
        # Few likely hypotheses and a long tail, as a log leaves it.
        chances[place] = random.dirichlet(np.full(len(leaves), 0.05)) + 1e-6
        lead = {0: LIKELIEST, 1: SEVERAL}.get(place, HEALTHY if group == "nothing_found" else "")
        own = np.array([leaf == lead for leaf in leaves])
        if own.any():
            chances[place, own] += {0: 1.5, 1: 2.0}.get(place, 60.0) / own.sum()
    return chances / chances.sum(axis=1, keepdims=True)


def causes(
    names: list[str], chances: NDArray[np.float64], catalogue: Catalogue = CATALOGUE, pair: Any = PAIR
) -> pl.DataFrame:
    """The table of causes as the judge hands it over, from chances in the order of the leaves."""
    leaves = check_table(catalogue).leaves
    rows = []
    for name, own in zip(names, chances, strict=True):
        whole: dict[str, float] = {}
        for (cause, _), chance in zip(leaves, own, strict=True):
            whole[cause] = whole.get(cause, 0.0) + float(chance)
        order = sorted(whole, key=lambda cause: (-whole[cause], cause))
        rows += [
            {
                "container": name,
                "place": order.index(cause) + 1,
                "cause": cause,
                "kind": kind or None,
                "chance": float(chance),
                "cause_chance": whole[cause],
                "together": ", ".join(pair) if cause == SEVERAL else None,
            }
            for (cause, kind), chance in zip(leaves, own, strict=True)
        ]
    frame = pl.DataFrame(rows, infer_schema_length=None)
    return schema.CAUSES.conform(frame.sort("container", "place", maintain_order=True))


def evidence(names: list[str], cause: str = LIKELIEST) -> pl.DataFrame:
    """Two pieces of evidence a unit, one for and one against the same cause."""
    rows = [
        {"container": name, "cause": cause, "side": side, "feature": feature, "odds": odds, "words": said}
        for name in names
        for side, feature, odds, said in (
            ("for", "split_hold", 5.2, "Split 0.3 K; 11 peers hold 1.9 to 2.9 K"),
            ("against", "off_time", 0.2, None),
        )
    ]
    return table(schema.EVIDENCE, rows)


def set_aside(count: int = 5) -> pl.DataFrame:
    """Lines and readings that were not used."""
    rows = [
        {
            "source": "s1",
            "file": "invented/hold_2.csv",
            "row": 10 + place,
            "channel": None if place % 2 else "supply_air",
            "reason": "time stamp not readable" if place % 2 else "sensor error value",
            "text": f"31/02/2031;{place}",
        }
        for place in range(count)
    ]
    return table(schema.SET_ASIDE, rows)


def cargo(containers: list[str], **columns: Any) -> pl.DataFrame:
    """Every cargo of the same kind, the last one's temperature not reckoned."""
    row = {
        "cargo": "Frozen fish",
        "known_from": "facts file",
        "limit_low": None,
        "limit_high": -15.0,
        "limit_from": "quick-frozen rule",
        **{f"{node}{edge}": -18.0 + shift for node in ("surface", "core") for edge, shift in EDGES},
        "fitted": True,
        "fit_error": 0.31,
        "hours_if_failed": 40.0,
        "hours_if_failed_low": 22.0,
        "hours_if_failed_high": None,
        "hours_as_now": None,
        "hours_as_now_low": None,
        "hours_as_now_high": None,
        "pulling_down": False,
    }
    rows = [{"container": name, **row, **columns} for name in containers]
    if rows:
        rows[-1] |= {f"{node}{edge}": None for node in ("surface", "core") for edge, _ in EDGES}
    return table(schema.CARGO, rows)


EDGES = (("", 0.0), ("_low", -0.4), ("_high", 0.7))


def reasons(told: dict[str, tuple[str, ...]]) -> pl.DataFrame:
    """Sentences behind the findings, by container; the first of each is told from its split."""
    rows = [
        {
            "container": name,
            "place": place,
            "words": said,
            "kind": "excursion" if place > 1 else "feature",
            "feature": None if place > 1 else "split_hold",
        }
        for name, sentences in told.items()
        for place, said in enumerate(sentences, start=1)
    ]
    return table(schema.REASONS, rows)


def unit_days(names: list[str], days: int) -> pl.DataFrame:
    """A row a unit and day; the first unit's last days are out of the band, one day has no readings."""
    rows = [
        {
            "container": name,
            "day": (START + timedelta(days=day)).date(),
            "coverage": 0.0 if day == 8 and place == 2 else 1.0,
            "hours_off": 3.0 if day == 4 else 0.0,
            "hours_outside": 20.0 if place == 0 and day > 9 else 0.0,
            "degree_hours": 28.0 if place == 0 and day > 9 else 0.0,
            "defrosts": 4,
            "longest_defrost": 30.0,
            "unterminated_defrosts": 0,
            "air_low": -18.5 if place % 2 else 1.5,
            "air_middle": -18.0 if place % 2 else 2.0,
            "air_high": -16.5 if place % 2 else 3.5,
            "split": 1.2,
            "alarms": 0,
        }
        for place, name in enumerate(names)
        for day in range(days)
    ]
    return table(schema.UNIT_DAYS, rows)


def peer_bands(days: int) -> pl.DataFrame:
    """What the chilled and the frozen units did, four times a day."""
    rows = [
        {
            "peer_group": group,
            "time": START + timedelta(hours=6 * quarter),
            "channel": channel,
            "low": middle - 1.0,
            "middle": middle,
            "high": middle + 1.0,
            "units": 6,
        }
        for group in GROUP_NAMES
        for channel, middle in (("supply_air", -0.6), ("return_air", 0.6), ("ambient_air", 28.0))
        for quarter in range(4 * days)
    ]
    return table(schema.PEER_BANDS, rows)


GROUP_NAMES = ("chilled", "frozen")


def peer_groups(names: list[str]) -> pl.DataFrame:
    """Every second unit is frozen."""
    return pl.DataFrame(
        {
            "container": names,
            "peer_group": [GROUP_NAMES[place % 2] for place in range(len(names))],
            "level": ["class"] * len(names),
            "peers": [max(len(names) // 2 - 1, 0)] * len(names),
        },
        schema={
            "container": pl.String,
            "peer_group": pl.String,
            "level": pl.String,
            "peers": pl.Int64,
        },
    )


def pages(count: int = 12, bad: int = 2, days: int = 14, **changes: Any) -> dict[str, str]:
    """The report in its pages, by their names."""
    return report_of(report_arguments(count, bad, days, **changes))


def one_page(count: int = 12, bad: int = 2, days: int = 14, language: str = "en", **changes: Any) -> str:
    """The report in one file."""
    arguments = report_arguments(count, bad, days, **changes)
    return report_of(arguments, one_file=True, language=language)[INDEX]


def material_of(arguments: Mapping[str, Any]) -> Material:
    """What a report is made from, the readings condensed."""
    given = dict(arguments)
    log = given.pop("timeline").sort("container", "time")
    return Material(overview=overview_of(log, given["voyage_events"]), **given)


def report_of(arguments: Mapping[str, Any], **how: Any) -> dict[str, str]:
    """The report, its units in one batch."""
    log = arguments["timeline"].sort("container", "time")
    return dict(build_report(material_of(arguments), [log], **how))


def report_arguments(count: int = 12, bad: int = 2, days: int = 14, **changes: Any) -> dict[str, Any]:
    """Everything a report is made from, invented; keyword arguments replace parts."""
    names = [container(place + 1) for place in range(count)]
    found = findings(names)
    return {
        "findings": found,
        "causes": causes(names, likely(names, found["group"].to_list())),
        "evidence": evidence(names),
        "catalogue": CATALOGUE,
        "features": features(names),
        "excursions": table(
            schema.EXCURSIONS,
            [excursion(name) for name in names[:bad]]
            + [
                excursion(name, 0, 12, kind="initial_warm_load", start_earliest=None, peak=25.0)
                for name in names[:1]
            ],
        ),
        "defrosts": defrosts(names, days),
        "cargo": cargo(names),
        "voyage_events": table(
            schema.VOYAGE_EVENTS,
            [
                {
                    "start": START + timedelta(hours=100),
                    "end": START + timedelta(hours=103),
                    "kind": "power_off",
                    "units": count,
                    "share": 1.0,
                }
            ],
        ),
        "set_aside": set_aside(),
        "timeline": timeline(names, days, bad=bad),
        "unit_days": unit_days(names, days),
        "notes": table(
            schema.NOTES,
            [
                {
                    "container": name,
                    "time": START + timedelta(hours=260),
                    "observation": "coil iced over",
                    "action": "defrosted by hand",
                    "line": 2,
                }
                for name in names[:1]
            ],
        ),
        "peer_groups": peer_groups(names),
        "peer_members": peer_groups(names).select("peer_group", "container"),
        "peer_bands": peer_bands(days),
        "sources": (
            SourceView(
                "invented/hold_2.csv",
                "generic",
                "cp1252",
                "UTC+02:00",
                1349,
                1340,
                4,
                5,
                "ab12" * 16,
                "one unit",
            ),
        ),
        "messages": (
            MessageView(
                "warning",
                "invented/hold_2.csv",
                17,
                "The time stamp cannot be read.",
                "Mend the line or leave it: it was set aside.",
            ),
        ),
        "parameters": {"Band, chilled": "± 2.0 K", "Band, frozen": "+ 3.0 K"},
        "feature_words": FEATURE_WORDS,
        "reasons": reasons(
            dict.fromkeys(
                names[:1],
                ("Split 0.3 K; 11 peers hold 1.9 to 2.9 K", "Outside its band for 20 h, peak 6.4 °C"),
            )
        ),
        "title": "Invented voyage, holds 1 to 3",
        "invented": True,
    } | changes
