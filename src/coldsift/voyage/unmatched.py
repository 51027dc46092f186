"""Refrigerated containers on the plan without a log, and logs without a place on the plan."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from itertools import pairwise
from typing import Any

import polars as pl

from coldsift.schema import UNMATCHED
from coldsift.voyage.stowage import in_words


def unmatched(plan: pl.DataFrame, logged: pl.Series) -> pl.DataFrame:
    """Hold the plan against the logs.

    Parameters
    ----------
    plan
        :data:`coldsift.schema.PLAN`; without rows there is no plan, and nothing to hold against it.
    logged
        Container of each log.

    Returns
    -------
    polars.DataFrame
        :data:`coldsift.schema.UNMATCHED`, in order of kind and container. A refrigerated container that the
        plan calls empty and gives no temperature needs no log. Where a number on the other side differs in
        one character, or in two neighbours that have changed places, the sentence names it.
    """
    if plan.is_empty():
        return UNMATCHED.empty()
    logs = set(logged.drop_nulls())
    on_plan = {row["container"]: row for row in plan.iter_rows(named=True)}
    astray = sorted(logs - set(on_plan))
    silent = sorted(set(on_plan) - logs)
    rows = [
        *(
            _no_log(on_plan[container], _near(container, astray))
            for container in silent
            if _wants_log(on_plan[container])
        ),
        *(
            _no_place(on_plan.get(container), container, _near(container, silent))
            for container in sorted(logs)
            if container in astray or on_plan[container]["position"] is None
        ),
    ]
    schema = {column.name: column.dtype for column in UNMATCHED.columns}
    return UNMATCHED.conform(pl.DataFrame(rows, schema=schema).sort("kind", "container"))


def _wants_log(row: dict[str, Any]) -> bool:
    return bool(row["refrigerated"]) and (row["full"] is not False or row["required_temperature"] is not None)


def _no_log(row: dict[str, Any], near: Iterable[str]) -> dict[str, Any]:
    kept = row["required_temperature"]
    at = f", to be kept at {kept:.1f} °C".replace("-", "−") if kept is not None else ""
    words = f"On the plan in {in_words(row['position'])}{at}, but there is no log of it."
    return {**row, "kind": "no_log", "words": words + "".join(_hints(near, "There is a log of"))}


def _no_place(row: dict[str, Any] | None, container: str, near: Iterable[str]) -> dict[str, Any]:
    words = "Logged, but not on the plan." if row is None else "Logged, but the plan names no place for it."
    hints = "".join(_hints(near, "The plan has")) if row is None else ""
    return {**(row or {}), "container": container, "kind": "no_place", "words": words + hints}


def _hints(near: Iterable[str], begin: str) -> Iterator[str]:
    for other in near:
        yield f" {begin} {other}, which is almost the same number: probably a typing error."


def _near(number: str, others: Iterable[str]) -> list[str]:
    """Numbers that one slip of the keyboard leads to: another character, or two neighbours changed over."""
    return [other for other in others if len(other) == len(number) and _is_one_slip(number, other)]


def _is_one_slip(one: str, other: str) -> bool:
    apart = [at for at, (left, right) in enumerate(zip(one, other, strict=True)) if left != right]
    if len(apart) == 1:
        return True
    return (
        any(
            second == first + 1 and one[first] == other[second] and one[second] == other[first]
            for first, second in pairwise(apart)
        )
        and len(apart) == 2
    )
