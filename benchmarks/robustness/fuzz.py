"""Spoilt files read as the command line reads them, and what must hold whatever is in them.

Goes in: a number of cases of :mod:`benchmarks.robustness.mutator`. Comes out: how many were tried, of which
kinds, and every one that failed, by its number. A case fails when anything but the documented error is
raised, when a library warns, when a line is not accounted for, when a file is not read and no message says
so, when it takes too long, and when it takes too much memory.
"""

from __future__ import annotations

import codecs
import multiprocessing
import os
import resource
import shutil
import time
import traceback
import warnings
from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from multiprocessing.connection import Connection, wait
from pathlib import Path
from typing import Any

from benchmarks.robustness.mutator import PAPERS, Case, make

SEED = 20_260_901
LONGEST = 10.0
"""A case that takes longer is a hang: processor time, which other work does not lengthen. [s]"""
LONGEST_SCREENING = 60.0
"""The same of a case that goes on to the report. [s]"""
LONGEST_WAIT = 120.0
"""By the clock; it stops a case that waits for what never comes. [s]"""
MOST_MEMORY = 1024
"""A worker may hold this much more than before its first case. [MiB]"""
HARD_LIMIT = 12 * 1024**3
"""Address space of a worker, so that a fault here does not take the machine. [byte]"""
SCREENED = 200
"""One in so many cases goes through a whole screening with its report."""
LONGEST_MESSAGE = 4000
"""Characters of a message; a longer one tells the file, not what is wrong."""
PAPER_FIELDS = frozenset(PAPERS.values())


@dataclass(slots=True)
class Outcome:
    """What became of a case: faults as sentences, and whether anything of it was used."""

    number: int
    kind: str = ""
    mutations: tuple[str, ...] = ()
    faults: list[str] = field(default_factory=list)
    used: bool = False
    screened: bool = False
    seconds: float = 0.0
    before: int = 0
    peak: int = 0


def measure(
    scratch: Path,
    cases: int = 20_000,
    seed: int = SEED,
    first: int = 0,
    workers: int = 2,
    screened: int = SCREENED,
) -> dict[str, Any]:
    """Try cases.

    Parameters
    ----------
    scratch
        Folder for the files of the cases.
    cases, first
        How many, and the number of the first.
    seed
        Of all cases.
    workers
        Processes; the outcome is the same with any number of them.
    screened
        One in so many cases goes through a whole screening; none when 0.

    Returns
    -------
    dict
        ``cases``; ``read`` (anything of them was used), ``refused`` (nothing was, and a message says why),
        ``screened`` (read and then screened and reported); ``mutations`` and ``kinds`` (cases by the name of
        a mutation and by the kind of file, each case counted once for each); ``failed`` (number, kind,
        mutations and faults of each that failed), ``hangs`` and ``deaths`` (of these, killed after
        ``longest_s``, and ended by themselves); ``slowest_s``, ``peak_mib`` (largest resident size of a
        worker), ``before_mib`` (the same before its first case), ``most_mib`` (how much more is a failure).
        Seconds are processor time. ``slowest_s``, ``peak_mib`` and ``before_mib`` differ from run to run.
    """
    outcomes = list(_each(scratch, range(first, first + cases), seed, workers, screened))
    outcomes.sort(key=lambda outcome: outcome.number)
    failed = [outcome for outcome in outcomes if outcome.faults]
    mutations = Counter(name for outcome in outcomes for name in dict.fromkeys(outcome.mutations))
    kinds = Counter(outcome.kind for outcome in outcomes)
    return {
        "cases": len(outcomes),
        "seed": seed,
        "first": first,
        "read": sum(outcome.used for outcome in outcomes),
        "refused": sum(not outcome.used and not outcome.faults for outcome in outcomes),
        "screened": sum(outcome.screened for outcome in outcomes),
        "mutations": dict(sorted(mutations.items())),
        "kinds": dict(sorted(kinds.items())),
        "failed": [
            {
                "number": outcome.number,
                "kind": outcome.kind,
                "mutations": list(outcome.mutations),
                "faults": outcome.faults,
            }
            for outcome in failed
        ],
        "hangs": sum(_HANG in outcome.faults for outcome in failed),
        "deaths": sum(any(fault.startswith(_DEATH) for fault in outcome.faults) for outcome in failed),
        "longest_s": LONGEST,
        "slowest_s": round(
            max((outcome.seconds for outcome in outcomes if not outcome.screened), default=0), 2
        ),
        "peak_mib": max((outcome.peak for outcome in outcomes), default=0),
        "before_mib": min((outcome.before for outcome in outcomes if outcome.before), default=0),
        "most_mib": MOST_MEMORY,
    }


_HANG = "it took too long"
_DEATH = "the process ended"


# --------------------------------------------------------------------------------------------- the watchdog


class _Worker:
    """A process that tries cases, one at a time."""

    def __init__(self, scratch: Path, seed: int) -> None:
        context = multiprocessing.get_context("spawn")
        self.here, there = context.Pipe()
        self.process = context.Process(target=_work, args=(there, scratch, seed), daemon=True)
        self.process.start()
        there.close()
        self.number = -1
        self.since, self.busy = time.monotonic(), 0.0
        self.longest = LONGEST
        self.is_ready = False

    def hangs(self) -> bool:
        return time.monotonic() - self.since > LONGEST_WAIT or self._processor() - self.busy > self.longest

    def _processor(self) -> float:
        """Processor time of the process so far. [s]"""
        try:
            fields = Path(f"/proc/{self.process.pid}/stat").read_text().rpartition(")")[2].split()
        except OSError:
            return self.busy
        return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")

    def give(self, number: int, screened: bool) -> None:
        self.number, self.since, self.busy = number, time.monotonic(), self._processor()
        self.longest = LONGEST_SCREENING if screened else LONGEST
        self.here.send((number, screened))

    def end(self) -> None:
        self.process.kill()
        self.process.join()
        self.here.close()


def _each(scratch: Path, numbers: Sequence[int], seed: int, workers: int, screened: int) -> Iterator[Outcome]:
    left = iter(numbers)
    crew = [_Worker(scratch / f"worker {at}", seed) for at in range(workers)]
    ended = 0

    def next_case(worker: _Worker) -> int:
        number = next(left, None)
        if number is None:
            worker.number = -1
            worker.end()
            return 1
        worker.give(number, bool(screened) and number % screened == screened - 1)
        return 0

    while ended < len(crew):
        there = [worker for worker in crew if not worker.here.closed]
        ready = wait([worker.here for worker in there], timeout=0.5)
        for worker in there:
            outcome, gone = None, ""
            if worker.here in ready:
                try:
                    outcome = worker.here.recv()
                except (EOFError, OSError):
                    worker.process.join()
                    gone = f"{_DEATH} with status {worker.process.exitcode}"
            elif worker.is_ready and worker.hangs():
                gone = _HANG
            if gone:
                yield _lost(worker, scratch, seed, gone)
                at = crew.index(worker)
                worker.end()
                crew[at] = _Worker(scratch / f"worker {at}", seed)
            elif worker.here in ready:
                if isinstance(outcome, Outcome):
                    yield outcome
                worker.is_ready = True
                if isinstance(outcome, Outcome) and outcome.peak > outcome.before + MOST_MEMORY:
                    # What a process once held is counted for ever.
                    at = crew.index(worker)
                    worker.end()
                    crew[at] = _Worker(scratch / f"worker {at}", seed)
                    continue
                ended += next_case(worker)


def _lost(worker: _Worker, scratch: Path, seed: int, gone: str) -> Outcome:
    """A case whose worker did not live to tell; made once more for its name."""
    folder = scratch / "lost"
    with _emptied(folder):
        case = make(worker.number, seed, folder)
    return Outcome(worker.number, case.kind, case.mutations, [gone], seconds=time.monotonic() - worker.since)


def _work(connection: Connection, scratch: Path, seed: int) -> None:
    """Try the cases that come in."""
    os.environ["POLARS_MAX_THREADS"] = "1"
    resource.setrlimit(resource.RLIMIT_AS, (HARD_LIMIT, HARD_LIMIT))
    warm_up()
    before = peak_memory()
    connection.send(before)
    while True:
        number, screened = connection.recv()
        outcome = attempt(number, seed, scratch, screened)
        outcome.before, outcome.peak = before, peak_memory()
        if outcome.peak > before + MOST_MEMORY and not screened:
            outcome.faults.append(f"it took {outcome.peak - before} MiB")
        connection.send(outcome)


def warm_up() -> None:
    """What a process loads once is no part of a case."""
    from coldsift.refrigerant import UnknownRefrigerant, saturation

    _try(*(Path(__file__).parents[2] / "parsers").glob("*/sample*"))
    with suppress(UnknownRefrigerant):
        saturation("none of them")


def peak_memory() -> int:
    """Largest resident size of this process so far. [MiB]"""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024


class _emptied:
    """A new folder, gone behind it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def __enter__(self) -> None:
        shutil.rmtree(self.folder, ignore_errors=True)
        self.folder.mkdir(parents=True)

    def __exit__(self, *_: object) -> None:
        shutil.rmtree(self.folder, ignore_errors=True)


def attempt(number: int, seed: int, scratch: Path, screened: bool = False) -> Outcome:
    """Make a case and try it."""
    folder = scratch / "case"
    with _emptied(folder):
        case = make(number, seed, folder)
        started = time.process_time()
        outcome = Outcome(number, case.kind, case.mutations, screened=screened)
        outcome.faults, outcome.used = tried(case, scratch if screened else None)
        outcome.seconds = time.process_time() - started
    return outcome


# ----------------------------------------------------------------------------------------------- the oracle


def tried(case: Case, scratch: Path | None = None) -> tuple[list[str], bool]:
    """Read a case, and say what must not be; whether anything of it was used.

    Parameters
    ----------
    case
        The case.
    scratch
        For the outputs of a whole screening; without it the files are only read.
    """
    faults: list[str] = []
    used = False
    with warnings.catch_warnings(record=True) as warned:
        warnings.simplefilter("always")
        try:
            if case.kind == "layout":
                faults += _layout_faults(case.paths[0])
                used = not faults
            else:
                if case.kind in PAPER_FIELDS:
                    used = _paper(case.kind, case.paths[0], faults)
                used = _try(*case.paths, faults=faults) or used
                if scratch is not None:
                    _screen(case, scratch / "out", faults)
        except KeyboardInterrupt:
            raise
        # Also what a library written in another language raises when it panics.
        except BaseException as error:
            faults.append(_told(error))
    faults += [f"{one.category.__name__}: {one.message}" for one in warned]
    return faults, used


def _told(error: BaseException) -> str:
    place = traceback.extract_tb(error.__traceback__)[-1]
    return f"{type(error).__name__} in {Path(place.filename).name} {place.name}: {str(error)[:300]}"


def _try(*paths: Path, faults: list[str] | None = None, parsers: Sequence[Path] = ()) -> bool:
    """Read logs; True when any line was used."""
    from coldsift.intake import read_logs

    intake = read_logs(paths, parsers=parsers)
    faults = faults if faults is not None else []
    faults += intake_faults(intake)
    faults += _silent(paths, intake)
    return bool(intake.log.height)


def intake_faults(intake: Any) -> list[str]:
    """What does not hold of logs as read, whatever was in them.

    Parameters
    ----------
    intake
        :class:`coldsift.intake.Intake`.
    """
    import polars as pl

    from coldsift.schema import COMMON_LOG, SET_ASIDE

    faults = []
    aside = intake.set_aside.filter(pl.col("channel").is_null())
    told = {message.file for message in intake.messages}
    failed = {message.file for message in intake.messages if message.severity == "error"}
    for source in intake.sources:
        if source.lines != source.heading_lines + source.fact_lines + source.blank_lines + source.rows:
            faults.append(f"{source.path!r}: the lines do not add up: {source}")
        if source.rows != source.used + source.merged + source.set_aside:
            faults.append(f"{source.path!r}: the rows do not add up: {source}")
        own = aside.filter(pl.col("source") == source.id)
        if own.height != source.set_aside or own["row"].n_unique() != own.height:
            faults.append(f"{source.path!r}: {source.set_aside} lines set aside, {own.height} listed")
        if source.set_aside and source.path not in told:
            faults.append(f"{source.path!r}: lines set aside without a message")
        if not source.used + source.merged and source.path not in failed:
            faults.append(f"{source.path!r}: nothing is used and no error says so")
        of_source = intake.log.filter(pl.col("source") == source.id).height
        if of_source > source.used or (source.used and not of_source):
            faults.append(f"{source.path!r}: {source.used} lines used, {of_source} rows in the log")
    faults += message_faults(intake.messages)
    log = intake.log
    if log.select("container", "time").is_duplicated().any() or not log.equals(log.sort("container", "time")):
        faults.append("the log is not in order, or holds an instant twice")
    if log.schema != COMMON_LOG.empty().schema or intake.set_aside.schema != SET_ASIDE.empty().schema:
        faults.append("a table is not of its schema")
    floats = [name for name, dtype in log.schema.items() if dtype == pl.Float64]
    if not log.select(pl.all_horizontal(pl.col(floats).is_finite().fill_null(True)).all()).item():
        faults.append("a reading is not finite")
    if not log["time"].dt.year().is_between(1990, 2100).all():
        faults.append("a time no clock was ever set to")
    return faults


def message_faults(messages: Sequence[Any]) -> list[str]:
    """What is wrong with messages as messages."""
    faults = []
    for message in messages:
        if not (message.file and message.what) or not (message.do or message.severity == "note"):
            faults.append(f"a message lacks its file, what happened or what to do: {message}")
        if "Traceback" in message.what or len(str(message)) > LONGEST_MESSAGE:
            faults.append(f"a message that is none: {str(message)[:200]}")
        faults += _unprintable(str(message))
    return faults


def _unprintable(text: str) -> list[str]:
    try:
        text.encode()
    except UnicodeEncodeError:
        return [f"a message that cannot be printed: {text[:200]!r}"]
    return []


def _silent(paths: Sequence[Path], intake: Any) -> list[str]:
    """Regular files given by name of which nothing is said at all, and lines that are nowhere."""
    faults = []
    shown = {source.path.split("!")[0] for source in intake.sources}
    shown |= {message.file.split("!")[0] for message in intake.messages}
    for path in paths:
        if path.is_dir() or not path.is_file():
            continue
        name = path.name.encode("utf-8", "surrogateescape").decode("utf-8", "backslashreplace")
        if name not in shown:
            faults.append(f"{name!r}: nothing is said of it")
        for source in intake.sources:
            lines = _lines_in(path.read_bytes())
            if source.path == name and source.lines and source.delimiter and lines not in (0, source.lines):
                faults.append(f"{name!r}: {lines} lines in the file, {source.lines} accounted for")
    return faults


def _lines_in(data: bytes) -> int:
    """Lines of a plain text, counted apart from the reader; 0 where that is not so simple."""
    data = data.removeprefix(codecs.BOM_UTF8)
    if not data.isascii() or b"\r" in data or b"\0" in data:
        return 0
    return data.count(b"\n") + (not data.endswith(b"\n"))


def _paper(option: str, path: Path, faults: list[str]) -> bool:
    """Read a paper as ``screen`` does before any log; True when it is used."""
    from coldsift.engine import VoyageFiles
    from coldsift.engine.papers import read_voyage
    from coldsift.schema import BOOKINGS, CUSTODY, NOTES, PLAN, SPARES
    from coldsift.voyage import FactsError, TableError

    try:
        voyage = read_voyage(VoyageFiles(**{option: path}))
    except (FactsError, TableError) as error:
        text = str(error)
        if type(error) not in (FactsError, TableError) or path.name not in text:
            faults.append(f"a refusal that does not name the file: {text[:200]}")
        if "Traceback" in text or len(text) > LONGEST_MESSAGE:
            faults.append(f"a refusal that is none: {text[:200]!r} … {len(text)} characters")
        faults += _unprintable(text)
        return False
    faults += message_faults(voyage.messages)
    tables = (
        (voyage.plan, PLAN),
        (voyage.bookings, BOOKINGS),
        (voyage.custody, CUSTODY),
        (voyage.notes, NOTES),
    )
    for frame, table in (*tables, (voyage.spares, SPARES)):
        if frame.schema != table.empty().schema:
            faults.append(f"{option}: a table is not of its schema")
        if "container" in frame.columns and frame["container"].null_count():
            faults.append(f"{option}: a line without container")
    return True


def _layout_faults(folder: Path) -> list[str]:
    """A folder of the user's layouts, tried on the sample of the one that was spoilt."""
    from coldsift.intake.layouts import draft_layout, load_layouts, try_layouts

    faults: list[str] = []
    (place,) = (path for path in folder.iterdir())
    sample = next((Path(__file__).parents[2] / "parsers" / place.name).glob("sample*"))
    layouts, messages = load_layouts([folder])
    faults += message_faults(messages)
    try:
        try_layouts(sample, [folder])
        draft_layout(sample)
    except ValueError as error:
        if type(error) is not ValueError:
            raise
        faults += _unprintable(str(error))
    _try(sample, faults=faults, parsers=[folder])
    if not layouts:
        faults.append("a broken layout has stopped the others")
    return faults


def _screen(case: Case, out: Path, faults: list[str]) -> None:
    """The whole of ``screen`` with its report, beside a sound log so that there is one."""
    from coldsift.engine import Settings, VoyageFiles, screen, write_outputs
    from coldsift.voyage import FactsError, TableError

    sound = Path(__file__).parents[2] / "parsers" / "comma_iso" / "sample.csv"
    papers = VoyageFiles(**{case.kind: case.paths[0]}) if case.kind in PAPER_FIELDS else VoyageFiles()
    shutil.rmtree(out, ignore_errors=True)
    try:
        screening = screen([*case.paths, sound], Settings(voyage=papers))
    except (FactsError, TableError):
        return
    write_outputs(screening, out, f"Case {case.number}")
    faults += message_faults(screening.messages)
    page = (out / "index.html").read_text(encoding="utf-8")
    if "Traceback" in page:
        faults.append("a traceback in the report")
