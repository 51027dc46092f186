"""The repairs of the invented voyage in sample_logs get the verdicts that their plan asks for (simulated)."""

from __future__ import annotations

from pathlib import Path

import polars as pl

from coldsift.engine import Screening
from coldsift.repairs import judge_repairs
from coldsift.simulate import sample_voyage
from coldsift.voyage import read_notes

SAMPLE = Path(__file__).parents[2] / "sample_logs"


def test_each_repair_of_the_sample_gets_the_verdict_that_its_truth_asks_for(sample: Screening) -> None:
    analysis = sample.analysis
    notes = read_notes(SAMPLE / "notes.csv")
    judged = judge_repairs(
        analysis.timeline, analysis.defrosts, notes, analysis.peer_groups, analysis.peer_members
    )
    causes = {unit.container: unit.cause for unit in sample_voyage().units}
    verdicts = {
        causes[container]: verdict
        for container, verdict in judged.select("container", pl.col("verdict").cast(pl.String)).iter_rows()
    }
    assert verdicts == {
        "condenser_fan_failed": "recovered",
        "evaporator_iced": "unchanged",
        "expansion_valve_not_opening": "unchanged",
        "phase_imbalance": "too_early",
        "defrost_not_starting": "cannot_tell",
    }
