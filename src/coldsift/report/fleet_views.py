"""From tables to the fleet as a whole: shared events, peer groups, clocks. Counting, no physics."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import polars as pl

from coldsift.peers.groups import LEVELS, SMALLEST_GROUP
from coldsift.report import words
from coldsift.report.fleet_charts import fleet_data
from coldsift.report.glossary import load_glossary
from coldsift.report.material import Material
from coldsift.report.method_views import feature_sections, fixed_values
from coldsift.report.model import (
    NOTE,
    Bystander,
    ClockView,
    FleetView,
    LogView,
    PeerGroupView,
    QualityView,
    Row,
)
from coldsift.report.overview import POWER_OFF, in_order

INSTEAD = {"power_off": "had power", "log_gap": "had readings"}
"""What a unit did that did not share an event."""

TRAITS = ("Class", "Condenser", "Ambient air", "Log interval")
"""What the parts of the narrowest groups' names say."""

ALIKE = {
    LEVELS[0]: "same class, cooling, ambient and log interval",
    LEVELS[1]: "same class",
    LEVELS[2]: "both frozen, or both chilled",
    LEVELS[3]: "every unit",
}

CLOCK_MESSAGE = re.compile(
    r"time steps back|time leaps forward|clock was (?:not |re)set|clock time|hour that comes twice"
    r"|clock without its time"
    r"|same container and time|time that cannot be read"
)
"""Tells the intake's messages on clocks and repeated time stamps from others."""

NO_FAULT = "no clock fault seen"
UNCHECKED = "not fully checked"


def fleet_view(material: Material, rows: Sequence[Row], most: int) -> FleetView:
    """Put together what is shown of the fleet as a whole.

    Parameters
    ----------
    material
        Everything the report is made from.
    rows
        The units' lines of the list.
    most
        Units that the charts show, the first of them.
    """
    pages = {row.container: row.page for row in rows}
    groups = _groups_in_use(material)
    return FleetView(
        bystanders=tuple(_bystanders(material, pages)),
        groups=tuple(_peer_group(group, material, pages) for group in groups.iter_rows(named=True)),
        data=fleet_data(material, rows[:most], groups["peer_group"].to_list()),
        features=feature_sections(material.feature_words),
        fixed_values=fixed_values(),
        glossary=load_glossary(),
    )


def _bystanders(material: Material, pages: Mapping[str, str]) -> Iterator[tuple[Bystander, ...]]:
    """For each event, by start: who was logged then and did not share it."""
    apart: dict[int, dict[str, bool]] = {}
    for place, container, missing in material.overview.bystanders.iter_rows():
        apart.setdefault(place, {})[container] = missing
    for place, event in enumerate(in_order(material.voyage_events)):
        own = apart.get(place, {})
        power_off = event["kind"] == POWER_OFF
        yield tuple(
            Bystander(
                container,
                page,
                "no readings then" if power_off and own[container] else INSTEAD.get(event["kind"], ""),
            )
            for container, page in pages.items()
            if container in own
        )


def _groups_in_use(material: Material) -> pl.DataFrame:
    """Each group that some unit is compared with: ``peer_group``, ``level``; the narrowest kind first."""
    level = pl.col("level").replace_strict(
        {name: place for place, name in enumerate(LEVELS)}, return_dtype=pl.Int64
    )
    return (
        material.peer_groups.drop_nulls("peer_group")
        .group_by("peer_group")
        .agg(level=level.min())
        .sort("level", "peer_group")
    )


def _peer_group(group: dict[str, Any], material: Material, pages: Mapping[str, str]) -> PeerGroupView:
    name, level = group["peer_group"], group["level"]
    members = set(material.peer_members.filter(pl.col("peer_group") == name)["container"])
    own = set(material.peer_groups.filter(pl.col("peer_group") == name)["container"])
    return PeerGroupView(
        name=_group_name(name, level),
        made_of=(*_traits(name, level), *_ranges(material, own)),
        level=ALIKE[LEVELS[level]],
        wider=f"fewer than {SMALLEST_GROUP} units have the {ALIKE[LEVELS[0]]}" if level else "",
        compared=tuple((each, page) for each, page in pages.items() if each in own),
        others=tuple((each, page) for each, page in pages.items() if each in members - own),
    )


def _group_name(name: str, level: int) -> str:
    if level == len(LEVELS) - 1:
        return "All units"
    said = name.replace("_", " ").replace(" °C", "\u00a0°C")
    if LEVELS[level] == "frozen or chilled":
        return f"All {said} units"
    said = said.replace(", up to", ", log interval up to").replace(", over", ", log interval over")
    return said[:1].upper() + said[1:]


def _traits(name: str, level: int) -> Iterator[tuple[str, str]]:
    """What a group's name says, part by part."""
    parts = name.replace("_", " ").split(", ")
    if level < len(LEVELS) - 1:
        yield from zip(TRAITS, (part.removeprefix("ambient ") for part in parts), strict=False)


def _ranges(material: Material, containers: set[str]) -> Iterator[tuple[str, str]]:
    """Where the units compared with a group really are."""
    own = pl.col("container").is_in(sorted(containers))
    set_points = material.findings.filter(own)["set_point"].rename("value")
    known = material.features.filter(own)
    for what, values, digits, unit in (
        ("Set points", set_points, 1, "°C"),
        ("Ambient air of each, median", known.filter(feature="ambient")["value"], 1, "°C"),
        ("Log intervals", known.filter(feature="log_interval")["value"], 0, "min"),
    ):
        low, high = values.min(), values.max()
        if isinstance(low, float) and isinstance(high, float):
            lowest, highest = words.number(low, digits, unit), words.number(high, digits, unit)
            yield what, lowest if lowest == highest else f"{lowest} to {highest}"


def quality_view(material: Material, rows: Sequence[Row], logs: Sequence[LogView], most: int) -> QualityView:
    """Put together coverage and clock of every unit, in the order of the rows.

    Parameters
    ----------
    material
        Everything the report is made from.
    rows, logs
        The units' lines of the list, and how much their logs cover.
    most
        Units that have a line of their own, the first of them.
    """
    files = _files(material)
    told = _clock_messages(material, files)
    zones = {source.id: source.time_zone for source in material.sources if source.id}
    lags = _lags(material.features)
    intervals = dict(
        material.features.filter(feature="log_interval").select("container", "value").iter_rows()
    )
    offsets = {row["container"]: row for row in material.clocks.iter_rows(named=True)}
    cuts = {container: each for container, *each in material.overview.power_cuts.iter_rows()}
    clocks = []
    for row, log in zip(rows, logs, strict=True):
        own = files.get(row.container, ())
        steps, stepped = told.get(row.container, ((), False))
        lag, reason = lags.get(row.container, (None, "not reckoned"))
        covered, apart, readings = cuts.get(row.container, (0, 0, 0))
        offset = offsets.get(row.container, {"apart": False, "words": "not reckoned"})
        faulty = stepped or bool(lag) or apart > 0 or offset["apart"]
        checked = bool(own) and lag is not None
        clocks.append(
            ClockView(
                log=log,
                group=row.group,
                position=row.position,
                interval=words.number(intervals.get(row.container), 0, "min"),
                zones=tuple(dict.fromkeys(zones[each] for each in own)),
                verdict="look at it" if faulty else NO_FAULT if checked else UNCHECKED,
                faulty=faulty,
                steps=steps
                or (("none seen in its files",) if own else ("not checked: its files are not known",)),
                day_wave=_lag_words(lag, reason),
                power_cuts=_cut_words(covered, apart, readings),
                ahead=_ahead(offset),
                against_others=offset["words"],
                apart=offset["apart"],
            )
        )
    return QualityView(
        clocks=tuple(clocks[:most]),
        faulty_unlisted=tuple((each.log.container, each.log.page) for each in clocks[most:] if each.faulty),
        faulty=sum(clock.faulty for clock in clocks),
        sound=sum(clock.verdict == NO_FAULT for clock in clocks),
        unchecked=sum(clock.verdict == UNCHECKED for clock in clocks),
    )


def _ahead(clock: Mapping[str, Any]) -> str:
    """How far a clock is ahead of the others, and between which bounds, in minutes."""
    if clock.get("offset") is None:
        return words.NONE
    ahead, least, most = (words.number(clock[key] / 60, 0) for key in ("offset", "lower", "upper"))
    return f"{ahead} ({least} to {most})"


def _files(material: Material) -> dict[str, tuple[str, ...]]:
    """Ids of the files that each unit's readings come from, as far as the report lists them."""
    known = [source.id for source in material.sources if source.id]
    pairs = (
        material.overview.files.lazy()
        .filter(pl.col("source").is_in(known))
        .sort("container", "source")
        .group_by("container")
        .agg("source")
        .collect()
    )
    return {container: tuple(sources) for container, sources in pairs.iter_rows()}


def _clock_messages(
    material: Material, files: Mapping[str, tuple[str, ...]]
) -> dict[str, tuple[tuple[str, ...], bool]]:
    """What the intake said of the clocks in each unit's files, and whether it was more than a note.

    In a file of several units, only what names the unit is told of it; of the rest, that there is more.
    """
    paths = {source.id: source.file for source in material.sources if source.id}
    units: dict[str, int] = {}
    for own in files.values():
        for each in own:
            units[each] = units.get(each, 0) + 1
    said: dict[str, list[Any]] = {}
    for message in material.messages:
        if CLOCK_MESSAGE.search(message.what):
            said.setdefault(message.file, []).append(message)
    told: dict[str, tuple[tuple[str, ...], bool]] = {}
    for container, own in files.items():
        messages = [(message, units[each]) for each in own for message in said.get(paths[each], ())]
        plain = [message for message, shared in messages if shared == 1 or container in message.what]
        more = len(messages) - len(plain)
        sentences = tuple(message.what for message in plain)
        if more:
            sentences += (f"its file has {more} more messages on the clocks of its units",)
        if sentences:
            told[container] = sentences, any(message.severity != NOTE for message in plain)
    return told


def _lags(features: pl.DataFrame) -> dict[str, tuple[float | None, str]]:
    rows = features.filter(feature="clock_lag").select("container", "value", "reason").iter_rows()
    return {container: (value, reason or "") for container, value, reason in rows}


def _lag_words(lag: float | None, reason: str) -> str:
    if lag is None:
        return f"not checked: {reason}"
    if lag == 0:
        return "in step"
    return f"{words.number(abs(lag), 0, 'h')} {'ahead of' if lag > 0 else 'behind'} the fleet’s"


def _cut_words(cuts: int, apart: int, readings: int) -> str:
    if not cuts:
        return "not checked: its readings cover no power cut of the whole ship"
    if not apart:
        return "shows the only one" if cuts == 1 else f"shows all {cuts}"
    return (
        f"{apart} of {cuts} not shown ({readings} readings with power): fed otherwise, or its clock is wrong"
    )
