"""A small invented voyage in which every text is hostile, and its twin with harmless texts.

Goes in: a folder. Comes out: logs, every paper and a layout of the user's own, written there. Numbers, times
and the order of texts are the same in both, so that whatever else differs in an output comes from the texts.
"""

from __future__ import annotations

import csv
import io
import json
import re
import zipfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import pairwise, zip_longest
from pathlib import Path

import numpy as np
import polars as pl

from coldsift.container_numbers import tidy
from coldsift.engine import Settings, VoyageFiles
from coldsift.report.words import visible
from coldsift.simulate.pre_trip import PreTripPlan, empty_boxes, inspect_boxes

START = datetime(2031, 3, 3, tzinfo=UTC)
HOURS = 96

NO_HOST = "http://attack.invalid"
"""A host that cannot be (RFC 2606): a request to it is a finding."""

_HIT = "window.__hit=1"
_HIT_BY_NUMBERS = "".join(f"&#{ord(each)};" for each in _HIT)
"""The same as character references, which capital letters leave alone."""

PAYLOADS = (
    '<img/src=x/onerror="window.__hit=1">',
    f"<img/src=x/onerror={_HIT_BY_NUMBERS}>",
    '"><script>window.__hit=1</script>',
    "</script><!--<script>window.__hit=1//",
    "</title></style></svg></template><svg/onload=window.__hit=1>",
    "' autofocus onfocus=window.__hit=1 style=position:fixed;inset:0 x='",
    f'<b>bold</b><a href="javascript:{_HIT}">link</a><a href="{NO_HOST}/a">link</a>',
    f"javascript:{_HIT}//",
    f"url({NO_HOST}/css);}}*{{display:none}}",
    f'=HYPERLINK("{NO_HOST}/x","click")',
    "+1+cmd|' /C calc'!A0",
    "-2+3",
    "@SUM(1+1)*cmd|' /C calc'!A0",
    "\t=1+1;=1+1",
    "\r\n=1+1",
    "＝1+1",
    "{{7*7}}{% for x in y %}{# x",
    "%s %(container)s {0} {container} ${x} `${x}`",
    "&lt;script&gt;&#60;img&#62;",
    "\u202egnp.exe\u2066\u2067\u2068\u2069\u200b\u200e\u200f\u061c\ufeff",
    f"\x1b]8;;{NO_HOST}\x1b\\click\x1b]8;;\x1b\\\x1b[2J\x1b[31m",
    "\x9b31m\x07\x08\x7f\x85\x0b\x0c",
    f"[red]x[/red][link={NO_HOST}]y[/link][/]",
    "../../../etc/passwd",
    "$\\frac{1}{0}$\\n\\u0041",
    "' OR 1=1; DROP TABLE findings;--",
    "שלום 123 עולם",
    "a\u034fb\u3164c\ufe0fd\U000e0041e",
    "a\u2028b\u2029c",
    "]]><!--#exec cmd=x--><?x",
    "W" * 2000,
)
"""Each goes at a page, a script, a style, a spreadsheet, a template, a terminal, a query or an eye."""

PAIRS = (*zip_longest(PAYLOADS[:16], PAYLOADS[16:], fillvalue=""),)

REFUSED_IN_NAMES = "/\0"
LONGEST_NAME = 120


class Texts:
    """Hands out the texts of a voyage: hostile ones, or in their place harmless ones of the same order.

    Parameters
    ----------
    hostile
        Which of the two.
    """

    def __init__(self, hostile: bool) -> None:
        self.hostile = hostile
        self.placed: list[str] = []
        """Every text handed out, in order."""

    def some(self, kind: str, count: int = len(PAYLOADS), first: int = 0) -> list[str]:
        """Texts for one kind of place, each with a mark that tells where it came from."""
        kind = kind.capitalize()
        return self._given([f"{each}{kind}{at:02d}" for at, each in enumerate(PAYLOADS)], kind, count, first)

    def containers(self) -> list[str]:
        """Texts in place of container numbers, as the tool spells them."""
        # Two in one: every unit takes its time.
        texts = [tidy(f"{one}{other}Box{place:02d}") for place, (one, other) in enumerate(PAIRS)]
        return self._given(texts, "BOX", len(texts))

    def file_names(self, ending: str, count: int, first: int = 0) -> list[str]:
        """Texts that a file may bear as its name."""
        texts = []
        for place, payload in enumerate(PAYLOADS):
            name = "".join("\u2044" if each in REFUSED_IN_NAMES else each for each in payload[:LONGEST_NAME])
            # A name that begins with a full stop is hidden, and no log.
            texts.append(f"{name.lstrip('.')}File{place:02d}")
        return [f"{name}.{ending}" for name in self._given(texts, "File", count, first)]

    def one(self, kind: str, place: int) -> str:
        """A single text."""
        return self.some(kind, 1, place)[0]

    def _given(self, texts: Sequence[str], kind: str, count: int, first: int = 0) -> list[str]:
        if not self.hostile:
            rank = {text: place for place, text in enumerate(sorted(texts))}
            texts = [f"PLAIN{rank[text]:02d}{kind}".ljust(len(visible(text)), "N") for text in texts]
        given = [*texts[first:], *texts[:first]][:count]
        self.placed += given
        return given


@dataclass(frozen=True, slots=True)
class HostileVoyage:
    """A voyage on the disk.

    Attributes
    ----------
    logs
        Folder of the logs.
    settings
        With every paper.
    containers
        As the tool spells them.
    placed
        Every text that was placed.
    name
        A text to name the voyage by.
    """

    logs: Path
    settings: Settings
    containers: tuple[str, ...]
    placed: tuple[str, ...]
    name: str


def write_voyage(folder: Path, *, hostile: bool = True) -> HostileVoyage:
    """Write the voyage.

    Parameters
    ----------
    folder
        To write into; made when it is not there.
    hostile
        False for the twin with harmless texts.
    """
    texts = Texts(hostile)
    boxes = texts.containers()
    logs, papers = folder / "logs", folder / "papers"
    logs.mkdir(parents=True)
    papers.mkdir()
    (logs / "voyage.json").write_text(json.dumps({"invented": True}), encoding="utf-8")
    _write_logs(logs, boxes, texts)
    voyage = _write_papers(papers, boxes, texts)
    settings = Settings(
        parsers=(_write_parsers(folder / "parsers", texts),),
        causes=_paper(papers, texts, "toml", 20, _causes(texts)),
        voyage=voyage,
        round_hours=2.0,
    )
    name = texts.one("Name", 0)
    return HostileVoyage(logs, settings, tuple(boxes), tuple(texts.placed), name)


def _write_logs(folder: Path, boxes: Sequence[str], texts: Texts) -> None:
    """Files by headings in trade words, each with unknown headings; some within an archive."""
    # A line of a log ends where it ends, also within quotation marks.
    alarms, modes, unknown, facts = (
        [*map(_one_line, texts.some(kind))] for kind in ("Alarm", "Mode", "Heading", "Fact")
    )
    alarms = [*map(_single, alarms)]
    names = texts.file_names("csv", 5)
    members = [texts.file_names("csv", 1, place)[0] for place in (10, 13, 19)]
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        for place, box in enumerate(boxes):
            if place % 8 == 7:
                archive.writestr(
                    zipfile.ZipInfo(f"{members[place // 8 % 3]}{place}.csv"),
                    _log([(place, box)], alarms, modes, unknown[place : place + 1], "\t"),
                )
        archive.writestr(zipfile.ZipInfo("../" + members[0]), b"x")
    (folder / texts.file_names("zip", 1, 12)[0]).write_bytes(packed.getvalue())
    for place, name in enumerate(names[:-1]):
        own = [(number, box) for number, box in enumerate(boxes) if number % 4 == place]
        (folder / name).write_bytes(
            _log(own, alarms, modes, unknown[4 * place : 4 * place + 4], ",;"[place % 2])
        )
    # One with facts above its table, one that is no log, one with a byte of naught.
    preamble = "".join(f"{key}: {value}\n" for key, value in pairwise(facts))
    above = f"Container: {_one_line(texts.one('Preamble', 0))}\n{preamble}\n"
    body = _log([(0, "")], alarms, modes, [], ",", container=False)
    (folder / names[-1]).write_bytes(above.encode() + body)
    none = texts.file_names("txt", 2, 20)
    (folder / none[0]).write_text("\n".join(map(_one_line, texts.some("Nothing"))), encoding="utf-8")
    damaged = _log([(1, boxes[1])], alarms, modes, [], ",").replace(b"12.5", b"1\x002", 3)
    (folder / none[1]).write_bytes(damaged)


def _one_line(text: str) -> str:
    return " ".join(text.splitlines())


def _single(text: str) -> str:
    """Without the signs that stand between several alarms, and between several parts."""
    return re.sub("[;+,|/]", " ", text)


def _log(
    boxes: Sequence[tuple[int, str]],
    alarms: Sequence[str],
    modes: Sequence[str],
    unknown: Sequence[str],
    delimiter: str,
    *,
    container: bool = True,
) -> bytes:
    """Readings of some boxes, an hour apart: every third runs warm, and every second is frozen."""
    out = io.StringIO()
    table = csv.writer(out, delimiter=delimiter, lineterminator="\r\n")
    table.writerow(
        [
            "Time (UTC)",
            *(["Container"] if container else []),
            "Set point (°C)",
            "Supply air (°C)",
            "Return air (°C)",
            "Ambient air (°C)",
            "Suction pressure (bar g)",
            "Discharge pressure (bar g)",
            "Compressor",
            "Mode",
            "Alarms",
            *unknown,
        ]
    )
    for place, box in boxes:
        random = np.random.default_rng(place)
        set_point = -18.0 if place % 2 else 4.0
        for hour in range(HOURS):
            drift = max(hour - 40, 0) * 0.15 if place % 3 == 0 else 0.0
            supply = set_point + drift + random.normal(0, 0.2)
            readings = [supply, supply + 1.2 + random.normal(0, 0.1), 12.5 + 6 * np.sin(hour / 4)]
            suction = (0.4 if place % 2 else 2.4) - 0.01 * drift
            time = (START + timedelta(hours=hour)).strftime("%Y-%m-%d %H:%M:%S")
            # A time and a reading that are none are set aside as they stand.
            table.writerow(
                [
                    alarms[place % len(alarms)] if hour == 30 else time,
                    *([box] if container else []),
                    f"{set_point:.1f}",
                    *(f"{each:.1f}" for each in readings[:2]),
                    modes[-1 - place % len(modes)] if hour == 31 else f"{readings[2]:.1f}",
                    f"{suction:.2f}",
                    f"{9 + drift:.2f}",
                    "on",
                    modes[(2 * place + hour // 40) % len(modes)],
                    alarms[(2 * place + hour // 30) % len(alarms)] if hour > 50 else "",
                    *unknown,
                ]
            )
    return out.getvalue().encode()


def _write_papers(folder: Path, boxes: Sequence[str], texts: Texts) -> VoyageFiles:
    goods, cargoes = texts.some("Goods", 4), texts.some("Cargo")
    protocol = texts.one("Protocol", 1)
    hour = [f"{START + timedelta(hours=each):%Y-%m-%d %H:%M}Z" for each in range(HOURS)]
    holders, events = texts.some("Holder"), texts.some("Event")
    seen, done = texts.some("Seen"), texts.some("Done")
    parts = [*map(_single, texts.some("Part"))]
    ports = texts.some("Port")
    kept: dict[str, Sequence[Sequence[object]]] = {
        "bookings": [
            ["container", "set point (°C)", "cargo", "size type"],
            *([box, -18 if at % 2 else 3, cargoes[at], "45R1"] for at, box in enumerate(boxes)),
            # Booked, and no log of it.
            [texts.one("Booked", 0), 5, cargoes[0], ports[0]],
        ],
        "events": [
            ["container", "time", "holder", "event", "place"],
            *(
                [box, hour[each], holders[at - each % 2], events[at], ports[at]]
                for at, box in enumerate(boxes)
                for each in (0, 45)
            ),
        ],
        "notes": [
            ["container", "time", "observation", "action", "part"],
            *([box, hour[60], seen[at], done[at], parts[at]] for at, box in enumerate(boxes)),
            [texts.one("Noted", 2), hour[3], seen[0], done[0], parts[0]],
        ],
        "spares": [
            ["part", "on board", "place"],
            *([" ".join(part.split()), 1, ports[at]] for at, part in enumerate(texts.some("Spare"))),
        ],
    }
    numbers = {"bookings": 0, "events": 6, "notes": 10, "spares": 19}
    tables = {key: _paper(folder, texts, "csv", numbers[key], _csv(rows)) for key, rows in kept.items()}
    return VoyageFiles(
        **tables,
        facts=_paper(folder, texts, "toml", 1, _facts(boxes, goods, protocol_id="hostile")),
        plan=_paper(folder, texts, "edi", 4, "\n".join(_plan(boxes, ports, texts))),
        goods=_paper(folder, texts, "toml", 2, _goods(goods, texts)),
        protocols=_paper(folder, texts, "toml", 3, _protocol(protocol, texts)),
    )


def _paper(folder: Path, texts: Texts, ending: str, number: int, content: str) -> Path:
    path = folder / texts.file_names(ending, 1, number)[0]
    path.write_text(content, encoding="utf-8", newline="")
    return path


def _csv(rows: Sequence[Sequence[object]]) -> str:
    out = io.StringIO()
    csv.writer(out).writerows(rows)
    return out.getvalue()


def _toml(text: str) -> str:
    """A text as TOML holds it: letters and figures as they are, all else by number."""
    return '"' + "".join(c if c.isascii() and c.isalnum() else f"\\U{ord(c):08x}" for c in text) + '"'


def _cell(place: int) -> str:
    """A cell for a box of forty feet, as BBBRRTT (ISO 9711-1)."""
    return f"{2 + 4 * (place % 4):03d}{place // 4:02d}82"


def _facts(boxes: Sequence[str], goods: Sequence[str], protocol_id: str) -> str:
    lines = []
    for place, box in enumerate(boxes):
        lines += [
            f"[units.{_toml(box)}]",
            f"cargo = {_toml(goods[place % len(goods)])}",
            f'position = "{_cell(place)}"',
        ]
        if place % 2 == 0 and place < 6:
            lines.append(f'protocol = "{protocol_id}"')
    return "\n".join(lines)


def _goods(names: Sequence[str], texts: Texts) -> str:
    source = texts.one("Source", 0)
    lines = []
    for place, name in enumerate(names):
        chilled = place % 2 == 0
        lines += [
            f"[commodities.hostile_{place}]",
            f"name = {_toml(name)}",
            f'group = "{"fruit" if chilled else "meat"}"',
            f'regime_class = "{"chilled" if chilled else "deep_frozen"}"',
            f"source = {_toml(source + ' of the shipper')}",
            f"optimum = {[3, 5] if chilled else [-20, -19]}",
            f'packaging = "{"carton_through_flow" if chilled else "frozen_block"}"',
        ]
    return "\n".join(lines)


def _protocol(name: str, texts: Texts) -> str:
    stated = f'source = {_toml(texts.one("Stated", 2))}\nstanding = "read"\n'
    placing, words = texts.one("Placing", 4), texts.one("Words", 6)
    return (
        f'id = "hostile"\nname = {_toml(name)}\nabout = {_toml(texts.one("About", 3))}\n'
        f"edition = 2026-02-01\n{stated}"
        '[[ladder]]\nat_or_below = 0.5\nunit = "°C"\ndays = 2\n'
        f"[probes]\nleast = 1\nplacing = {_toml(placing)}\n{stated}"
        f"[interval]\nlongest_minutes = 60\n{stated}"
        f"[precooling]\nwords = {_toml(words)}\n{stated}"
        f'[gap]\nbridged_minutes = 60\nbeyond = "extend"\n{stated}'
        f'[reset]\nrule = "restart"\n{stated}'
        f"[calibration]\nlimit = 0.2\n{stated}"
    )


def _causes(texts: Texts) -> str:
    """A cause that a rise of the supply air speaks for, and what to look at."""
    said = iter(texts.some("Cause", 14))
    return (
        f"[causes.hostile]\nname = {_toml(next(said))}\nabout = {_toml(next(said))}\nprior = 2.0\n"
        f'first_checks = ["hostile_seen"]\nparts = [{_toml(next(said))}]\ntools = [{_toml(next(said))}]\n'
        f"cautions = [{_toml(next(said))}]\nif_left = {_toml(next(said))}\n"
        f"hidden_by = [{_toml(next(said))}]\ntold_apart = {_toml(next(said))}\n"
        f"[observations.hostile_seen]\nquestion = {_toml(next(said))}\nyes = {_toml(next(said))}\n"
        f'no = {_toml(next(said))}\nhow = {_toml(next(said))}\nminutes = 1\nrisk = "mains"\n'
        "otherwise = 0.02\nchance = { hostile = 0.9 }\n"
        f"noted_as = [{_toml(next(said))}]\n"
        '[likelihoods.hostile]\ncontrol_error_now = "higher"\n'
    )


def _plan(boxes: Sequence[str], ports: Sequence[str], texts: Texts) -> Iterator[str]:
    """A stowage plan message whose every free text is hostile."""

    def free(text: str, most: int = 90) -> str:
        return "".join(f"?{each}" if each in "+:'?" else each for each in _one_line(text)[:most])

    yield "UNB+UNOW:4+INVENTED+COLDSIFT+310303:0000+1'"
    yield "UNH+1+BAPLIE:D:95B:UN:SMDG22'"
    yield "BGM++031+9'"
    yield f"TDT+20+031+++INV:172:20+++ZZGH0:103::{free(texts.one('Vessel', 0))}'"
    yield f"LOC+5+{free(ports[0])}:139:6'"
    for text in texts.some("Remark"):
        yield f"FTX+AAI+++{free(text)}'"
    for place, box in enumerate([*boxes, tidy(texts.one("Planned", 4))]):
        yield f"LOC+147+{_cell(place)}::5'"
        yield f"TMP+2+{'-18.0' if place % 2 else '04.0'}:CEL'"
        yield f"LOC+9+{free(ports[place % len(ports)])}:139:6'"
        yield f"EQD+CN+{free(box, 3000)}+{free(ports[place % len(ports)], 8)}:102:5+++5'"
    # A place, a temperature and a segment that are none.
    yield f"LOC+147+{free(texts.one('Place', 6))}::5'"
    yield f"TMP+2+{free(texts.one('Degree', 9))}:CEL'"
    yield f"EQD+CN+{free(texts.one('Lost', 11))}+45R1:102:5+++5'"
    yield f"{free(texts.one('Segment', 3))}'"


def _write_parsers(folder: Path, texts: Texts) -> Path:
    """A layout that can be used, and some that cannot."""
    about, heading = texts.one("Layout", 0), texts.one("Column", 3)
    used = folder / "hostile_words"
    used.mkdir(parents=True)
    (used / "layout.toml").write_text(
        f'[layout]\nname = "hostile_words"\nabout = {_toml(about)}\nform = "delimited"\n'
        f'[time]\ncolumns = [{_toml(heading)}]\n[container]\ncolumns = ["box"]\n'
        f'[[column]]\nheading = {_toml(texts.one("Reading", 5))}\nchannel = "supply_air"\nunit = "°C"\n',
        encoding="utf-8",
    )
    for place, key in enumerate(texts.some("Key", 4)):
        broken = folder / texts.file_names("layout", 1, place)[0]
        broken.mkdir()
        (broken / "layout.toml").write_text(
            f'[layout]\nname = {_toml(key)}\nabout = ""\n{_toml(key)} = {_toml(key)}\n', encoding="utf-8"
        )
    return folder


INSPECTED = {
    "set_point": "Set point (°C)",
    "supply_air": "Supply air (°C)",
    "return_air": "Return air (°C)",
    "ambient_air": "Ambient air (°C)",
    "evaporator_temperature": "Evaporator temperature (°C)",
    "compressor_state": "Compressor",
    "defrost_state": "Defrost",
    "heater_state": "Heater",
    "power": "Power (W)",
}
"""Channels of a pre-trip inspection, with their headings."""


def write_inspections(folder: Path, *, hostile: bool = True) -> Path:
    """Write logs of simulated pre-trip inspections, a file a box; gives their folder.

    Parameters
    ----------
    folder, hostile
        As for :func:`write_voyage`.
    """
    texts = Texts(hostile)
    boxes, names, alarms = texts.containers(), texts.file_names("csv", 2, 2), texts.some("Alarm")
    logs = inspect_boxes(PreTripPlan(empty_boxes(2), ambient=24.0, seed=611)).log
    folder.mkdir(parents=True)
    (folder / "voyage.json").write_text(json.dumps({"invented": True}), encoding="utf-8")
    for place, (name, own) in enumerate(zip(names, logs.partition_by("container"), strict=True)):
        rows = own.select(
            pl.col("time").dt.strftime("%Y-%m-%d %H:%M:%S").alias("Time (UTC)"),
            pl.lit(boxes[6 * place]).alias("Container"),
            pl.lit(_single(_one_line(alarms[9 * place + 1]))).alias("Alarms"),
            *(pl.col(channel).alias(heading) for channel, heading in INSPECTED.items()),
        )
        rows.write_csv(folder / name)
    return folder
