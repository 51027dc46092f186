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
    """One input file and what became of its rows; ``rows`` = ``used`` + ``merged`` + ``set_aside``.

    ``id`` is the file's in the timeline's column ``source``.
    """

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
    id: str = ""


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
class Heading:
    """What stands over every page: title, whether the data are made up, and how many units there are."""

    title: str
    invented: bool
    units: int


@dataclass(frozen=True, slots=True)
class Missing:
    """What some logs lack for a judgement, and the units (container, anchor) that lack it."""

    what: str
    units: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class ExcursionView:
    """One excursion in words.

    Attributes
    ----------
    kind
        Out of its band, or another kind in a few words.
    start_range, end_range
        What the readings leave open.
    hours, degree_hours
        As read; with ``_at_least`` and ``_at_most`` where these differ from it, else empty.
    gap
        Time in it without readings, empty when there is none.
    peak_at_most
        Where the air can have been further out than was read, else empty.
    start_time, end_time
        The same instants as numbers. [ms since 1970, UTC]
    """

    kind: str
    start: str
    start_range: str
    end: str
    end_range: str
    hours: str
    hours_at_least: str
    hours_at_most: str
    gap: str
    peak: str
    peak_at_most: str
    band_edge: str
    degree_hours: str
    degree_hours_at_least: str
    degree_hours_at_most: str
    mean_kinetic: str
    doubt: str
    along_with: str
    start_time: int
    end_time: int


@dataclass(frozen=True, slots=True)
class ExcursionSummary:
    """A unit's excursions in a few words.

    Attributes
    ----------
    count, hours, degree_hours
        Those that count: the first pull-down, changes of the set point and merely possible ones apart.
    worst
        These, largest area first, at most :data:`coldsift.report.unit_views.WORST`.
    others
        Excursions of the other kinds: kind in words, how many.
    meanings
        Every kind that the unit has, in words, and what it says.
    """

    count: int
    hours: str
    degree_hours: str
    worst: tuple[ExcursionView, ...]
    others: tuple[tuple[str, int], ...]
    meanings: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class FeatureView:
    """One feature of a unit against its peers, in words.

    Attributes
    ----------
    id
        Its name in the table of features.
    low, middle, high
        Range of like units (middle 80 of 100) and its middle; empty when there are none.
    peers
        Like units with a value.
    distance, odd
        Robust distance from their middle, and whether it is far.
    samples
        Readings behind the value.
    formula, source, look_first
        As in :class:`FeatureWords`; empty for a feature without words.
    """

    id: str
    name: str
    regime: str
    value: str
    low: str
    middle: str
    high: str
    peers: int
    distance: str
    odd: bool
    samples: int
    formula: str
    source: str
    look_first: str


@dataclass(frozen=True, slots=True)
class ReasonView:
    """One sentence behind a finding, its kind (:data:`coldsift.schema.REASON_KINDS`) and its feature's id."""

    words: str
    kind: str = ""
    feature: str = ""


@dataclass(frozen=True, slots=True)
class ReadingsView:
    """A unit's last readings: a heading a column, and rows of texts."""

    headings: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class DefrostView:
    """One defrost in words."""

    start: str
    minutes: str
    coil: str
    recovery: str
    end: str
    seen: str


@dataclass(frozen=True, slots=True)
class VerdictView:
    """What followed a repair.

    Attributes
    ----------
    word, mark, tone
        In a word, a mark that tells it apart without colour, and the group whose colour it borrows.
    words
        The same with its numbers.
    followed
        How much log there is after the repair.
    """

    word: str
    mark: str
    tone: str
    words: str
    followed: str


@dataclass(frozen=True, slots=True)
class NoteView:
    """What somebody saw and did at a unit, and what followed where that was a repair."""

    time: str
    observation: str
    action: str
    part: str
    verdict: VerdictView | None


@dataclass(frozen=True, slots=True)
class OrderView:
    """An ordered set point against the logged one.

    Attributes
    ----------
    kind, agrees
        How they stand to each other, in words; and whether they agree.
    source
        Where the order comes from.
    ordered, logged
        Set points.
    start, end
        Of the stretch; ``end`` is empty when it lasts to the end of the log.
    hours
        How long it lasted.
    words
        The same as a sentence.
    """

    kind: str
    agrees: bool
    source: str
    ordered: str
    logged: str
    start: str
    end: str
    hours: str
    words: str


@dataclass(frozen=True, slots=True)
class AlarmView:
    """One alarm text as logged, its first and last reading, and how many hold it."""

    text: str
    first: str
    last: str
    readings: int


@dataclass(frozen=True, slots=True)
class Urgency:
    """The three parts of urgency in words."""

    chance: str
    time: str
    weight: str


@dataclass(frozen=True, slots=True)
class CargoView:
    """What the cargo is taken for, how warm it is reckoned to be, and how long it has.

    Attributes
    ----------
    outer, core
        Reckoned temperatures with their bands; empty when they are not known.
    fitted
        What they rest on.
    limits
        What the cargo bears, and says who.
    kinetic
        Mean kinetic temperature of the air over the whole log.
    life_lost, life
        Storage life spent beyond what the optimum would have taken, and all of it in days; empty when it is
        not known.
    """

    cargo: str
    known_from: str
    outer: str
    core: str
    fitted: str
    limits: tuple[str, ...]
    limits_from: str
    kinetic: str
    life_lost: str
    life: str
    if_failed: str
    as_now: str


@dataclass(frozen=True, slots=True)
class EvidenceView:
    """One piece of evidence: what the log shows, what it does to the odds, and the feature's id."""

    words: str
    odds: str
    feature: str


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
    parts, tools
        What to bring for the likeliest cause.
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
    parts: tuple[str, ...]
    tools: tuple[str, ...]
    hypotheses: tuple[Hypothesis, ...]
    nothing_wrong: Hypothesis
    rest: str
    checks: tuple[CheckView, ...]
    data: str


@dataclass(frozen=True, slots=True)
class Row:
    """One container in the ranked list, and on the first screen.

    Attributes
    ----------
    anchor
        Name of the unit's card in addresses, safe and unique.
    page
        Where the card is: a page beside the index, or a place on this very page.
    reason
        The strongest reason; ``reasons`` has them all.
    cargo_hours
        Until the cargo passes a limit, the unit going on as it does; none where that is out of sight. [h]
    place
        ``position`` as it is read aloud: bay, row and tier apart.
    parts, tools
        What to bring for the probable cause; empty where nobody is sent.
    """

    anchor: str
    page: str
    container: str
    number_valid: bool
    rank: int
    group: Group
    reason: str
    reasons: tuple[str, ...]
    urgency: Urgency
    chance: float | None
    hours_to_limit: float | None
    weight: float | None
    set_point: str
    set_point_value: float | None
    regime_class: str
    cargo: str
    cargo_as_now: str
    cargo_hours: float | None
    position: str
    place: str
    bay: str
    first_check: str
    cause: str
    cause_chance: str
    parts: tuple[str, ...]
    tools: tuple[str, ...]
    cannot_tell: str
    excursion_count: int
    compared_with: str


@dataclass(frozen=True, slots=True)
class LogView:
    """How much of the voyage a unit's log covers."""

    anchor: str
    page: str
    container: str
    number_valid: bool
    coverage: str
    first_reading: str
    last_reading: str
    readings: int
    longest_step: str


@dataclass(frozen=True, slots=True)
class Card:
    """Everything shown about one container.

    Attributes
    ----------
    row
        Its line of the list.
    numbers
        Every feature that some sentence of the card is told from, by id.
    last_readings
        What a sentence on the end of the log rests on; none for a unit without readings.
    excursion_summary
        None for a unit without excursions.
    orders
        Ordered set points; empty where none is known.
    defrosts, every_defrost
        A few lines about them all, and one by one.
    features, features_left_out
        The furthest from the peers, and how many more there are.
    not_assessed
        Why features have no value, and their names.
    chart
        From :func:`coldsift.report.unit_chart.unit_chart`.
    dossier
        Command that reconstructs what the container went through.
    """

    row: Row
    reasons: tuple[ReasonView, ...]
    numbers: Mapping[str, FeatureView]
    last_readings: ReadingsView | None
    cargo: CargoView | None
    probable: ProbableCause | None
    excursions: tuple[ExcursionView, ...]
    excursion_summary: ExcursionSummary | None
    defrosts: tuple[str, ...]
    every_defrost: tuple[DefrostView, ...]
    features: tuple[FeatureView, ...]
    features_left_out: int
    not_assessed: tuple[tuple[str, tuple[str, ...]], ...]
    orders: tuple[OrderView, ...]
    notes: tuple[NoteView, ...]
    alarms: tuple[AlarmView, ...]
    chart: str
    log: LogView
    dossier: str


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
class Bring:
    """A part or tool, and the units (container, page) that it is for.

    ``stock`` tells how many are on board, where there is a spares list; ``lacking`` that these are too few.
    """

    what: str
    units: tuple[tuple[str, str], ...]
    stock: str = ""
    lacking: bool = False


@dataclass(frozen=True, slots=True)
class Choice:
    """A value that the list can be narrowed to, and how many units have it."""

    value: str
    units: int


@dataclass(frozen=True, slots=True)
class Bystander:
    """A unit that did not share an event of the voyage, and what its log shows instead."""

    container: str
    page: str
    instead: str


@dataclass(frozen=True, slots=True)
class PeerGroupView:
    """A peer group in use.

    Attributes
    ----------
    name
        In words.
    made_of
        What its members have in common: what, and how.
    level
        How alike they are, in words.
    wider
        Why it is wider than the narrowest kind; empty when it is not.
    compared, others
        Members (container, page) that are held against it, and members that have a narrower group.
    """

    name: str
    made_of: tuple[tuple[str, str], ...]
    level: str
    wider: str
    compared: tuple[tuple[str, str], ...]
    others: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class FeatureVariant:
    """A feature as it stands (``words`` empty), or one of its views: over the last days, or as a trend."""

    id: str
    words: str
    unit: str
    adjusted: str


@dataclass(frozen=True, slots=True)
class FeatureRow:
    """One feature with its formula and source, and the views of it."""

    words: FeatureWords
    variants: tuple[FeatureVariant, ...]


@dataclass(frozen=True, slots=True)
class FeatureSection:
    """The features that are taken while the unit does the same."""

    taken_in: str
    rows: tuple[FeatureRow, ...]


@dataclass(frozen=True, slots=True)
class FixedValue:
    """A value that the method rests on and that no setting changes."""

    stage: str
    what: str
    value: str
    source: str


@dataclass(frozen=True, slots=True)
class GlossaryEntry:
    """One word of the trade, or of this report."""

    term: str
    meaning: str
    unit: str
    source: str


@dataclass(frozen=True, slots=True)
class FleetView:
    """The fleet as a whole, and the method in tables.

    Attributes
    ----------
    bystanders
        For each voyage event, the units whose log covers it and that did not share it.
    groups
        Peer groups in use.
    data
        JSON for the charts.
    features, fixed_values, glossary
        For the method.
    """

    bystanders: tuple[tuple[Bystander, ...], ...]
    groups: tuple[PeerGroupView, ...]
    data: str
    features: tuple[FeatureSection, ...]
    fixed_values: tuple[FixedValue, ...]
    glossary: tuple[GlossaryEntry, ...]


@dataclass(frozen=True, slots=True)
class ClockView:
    """What is known of one unit's clock.

    Attributes
    ----------
    log
        How much of the voyage its log covers.
    group
        Its ranking group.
    position
        Where it stands, empty when that is not known.
    interval
        Usual log interval.
    zones
        Time zone of each of its files, and where that is known from.
    verdict
        Whether a fault was seen, in words.
    faulty
        True when one was.
    steps, day_wave, power_cuts
        What each check found, or why it was not made.
    ahead
        How far it is ahead of the other clocks, and between which bounds. [min]
    against_others, apart
        The same as a sentence; true when it is not in step.
    """

    log: LogView
    group: Group
    position: str
    interval: str
    zones: tuple[str, ...]
    verdict: str
    faulty: bool
    steps: tuple[str, ...]
    day_wave: str
    power_cuts: str
    ahead: str
    against_others: str
    apart: bool


@dataclass(frozen=True, slots=True)
class QualityView:
    """Coverage and clocks of the units.

    Attributes
    ----------
    clocks
        Of each unit that the list has a line of, by rank.
    faulty_unlisted
        Other units (container, page) whose clock shows a fault.
    faulty, sound, unchecked
        How many clocks of all show a fault, none, or were not checked.
    """

    clocks: tuple[ClockView, ...]
    faulty_unlisted: tuple[tuple[str, str], ...]
    faulty: int
    sound: int
    unchecked: int


@dataclass(frozen=True, slots=True)
class Index:
    """What the index shows.

    Attributes
    ----------
    run
        A short text that stands for the files that were read; what a reader ticks is kept under it.
    rows, listed, unlisted
        All units by rank; the first of them, which have lines of their own; and the others by group.
    choices
        What the list can be narrowed to, by row attribute (``bay``, ``cargo``, ``cause``, ``regime_class``),
        where there is more than one.
    sources
        Files that are listed; ``totals`` counts all.
    most_messages
        Messages of a kind that are listed.
    """

    title: str
    run: str
    invented: bool
    span: str
    groups: tuple[Group, ...]
    rows: tuple[Row, ...]
    listed: tuple[Row, ...]
    unlisted: tuple[tuple[Group, tuple[Row, ...]], ...]
    choices: Mapping[str, tuple[Choice, ...]]
    parts: tuple[Bring, ...]
    tools: tuple[Bring, ...]
    missing: tuple[Missing, ...]
    events: tuple[EventView, ...]
    sources: tuple[SourceView, ...]
    totals: Totals
    messages: tuple[MessageView, ...]
    set_aside: tuple[SetAsideView, ...]
    most_messages: int
    parameters: Mapping[str, str]
    feature_words: Mapping[str, FeatureWords]
    risk_weights: tuple[tuple[str, str], ...]
    check_overhead: str
    confirm_from: str
    step: str
    most_steps: str
    fleet: FleetView
    quality: QualityView

    @property
    def grave_messages(self) -> tuple[MessageView, ...]:
        """Messages that ask for something to be done."""
        return tuple(message for message in self.messages if message.severity != NOTE)

    @property
    def notes(self) -> tuple[MessageView, ...]:
        """Messages that only state what was done."""
        return tuple(message for message in self.messages if message.severity == NOTE)

    @property
    def show_weight(self) -> bool:
        """True when some cargo counts more or less than the others."""
        return any(row.weight not in (None, 1.0) for row in self.rows)

    @property
    def show_position(self) -> bool:
        """True when it is known where some unit stands."""
        return any(row.position for row in self.rows)

    @property
    def show_cargo(self) -> bool:
        """True when it is known what some unit carries."""
        return any(row.cargo for row in self.rows)

    def of_group(self, *keys: str) -> tuple[Row, ...]:
        """The units of these groups, in order."""
        return tuple(row for row in self.rows if row.group.key in keys)
