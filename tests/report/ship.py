"""What an invented ship hands over beside its logs: plan, round, papers, work and spares, as frames."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import polars as pl
from tests.report.fleet import START, container, findings, report_arguments, table

from coldsift import schema

EARLIER = "last_week"
FIRST_UNLOGGED = 9001
"""Boxes from this number on are on the plan only."""

PLACES = tuple(
    place
    for bay in range(10, 74, 4)
    for tier in (82, 84, 4, 2)
    for stack in (6, 4, 2, 0, 1, 3, 5)
    # Each bay has one place with two boxes of 20 ft.
    for place in (
        (f"{bay - 1:03d}0582", f"{bay + 1:03d}0582")
        if (stack, tier) == (5, 82)
        else (f"{bay:03d}{stack:02d}{tier:02d}",)
    )
)
"""Places in which units stand, in the order of their numbers."""


def plan(names: list[str], places: tuple[str, ...] = PLACES, unlogged: int = 2) -> pl.DataFrame:
    """Every unit at a place of its own, more boxes without a log, and a dry one."""
    boxes = [*names, *(container(FIRST_UNLOGGED + place) for place in range(unlogged))]
    rows = [
        {
            "container": name,
            "position": places[place],
            "size_type": "45R1",
            "length": 20.0 if int(places[place][:3]) % 2 else 40.0,
            "refrigerated": True,
            "required_temperature": -18.0,
            "full": place != len(boxes) - 1,
            "line": place + 2,
        }
        for place, name in enumerate(boxes)
    ]
    dry = rows[0] | {
        "container": container(8001),
        "position": "0220082",
        "size_type": "45G1",
        "refrigerated": False,
        "required_temperature": None,
        "line": len(rows) + 2,
    }
    return table(schema.PLAN, [*rows, dry])


def unmatched(unlogged: int = 2, place: int = 0) -> pl.DataFrame:
    """The plan's boxes without a log, and one log without a place."""
    rows: list[dict[str, Any]] = [
        {
            "container": container(FIRST_UNLOGGED + number),
            "kind": "no_log",
            "position": PLACES[place + number],
            "required_temperature": -18.0,
            "full": number != unlogged - 1,
            "words": "On the plan, no log here",
        }
        for number in range(unlogged)
    ]
    return table(schema.UNMATCHED, rows)


def inspection(found: pl.DataFrame, within: int) -> pl.DataFrame:
    """A round of the units to go to now or on this round, ten minutes each."""
    visited = found.filter(pl.col("group").cast(pl.String).is_in(["go_now", "this_round"]))
    rows = [
        {
            "stop": stop,
            "container": row["container"],
            "group": row["group"],
            "position": row["position"],
            "on_deck": True,
            "reach": "on deck, first tier: from the deck",
            "check": "Is there ice on the evaporator coil?",
            "walk_minutes": 2.0,
            "check_minutes": 8.0,
            "elapsed_minutes": 10.0 * stop,
            "within": stop <= within,
        }
        for stop, row in enumerate(visited.iter_rows(named=True), start=1)
    ]
    return table(schema.ROUND, rows)


def set_points(names: list[str]) -> pl.DataFrame:
    """The second unit was set in °F, the third corrected late, the fourth agrees."""
    start = START + timedelta(hours=12)
    rows = [
        {
            "container": names[1],
            "kind": "fahrenheit",
            "source": "booking",
            "booked": 2.0,
            "logged": -16.7,
            "start": start,
            "hours": 300.0,
            "words": "Set to −16.7 °C, but the booking orders 2.0 °C, since 2031-03-01 12:00 UTC (300.0 h); "
            "as if 2.0 °F had been set for 2.0 °C",
        },
        {
            "container": names[2],
            "kind": "corrected_late",
            "source": "plan",
            "booked": 2.0,
            "logged": 5.0,
            "start": start,
            "end": start + timedelta(hours=30),
            "hours": 30.0,
            "words": "Was set to 5.0 °C while the stowage plan ordered 2.0 °C, from 2031-03-01 12:00 to "
            "2031-03-02 18:00 UTC (30.0 h)",
        },
        {
            "container": names[3],
            "kind": "agrees",
            "source": "booking",
            "booked": -18.0,
            "logged": -18.0,
            "words": "Set to −18.0 °C, as the booking orders (−18.0 °C)",
        },
    ]
    return table(schema.SET_POINTS, rows)


VERDICTS = ("unchanged", "recovered", "better", "worse", "too_early", "cannot_tell")


def notes(names: list[str], count: int = 3) -> pl.DataFrame:
    """One note a unit, something done at each."""
    rows = [
        {
            "container": name,
            "time": START + timedelta(hours=200 + 3 * place),
            "observation": "coil iced over",
            "action": "defrosted by hand, drain cleared",
            "part": "drain heater" if place % 2 else None,
            "line": place + 2,
        }
        for place, name in enumerate(names[:count])
    ]
    return table(schema.NOTES, rows)


def repairs(noted: pl.DataFrame) -> pl.DataFrame:
    """A verdict on every note."""
    rows = [
        {
            **{name: row[name] for name in ("container", "time", "action", "part", "line")},
            "verdict": VERDICTS[place % len(VERDICTS)],
            "hours_after": 60.0,
            "words": "Split 1.1 K before, 1.2 K since; good was 2.4 K",
        }
        for place, row in enumerate(noted.iter_rows(named=True))
    ]
    return table(schema.REPAIRS, rows)


WANTED, CAUSE = "expansion valve coil", "expansion_valve_not_opening"


def parts() -> pl.DataFrame:
    """One part of which too few are on board, one that is there, one that no list names."""
    rows: list[dict[str, Any]] = [
        {"part": "Coil, exp. valve", "on_board": 2, "used": 1, "wanted": 3, "short": 2},
        {"part": "fan motor", "on_board": 4, "used": 0, "wanted": 1, "short": 0},
        {"part": "drain heater", "used": 1, "wanted": 0},
    ]
    return table(schema.PARTS, rows)


def parts_wanted(names: list[str]) -> pl.DataFrame:
    """The first unit gets its coil, the second does not, the third wants what is not listed."""
    rows = [
        {
            "container": name,
            "cause": CAUSE,
            "part": WANTED,
            "spare": "Coil, exp. valve" if state != "not_listed" else None,
            "chance": 0.6,
            "state": state,
        }
        for name, state in zip(names, schema.PART_STATES, strict=False)
    ]
    return table(schema.PARTS_WANTED, rows)


def possible_repairs(names: list[str]) -> pl.DataFrame:
    """The first unit can be mended either way, the second only without a part, the third not."""
    states = (("on_board", "no_part"), ("short", "no_part"), ("not_listed", "short"))
    rows = [
        {
            "container": name,
            "cause": CAUSE,
            "kind": f"way_{place}",
            "repair": f"Way {place}",
            "chance": 0.4 / place,
            "parts": WANTED if state != "no_part" else None,
            "also": "sealing tape" if place == 1 else None,
            "state": state,
        }
        for name, ways in zip(names, states, strict=False)
        for place, state in enumerate(ways, start=1)
    ]
    return table(schema.POSSIBLE_REPAIRS, rows)


def changes(found: pl.DataFrame, count: int = 4) -> pl.DataFrame:
    """One change of each kind in turn; all others are as they were."""
    kinds = ("better", "worse", "cause_changed", "new_unit")
    rows: list[dict[str, Any]] = [
        {
            "container": row["container"],
            "change": kinds[place % len(kinds)] if place < count else "same",
            "group_then": "watch",
            "group_now": row["group"],
            "words": f"Was watch, is now {row['group'].replace('_', ' ')}",
        }
        for place, row in enumerate(found.iter_rows(named=True))
    ]
    gone = {
        "container": container(7001),
        "change": "gone",
        "group_then": "go_now",
        "words": "No log of it any more",
    }
    return table(schema.CHANGES, [*rows, gone])


def ship_arguments(
    count: int = 12, bad: int = 2, days: int = 14, within: int = 1, **changed: Any
) -> dict[str, Any]:
    """Everything a report of a ship with papers is made from; keyword arguments replace parts."""
    names = [container(place + 1) for place in range(count)]
    # The last unit stands nowhere.
    positions = [*PLACES[: count - 1], None]
    found = findings(names, position=positions)
    noted = notes(names)
    return report_arguments(
        count,
        bad,
        days,
        **{
            "findings": found,
            "plan": plan(names[:-1]),
            "unmatched": pl.concat(
                [
                    unmatched(place=count - 1),
                    table(
                        schema.UNMATCHED,
                        [
                            {
                                "container": names[-1],
                                "kind": "no_place",
                                "words": "Logged, but not on the plan",
                            }
                        ],
                    ),
                ]
            ),
            "round": inspection(found, within),
            "round_hours": within / 6,
            "set_points": set_points(names),
            "notes": noted,
            "repairs": repairs(noted),
            "parts": parts(),
            "parts_wanted": parts_wanted(names),
            "possible_repairs": possible_repairs(names),
            "changes": changes(found),
            "earlier": EARLIER,
        }
        | changed,
    )
