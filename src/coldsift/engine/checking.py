"""What was seen by hand, put to a finished run or to a few readings: the chances, and what to see next."""

from __future__ import annotations

import difflib
import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import polars as pl

from coldsift.causes import (
    Catalogue,
    NextCheck,
    after,
    before,
    check_table,
    judge,
    leaf_chances,
    next_checks,
    yes_table,
)
from coldsift.engine.readings import reading_distances
from coldsift.features import BASES

SUSPECTED = 0.5
"""A unit whose display somebody notes down is under suspicion: chance of a fault before its readings are
weighed. Common practice, no source."""

ANSWERS = {"yes": True, "no": False}


class CheckError(ValueError):
    """A check that cannot be made: what is wrong, and what is known."""


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """One hypothesis after what was seen: id, words, chance, and its kinds with theirs, likeliest first."""

    id: str
    name: str
    chance: float
    kinds: tuple[tuple[str, float], ...]
    together: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Checked:
    """Where a unit stands.

    Attributes
    ----------
    container
        Its number, or ``readings``.
    answers
        What was seen, by observation.
    hypotheses
        All of them, likeliest first.
    evidence
        :data:`coldsift.schema.EVIDENCE` of this unit, from the log or the readings.
    checks
        What to see next, the best first.
    catalogue
        Where names, questions and advice come from.
    """

    container: str
    answers: Mapping[str, bool]
    hypotheses: tuple[Hypothesis, ...]
    evidence: pl.DataFrame
    checks: tuple[NextCheck, ...]
    catalogue: Catalogue


def parse_answers(texts: Iterable[str], catalogue: Catalogue) -> dict[str, bool]:
    """Take ``NAME=yes`` or ``NAME=no`` apart.

    Raises
    ------
    CheckError
        On an unknown observation, with those that are known; on any other answer; on two answers to one.
    """
    found: dict[str, bool] = {}
    for text in texts:
        name, _, answer = (part.strip() for part in text.partition("="))
        if name not in catalogue.observations:
            near = difflib.get_close_matches(name, catalogue.observations, n=3)
            hint = f" Did you mean {' or '.join(near)}?" if near else ""
            raise CheckError(
                f"no observation {name!r}.{hint} There are: {', '.join(catalogue.observations)}."
            )
        if answer.lower() not in ANSWERS:
            raise CheckError(f"{text!r}: an observation is written {name}=yes or {name}=no.")
        seen = ANSWERS[answer.lower()]
        if found.get(name, seen) is not seen:
            raise CheckError(f"{name} is given as yes and as no.")
        found[name] = seen
    return found


def read_answers(path: Path, container: str, catalogue: Catalogue) -> dict[str, bool]:
    """Answers saved from the report's page.

    Raises
    ------
    CheckError
        When the file cannot be read, is none of these, or is of another container.
    """
    try:
        saved = json.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise CheckError(f"{path}: {error.strerror}. Name a file that can be read.") from error
    except ValueError as error:
        raise CheckError(f"{path.name} holds no answers saved from a report: {error}.") from error
    if not isinstance(saved, dict) or "coldsift_answers" not in saved:
        raise CheckError(f"{path.name} holds no answers saved from a report.")
    if saved.get("container") != container:
        raise CheckError(f"{path.name} holds answers for {saved.get('container')!r}, not for {container}.")
    answers = saved.get("answers")
    if not isinstance(answers, dict) or not all(isinstance(value, bool) for value in answers.values()):
        raise CheckError(f"{path.name}: each answer must be true or false.")
    return parse_answers((f"{name}={'yes' if seen else 'no'}" for name, seen in answers.items()), catalogue)


def finished_run(run: Path | None) -> Path:
    """The folder of a finished run: as named, or the only one under ``reports``.

    Raises
    ------
    CheckError
        When there is none, or more than one to choose from.
    """
    if run is not None:
        if not (run / "causes.parquet").is_file():
            raise CheckError(
                f"{run} holds no finished run with causes. Name the folder given to screen --out."
            )
        return run
    found = sorted(path.parent for path in Path("reports").glob("*/causes.parquet"))
    if len(found) == 1:
        return found[0]
    if not found:
        raise CheckError("no finished run under reports. Name its folder with --run, or give --reading.")
    raise CheckError(f"several runs: {', '.join(map(str, found))}. Name one with --run.")


def check_run(run: Path, container: str) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Causes and evidence of one container of a finished run.

    Raises
    ------
    CheckError
        When the run does not hold it.
    """
    tables = [pl.read_parquet(run / f"{name}.parquet") for name in ("causes", "evidence")]
    known = tables[0]["container"].unique().sort().to_list()
    number = container.upper().replace(" ", "")
    if number not in known:
        near = difflib.get_close_matches(number, known, n=3)
        hint = f" Did you mean {' or '.join(near)}?" if near else f" It holds {len(known)} others."
        raise CheckError(f"no container {container!r} in {run}.{hint}")
    own, evidence = (table.filter(pl.col("container") == number) for table in tables)
    return own, evidence


def noted_in(run: Path, container: str) -> dict[str, bool]:
    """Answers by observation that the causes of a finished run hold already, of one of its containers."""
    noted = run / "seen.parquet"
    if not noted.is_file():
        return {}
    own = pl.read_parquet(noted).filter(pl.col("container") == container)
    return dict(own.select("observation", "answer").iter_rows())


def check_readings(
    readings: Mapping[str, float | bool | str], refrigerant: str, catalogue: Catalogue
) -> tuple[pl.DataFrame, pl.DataFrame]:
    """Causes and evidence from readings alone."""
    distances = reading_distances(readings, refrigerant)
    if distances.is_empty():
        raise CheckError(
            "these readings do not combine into anything to judge. Useful together: supply_air, return_air "
            "and set_point; suction_pressure and suction_temperature; discharge_pressure and ambient_air; "
            "the three currents or voltages."
        )
    judgement = judge(distances, replace(catalogue, fault_share=SUSPECTED), BASES)
    return judgement.causes, judgement.evidence


def conclude(
    causes: pl.DataFrame,
    evidence: pl.DataFrame,
    answers: Mapping[str, bool],
    catalogue: Catalogue,
    noted: Mapping[str, bool] | None = None,
) -> Checked:
    """Put what was seen to what the log says.

    Parameters
    ----------
    causes, evidence
        Of one container, from :func:`check_run` or :func:`check_readings`.
    answers
        Observations made.
    catalogue
        The same that the causes were judged with.
    noted
        From :func:`noted_in`. An answer of ``answers`` takes the place of one to the same observation.

    Returns
    -------
    Checked
        Chances after the answers, and what to see next.

    Raises
    ------
    CheckError
        When the causes are of another catalogue.
    """
    table = check_table(catalogue)
    unknown = sorted(set(causes["cause"]) - {cause for cause, _ in table.leaves})
    if unknown:
        raise CheckError(
            f"the run knows causes that the catalogue does not: {', '.join(unknown)}. Give the same --causes."
        )
    containers, chances, pairs = leaf_chances(causes, table)
    yes = yes_table(table, pairs[0], chances[0])
    places = {table.observations.index(name): seen for name, seen in answers.items()}
    held = {
        table.observations.index(name): seen
        for name, seen in (noted or {}).items()
        if name in table.observations
    }
    replaced = {place: seen for place, seen in held.items() if place in places}
    start = before(chances[0], yes, replaced, table.settling) if replaced else chances[0]
    now = after(start, yes, places, table.settling)
    hypotheses: dict[str, list[tuple[str, float]]] = {}
    for (cause, kind), chance in zip(table.leaves, now, strict=True):
        hypotheses.setdefault(cause, []).append((kind, float(chance)))
    listed = [
        Hypothesis(
            cause,
            catalogue.name(cause),
            sum(chance for _, chance in leaves),
            tuple(sorted((leaf for leaf in leaves if leaf[0]), key=lambda leaf: -leaf[1])),
            pairs[0] if cause == "more_than_one" else (),
        )
        for cause, leaves in hypotheses.items()
    ]
    listed.sort(key=lambda hypothesis: (-hypothesis.chance, hypothesis.id))
    return Checked(
        containers[0],
        dict(answers),
        tuple(listed),
        evidence,
        tuple(next_checks(table, now, yes, [*places, *held])),
        catalogue,
    )


def as_json(checked: Checked, most_checks: int = 10) -> dict[str, Any]:
    """What :func:`conclude` found, for machines."""
    observations = checked.catalogue.observations
    return {
        "container": checked.container,
        "answers": dict(sorted(checked.answers.items())),
        "hypotheses": [
            {
                "cause": each.id,
                "name": each.name,
                "chance": each.chance,
                "kinds": [{"kind": kind, "chance": chance} for kind, chance in each.kinds],
                **({"together": list(each.together)} if each.together else {}),
            }
            for each in checked.hypotheses
        ],
        "evidence": checked.evidence.drop("container").to_dicts(),
        "next_checks": [
            {
                "observation": check.observation,
                "question": observations[check.observation].question,
                "minutes": observations[check.observation].minutes,
                "risk": str(observations[check.observation].risk),
                "bits": check.bits,
                "bits_per_weighted_minute": check.bits_per_minute,
            }
            for check in checked.checks[:most_checks]
        ],
    }


def kinds_in_words(hypothesis: Hypothesis, catalogue: Catalogue) -> Sequence[str]:
    """Kinds of a cause with their chances."""
    cause = catalogue.causes.get(hypothesis.id)
    names = {kind.id: kind.name for kind in cause.kinds} if cause else {}
    return [f"{names[kind]} {100 * chance:.0f} %" for kind, chance in hypothesis.kinds if chance >= 0.01]
