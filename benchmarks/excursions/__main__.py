"""Print how often coldsift's excursions and their bounds hold on planted truth: about a minute."""

from __future__ import annotations

from collections.abc import Iterable

import polars as pl

from benchmarks.excursions import voyages
from benchmarks.excursions.measure import outcomes
from benchmarks.excursions.planted import Recording, cases
from coldsift.simulate import Fleet

CASES, SEED = 400, 7
INTERVALS = (5, 15, 60)
DROPPED = (0.0, 0.2)
VOYAGE_SEEDS = range(301, 304)
HIDDEN_HOURS = (2.0, 6.0, 12.0)


def main() -> None:
    """Measure and print; nothing is stored."""
    planted = cases(CASES, SEED)
    print(
        f"{CASES} planted courses (ramps, triangles, exponentials, sines; chilled and frozen, warm and "
        "cold),\nnoise 0.1 K, rounded to 0.1 K. Shares of the excursions that should be seen; false ones for "
        "100 unit-days."
    )
    _table(
        (
            "min",
            "dropped",
            "number",
            "found",
            "in one piece",
            "start inside",
            "end inside",
            "hours inside",
            "K h inside",
            "false",
        ),
        (
            (
                str(minutes),
                f"{dropped:.0%}",
                str(rows.height),
                *_shares(rows, "found"),
                *_shares(
                    rows.filter("found").with_columns(whole=pl.col("pieces") == 1),
                    "whole",
                    "start_inside",
                    "end_inside",
                    "hours_inside",
                    "degree_hours_inside",
                ),
                f"{false:.2f}",
            )
            for minutes in INTERVALS
            for dropped in DROPPED
            for rows, false in [outcomes(planted, Recording(minutes, dropped), SEED)]
        ),
    )
    fleets = [voyages.voyage(seed) for seed in VOYAGE_SEEDS]
    _print_voyages(pl.concat(map(voyages.excursions, fleets)))
    _print_hidden(fleets)
    _print_doubts(pl.concat(voyages.doubts(fleet, SEED) for fleet in fleets))


def _print_voyages(rows: pl.DataFrame) -> None:
    unit_days = len(VOYAGE_SEEDS) * voyages.UNITS * voyages.DAYS
    true = rows.filter(pl.col("found").is_not_null())
    print(
        f"\nSimulated voyages, seeds {VOYAGE_SEEDS.start} to {VOYAGE_SEEDS.stop - 1}, {unit_days:g} "
        "unit-days. Far: no defrost within 2 h of that edge,\nfor the simulator excuses half an hour after "
        "one and coldsift an hour and a half. Untrue: for 100 unit-days."
    )
    found = true.filter("found")
    _table(
        ("true", "found", "start inside", "end inside", "start, far", "end, far", "untrue"),
        [
            (
                str(true.height),
                *_shares(true, "found"),
                *_shares(found, "start_inside", "end_inside"),
                *_shares(found.filter(~pl.col("start_near_defrost")), "start_inside"),
                *_shares(found.filter(~pl.col("end_near_defrost")), "end_inside"),
                f"{100 * (rows.height - true.height) / unit_days:.2f}",
            )
        ],
    )


def _print_hidden(fleets: list[Fleet]) -> None:
    print("\nReadings hidden from the log of the same voyages against the range stated for the gap.")
    _table(
        ("hidden h", "power", "readings", "gaps", "within", "too warm", "too cold", "up K", "down K"),
        (
            (
                f"{hours:g}",
                "off" if off else "on",
                str(part.height),
                str(part.select("container", "gap_start").n_unique()),
                *_shares(
                    part.with_columns(within=~pl.col("too_warm") & ~pl.col("too_cold")),
                    "within",
                    "too_warm",
                    "too_cold",
                ),
                _level(part["up"], 0.5, 1),
                _level(part["down"], 0.5, 1),
            )
            for hours in HIDDEN_HOURS
            for rows in [
                pl.concat(
                    voyages.hidden_readings(fleet, hours, SEED).with_columns(
                        container=pl.format("{} {}", pl.lit(number), "container")
                    )
                    for number, fleet in enumerate(fleets)
                )
            ]
            for off, part in ((True, rows.filter("off")), (False, rows.filter(~pl.col("off"))))
        ),
    )


def _print_doubts(rows: pl.DataFrame) -> None:
    print("\nDoubt of the probe: excursions of the simulated air, and readings falsified in the log alone.")
    _table(
        ("what erred", "excursions", "doubt, median", "10 %", "90 %", "doubt ≥ 0.33"),
        (
            (
                error or "nothing: the air",
                str(part.height),
                *(_level(part["doubt"], level, 2) for level in (0.5, 0.1, 0.9)),
                *_shares(part.with_columns(doubted=pl.col("doubt") >= 0.33), "doubted"),
            )
            for error in ("", *voyages.PROBE_ERRORS)
            for part in [rows.filter(pl.col("error") == error)]
        ),
    )


def _shares(rows: pl.DataFrame, *names: str) -> list[str]:
    return [f"{rows.filter(name).height / rows.height:.1%}" if rows.height else "–" for name in names]


def _level(values: pl.Series, level: float, digits: int) -> str:
    value = values.quantile(level)
    return "–" if value is None else f"{value:.{digits}f}"


def _table(heading: tuple[str, ...], rows: Iterable[tuple[str, ...]]) -> None:
    lines = [heading, *rows]
    widths = [max(len(line[column]) for line in lines) for column in range(len(heading))]
    for line in lines:
        print("  ".join(cell.rjust(width) for cell, width in zip(line, widths, strict=True)))


if __name__ == "__main__":
    main()
