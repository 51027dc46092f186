"""The view models of the ship and of the hand-over sheet, already in words."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Generic, TypeVar

from coldsift.report.model import NoteView, Row

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Slot:
    """One box in the drawing of its bay.

    Attributes
    ----------
    row
        Its line of the list; none for a box of which there is no log.
    bay, stack, tier
        Its place as the plan writes it; ``stack`` is the row of containers.
    line, column, columns
        Where it is drawn, counted from 1; a place of 40 ft is two columns wide, one of 20 ft one.
    stop
        Its stop of the round, if it has one.
    temperature, empty
        Of a box without a log: what the plan asks for, and true for one that is not laden.
    """

    container: str
    row: Row | None
    bay: str
    stack: str
    tier: str
    line: int
    column: int
    columns: int
    stop: int | None
    temperature: str
    empty: bool


@dataclass(frozen=True, slots=True)
class Bay:
    """One bay in section, looking forward.

    Attributes
    ----------
    name, halves
        Number of the bay, and those of its two halves where some box of 20 ft stands in one.
    stacks
        Rows of containers from port to starboard.
    deck, hold
        Tiers on deck and in the hold, the uppermost first.
    slots
        The boxes that are drawn.
    doubled
        Boxes that the plan puts where another one is drawn.
    counts
        Mark of a group, its key, and how many boxes of it stand here; no log at all comes last.
    """

    name: str
    halves: tuple[str, ...]
    stacks: tuple[str, ...]
    deck: tuple[str, ...]
    hold: tuple[str, ...]
    slots: tuple[Slot, ...]
    doubled: tuple[Slot, ...]
    counts: tuple[tuple[str, str, int], ...]


@dataclass(frozen=True, slots=True)
class Stop:
    """One stop of the round; ``elapsed`` when it is done."""

    stop: int
    row: Row
    check: str
    reach: str
    walk: str
    work: str
    elapsed: str
    within: bool


@dataclass(frozen=True, slots=True)
class Round:
    """The inspection round.

    Attributes
    ----------
    stops
        In order.
    hours
        Time given, empty when none was.
    within, within_time
        Stops that it is enough for, and what they take.
    total, walking, working
        What all stops take.
    """

    stops: tuple[Stop, ...]
    hours: str
    within: int
    within_time: str
    total: str
    walking: str
    working: str


@dataclass(frozen=True, slots=True)
class UnmatchedView:
    """A box on the plan without a log, or a unit with a log (``row``) that the plan has no place for."""

    container: str
    row: Row | None
    place: str
    temperature: str
    laden: str
    words: str


@dataclass(frozen=True, slots=True)
class DoneView:
    """Work at a unit; ``row`` is none for one without a log here."""

    container: str
    row: Row | None
    note: NoteView


@dataclass(frozen=True, slots=True)
class SpareView:
    """How many of a part there are, used, left, wanted, lacking; ``listed``: the spares file has it."""

    part: str
    listed: bool
    on_board: str
    used: str
    left: str
    wanted: str
    short: str


@dataclass(frozen=True, slots=True)
class Listed(Generic[T]):
    """A list that has to fit: what is shown of it, and how many more there are."""

    shown: tuple[T, ...]
    more: int


@dataclass(frozen=True, slots=True)
class RepairWay:
    """One way to mend a unit: what for, how likely that is, its parts, and whether they are on board."""

    repair: str
    chance: str
    parts: tuple[str, ...]
    also: tuple[str, ...]
    state: str
    possible: bool


@dataclass(frozen=True, slots=True)
class NeedView:
    """The ways to mend a unit, the likeliest first."""

    row: Row
    cause: str
    ways: tuple[RepairWay, ...]

    @property
    def possible(self) -> int:
        """How many of them can be done with what is on board."""
        return sum(way.possible for way in self.ways)


@dataclass(frozen=True, slots=True)
class ChangeView:
    """A unit against an earlier run; ``row`` is none for one that is gone."""

    container: str
    row: Row | None
    change: str
    mark: str
    tone: str
    words: str


@dataclass(frozen=True, slots=True)
class ShipView:
    """Where the boxes stand, and what is known from beside the logs.

    Attributes
    ----------
    bays
        Bays with refrigerated boxes, from the bow.
    homeless
        Units in the list that stand nowhere in the bays.
    inspection
        The round.
    no_log, no_place
        Boxes of the plan without a log, logs without a place on the plan.
    repairs
        Work with a verdict, the latest first.
    spares, needs
        Parts; and the units that want some, by rank.
    earlier, changes, same
        The run compared with; what changed since; and how many units did not.
    differing
        Units (container, page) whose set point differs from the ordered one at the end of their log.
    """

    bays: tuple[Bay, ...]
    homeless: tuple[Row, ...]
    inspection: Round | None
    no_log: tuple[UnmatchedView, ...]
    no_place: tuple[UnmatchedView, ...]
    repairs: tuple[DoneView, ...]
    spares: tuple[SpareView, ...]
    needs: Listed[NeedView]
    earlier: str
    changes: tuple[ChangeView, ...]
    same: int
    differing: tuple[tuple[str, str], ...]

    @property
    def anything(self) -> bool:
        """True when there is something to show of it."""
        return any(
            (
                self.bays,
                self.inspection,
                self.no_log,
                self.no_place,
                self.repairs,
                self.spares,
                self.needs.shown,
                self.earlier,
            )
        )

    @property
    def verdicts(self) -> tuple[tuple[int, str], ...]:
        """How many repairs were followed by what."""
        return _counted(done.note.verdict.word for done in self.repairs if done.note.verdict)

    @property
    def changed(self) -> tuple[tuple[int, str], ...]:
        """How many units changed in which way."""
        return _counted(change.change for change in self.changes)

    @property
    def lacking(self) -> tuple[SpareView, ...]:
        """Parts of which too few are on board."""
        return tuple(spare for spare in self.spares if spare.short)


def _counted(said: Iterable[str]) -> tuple[tuple[int, str], ...]:
    """How often each is said, in the order in which they come."""
    return tuple((count, word) for word, count in Counter(said).items())


@dataclass(frozen=True, slots=True)
class Handover:
    """One sheet for the next watch.

    Attributes
    ----------
    until
        When the logs end.
    open
        Units that need someone, the most urgent first.
    done
        Work, the latest first.
    stops
        The first stops of the round.
    lacking
        Parts of which too few are on board.
    changes
        Against the earlier run.
    """

    until: str
    open: Listed[Row]
    done: Listed[DoneView]
    stops: Listed[Stop]
    lacking: Listed[SpareView]
    changes: Listed[ChangeView]
