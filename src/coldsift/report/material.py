"""What the report is made from: the tables of the stages, and words for what is not a table."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import polars as pl

from coldsift.causes import Catalogue
from coldsift.report.model import FeatureWords, MessageView, SourceView
from coldsift.report.overview import Overview
from coldsift.schema import (
    CHANGES,
    CLOCKS,
    PARTS,
    PARTS_WANTED,
    PLAN,
    POSSIBLE_REPAIRS,
    REPAIRS,
    ROUND,
    SEEN,
    SET_POINTS,
    UNMATCHED,
)


@dataclass(frozen=True, slots=True)
class Material:
    """Everything a report shows.

    Attributes
    ----------
    findings, reasons, features, excursions, defrosts, cargo, unit_days, voyage_events, set_aside, notes
        Tables as in :mod:`coldsift.schema`, units as stated there.
    overview
        What there is to say of the readings of all units; the readings themselves come batch by batch.
    peer_groups
        ``container``, ``peer_group``, ``level`` and ``peers``: with whom each unit is compared.
    peer_members
        ``peer_group``, ``container``: every unit of every group.
    peer_bands
        :data:`coldsift.schema.PEER_BANDS`.
    causes, evidence
        Chances and what speaks for and against, from :func:`coldsift.causes.judge`.
    catalogue
        The one they were judged with.
    sources, messages
        What was read, and what there was to say about it.
    parameters
        Every parameter of the run with its value and unit, in words.
    feature_words
        Words for each feature id; a feature without an entry is shown under its id.
    title
        Heading of the report.
    invented
        True when the data are made up: every page then says so at its top.
    seen, plan, set_points, repairs, parts, parts_wanted, possible_repairs, round, changes, unmatched
        Tables as in :mod:`coldsift.schema`, empty where nothing was given to make them from.
    earlier
        Name of the run that ``changes`` compares with.
    round_hours
        Time given for the round. [h]
    """

    findings: pl.DataFrame
    reasons: pl.DataFrame
    features: pl.DataFrame
    excursions: pl.DataFrame
    defrosts: pl.DataFrame
    cargo: pl.DataFrame
    unit_days: pl.DataFrame
    voyage_events: pl.DataFrame
    set_aside: pl.DataFrame
    notes: pl.DataFrame
    overview: Overview
    peer_groups: pl.DataFrame
    peer_members: pl.DataFrame
    peer_bands: pl.DataFrame
    causes: pl.DataFrame
    evidence: pl.DataFrame
    catalogue: Catalogue
    sources: tuple[SourceView, ...]
    messages: tuple[MessageView, ...]
    parameters: Mapping[str, str]
    feature_words: Mapping[str, FeatureWords]
    title: str
    invented: bool
    seen: pl.DataFrame = field(default_factory=SEEN.empty)
    plan: pl.DataFrame = field(default_factory=PLAN.empty)
    set_points: pl.DataFrame = field(default_factory=SET_POINTS.empty)
    repairs: pl.DataFrame = field(default_factory=REPAIRS.empty)
    parts: pl.DataFrame = field(default_factory=PARTS.empty)
    parts_wanted: pl.DataFrame = field(default_factory=PARTS_WANTED.empty)
    possible_repairs: pl.DataFrame = field(default_factory=POSSIBLE_REPAIRS.empty)
    round: pl.DataFrame = field(default_factory=ROUND.empty)
    changes: pl.DataFrame = field(default_factory=CHANGES.empty)
    unmatched: pl.DataFrame = field(default_factory=UNMATCHED.empty)
    clocks: pl.DataFrame = field(default_factory=CLOCKS.empty)
    earlier: str | None = None
    round_hours: float | None = None
