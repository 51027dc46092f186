"""What work notes say was seen, as answers to the catalogue's observations."""

from __future__ import annotations

import re
from collections.abc import Mapping

import polars as pl

from coldsift.causes.catalogue import Catalogue, as_noted
from coldsift.causes.seen import OBSERVED, unanimous
from coldsift.schema import SEEN, TIME


def noted_observations(notes: pl.DataFrame, catalogue: Catalogue) -> pl.DataFrame:
    """Observations that work notes answer.

    Parameters
    ----------
    notes
        :data:`coldsift.schema.NOTES`.
    catalogue
        From :func:`coldsift.causes.load_catalogue`.

    Returns
    -------
    polars.DataFrame
        :data:`coldsift.schema.SEEN`, by container and observation.

    Notes
    -----
    A note's observation counts when all of it is known: the id of an observation (a yes), ``ID=yes`` or
    ``ID=no``, its question, one of its wordings ``noted_as``; or several of these with ``;`` or ``,`` between
    them. Free text is not interpreted. What was seen before an action or a part was noted for the same
    container does not count any more. Of several answers to one observation the latest counts; two of one
    time that contradict each other both do not.
    """
    meant = _meanings(catalogue)
    done = pl.col("action").is_not_null() | pl.col("part").is_not_null()
    said = (
        notes.with_columns(last_done=pl.col("time").filter(done).max().over("container"))
        .filter((pl.col("time") >= pl.col("last_done")).fill_null(True))
        .drop_nulls("observation")
    )
    found = [
        (container, time, observation, answer)
        for container, time, text in said.select("container", "time", "observation").iter_rows()
        for observation, answer in _answers_in(text, meant)
    ]
    answers = pl.DataFrame(found, schema={"container": pl.String, "time": TIME, **OBSERVED}, orient="row")
    latest = answers.filter(pl.col("time") == pl.col("time").max().over("container", "observation"))
    return SEEN.conform(
        unanimous(latest).with_columns(source=pl.col("time").dt.strftime("work note %Y-%m-%d %H:%M UTC"))
    )


def _meanings(catalogue: Catalogue) -> dict[str, tuple[str, bool]]:
    """Observation and answer by every text that means one."""
    meant = {}
    for name, observation in catalogue.observations.items():
        for text in (name, f"{name}=yes", observation.question, *observation.noted_as):
            meant[as_noted(text)] = (name, True)
        meant[as_noted(f"{name}=no")] = (name, False)
    return meant


def _answers_in(text: str, meant: Mapping[str, tuple[str, bool]]) -> list[tuple[str, bool]]:
    whole = as_noted(text)
    if whole in meant:
        return [meant[whole]]
    pieces = [re.sub(r"\s*=\s*", "=", as_noted(piece)) for piece in re.split("[;,]", text) if piece.strip()]
    return [meant[piece] for piece in pieces] if all(piece in meant for piece in pieces) else []
