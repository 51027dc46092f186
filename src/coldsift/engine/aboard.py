"""What is to be done on board: the round, spares, repairs and what followed, changes since an earlier run."""

from __future__ import annotations

from dataclasses import dataclass

import polars as pl

from coldsift.causes import load_catalogue
from coldsift.changes import compare_runs
from coldsift.engine.analysis import Analysis
from coldsift.engine.papers import Voyage
from coldsift.engine.settings import Settings
from coldsift.parts import possible_repairs, weigh_parts
from coldsift.repairs import judge_repairs, units_needed
from coldsift.rounds import plan_round
from coldsift.schema import CHANGES, UNMATCHED
from coldsift.voyage import unmatched


@dataclass(frozen=True, slots=True)
class Aboard:
    """Tables of :mod:`coldsift.schema` on what is to be done, and what became of what was done."""

    round: pl.DataFrame
    parts: pl.DataFrame
    parts_wanted: pl.DataFrame
    possible_repairs: pl.DataFrame
    repairs: pl.DataFrame
    unmatched: pl.DataFrame
    changes: pl.DataFrame


def aboard_of(
    analysis: Analysis, voyage: Voyage, settings: Settings, earlier: pl.DataFrame | None = None
) -> Aboard:
    """Put together what is to be done on board.

    Parameters
    ----------
    analysis, voyage
        What the logs and the papers say.
    settings
        Hours for the round.
    earlier
        :data:`coldsift.schema.FINDINGS` of the earlier run, if one was given.

    Returns
    -------
    Aboard
        Tables are empty where there is nothing to make them from.
    """
    findings = analysis.findings
    catalogue = load_catalogue(settings.causes)
    spares = weigh_parts(analysis.causes, findings, voyage.notes, voyage.spares, catalogue)
    return Aboard(
        round=plan_round(findings, analysis.checks, settings.round_hours),
        parts=spares.parts,
        parts_wanted=spares.wanted,
        possible_repairs=possible_repairs(spares.wanted, analysis.causes, catalogue),
        repairs=judge_repairs(
            analysis.timelines.of(units_needed(voyage.notes, analysis.peer_groups, analysis.peer_members)),
            analysis.defrosts,
            voyage.notes,
            analysis.peer_groups,
            analysis.peer_members,
            settings.refrigerants,
            settings.refrigerant,
        ),
        unmatched=UNMATCHED.empty()
        if voyage.plan.is_empty()
        else unmatched(voyage.plan, findings["container"]),
        changes=CHANGES.empty() if earlier is None else compare_runs(findings, earlier, catalogue),
    )
