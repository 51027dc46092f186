"""The catalogue: causes, what they do to the log's features, and what can be seen or measured by hand."""

from __future__ import annotations

import difflib
import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from pathlib import Path
from typing import Any

from coldsift.features import FEATURES

SHIPPED = (Path(__file__).with_name("catalogue.toml"), Path(__file__).with_name("likelihoods.toml"))

HEALTHY = "healthy"
OTHER = "other_cause"
SEVERAL = "more_than_one"
"""Hypotheses that always compete with the causes: nothing wrong, none of these, more than one of these."""

NAMED_CAUSES = 3
WORTH_NAMING = 0.02
"""So many of a unit's hypotheses are named, none less likely than this."""

NAMES = {
    HEALTHY: "Nothing wrong",
    OTHER: "A cause that is not in the catalogue",
    SEVERAL: "More than one cause",
}
"""They stand alone: on the page, in the dossier, in spreadsheets and on the terminal."""

WORDS: Mapping[str, tuple[float, float, float]] = {
    "higher": (-0.5, -0.5, 1.0),
    "lower": (-0.5, 1.0, -0.5),
    "usual": (0.5, -0.5, -0.5),
}
"""Words for the three figures of a likelihood, for whoever writes a cause without a fleet to fit."""


class Risk(StrEnum):
    """The gravest risk of an observation."""

    NONE = "none"
    CARGO = "cargo"
    MOVING_PARTS = "moving_parts"
    HEIGHT = "height"
    MAINS = "mains"
    PRESSURE = "pressure"
    ATMOSPHERE = "atmosphere"


class CatalogueError(ValueError):
    """A catalogue file cannot be used; says where, what, and what to do."""


@dataclass(frozen=True, slots=True)
class Kind:
    """A finer cause that only a check by hand can split off; ``share`` of its cause, 0 to 1."""

    id: str
    name: str
    share: float
    repair: str
    parts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Cause:
    """One cause.

    Attributes
    ----------
    id, name, about
        Id, words for lists, and what is wrong.
    prior
        How often, relative to the other causes.
    first_checks
        Observations in the order of practice.
    parts, tools, cautions, if_left, hidden_by, told_apart
        What to bring, what to mind, what comes next, what hides it, and what looks like it in a log.
    alike
        Causes that the log alone does not tell from this one, itself among them; empty where it does.
    kinds
        Finer causes.
    """

    id: str
    name: str
    about: str
    prior: float
    first_checks: tuple[str, ...]
    parts: tuple[str, ...]
    tools: tuple[str, ...]
    cautions: tuple[str, ...]
    if_left: str
    hidden_by: tuple[str, ...]
    told_apart: str
    alike: tuple[str, ...]
    kinds: tuple[Kind, ...]


@dataclass(frozen=True, slots=True)
class Observation:
    """What can be seen or measured by hand.

    Attributes
    ----------
    id, question, yes, no, how
        Id, question for yes or no, words for both answers, and how to do it.
    minutes, risk
        Work at the unit [min], and the gravest risk.
    otherwise
        Chance of yes under every hypothesis that ``chance`` does not name.
    chance
        Chance of yes by cause, or by ``cause.kind``.
    noted_as
        Texts of a work note that mean a yes, beside the question.
    settles
        Cause that a yes is, not only points to; empty for most.
    """

    id: str
    question: str
    yes: str
    no: str
    how: str
    minutes: float
    risk: Risk
    otherwise: float
    chance: Mapping[str, float]
    noted_as: tuple[str, ...] = ()
    settles: str = ""


@dataclass(frozen=True, slots=True)
class Catalogue:
    """Everything the judgement rests on.

    Attributes
    ----------
    causes, observations
        By id, in the order of the files.
    likelihoods
        By cause or ``cause.kind``, then by feature: natural logarithm of the likelihood against a good unit,
        for a usual reading, and what a step below and a step above adds.
    fault_share
        Share of units with a fault before the log is read.
    """

    causes: Mapping[str, Cause]
    observations: Mapping[str, Observation]
    likelihoods: Mapping[str, Mapping[str, tuple[float, float, float]]]
    fault_share: float

    def name(self, hypothesis: str) -> str:
        """Words for a cause or one of the competing hypotheses."""
        return NAMES.get(hypothesis) or self.causes[hypothesis].name


def as_noted(text: str) -> str:
    """A text as notes are compared by: case, blanks, and a mark at the end do not count."""
    return " ".join(text.casefold().split()).rstrip(" .?!")


@cache
def load_catalogue(own: Path | None = None) -> Catalogue:
    """Read the shipped catalogue, and the user's own over it.

    Parameters
    ----------
    own
        A TOML file with causes, observations or likelihoods: what it names replaces the shipped entry of the
        same id, or is added.

    Returns
    -------
    Catalogue
        Checked: every name that is used exists, every chance lies between 0 and 1.

    Raises
    ------
    CatalogueError
        When a file cannot be read or an entry is wrong.
    """
    tables: dict[str, dict[str, Any]] = {"causes": {}, "observations": {}, "likelihoods": {}}
    fault_share = 0.1
    for path in (*SHIPPED, *((own,) if own else ())):
        read = _read(path)
        unknown = set(read) - {*tables, "fault_share"}
        if unknown:
            raise CatalogueError(
                f"{path.name}: {', '.join(sorted(unknown))} is no part of a catalogue. "
                f"There are: {', '.join((*tables, 'fault_share'))}."
            )
        for name, table in tables.items():
            entries = read.get(name, {})
            if not isinstance(entries, dict):
                raise CatalogueError(f"{path.name}: {name} = {entries!r}; write [{name}.name] and its keys.")
            table.update(entries)
        fault_share = read.get("fault_share", fault_share)
    place = own or SHIPPED[0]
    catalogue = Catalogue(
        causes={name: _cause(place, name, entry) for name, entry in tables["causes"].items()},
        observations={
            name: _observation(place, name, entry) for name, entry in tables["observations"].items()
        },
        likelihoods={
            name: {
                feature: _likelihood(place, name, feature, row)
                for feature, row in _table(place, f"likelihoods.{name}", entry).items()
            }
            for name, entry in tables["likelihoods"].items()
        },
        fault_share=float(fault_share) if _is_number(fault_share) else math.nan,
    )
    _check(place, catalogue)
    return catalogue


def _read(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise CatalogueError(f"{path}: {error.strerror}. Name a file that can be read.") from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError, RecursionError) as error:
        raise CatalogueError(f"{path.name} is not valid TOML: {error}. Correct it there.") from error


def _is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _table(path: Path, where: str, entry: object) -> dict[str, Any]:
    if not isinstance(entry, dict):
        raise CatalogueError(f"{path.name}, {where}: a table is needed.")
    return dict(entry)


class _Entry:
    """One entry of a file, read key by key, so that a message can say which key is wrong."""

    def __init__(self, path: Path, name: str, entry: object) -> None:
        self._where = f"{path.name}, {name}"
        self._entry = _table(path, name, entry)

    def _take(self, key: str, kind: type | tuple[type, ...], default: object) -> Any:
        value = self._entry.pop(key, default)
        if value is None:
            raise CatalogueError(f"{self._where}: {key} is missing.")
        if not isinstance(value, kind) or isinstance(value, bool):
            raise CatalogueError(f"{self._where}: {key} = {value!r} is of the wrong type.")
        return value

    def text(self, key: str, default: str | None = None) -> str:
        return str(self._take(key, str, default))

    def number(self, key: str) -> float:
        value = self._take(key, (int, float), None)
        if not math.isfinite(value):
            raise CatalogueError(f"{self._where}: {key} = {value!r} is no number.")
        return float(value)

    def texts(self, key: str) -> tuple[str, ...]:
        return tuple(map(str, self._take(key, list, [])))

    def tables(self, key: str) -> list[Any]:
        return list(self._take(key, list, []))

    def numbers(self, key: str) -> dict[str, float]:
        table = self._take(key, dict, {})
        for name, value in table.items():
            if not isinstance(value, int | float) or isinstance(value, bool):
                raise CatalogueError(f"{self._where}: {key}.{name} = {value!r} is of the wrong type.")
        return {name: float(value) for name, value in table.items()}

    def done(self) -> None:
        if self._entry:
            raise CatalogueError(f"{self._where}: unknown key {', '.join(sorted(self._entry))}.")


def _cause(path: Path, name: str, entry: object) -> Cause:
    read = _Entry(path, f"causes.{name}", entry)
    kinds = tuple(_kind(path, f"causes.{name}.kinds", each) for each in read.tables("kinds"))
    cause = Cause(
        id=name,
        name=read.text("name"),
        about=read.text("about"),
        prior=read.number("prior"),
        first_checks=read.texts("first_checks"),
        parts=read.texts("parts"),
        tools=read.texts("tools"),
        cautions=read.texts("cautions"),
        if_left=read.text("if_left"),
        hidden_by=read.texts("hidden_by"),
        told_apart=read.text("told_apart", ""),
        alike=read.texts("alike"),
        kinds=kinds,
    )
    read.done()
    ids = [kind.id for kind in kinds]
    for kind in kinds:
        if kind.share <= 0:
            raise CatalogueError(
                f"{path.name}, causes.{name}: share {kind.share:g} of {kind.id} must be above 0."
            )
        if ids.count(kind.id) > 1:
            raise CatalogueError(f"{path.name}, causes.{name}: there are two kinds {kind.id}.")
    if kinds and abs(sum(kind.share for kind in kinds) - 1) > 1e-6:
        raise CatalogueError(f"{path.name}, causes.{name}: the shares of its kinds must add up to 1.")
    return cause


def _kind(path: Path, where: str, entry: object) -> Kind:
    read = _Entry(path, where, entry)
    kind = Kind(
        read.text("id"), read.text("name"), read.number("share"), read.text("repair"), read.texts("parts")
    )
    read.done()
    return kind


def _observation(path: Path, name: str, entry: object) -> Observation:
    read = _Entry(path, f"observations.{name}", entry)
    risk = read.text("risk")
    if risk not in {each.value for each in Risk}:
        raise CatalogueError(f"{path.name}, observations.{name}: risk {risk!r} is none of {', '.join(Risk)}.")
    observation = Observation(
        id=name,
        question=read.text("question"),
        yes=read.text("yes"),
        no=read.text("no"),
        how=read.text("how"),
        minutes=read.number("minutes"),
        risk=Risk(risk),
        otherwise=read.number("otherwise"),
        chance=read.numbers("chance"),
        noted_as=read.texts("noted_as"),
        settles=read.text("settles", ""),
    )
    read.done()
    for each, chance in {"otherwise": observation.otherwise, **observation.chance}.items():
        if not 0 < chance < 1:
            raise CatalogueError(
                f"{path.name}, observations.{name}: chance {chance:g} of {each} must lie between 0 and 1, "
                "both excluded: eyes and meters err."
            )
    if observation.minutes <= 0:
        raise CatalogueError(f"{path.name}, observations.{name}: minutes must be above 0.")
    return observation


def _likelihood(path: Path, name: str, feature: str, row: object) -> tuple[float, float, float]:
    if isinstance(row, str):
        if row in WORDS:
            return WORDS[row]
        raise CatalogueError(
            f"{path.name}, likelihoods.{name}.{feature}: {row!r} is none of {', '.join(WORDS)}."
        )
    if isinstance(row, list) and len(row) == 3 and all(map(_is_number, row)):
        return (float(row[0]), float(row[1]), float(row[2]))
    raise CatalogueError(
        f"{path.name}, likelihoods.{name}.{feature}: three figures or one of {', '.join(WORDS)} needed."
    )


def _check(path: Path, catalogue: Catalogue) -> None:
    known = {HEALTHY, OTHER, *catalogue.causes}
    for cause in catalogue.causes.values():
        known.update(f"{cause.id}.{kind.id}" for kind in cause.kinds)
    for name, entry in (
        *((f"observations.{o.id}.chance", o.chance) for o in catalogue.observations.values()),
        ("likelihoods", catalogue.likelihoods),
    ):
        unknown = [each for each in entry if each not in known]
        if unknown:
            raise CatalogueError(
                f"{path.name}, {name}: no cause {', '.join(unknown)}. A cause that replaces a shipped one "
                "must restate the kinds that others name."
            )
    for name, entry in catalogue.likelihoods.items():
        if name == HEALTHY:
            raise CatalogueError(
                f"{path.name}, likelihoods.{name}: a good unit is what all others are held against."
            )
        for feature in entry:
            if feature not in FEATURES:
                near = difflib.get_close_matches(feature, FEATURES, n=3)
                hint = f" Did you mean {' or '.join(near)}?" if near else " See features.parquet of any run."
                raise CatalogueError(f"{path.name}, likelihoods.{name}: no feature {feature!r}.{hint}")
    for cause in catalogue.causes.values():
        missing = [each for each in cause.first_checks if each not in catalogue.observations]
        missing += [each for each in cause.alike if each not in catalogue.causes]
        if missing:
            raise CatalogueError(f"{path.name}, causes.{cause.id}: no {', '.join(missing)} in the catalogue.")
        if cause.prior <= 0:
            raise CatalogueError(f"{path.name}, causes.{cause.id}: prior must be above 0.")
    if not 0 < catalogue.fault_share < 1:
        raise CatalogueError(f"{path.name}: fault_share must lie between 0 and 1.")
    _check_settled(path, catalogue)
    _check_wordings(path, catalogue)


def _check_settled(path: Path, catalogue: Catalogue) -> None:
    for name, observation in catalogue.observations.items():
        settled = catalogue.causes.get(observation.settles)
        if observation.settles and (settled is None or settled.kinds):
            raise CatalogueError(
                f"{path.name}, observations.{name}: settles must name a cause without kinds, not "
                f"{observation.settles!r}."
            )


def _check_wordings(path: Path, catalogue: Catalogue) -> None:
    """No text of a note may mean two things."""
    meant: dict[str, str] = {}
    for name, observation in catalogue.observations.items():
        for text in (name, observation.question, *observation.noted_as):
            wording = as_noted(text)
            if not wording:
                raise CatalogueError(f"{path.name}, observations.{name}: a wording in noted_as is empty.")
            if wording in meant:
                raise CatalogueError(
                    f"{path.name}, observations.{name}: {text!r} means {meant[wording]} already. "
                    "Take it out of one of the two."
                )
            meant[wording] = name
