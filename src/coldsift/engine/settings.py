"""What the user may set."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from coldsift.engine.papers import VoyageFiles
from coldsift.excursions import GRACE_HOURS
from coldsift.ranking import load_thresholds
from coldsift.refrigerant import DEFAULT_REFRIGERANT, canonical
from coldsift.regimes import Bands


@dataclass(frozen=True, slots=True)
class Settings:
    """What the user may set.

    Attributes
    ----------
    bands
        Allowed distance of the controlling air from the set point. [K]
    grace_hours
        Shortest excursion. [h]
    parsers
        Folders with the user's own log layouts.
    refrigerant, refrigerants
        Of every unit, and by container where it is another.
    causes
        The user's own catalogue file, read over the shipped one.
    thresholds
        The user's own thresholds of the groups, instead of the shipped ones.
    voyage
        Files on the voyage: facts, plan, bookings, custody events, work notes, spares, and the user's own
        commodities and protocols.
    since
        Folder of an earlier run, to tell what has changed.
    round_hours
        Time there is for the inspection round. [h]
    date_order, time_zone, layout
        What the logs themselves do not settle; see :func:`coldsift.intake.read_logs`.
    """

    bands: Bands = field(default_factory=Bands)
    grace_hours: float = GRACE_HOURS
    parsers: tuple[Path, ...] = ()
    refrigerant: str = DEFAULT_REFRIGERANT
    refrigerants: Mapping[str, str] = field(default_factory=dict)
    causes: Path | None = None
    thresholds: Path | None = None
    voyage: VoyageFiles = field(default_factory=VoyageFiles)
    since: Path | None = None
    round_hours: float | None = None
    date_order: Literal["day_first", "month_first"] | None = None
    time_zone: str | None = None
    layout: str | None = None

    @property
    def earlier(self) -> str | None:
        """Name of the earlier run's folder, also where it was given as a dot."""
        return self.since.resolve().name if self.since else None

    def in_words(self) -> dict[str, str]:
        """The settings that shaped the numbers, for the manifest and the report."""
        thresholds = load_thresholds(self.thresholds)
        return {
            "band, chilled and heated": f"{self.bands.chilled:g} K either side of the set point",
            "band, frozen": f"{self.bands.frozen:g} K above the set point",
            **({"units with a band of their own": str(len(self.bands.units))} if self.bands.units else {}),
            "grace time": f"{self.grace_hours:g} h",
            "refrigerant": "; ".join([canonical(self.refrigerant), *self._other_refrigerants()]),
            "cause catalogue": f"shipped, and {self.causes.name} over it" if self.causes else "shipped",
            "thresholds": f"this round from a chance of a fault of {thresholds.this_round:g}, watch from "
            f"{thresholds.watch:g}",
            "thresholds from": f"{self.thresholds.name if self.thresholds else 'shipped'}: "
            f"{thresholds.provenance.in_words()}",
            **self._voyage_files(),
            **({"earlier run": self.earlier} if self.earlier else {}),
            **({"time for the round": f"{self.round_hours:g} h"} if self.round_hours else {}),
            "date order": self.date_order or "as each file shows",
            "time zone of times without one": self.time_zone or "as each file shows, else UTC",
            "layout": self.layout or "as each file shows",
        }

    def _voyage_files(self) -> dict[str, str]:
        files = {
            "facts file": self.voyage.facts,
            "stowage plan": self.voyage.plan,
            "bookings": self.voyage.bookings,
            "custody events": self.voyage.events,
            "work notes": self.voyage.notes,
            "spares": self.voyage.spares,
            "commodities": self.voyage.goods,
            "protocols": self.voyage.protocols,
        }
        return {words: path.name for words, path in files.items() if path}

    def _other_refrigerants(self) -> list[str]:
        """For example: R404A in 2 (CSQU3054383, TASU1170000)."""
        others: dict[str, list[str]] = {}
        for container, name in sorted(self.refrigerants.items()):
            if canonical(name) != canonical(self.refrigerant):
                others.setdefault(canonical(name), []).append(container)
        return [f"{name} in {len(units)} ({', '.join(units)})" for name, units in sorted(others.items())]
