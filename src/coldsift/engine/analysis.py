"""The stages after intake, in order."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import polars as pl

from coldsift.causes import first_checks, judge, load_catalogue, noted_observations
from coldsift.days import unit_days
from coldsift.engine.papers import Voyage, with_positions
from coldsift.engine.settings import Settings
from coldsift.excursions import find_excursions
from coldsift.features import BASES, DRAWN_COLUMNS, FEATURES, unit_features, with_saturation
from coldsift.peers import compare, peer_bands
from coldsift.ranking import load_thresholds, rank
from coldsift.regimes import (
    build_timeline,
    find_defrosts,
    find_voyage_events,
    mark_shared,
    regime_intervals,
    unit_traits,
)
from coldsift.set_points import compare_set_points, orders_to_confirm, set_point_answers

Progress = Callable[[str, int, int], None]
"""Told what is being done, how much of it is done, and out of how much."""


@dataclass(frozen=True, slots=True)
class Analysis:
    """What the stages after intake found; the frames are the tables of :mod:`coldsift.schema`.

    The timeline has ``evaporating`` and ``condensing`` [°C] beside what
    :func:`coldsift.regimes.build_timeline` gives; peer groups, members and distances are those of
    :class:`coldsift.peers.Comparison`, checks those of :func:`coldsift.causes.first_checks`.
    """

    timeline: pl.DataFrame
    voyage_events: pl.DataFrame
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


def analyse(
    log: pl.DataFrame, settings: Settings, progress: Progress | None = None, voyage: Voyage | None = None
) -> Analysis:
    """Take a common log through every stage after intake.

    Parameters
    ----------
    log
        Common log, sorted by container and time.
    settings
        Bands and grace time.
    progress
        Called as the work goes on.
    voyage
        What is known beyond the logs: bookings and notes weigh in the causes and the ranking.

    Returns
    -------
    Analysis
        The tables of every stage.
    """
    voyage = voyage or Voyage()
    tell = progress or (lambda what, done, total: None)
    stages = ("regimes", "features", "excursions", "peers", "causes", "ranking")

    def at(stage: str) -> None:
        tell(stage, stages.index(stage), len(stages))

    at("regimes")
    timeline = build_timeline(log, settings.bands)
    voyage_events = find_voyage_events(regime_intervals(timeline))
    timeline = mark_shared(timeline, voyage_events)
    defrosts = find_defrosts(timeline)
    traits = unit_traits(timeline)
    at("features")
    kept = [*timeline.columns, *DRAWN_COLUMNS]
    timeline = with_saturation(timeline, settings.refrigerants, settings.refrigerant)
    features = unit_features(timeline, defrosts)
    timeline = timeline.select(kept)
    at("excursions")
    excursions = find_excursions(timeline, settings.grace_hours)
    days = unit_days(timeline, defrosts, excursions)
    at("peers")
    comparison = compare(features, traits, FEATURES)
    bands = peer_bands(timeline, comparison.members, comparison.oddness)
    at("causes")
    catalogue = load_catalogue(settings.causes)
    set_points = compare_set_points(timeline, voyage.bookings, voyage.plan)
    seen = pl.concat([set_point_answers(set_points), noted_observations(voyage.notes, catalogue)])
    judgement = judge(comparison.distances, catalogue, BASES, seen)
    checks = first_checks(judgement.causes, catalogue, judgement.seen, orders_to_confirm(set_points))
    at("ranking")
    ranking = rank(
        comparison,
        traits,
        timeline,
        excursions,
        judgement.causes,
        checks,
        load_thresholds(settings.thresholds),
        set_points,
    )
    tell("ranking", len(stages), len(stages))
    return Analysis(
        timeline=timeline,
        voyage_events=voyage_events,
        defrosts=defrosts,
        excursions=excursions,
        unit_days=days,
        features=comparison.features,
        peer_groups=comparison.oddness,
        peer_members=comparison.members,
        peer_bands=bands,
        distances=comparison.distances,
        causes=judgement.causes,
        evidence=judgement.evidence,
        seen=judgement.seen,
        set_points=set_points,
        checks=checks,
        findings=with_positions(ranking.findings, voyage),
        reasons=ranking.reasons,
    )
