"""``docs/accuracy.md`` and the stored figures.

Goes in: the figures of a run. Comes out: a page for people, and a file that the next run is compared with.
"""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from pathlib import Path

import polars as pl
from jinja2 import Environment, FileSystemLoader, StrictUndefined

from benchmarks.accuracy.baselines import BASELINES
from benchmarks.accuracy.figures import BY_CHANCE, OURS
from benchmarks.accuracy.measures import RESAMPLINGS
from benchmarks.accuracy.voyages import AS_BASE, BASE, FIRST, HARD, POOLS, SECOND
from coldsift.ranking.thresholds import load_thresholds

HERE = Path(__file__).parent
FIGURES = HERE / "figures.json"
REAL = HERE / "figures_real.json"
PAGE = HERE.parents[1] / "docs" / "accuracy.md"

HARD_CASE_WORDS = {
    "plain": "no hard case",
    "warm_load": "cargo loaded warm",
    "hot_stow": "in the sun and beside hot neighbours on deck",
    "port_power_off": "hours without a socket in port",
    "set_point_change": "ordered change of set point",
    "single_of_its_kind": "single unit of its kind aboard",
    "new_controller": "log begins anew with a new controller",
    "blackout": "two ship-wide blackouts, 0.9 and 3.5 h",
}

REASONS = {
    (SECOND, "air temperatures and set point only"): (
        "with the air alone a fault shows only as air off its set point, which raw statistics of the air see"
        " as well, and coldsift's weights for it were learnt on the first plant"
    ),
}
"""Why coldsift is not clearly ahead of the best baseline, where that was looked into."""

LEAST_RATIO = 0.97
"""A ratio to the best baseline may fall to this share of the stored one before ``--check`` objects."""

MOST_FALSE_FLAGS = 0.01
"""So much may the share of healthy units that are flagged rise."""


def store(table: pl.DataFrame, path: Path) -> None:
    """Write figures, four digits each, one row a line."""
    rows = [
        json.dumps({name: _rounded(value) for name, value in row.items()}, ensure_ascii=False)
        for row in table.iter_rows(named=True)
    ]
    path.write_text("[\n" + ",\n".join(rows) + "\n]\n", encoding="utf-8")


def stored(path: Path) -> pl.DataFrame:
    """The figures of the last run that was kept."""
    numbers = ("value", "low", "high")
    return pl.DataFrame(
        json.loads(path.read_text(encoding="utf-8")),
        schema_overrides=dict.fromkeys(numbers, pl.Float64),
        infer_schema_length=None,
    )


def _rounded(value: object) -> object:
    if not isinstance(value, float):
        return value
    return float(f"{value:.4g}") if math.isfinite(value) else None


def complaints(now: pl.DataFrame, before: pl.DataFrame) -> list[str]:
    """Where a run is worse than the stored one.

    Parameters
    ----------
    now, before
        Figures; only conditions that both hold are compared.

    Returns
    -------
    list of str
        One a line; empty when nothing got worse.
    """
    said = []
    ratios = [_ratios(figures) for figures in (before, now)]
    for condition, ratio in ratios[0].items():
        new = ratios[1].get(condition)
        if new is not None and new < LEAST_RATIO * ratio:
            name = ": ".join(condition)
            said.append(f"{name}: average precision {new:.2f} times the best baseline's, was {ratio:.2f}")
    flags = [_values(figures, "false flags") for figures in (before, now)]
    for condition, share in flags[0].items():
        new = flags[1].get(condition)
        if new is not None and new > share + MOST_FALSE_FLAGS:
            said.append(f"{': '.join(condition)}: {new:.1%} of healthy units flagged, was {share:.1%}")
    return said


def complaints_real(now: pl.DataFrame, before: pl.DataFrame) -> list[str]:
    """Where less is found on open data than in the stored run.

    Parameters
    ----------
    now, before
        Of :func:`benchmarks.accuracy.real_series.measure_real_series`.

    Returns
    -------
    list of str
        One a line.
    """
    key = ["data", "part", "planted", "measure"]
    fewer = before.join(now, on=key, suffix="_now", maintain_order="left").filter(
        pl.col("found_now") < pl.col("found"), pl.col("planted") != "nothing"
    )
    return [
        f"{': '.join(names)}: {found_now} of {of}, was {found}"
        for *names, found, of, found_now in fewer.select(*key, "found", "of", "found_now").iter_rows()
    ]


def _ratios(figures: pl.DataFrame) -> dict[tuple[str, str], float]:
    best, ours = _values(figures, "best baseline", None), _values(figures, "average precision")
    return {condition: ours[condition] / value for condition, value in best.items() if value > 0}


def _values(figures: pl.DataFrame, measure: str, method: str | None = OURS) -> dict[tuple[str, str], float]:
    rows = figures.filter(pl.col("measure") == measure, pl.col("value").is_not_null())
    if method is not None:
        rows = rows.filter(pl.col("method") == method)
    return {
        (section, condition): value
        for section, condition, value in rows.select("section", "condition", "value").iter_rows()
    }


def write_page(figures: pl.DataFrame, real: pl.DataFrame, path: Path = PAGE) -> None:
    """Write the page."""
    room = Environment(
        loader=FileSystemLoader(HERE),
        undefined=StrictUndefined,
        trim_blocks=True,
        keep_trailing_newline=True,
        autoescape=False,
    )
    text = room.get_template("accuracy.md.jinja").render(
        page=_Page(figures, real),
        thresholds=load_thresholds(None),
        baselines=BASELINES,
        pools=POOLS,
        resamplings=RESAMPLINGS,
    )
    path.parent.mkdir(exist_ok=True)
    path.write_text(text, encoding="utf-8")


def in_short(figures: pl.DataFrame) -> str:
    """The figures to remember, as a table for the terminal."""
    return _Page(figures, pl.DataFrame()).short()


class _Page:
    """The tables of the page."""

    def __init__(self, figures: pl.DataFrame, real: pl.DataFrame) -> None:
        self._figures, self._real = figures, real
        self._of = {
            (section, condition, method, measure): (value, low, high)
            for section, condition, method, measure, value, low, high in figures.iter_rows()
        }
        self._ranked = [
            (section, condition)
            for section, condition in figures.filter(pl.col("measure") == "rankings")
            .select("section", "condition")
            .iter_rows()
        ]

    def value(self, section: str, condition: str, measure: str, method: str = OURS) -> float:
        """One figure; NaN where it was not measured."""
        found = self._of.get((section, condition, method, measure), (None,))[0]
        return float("nan") if found is None else found

    def _with_interval(
        self, key: tuple[str, str], measure: str, method: str = OURS, percent: bool = False
    ) -> str:
        value, low, high = self._of.get((*key, method, measure), (None, None, None))
        if value is None:
            return "–"
        if percent:
            return f"{value:.1%} ({low:.1%}–{high:.1%})"
        return f"{value:.2f} ({low:.2f}–{high:.2f})"

    def short(self) -> str:
        """The figures to remember, both plants as the base."""
        base, second = (BASE.section, BASE.name), (SECOND, AS_BASE)
        measures = (
            ("average precision", "average precision", False),
            ("lead over the best baseline", "lead over the best baseline", False),
            ("precision at k", "precision at k", False),
            ("false flags", "healthy units flagged", True),
            ("faults flagged", "faulty units flagged", True),
            ("right cause first, alike as one", "right cause first, alike as one", True),
            ("right cause in first three, alike as one", "right cause in first three, alike as one", True),
            ("calibration error", "calibration error", False),
        )
        rows = [
            (words, *(self._with_interval(key, measure, percent=percent) for key in (base, second)))
            for measure, words, percent in measures
        ]
        counts = [f"{plant}, {self._count(key)}" for plant, key in ((FIRST, base), (SECOND, second))]
        return _table(("faulty / healthy units, rankings", *counts), rows)

    def false_rule(self) -> str:
        """Share of plain healthy units that the rule of one hour out of ± 2 °C would flag."""
        measure = "out of set point ± 2 °C for more than an hour"
        return _percent(self.value(HARD, "plain", measure))

    def ranking(self) -> str:
        """How high faulty units stand in the list."""
        rows = []
        for key in self._with_faults():
            best = self._best(key)
            rows.append(
                (
                    *key,
                    self._count(key),
                    self._with_interval(key, "average precision"),
                    self._with_interval(key, "best baseline", best),
                    best,
                    self._with_interval(key, "lead over the best baseline"),
                    self._with_interval(key, "precision at k"),
                    self._with_interval(key, "recall in first 10 %"),
                )
            )
        heads = (
            "varied", "to", "faulty / healthy units, rankings", "average precision", "best baseline", "which",
            "lead", "precision at k", "recall in first 10 %",
        )  # fmt: skip
        return _table(heads, rows)

    def every_baseline(self) -> str:
        """Average precision of every method in every condition."""
        methods = (OURS, BY_CHANCE, *BASELINES)
        rows = [
            (*key, *(_two(self.value(*key, "average precision", method)) for method in methods))
            for key in self._with_faults()
        ]
        return _table(("varied", "to", *methods), rows)

    def not_ahead(self) -> list[str]:
        """Conditions in which the lead over the best baseline is not clear of zero."""
        said = []
        for key in self._with_faults():
            value, low, _ = self._of[(*key, OURS, "lead over the best baseline")]
            if low <= 0:
                reason = REASONS.get(key, "not looked into yet")
                said.append(
                    f"{': '.join(key)}: lead {value:+.2f} over {self._best(key)}, interval from {low:+.2f}. "
                    f"Why: {reason}."
                )
        return said

    def causes(self) -> str:
        """How often the right cause is named, and how often a wrong one."""
        rows = []
        for key in self._ranked:
            shares = [
                self._with_interval(key, measure, percent=True)
                for measure in (
                    "false flags",
                    "faults flagged",
                    "right cause first",
                    "right cause in first three",
                    "right cause first, alike as one",
                    "right cause in first three, alike as one",
                    "false cause above 50 %",
                )
            ]
            rows.append((*key, *shares, self._with_interval(key, "calibration error")))
        heads = (
            "varied", "to", "healthy units flagged", "faulty units flagged", "right cause first",
            "in first three", "first, alike as one", "in first three, alike as one",
            "healthy with a cause above 50 %", "calibration error",
        )  # fmt: skip
        return _table(heads, rows)

    def drop(self) -> str:
        """From the first plant to the second."""
        rows = []
        pairs = (
            ((BASE.section, BASE.name), (SECOND, AS_BASE)),
            (("sampling", "every 60 min"), (SECOND, "every 60 min")),
            (("channels", "air and electric"), (SECOND, "air and electric")),
            (
                ("channels", "air temperatures and set point only"),
                (SECOND, "air temperatures and set point only"),
            ),
        )
        measures = (
            "average precision", "best baseline", "precision at k", "recall in first 10 %", "faults flagged",
            "false flags", "right cause first, alike as one", "right cause in first three, alike as one",
            "false cause above 50 %", "calibration error", "defrost F1",
        )  # fmt: skip
        for old, new in pairs:
            for measure in measures:
                methods = [self._best(key) if measure == "best baseline" else OURS for key in (old, new)]
                values = [
                    self.value(*key, measure, method) for key, method in zip((old, new), methods, strict=True)
                ]
                name = "best baseline's average precision" if measure == "best baseline" else measure
                rows.append((new[1], name, *(_three(v) for v in values), f"{values[1] - values[0]:+.3f}"))
        return _table(("condition", "measure", FIRST, SECOND, "difference"), rows)

    def calibration(self) -> str:
        """What was said and what came true, both plants as the base."""
        bins = self._figures.filter(pl.col("section") == "calibration")["measure"].unique(maintain_order=True)
        rows = []
        for chance in bins:
            cells = [chance]
            for plant in (FIRST, SECOND):
                units, said, came = (
                    self.value("calibration", plant, chance, what) for what in ("units", "said", "came true")
                )
                cells += [f"{units:.0f}", _percent(said), _percent(came)]
            rows.append(cells)
        heads = ["chance of a fault said"]
        heads += [f"{what}, {plant}" for plant in (FIRST, SECOND) for what in ("units", "said", "came true")]
        return _table(heads, rows)

    def onset(self) -> str:
        """Hours from onset to flag."""
        rows = []
        measures = self._figures.filter(pl.col("section") == "onset to flag")["measure"].unique(
            maintain_order=True
        )
        for measure in measures:
            rows.append(
                (
                    measure,
                    *(
                        _as_measured(self.value("onset to flag", plant, measure, method), measure)
                        for plant in (FIRST, SECOND)
                        for method in (OURS, "hours_out")
                    ),
                )
            )
        heads = (
            "",
            *(f"{method}, {plant}" for plant in (FIRST, SECOND) for method in (OURS, "hours_out > 1 h")),
        )
        return _table(heads, rows)

    def events(self) -> str:
        """Excursions and defrosts by condition."""
        measures = (
            "planted excursions", "planted excursions found", "excursions found that were not planted",
            "excursion start error, median", "excursion start error, 90 %", "excursion end error, median",
            "excursion end error, 90 %", "defrost F1",
        )  # fmt: skip
        keys = [
            key for key in self._ranked
            if key[0] in ("base", "sampling", "channels", "data faults", "log files", SECOND)
        ]  # fmt: skip
        rows = []
        for key in keys:
            values = [self.value(*key, measure) for measure in measures]
            rows.append(
                (*key, f"{values[0]:.0f}", _percent(values[1]), f"{values[2]:.0f}",
                 *(f"{value:.0f}" for value in values[3:7]), _three(values[7]))
            )  # fmt: skip
        heads = (
            "varied", "to", "planted excursions", "found", "found, not planted", "start error, median, min",
            "90 %, min", "end error, median, min", "90 %, min", "defrost F1",
        )  # fmt: skip
        return _table(heads, rows)

    def pull_downs(self) -> str:
        """Error of the time constant."""
        conditions = self._figures.filter(pl.col("section") == "pull-down")["condition"].unique(
            maintain_order=True
        )
        measures = ("pull-downs fitted", "error of τ, median", "error of τ, 90 %")
        rows = [
            (name, *(_percent(self.value("pull-down", name, measure)) for measure in measures))
            for name in conditions
        ]
        return _table(("logged", *measures), rows)

    def hard_cases(self) -> str:
        """Healthy units that look like failing ones."""
        measures = (
            "flagged", "chance of a fault, mean", "false cause above 50 %",
            "out of set point ± 2 °C for more than an hour",
        )  # fmt: skip
        rows = [
            (words, f"{self.value(HARD, name, 'units'):.0f}",
             *(_percent(self.value(HARD, name, measure)) for measure in measures))
            for name, words in HARD_CASE_WORDS.items()
        ]  # fmt: skip
        return _table(("healthy units", "units", *measures), rows)

    def real(self) -> str:
        """Figures on open data, one row a part and measure, all data together."""
        together = self._real.group_by("part", "planted", "measure", maintain_order=True).agg(
            pl.col("data").unique(maintain_order=True).str.join(", "),
            found=pl.when(pl.col("of").is_not_null().any()).then(pl.col("found").sum()),
            of=pl.when(pl.col("of").is_not_null().any()).then(pl.col("of").sum()),
            value=pl.col("value").abs().max(),
        )
        rows = [
            (
                row["part"],
                row["planted"],
                row["measure"],
                f"{row['value']:.3g}" if row["of"] is None else f"{row['found']} of {row['of']}",
                row["data"],
            )
            for row in together.iter_rows(named=True)
        ]
        return _table(("part", "planted", "measure", "found, or largest value", "data"), rows)

    def _with_faults(self) -> list[tuple[str, str]]:
        return [key for key in self._ranked if self.value(*key, "faulty units ranked") > 0]

    def _best(self, key: tuple[str, str]) -> str:
        return next(
            str(method) for section, condition, method, measure in self._of
            if (section, condition) == key and measure == "best baseline"
        )  # fmt: skip

    def _count(self, key: tuple[str, str]) -> str:
        numbers = [
            self.value(*key, measure)
            for measure in ("faulty units ranked", "healthy units ranked", "rankings")
        ]
        return f"{numbers[0]:.0f} / {numbers[1]:.0f}, {numbers[2]:.0f}"


def _as_measured(value: float, measure: str) -> str:
    if measure.startswith(("hours", "faults")):
        return f"{value:.0f}" if math.isfinite(value) else "not within the voyage"
    return _percent(value)


def _two(value: float) -> str:
    return "–" if math.isnan(value) else f"{value:.2f}"


def _three(value: float) -> str:
    return "–" if math.isnan(value) else f"{value:.3f}"


def _percent(value: float) -> str:
    return "–" if math.isnan(value) else f"{value:.1%}"


def _table(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    lines = [heads, ["---"] * len(heads), *rows]
    return "\n".join("| " + " | ".join(line) + " |" for line in lines)
