"""What the user may set."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, fields
from pathlib import Path
from typing import Any, Literal

from coldsift.engine.papers import VoyageFiles
from coldsift.engine.shapes import check_shape
from coldsift.excursions import GRACE_HOURS
from coldsift.intake import ReadOptions
from coldsift.intake.times import given_zone
from coldsift.ranking import load_thresholds
from coldsift.refrigerant import DEFAULT_REFRIGERANT, canonical
from coldsift.regimes import Bands

RECORD: Mapping[Any, Any] = {
    "bands": {"chilled": int | float, "frozen": int | float, "units": {str: [int | float | None]}},
    "grace_hours": int | float,
    "refrigerant": str,
    "refrigerants": {str: str},
    "date_order": str | None,
    "time_zone": str | None,
    "layout": str | None,
    "parsers": [str],
}
"""Shape of :meth:`Settings.record`; see :func:`coldsift.engine.shapes.check_shape`."""


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
    digests
        SHA-256 of :meth:`files` as they were read; a screening finds it out.
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
    digests: Mapping[str, str] = field(default_factory=dict)

    @property
    def reading(self) -> ReadOptions:
        """How the logs are read."""
        return ReadOptions(self.parsers, self.date_order, self.time_zone, self.layout)

    @property
    def earlier(self) -> str | None:
        """Name of the earlier run's folder, also where it was given as a dot."""
        return self.since.resolve().name if self.since else None

    def record(self) -> dict[str, Any]:
        """What shaped the numbers beside files, ready for JSON: the reverse of :meth:`of_record`."""
        return {
            "bands": {
                "chilled": self.bands.chilled,
                "frozen": self.bands.frozen,
                "units": {container: list(band) for container, band in self.bands.units.items()},
            },
            "grace_hours": self.grace_hours,
            "refrigerant": self.refrigerant,
            "refrigerants": dict(sorted(self.refrigerants.items())),
            "date_order": self.date_order,
            "time_zone": self.time_zone,
            "layout": self.layout,
            "parsers": [path.name for path in self.parsers],
        }

    @classmethod
    def of_record(
        cls, record: Mapping[str, Any], files: Mapping[str, Path], parsers: Sequence[Path] | None = None
    ) -> Settings:
        """The settings of an earlier run.

        Parameters
        ----------
        record
            From :meth:`record`.
        files
            What was given beside the logs, by the name of its field here or in :class:`VoyageFiles`.
        parsers
            The user's own layout folders, of which a record only has the names; those without it.

        Raises
        ------
        ValueError
            When the record is none; names the part.
        """
        check_shape(record, RECORD, "settings")
        bands = record["bands"]
        units = {container: (below, above) for container, (below, above) in bands["units"].items()}
        for name in {record["refrigerant"], *record["refrigerants"].values()}:
            canonical(name)
        given_zone(record["time_zone"])
        return cls(
            bands=Bands(chilled=bands["chilled"], frozen=bands["frozen"], units=units),
            grace_hours=record["grace_hours"],
            parsers=tuple(map(Path, record["parsers"]) if parsers is None else parsers),
            refrigerant=record["refrigerant"],
            refrigerants=record["refrigerants"],
            causes=files.get("causes"),
            thresholds=files.get("thresholds"),
            voyage=VoyageFiles(**{each.name: files.get(each.name) for each in fields(VoyageFiles)}),
            date_order=record["date_order"],
            time_zone=record["time_zone"],
            layout=record["layout"],
        )

    def files(self) -> dict[str, Path]:
        """The files given beside the logs that shape what is told of a container, by their field's name.

        Spare parts are none of them, and neither are the user's own layouts.
        """
        given = {**asdict(self.voyage), "causes": self.causes, "thresholds": self.thresholds}
        return {key: path for key, path in given.items() if path is not None and key != "spares"}

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
