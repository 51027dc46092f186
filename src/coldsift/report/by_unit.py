"""A table in which the rows of some units are found without a look at all the others."""

from __future__ import annotations

from collections.abc import Iterable

import polars as pl


class ByUnit:
    """A table with a column ``container``, put in its order."""

    def __init__(self, table: pl.DataFrame) -> None:
        self._rows = table.sort("container", maintain_order=True)
        runs = self._rows["container"].rle().struct.unnest()
        first = runs["len"].cum_sum() - runs["len"]
        self._places = dict(zip(runs["value"], zip(first, runs["len"], strict=True), strict=True))

    def of(self, containers: Iterable[str]) -> pl.DataFrame:
        """The rows of these units, each unit's in the order in which they were."""
        places = (self._places[name] for name in containers if name in self._places)
        own = [self._rows.slice(*place) for place in places]
        return pl.concat(own, rechunk=True) if own else self._rows.clear()
