"""The stages after intake, in order: what every unit shows by itself, then what the voyage makes of it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import polars as pl

from coldsift.causes import first_checks, judge, load_catalogue, noted_observations
from coldsift.clocks import compare_clocks
from coldsift.days import unit_days
from coldsift.engine.papers import Voyage, with_positions
from coldsift.engine.reading import Progress, UnitBatch, UnitsSeen, seen_of, together
from coldsift.engine.running import Held, Here, Runner
from coldsift.engine.settings import Settings
from coldsift.excursions import find_excursions
from coldsift.features import (
    BASES,
    DRAWN_COLUMNS,
    FEATURES,
    clock_features,
    unit_features,
    with_saturation,
)
from coldsift.intake.merge import REPEATS
from coldsift.peers import compare, peer_bands, peer_cells, peer_grid
from coldsift.ranking import hours_to_limit, load_thresholds, rank
from coldsift.regimes import find_defrosts, find_voyage_events, mark_shared, unit_traits, with_coverage
from coldsift.set_points import compare_set_points, orders_to_confirm, set_point_answers


@dataclass(frozen=True, slots=True)
class WholeVoyage:
    """What a unit cannot know by itself: what the ship shared, and how its clock stands to the others'.

    ``clocks`` is the one feature that looks at the others, ``clock_offsets`` what is reported.
    """

    voyage_events: pl.DataFrame
    clocks: pl.DataFrame
    clock_offsets: pl.DataFrame
    spans: pl.DataFrame


@dataclass(frozen=True, slots=True)
class UnitsAnalysed:
    """What the units of a batch show by themselves; tables of :mod:`coldsift.schema` and of their stages."""

    traits: pl.DataFrame
    defrosts: pl.DataFrame
    features: pl.DataFrame
    excursions: pl.DataFrame
    unit_days: pl.DataFrame
    set_points: pl.DataFrame
    limits: pl.DataFrame


@dataclass(frozen=True, slots=True)
class Timelines:
    """The timelines of all units, batch by batch where they are kept.

    They have ``shared``, ``evaporating`` and ``condensing`` [°C] beside what
    :func:`coldsift.regimes.build_timeline` gives.
    """

    batches: tuple[UnitBatch, ...]

    def __iter__(self) -> Iterator[pl.DataFrame]:
        return (batch.timeline.frame() for batch in self.batches)

    def whole(self) -> pl.DataFrame:
        """All at once."""
        return pl.concat(list(self))

    def of(self, containers: Sequence[str]) -> pl.DataFrame:
        """Those of some units."""
        wanted = set(containers)
        held = [batch for batch in self.batches if wanted.intersection(batch.containers)]
        frames = [batch.timeline.frame() for batch in held or self.batches[:1]]
        return pl.concat(frames).filter(pl.col("container").is_in(list(containers)))


@dataclass(frozen=True, slots=True)
class Analysis:
    """What the stages after intake found; the frames are the tables of :mod:`coldsift.schema`.

    Peer groups, members and distances are those of :class:`coldsift.peers.Comparison`, checks those of
    :func:`coldsift.causes.first_checks`.
    """

    timelines: Timelines
    voyage_events: pl.DataFrame
    clocks: pl.DataFrame
    defrosts: pl.DataFrame
    excursions: pl.DataFrame
    unit_days: pl.DataFrame
    features: pl.DataFrame
    peer_groups: pl.DataFrame
    peer_members: pl.DataFrame
    peer_bands: pl.DataFrame
    distances: pl.DataFrame
    causes: pl.DataFrame
    evidence: pl.DataFrame
    seen: pl.DataFrame
    set_points: pl.DataFrame
    checks: pl.DataFrame
    findings: pl.DataFrame
    reasons: pl.DataFrame

    @property
    def timeline(self) -> pl.DataFrame:
        """The timelines of all units at once."""
        return self.timelines.whole()


def whole_voyage(seen: UnitsSeen) -> WholeVoyage:
    """Find out what a unit cannot know by itself.

    Parameters
    ----------
    seen
        Of all units.
    """
    voyage_events = find_voyage_events(seen.intervals)
    return WholeVoyage(
        voyage_events,
        clock_features(seen.marks),
        compare_clocks(seen.outages, voyage_events, seen.marks, seen.spans),
        seen.spans,
    )


def analyse_units(
    timeline: pl.DataFrame, whole: WholeVoyage, settings: Settings, voyage: Voyage
) -> tuple[UnitsAnalysed, pl.DataFrame]:
    """Find out what units show by themselves.

    Parameters
    ----------
    timeline
        Of the units, from :func:`coldsift.regimes.build_timeline`.
    whole
        Of the voyage, from :func:`whole_voyage`.
    settings
        Refrigerants and grace time.
    voyage
        Bookings and plan.

    Returns
    -------
    tuple
        What they show, and their timeline as :class:`Timelines` has it.
    """
    timeline = mark_shared(timeline, whole.voyage_events)
    kept = [*timeline.columns, *DRAWN_COLUMNS]
    defrosts = find_defrosts(timeline)
    saturated = with_saturation(timeline, settings.refrigerants, settings.refrigerant)
    features = unit_features(saturated, defrosts, whole.clocks)
    timeline = saturated.select(kept)
    excursions = find_excursions(timeline, settings.grace_hours)
    shown = UnitsAnalysed(
        traits=unit_traits(timeline),
        defrosts=defrosts,
        features=features,
        excursions=excursions,
        unit_days=unit_days(timeline, defrosts, excursions, whole.spans),
        set_points=compare_set_points(timeline, voyage.bookings, voyage.plan),
        limits=hours_to_limit(timeline),
    )
    return shown, timeline


def judge_voyage(
    timelines: Timelines,
    whole: WholeVoyage,
    units: UnitsAnalysed,
    settings: Settings,
    voyage: Voyage,
    runner: Runner,
    progress: Progress,
) -> Analysis:
    """Compare the units, weigh the causes, and rank.

    Parameters
    ----------
    timelines, whole, units
        Of all units.
    settings
        Catalogue and thresholds.
    voyage
        What is known beyond the logs: bookings and notes weigh in the causes and the ranking.
    runner
        Where the work is done.
    progress
        Called as the work goes on.
    """
    progress("peers", 0, 1)
    traits = with_coverage(units.traits)
    comparison = compare(units.features, traits, FEATURES)
    grid = peer_grid(whole.spans)
    cells = runner.each(
        peer_cells, ((batch.timeline, grid) for batch in timelines.batches if grid is not None)
    )
    bands = peer_bands(cells, grid, comparison.members, comparison.oddness)
    progress("causes", 0, 1)
    catalogue = load_catalogue(settings.causes)
    seen = pl.concat([set_point_answers(units.set_points), noted_observations(voyage.notes, catalogue)])
    judgement = judge(comparison.distances, catalogue, BASES, seen)
    checks = first_checks(judgement.causes, catalogue, judgement.seen, orders_to_confirm(units.set_points))
    progress("ranking", 0, 1)
    ranking = rank(
        comparison,
        traits,
        units.limits,
        units.excursions,
        judgement.causes,
        checks,
        load_thresholds(settings.thresholds),
        units.set_points,
    )
    return Analysis(
        timelines=timelines,
        voyage_events=whole.voyage_events,
        clocks=whole.clock_offsets,
        defrosts=units.defrosts,
        excursions=units.excursions,
        unit_days=units.unit_days,
        features=comparison.features,
        peer_groups=comparison.oddness,
        peer_members=comparison.members,
        peer_bands=bands,
        distances=comparison.distances,
        causes=judgement.causes,
        evidence=judgement.evidence,
        seen=judgement.seen,
        set_points=units.set_points,
        checks=checks,
        findings=with_positions(ranking.findings, voyage),
        reasons=ranking.reasons,
    )


def analyse(
    log: pl.DataFrame, settings: Settings, progress: Progress | None = None, voyage: Voyage | None = None
) -> Analysis:
    """Take a common log that memory holds through every stage after intake.

    Parameters
    ----------
    log
        Common log, sorted by container and time.
    settings
        Bands and grace time.
    progress
        Called as the work goes on.
    voyage
        What is known beyond the logs.

    Returns
    -------
    Analysis
        The tables of every stage.
    """
    voyage = voyage or Voyage()
    tell = progress or (lambda what, done, total: None)
    tell("regimes", 0, 1)
    seen, timeline = seen_of(log, settings.bands, pl.DataFrame(schema=REPEATS))
    whole = whole_voyage(seen)
    tell("features", 0, 1)
    units, timeline = analyse_units(timeline, whole, settings, voyage)
    batch = UnitBatch(tuple(log["container"].unique().sort()), Held(timeline))
    return judge_voyage(Timelines((batch,)), whole, together([units]), settings, voyage, Here(), tell)
