"""From tables to what is known from beside the logs: places, the round, papers, work, spares. No physics."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

import polars as pl

from coldsift.report import words
from coldsift.report.material import Material
from coldsift.report.model import Bring, NoteView, OrderView, Row, VerdictView
from coldsift.report.ship_model import (
    ChangeView,
    DoneView,
    Listed,
    NeedView,
    RepairWay,
    Round,
    ShipView,
    SpareView,
    Stop,
    UnmatchedView,
)
from coldsift.report.stowage_views import draw_bays
from coldsift.set_points import wrong_now

VERDICTS: Mapping[str, tuple[str, str, str]] = {
    "recovered": ("recovered", "✓", "nothing_found"),
    "better": ("better", "↑", "watch"),
    "unchanged": ("unchanged", "=", "this_round"),
    "worse": ("worse", "↓", "go_now"),
    "too_early": ("too early to say", "…", "cannot_tell"),
    "cannot_tell": ("the log cannot tell", "?", "cannot_tell"),
}
"""Each verdict on a repair in a word, its mark, and the group whose colour it borrows."""

CHANGES: Mapping[str, tuple[str, str, str]] = {
    "worse": ("worse", "↓", "go_now"),
    "new_unit": ("new", "+", "watch"),
    "cause_changed": ("another cause", "≠", "this_round"),
    "better": ("better", "↑", "nothing_found"),
    "gone": ("gone", "−", "cannot_tell"),
}
"""Each change since an earlier run, what matters most first."""

ORDERS: Mapping[str, str] = {
    "agrees": "as ordered",
    "differs": "differs",
    "fahrenheit": "differs: °C and °F mistaken",
    "sign": "differs: sign mistaken",
    "corrected_late": "corrected late",
    "no_set_point": "none logged",
}
"""How a logged set point stands to the one ordered."""

SOURCES: Mapping[str, str] = {"booking": "booking", "plan": "stowage plan"}

REPAIR_STATES: Mapping[str, str] = {
    "on_board": "parts on board",
    "short": "too few on board",
    "not_listed": "not in the spares list",
    "no_part": "takes no part",
}


def ship_view(material: Material, rows: Sequence[Row]) -> ShipView:
    """Put together what the part on the ship shows; empty where nothing was given.

    Parameters
    ----------
    material
        Everything the report is made from.
    rows
        The units' lines of the list.
    """
    by_container = {row.container: row for row in rows}
    stops = dict(material.round.select("container", "stop").iter_rows())
    somewhere = not material.plan.is_empty() or any(row.position for row in rows)
    bays, homeless = draw_bays(material.plan, rows, stops) if somewhere else ((), ())
    unmatched = material.unmatched.sort("position", "container", nulls_last=True)
    notes = note_views(material.notes, material.repairs)
    changes = material.changes.filter(pl.col("change") != "same")
    return ShipView(
        bays=bays,
        homeless=homeless if bays else (),
        inspection=_round(material, by_container) if somewhere or material.round_hours is not None else None,
        no_log=tuple(_unmatched(row, by_container) for row in _of_kind(unmatched, "no_log")),
        no_place=tuple(_unmatched(row, by_container) for row in _of_kind(unmatched, "no_place")),
        repairs=tuple(done for done in work(notes, by_container) if done.note.verdict),
        spares=_spares(material) if _is_listed(material) else (),
        needs=_needs(material, rows if _is_listed(material) else ()),
        earlier=material.earlier or "",
        changes=_changes(changes, by_container),
        same=len(material.changes) - len(changes),
        differing=_differing(material, rows),
    )


# ------------------------------------------------------------ the round


def _round(material: Material, rows: Mapping[str, Row]) -> Round | None:
    table = material.round.filter(pl.col("container").is_in(list(rows))).sort("stop")
    if table.is_empty():
        return None
    within = table.filter("within")
    walking, working = (float(table[name].sum()) for name in ("walk_minutes", "check_minutes"))
    return Round(
        stops=tuple(
            Stop(
                stop=row["stop"],
                row=rows[row["container"]],
                check=row["check"] or "",
                reach=row["reach"] or "",
                walk=words.minutes(row["walk_minutes"]),
                work=words.minutes(row["check_minutes"]),
                elapsed=words.minutes(row["elapsed_minutes"]),
                within=row["within"],
            )
            for row in table.iter_rows(named=True)
        ),
        hours=words.minutes(60 * material.round_hours) if material.round_hours is not None else "",
        within=len(within),
        within_time=words.minutes(float(within["elapsed_minutes"].to_numpy().max(initial=0.0))),
        total=words.minutes(walking + working),
        walking=words.minutes(walking),
        working=words.minutes(working),
    )


# ------------------------------------------------------------ plan and papers


def _of_kind(unmatched: pl.DataFrame, kind: str) -> list[dict[str, Any]]:
    return unmatched.filter(pl.col("kind") == kind).rows(named=True)


def _unmatched(row: dict[str, Any], rows: Mapping[str, Row]) -> UnmatchedView:
    asked = row["required_temperature"]
    return UnmatchedView(
        container=row["container"],
        row=rows.get(row["container"]),
        place=words.place(row["position"] or ""),
        temperature=words.number(asked, 1, "°C") if asked is not None else "",
        laden={True: "laden", False: "empty", None: ""}[row["full"]],
        words=row["words"],
    )


def _differing(material: Material, rows: Sequence[Row]) -> tuple[tuple[str, str], ...]:
    now = set(wrong_now(material.set_points)["container"].to_list())
    return tuple((row.container, row.page) for row in rows if row.container in now)


def order_views(set_points: pl.DataFrame) -> dict[str, tuple[OrderView, ...]]:
    """By container: ordered set points against the logged ones, in order of time."""
    table = set_points.sort("container", "start", nulls_last=False)
    return {
        str(container): tuple(map(_order, rows))
        for container, rows in table.rows_by_key("container", named=True).items()
    }


def _order(row: dict[str, Any]) -> OrderView:
    return OrderView(
        kind=ORDERS[row["kind"]],
        agrees=row["kind"] == "agrees",
        source=SOURCES[row["source"]],
        ordered=words.number(row["booked"], 1, "°C"),
        logged=words.number(row["logged"], 1, "°C"),
        start=words.moment(row["start"]) if row["start"] else "",
        end=words.moment(row["end"]) if row["end"] else "",
        hours=words.duration(row["hours"]) if row["hours"] is not None else "",
        words=row["words"],
    )


# ------------------------------------------------------------ work


def note_views(notes: pl.DataFrame, repairs: pl.DataFrame) -> dict[str, tuple[NoteView, ...]]:
    """By container: what people saw and did, in order of time, with the verdicts on repairs."""
    verdicts = repairs.select("container", "line", "verdict", "hours_after", "words")
    noted = notes.join(verdicts, on=["container", "line"], how="left", maintain_order="left")
    return {
        str(container): tuple(map(_note, rows))
        for container, rows in noted.sort("container", "time", "line")
        .rows_by_key("container", named=True)
        .items()
    }


def _note(row: dict[str, Any]) -> NoteView:
    verdict = None
    if row["verdict"] is not None:
        word, mark, tone = VERDICTS[row["verdict"]]
        verdict = VerdictView(word, mark, tone, row["words"], words.duration(row["hours_after"]))
    return NoteView(
        words.moment(row["time"]), row["observation"] or "", row["action"] or "", row["part"] or "", verdict
    )


def work(notes: Mapping[str, Sequence[NoteView]], rows: Mapping[str, Row]) -> tuple[DoneView, ...]:
    """Notes that say that something was done, the latest first.

    Parameters
    ----------
    notes
        From :func:`note_views`.
    rows
        The units' lines of the list, by container.
    """
    done = [
        DoneView(container, rows.get(container), note)
        for container, own in sorted(notes.items())
        for note in own
        if note.action or note.part or note.verdict
    ]
    # Times are written so that they sort.
    return tuple(sorted(done, key=lambda each: each.note.time, reverse=True))


# ------------------------------------------------------------ spares


def _is_listed(material: Material) -> bool:
    """True when there is a spares list: without one, a part that it does not name says nothing."""
    return material.parts["on_board"].count() > 0


def _spares(material: Material) -> tuple[SpareView, ...]:
    table = material.parts.filter(
        (pl.col("wanted") > 0) | (pl.col("used") > 0) | pl.col("on_board").is_not_null()
    )
    table = table.sort(pl.col("short").fill_null(0), "wanted", "part", descending=[True, True, False])
    return tuple(map(_spare, table.iter_rows(named=True)))


def _spare(row: dict[str, Any]) -> SpareView:
    listed = row["on_board"] is not None
    left = max(row["on_board"] - row["used"], 0) if listed else None
    return SpareView(
        part=row["part"],
        listed=listed,
        on_board=words.number(row["on_board"], 0),
        used=words.number(row["used"], 0),
        left=words.number(left, 0),
        wanted=words.number(row["wanted"], 0),
        short=words.number(row["short"], 0) if row["short"] else "",
    )


MOST_NEEDS = 40
"""Units whose repairs the page lists; the table has all of them."""


def _needs(material: Material, rows: Sequence[Row]) -> Listed[NeedView]:
    ways = material.possible_repairs.rows_by_key("container", named=True)
    wanting = [row for row in rows if row.container in ways]
    shown = tuple(
        NeedView(
            row=row,
            cause=row.cause or material.catalogue.name(ways[row.container][0]["cause"]),
            ways=tuple(map(_way, ways[row.container])),
        )
        for row in wanting[:MOST_NEEDS]
    )
    return Listed(shown, len(wanting) - len(shown))


def _way(row: dict[str, Any]) -> RepairWay:
    return RepairWay(
        repair=row["repair"],
        chance=words.percent(row["chance"]),
        parts=tuple((row["parts"] or "").split("; ")) if row["parts"] else (),
        also=tuple(row["also"].split("; ")) if row["also"] else (),
        state=REPAIR_STATES[row["state"]],
        possible=row["state"] in ("on_board", "no_part"),
    )


def stocked(material: Material, things: Sequence[Bring]) -> tuple[Bring, ...]:
    """Parts to bring, with how many are on board; as they are where there is no spares list."""
    if not _is_listed(material):
        return tuple(things)
    spares = {row["part"]: row for row in material.parts.iter_rows(named=True)}
    name = dict(material.parts_wanted.select("part", "spare").drop_nulls().unique().sort("part").iter_rows())
    return tuple(_with_stock(each, spares.get(name.get(each.what, each.what))) for each in things)


def _with_stock(thing: Bring, row: Mapping[str, Any] | None) -> Bring:
    if row is None or row["on_board"] is None:
        return replace(thing, stock="not listed")
    left = max(row["on_board"] - row["used"], 0)
    said = f"{left} on board" if left else "none on board"
    return replace(
        thing, stock=f"{said}, {row['short']} short" if row["short"] else said, lacking=bool(row["short"])
    )


# ------------------------------------------------------------ since the earlier run


def _changes(changes: pl.DataFrame, rows: Mapping[str, Row]) -> tuple[ChangeView, ...]:
    last = len(rows) + 1
    order = list(CHANGES)

    def urgency(row: dict[str, Any]) -> tuple[int, int, str]:
        own = rows.get(row["container"])
        return order.index(row["change"]), own.rank if own else last, row["container"]

    return tuple(
        ChangeView(row["container"], rows.get(row["container"]), *CHANGES[row["change"]], row["words"])
        for row in sorted(changes.rows(named=True), key=urgency)
    )
