"""The view models: what the templates may show, already in words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

NOTE = "note"
"""Severity of a message that asks for nothing."""


@dataclass(frozen=True, slots=True)
class FeatureWords:
    """One feature in words: name, unit, the regime it is taken in, formula, its source, what to look at."""

    name: str
    unit: str
    regime: str
    formula: str
    source: str
    look_first: str


@dataclass(frozen=True, slots=True)
class SourceView:
    """One input file and what became of its rows; ``rows`` = ``used`` + ``merged`` + ``set_aside``."""

    file: str
    layout: str
    encoding: str
    time_zone: str
    rows: int
    used: int
    merged: int
    set_aside: int
    sha256: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class MessageView:
    """One message of the intake: how grave (error, warning or note), where, what, and what to do."""

    severity: str
    file: str
    line: int | None
    what: str
    do: str


@dataclass(frozen=True, slots=True)
class Group:
    """A ranking group as shown: word, mark (told apart without colour), and what it asks of the reader."""

    key: str
    word: str
    mark: str
    meaning: str
    units: int = 0


@dataclass(frozen=True, slots=True)
class Missing:
    """What some logs lack for a judgement, and the units (container, anchor) that lack it."""

    what: str
    units: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class ExcursionView:
    """One excursion in words."""

    kind: str
    start: str
    start_range: str
    end: str
    end_range: str
    duration: str
    peak: str
    degree_hours: str
    mean_kinetic: str
    doubt: str
    along_with: str


@dataclass(frozen=True, slots=True)
class FeatureView:
    """One feature of a unit against its peers, in words."""

    name: str
    regime: str
    value: str
    peers: str
    distance: str
    odd: bool
    samples: int


@dataclass(frozen=True, slots=True)
class Urgency:
    """The three parts of urgency in words."""

    chance: str
    time: str
    weight: str


@dataclass(frozen=True, slots=True)
class CargoView:
    """What the cargo is taken for, how warm it is reckoned to be, and how long it has."""

    cargo: str
    known_from: str
    temperatures: str
    fitted: str
    limits: str
    if_failed: str
    as_now: str


@dataclass(frozen=True, slots=True)
class EvidenceView:
    """One piece of evidence: what the log shows, and what it does to the odds."""

    words: str
    odds: str


@dataclass(frozen=True, slots=True)
class KindView:
    """A finer cause with its chance, as a number and in per cent, and how it is mended."""

    id: str
    name: str
    chance: float
    words: str
    repair: str
    parts: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Hypothesis:
    """One hypothesis of a unit with its chance, as a number and in words; ``shown`` before any answer."""

    id: str
    name: str
    chance: float
    words: str
    about: str
    evidence_for: tuple[EvidenceView, ...]
    evidence_against: tuple[EvidenceView, ...]
    kinds: tuple[KindView, ...]
    hidden_by: tuple[str, ...]
    told_apart: str
    if_left: str
    parts: tuple[str, ...]
    tools: tuple[str, ...]
    cautions: tuple[str, ...]
    shown: bool


@dataclass(frozen=True, slots=True)
class CheckView:
    """One check by hand: what to ask, how, how long, at what risk, and the usual caution."""

    question: str
    how: str
    minutes: str
    risk: str
    caution: str


@dataclass(frozen=True, slots=True)
class ProbableCause:
    """What a unit's card says of the cause.

    Attributes
    ----------
    name, chance
        The likeliest cause, with those that the log does not tell from it, and their chance in words.
    undecided
        True when ``name`` is more than one cause.
    named
        True when the list and the first screen name it too.
    hypotheses, nothing_wrong
        The likeliest first; "nothing wrong" stands apart.
    rest
        Chance of all that is not shown, in words.
    checks
        The best next checks, for paper and for readers without scripts.
    data
        JSON for the page's script: the chances of the unit's leaves, and the chance of a yes to each
        observation under more than one cause.
    """

    name: str
    chance: str
    undecided: bool
    named: bool
    hypotheses: tuple[Hypothesis, ...]
    nothing_wrong: Hypothesis
    rest: str
    checks: tuple[CheckView, ...]
    data: str


@dataclass(frozen=True, slots=True)
class Unit:
    """Everything shown about one container."""

    anchor: str
    container: str
    number_valid: bool
    rank: int
    group: Group
    reasons: tuple[str, ...]
    urgency: Urgency
    chance: float | None
    hours_to_limit: float | None
    weight: float | None
    set_point: str
    set_point_value: float | None
    regime_class: str
    cargo: CargoView | None
    compared_with: str
    position: str
    first_check: str
    probable: ProbableCause | None
    cannot_tell: str
    excursion_count: int
    excursions: tuple[ExcursionView, ...]
    defrosts: tuple[str, ...]
    features: tuple[FeatureView, ...]
    features_left_out: int
    not_assessed: tuple[tuple[str, int], ...]
    chart: str
    coverage: str
    first_reading: str
    last_reading: str
    readings: int
    longest_step: str


@dataclass(frozen=True, slots=True)
class EventView:
    """Something that many units shared."""

    kind: str
    start: str
    end: str
    duration: str
    units: str
    share: str


@dataclass(frozen=True, slots=True)
class SetAsideView:
    """One reason for setting rows or readings aside, with its count and first examples."""

    reason: str
    what: str
    count: int
    examples: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Totals:
    """Row accounting over all files."""

    files: int
    rows: int
    used: int
    merged: int
    set_aside: int


@dataclass(frozen=True, slots=True)
class Page:
    """The whole page."""

    title: str
    invented: bool
    span: str
    groups: tuple[Group, ...]
    units: tuple[Unit, ...]
    missing: tuple[Missing, ...]
    events: tuple[EventView, ...]
    sources: tuple[SourceView, ...]
    totals: Totals
    messages: tuple[MessageView, ...]
    set_aside: tuple[SetAsideView, ...]
    parameters: Mapping[str, str]
    feature_words: Mapping[str, FeatureWords]
    check_table: str
    blank_hypotheses: tuple[Hypothesis, ...]
    risk_weights: tuple[tuple[str, str], ...]
    check_overhead: str
    confirm_from: str
    step: str
    most_steps: str
    show_weight: bool
    show_position: bool

    @property
    def grave_messages(self) -> tuple[MessageView, ...]:
        """Messages that ask for something to be done."""
        return tuple(message for message in self.messages if message.severity != NOTE)

    @property
    def notes(self) -> tuple[MessageView, ...]:
        """Messages that only state what was done."""
        return tuple(message for message in self.messages if message.severity == NOTE)

    @property
    def go_now(self) -> tuple[Unit, ...]:
        """The units to go to now, in order."""
        return tuple(unit for unit in self.units if unit.group.key == "go_now")
