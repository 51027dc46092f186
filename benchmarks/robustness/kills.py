"""Commands killed at random moments and at every step that changes a folder: what stands there afterwards.

The voyage is simulated. The browser that prints a dossier is a stand-in that writes fixed bytes, so that the
moments fall on coldsift and not on the browser.
"""

from __future__ import annotations

import contextlib
import json
import os
import random
import shutil
import signal
import subprocess
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from unittest import mock

from typer.testing import CliRunner

import coldsift
from coldsift import engine
from coldsift.cli.app import app
from coldsift.dossier.pdf import NAMED_BY
from coldsift.engine import reading
from coldsift.engine.running import Here
from coldsift.simulate.folder import write_voyage

ROWS, BYTES = 150, 4_000
"""Batches so small that a few units make several, and processes are started."""

PROGRAM = Path(coldsift.__file__).parent

UNITS = "FROM voyages JOIN findings USING (voyage)"

ENDED_WITHIN = 30.0
"""Time in which a killed run's other processes must have ended. [s]"""

WHOLE = "from coldsift.cli import main; main()"
IN_BATCHES = (
    "import coldsift.engine.reading as reading; "
    f"reading.ROWS_A_BATCH, reading.BYTES_A_BATCH = {ROWS}, {BYTES}; " + WHOLE
)
AT_STEP = """
import os, signal, sys
changing = {"os.rename", "os.remove", "os.rmdir", "os.mkdir", "shutil.rmtree", "tempfile.mkdtemp"}
left, place = int(sys.argv[1]), sys.argv[2]
def changes(event, arguments):
    if event == "ctypes.dlsym":
        return "renameat2" in map(str, arguments)
    paths = [os.fsdecode(each) for each in arguments if isinstance(each, (str, bytes, os.PathLike))]
    return event in changing and any(place in path for path in paths)
def step(event, arguments):
    global left
    if changes(event, arguments):
        left -= 1
        if left == 0:
            os.kill(os.getpid(), signal.SIGKILL)
sys.addaudithook(step)
sys.argv = ["coldsift", *sys.argv[3:]]
"""
"""Ends the process before a step that changes a place; arguments are the step's number, and the place."""


@dataclass(frozen=True, slots=True)
class Job:
    """A command to be killed.

    Attributes
    ----------
    name
        As it is counted.
    code
        What Python runs.
    arguments
        Of the command.
    home
        Folder that holds the place and what is left beside it.
    before
        Copied to ``home`` before each kill: what an ended run made, and nothing else.
    place
        Name within ``home``.
    state
        Says of ``home`` whether it is as ``before``, or new, or neither; and of the last, in what it differs.
    targets
        What is killed, in turn.
    """

    name: str
    code: str
    arguments: tuple[str, ...]
    home: Path
    before: Path
    place: str
    state: Callable[[Path], tuple[str, str]]
    targets: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Seen:
    """What was seen so far; ``program`` is coldsift's own files as they were at the start."""

    failed: Path
    program: Mapping[str, bytes]
    counts: Counter[str] = field(default_factory=Counter)
    failures: list[str] = field(default_factory=list)

    def failure(self, job: Job, words: str) -> None:
        """Keep it in words, and what stands there as a copy."""
        if changed := apart(contents(PROGRAM), self.program):
            raise RuntimeError(f"coldsift was changed while runs were killed: {changed}. Measure again.")
        self.failures.append(words)
        shutil.copytree(job.home, self.failed / f"{len(self.failures):03d}", symlinks=True)


def measure(scratch: Path, kills: int = 200, seed: int = 20) -> dict[str, Any]:
    """Kill commands and look at what stands there.

    Parameters
    ----------
    scratch
        Folder for all that is written; what is in it goes.
    kills
        Kills at random moments, shared out evenly.
    seed
        Of the moments.

    Returns
    -------
    dict
        ``kills`` at random moments, and of these ``by_command`` and ``by_target`` (the whole process group,
        only the first process, only a worker); how many ``came_too_late``, after the run's end or that of its
        last worker; what stood there: ``earlier``,
        ``new``, ``neither`` (must be 0); ``steps``, ``steps_earlier``, ``steps_new``, ``steps_neither``: the
        same for kills before every step that renames, makes or removes something, on a system that can
        exchange folders in one step; ``left_over``: kills that left hidden folders, ``cleared``: of these,
        how many the next run cleared and told of (archives: cleared); ``outlived``: processes that were
        there :data:`ENDED_WITHIN` after their first was killed (must be 0); ``next_runs`` and
        ``next_runs_good``, which must be equal; ``failures``: what was wrong, in words. What stood there
        then is kept in ``failed`` of the scratch folder.

    Raises
    ------
    RuntimeError
        When coldsift's own files were changed meanwhile: outputs tell of the program that made them.
    """
    shutil.rmtree(scratch, ignore_errors=True)
    scratch.mkdir(parents=True)
    os.environ[NAMED_BY] = str(_stand_in(scratch / "browser"))
    jobs = _jobs(scratch)
    lengths = {job.name: _length(job) for job in jobs}
    chance = random.Random(seed)
    seen = Seen(scratch / "failed", contents(PROGRAM))
    by_command: Counter[str] = Counter()
    by_target: Counter[str] = Counter()
    for kill in range(kills):
        job = jobs[kill % len(jobs)]
        target = job.targets[kill // len(jobs) % len(job.targets)]
        moment = chance.random() * lengths[job.name]
        what = f"{job.name}, {target} at {moment:.2f} s"
        _prepare(job)
        outcome, wrong = _kill(job, target, moment, chance, scratch / "said")
        by_command[job.name] += 1
        by_target[target] += 1
        seen.counts[outcome] += 1
        if wrong:
            seen.failure(job, f"{what}: {wrong}")
        _judge(job, what, seen)
    for job in (job for job in jobs if job.code == WHOLE):
        _every_step(job, seen)
    counts = seen.counts
    return {
        "kills": kills,
        "by_command": dict(sorted(by_command.items())),
        "by_target": dict(sorted(by_target.items())),
        **{
            name: counts[name]
            for name in (
                *("came_too_late", "outlived", "earlier", "new", "neither"),
                *("steps", "steps_earlier", "steps_new", "steps_neither"),
                *("left_over", "cleared", "next_runs", "next_runs_good"),
            )
        },
        "failures": seen.failures,
    }


def _stand_in(path: Path) -> Path:
    path.write_text(
        "#!/bin/sh\n"
        'for each in "$@"; do\n'
        'case "$each" in --print-to-pdf=*) target="${each#--print-to-pdf=}";; esac\ndone\n'
        'sleep 0.1\nprintf "%%PDF-1.4 stand-in" > "$target"\n',
        encoding="utf-8",
    )
    path.chmod(0o755)
    return path


def _run(*arguments: object) -> tuple[int, str]:
    """A command in this process; status and all that it printed."""
    done = CliRunner().invoke(app, [*map(str, arguments)], prog_name="coldsift")
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        return 1, f"{done.output}{done.exception!r}"
    return done.exit_code, done.output


def _good(*arguments: object) -> None:
    status, said = _run(*arguments)
    if status != 0:
        raise RuntimeError(f"{arguments} ended with {status}: {said}")


def contents(folder: Path) -> dict[str, bytes]:
    """Every file under a folder, by its path in it; what Python keeps of a program is passed over."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file() and path.parent.name != "__pycache__"
    }


def apart(there: Mapping[str, bytes], wanted: Mapping[str, bytes]) -> str:
    """In what files differ from others, in words; empty when in nothing."""
    differing = [_differing(name, there[name], wanted[name]) for name in sorted({*there} & {*wanted})]
    words = {
        "missing": sorted({*wanted} - {*there}),
        "more": sorted({*there} - {*wanted}),
        "other": [name for name in differing if name],
    }
    return "; ".join(f"{kind}: {', '.join(names)}" for kind, names in words.items() if names)


def _differing(name: str, one: bytes, other: bytes) -> str:
    """The name if the two differ; of a record with the keys in which they do."""
    if one == other:
        return ""
    with contextlib.suppress(ValueError, AttributeError):
        records = json.loads(one), json.loads(other)
        keys = {key for record in records for key in record}
        return (
            f"{name} ({', '.join(sorted(key for key in keys if records[0].get(key) != records[1].get(key)))})"
        )
    return name


def _jobs(scratch: Path) -> list[Job]:
    logs = scratch / "logs"
    files = write_voyage(
        logs, units=4, days=1.5, seed=20, route="mixed", fault_share=0.25, layout="plain_words"
    )
    container = files[0].stem
    other = scratch / "other_logs"
    later = datetime(2031, 5, 5, tzinfo=UTC)
    write_voyage(
        other,
        units=3,
        days=1,
        seed=21,
        route="winter",
        fault_share=0.2,
        layout="plain_words",
        start=later,
    )
    for made in ("new", "new_batches", "earlier", "dossier_new", "dossier_earlier"):
        (scratch / made).mkdir()
    _good("screen", logs, "--band", 1, "--out", scratch / "earlier" / "out")
    _good("screen", logs, "--out", scratch / "new" / "out")
    _alone(IN_BATCHES, "screen", logs, "--out", scratch / "new_batches" / "out")
    _good("screen", other, "--out", scratch / "other")
    dossier = ("dossier", container, logs)
    _good(*dossier, "--from", "2031-01-06T12:00Z", "--out", scratch / "dossier_earlier" / "out")
    _good(*dossier, "--out", scratch / "dossier_new" / "out")
    _good("archive", "add", scratch / "other", "--to", scratch / "archive_before" / "out", "--voyage", "one")

    def folder(name: str, code: str, arguments: tuple[object, ...], new: str, before: str) -> Job:
        was, now = (contents(scratch / each / "out") for each in (before, new))
        if was == now:
            raise RuntimeError(f"{name}: the earlier outputs are the new ones")

        def state(home: Path) -> tuple[str, str]:
            if not (home / "out").is_dir():
                return "neither", "nothing is there"
            there = contents(home / "out")
            from_earlier, from_new = apart(there, was), apart(there, now)
            if from_earlier and from_new:
                return "neither", min(
                    f"against the earlier {from_earlier}", f"against the new {from_new}", key=len
                )
            return ("new" if from_earlier else "earlier"), ""

        home = scratch / "homes" / name.replace(" ", "_")
        out = str(home / "out")
        targets = ("group", "parent", "worker") if code == IN_BATCHES else ("group", "parent")
        return Job(
            name,
            code,
            (*map(str, arguments), "--out", out),
            home,
            scratch / before,
            "out",
            state,
            targets,
        )

    home = scratch / "homes" / "archive"
    return [
        folder("screen", WHOLE, ("screen", logs), "new", "earlier"),
        folder("screen in processes", IN_BATCHES, ("screen", logs), "new_batches", "earlier"),
        Job(
            "archive add",
            WHOLE,
            ("archive", "add", str(scratch / "new" / "out"), "--to", str(home / "out"), "--voyage", "two"),
            home,
            scratch / "archive_before",
            "out",
            _archive_state,
            ("group", "parent"),
        ),
        folder("dossier", WHOLE, dossier, "dossier_new", "dossier_earlier"),
    ]


def _archive_state(home: Path) -> tuple[str, str]:
    """What an archive shows: every voyage in it is asked for in every way."""
    archive = home / "out"
    asked = (
        ("list", "--json"),
        ("again",),
        (
            "sql",
            f"SELECT name, count(*) AS units {UNITS} GROUP BY name",
            "--csv",
        ),
    )
    answers = [_run("archive", *question, "--archive", archive) for question in asked]
    for question, (status, said) in zip(asked, answers, strict=True):
        if status != 0:
            return "neither", f"archive {question[0]} ended with {status}: {said[-300:]}"
    rows = [line.lstrip("\ufeff").split(",") for line in answers[2][1].splitlines()]
    told = tuple(sorted((name, units) for name, units in rows if name != "name"))
    known = {(("one", "3"),): "earlier", (("one", "3"), ("two", "4")): "new"}
    return known.get(told, "neither"), "" if told in known else f"it holds {told}"


def _command(job: Job, *before: str) -> list[str]:
    return [sys.executable, "-c", job.code, *before, *job.arguments]


def _alone(code: str, *arguments: object) -> None:
    subprocess.run([sys.executable, "-c", code, *map(str, arguments)], check=True, capture_output=True)


def _length(job: Job) -> float:
    """How long a run takes. [s]"""
    _prepare(job)
    begun = time.monotonic()
    subprocess.run(_command(job), check=True, capture_output=True)
    return time.monotonic() - begun


def _prepare(job: Job) -> None:
    shutil.rmtree(job.home, ignore_errors=True)
    shutil.copytree(job.before, job.home)


def _kill(job: Job, target: str, moment: float, chance: random.Random, said: Path) -> tuple[str, str]:
    """Start the command, kill it or a part of it, and see that all of it ends; what was wrong in words."""
    with said.open("wb") as told:
        run = subprocess.Popen(_command(job), stdout=subprocess.DEVNULL, stderr=told, start_new_session=True)
    time.sleep(moment)
    killed = _kill_worker(run, chance) if target == "worker" else run.poll() is None
    with contextlib.suppress(ProcessLookupError):
        if target == "group":
            os.killpg(run.pid, signal.SIGKILL)
        elif target == "parent":
            run.kill()
    run.wait()
    until = time.monotonic() + ENDED_WITHIN
    while _group(run.pid):
        if time.monotonic() > until:
            for process in _group(run.pid):
                with contextlib.suppress(ProcessLookupError):
                    os.kill(process, signal.SIGKILL)
            return "outlived", "a process outlived the first"
        time.sleep(0.05)
    wrong = ""
    if target == "worker":
        # The first process goes on: it ends well without that worker, or says that it is gone.
        words = said.read_text(encoding="utf-8")
        ended = {0: "new", 2: "earlier"}.get(run.returncode)
        state, _ = job.state(job.home)
        if ended != state or "Traceback" in words or (ended == "earlier" and "worker process" not in words):
            wrong = f"ended with {run.returncode} where the outputs are {state}: {words[-300:]}"
    return ("in_time" if killed else "came_too_late"), wrong


def _kill_worker(run: subprocess.Popen[bytes], chance: random.Random) -> bool:
    """Kill one worker, once there is one; False when the run ended first."""
    while run.poll() is None:
        workers = sorted(process for process in _group(run.pid) if _is_worker(process))
        if workers:
            with contextlib.suppress(ProcessLookupError):
                os.kill(chance.choice(workers), signal.SIGKILL)
                return True
        time.sleep(0.01)
    return False


def _is_worker(process: int) -> bool:
    """Whether it does calls; the process that tracks what several share does none."""
    with contextlib.suppress(OSError):
        return b"spawn_main" in Path(f"/proc/{process}/cmdline").read_bytes()
    return False


def _group(leader: int) -> set[int]:
    """Processes of a group that live."""
    found = set()
    for path in Path("/proc").glob("[0-9]*"):
        with contextlib.suppress(OSError):
            state, _, group = (path / "stat").read_text().rpartition(")")[2].split()[:3]
            if int(group) == leader and state != "Z":
                found.add(int(path.name))
    return found


def _left(job: Job) -> list[str]:
    """What lies about beside the place, or in an archive beside what counts."""
    beside = [path.name for path in job.home.iterdir() if path.name != job.place]
    within = job.home / job.place
    return beside + [name for name in (".staging", ".catalogue.duckdb") if (within / name).exists()]


def _judge(job: Job, what: str, seen: Seen, kind: str = "") -> None:
    """Look at what stands there; then run once more, as a user would, and look again.

    The next run is made in this process, which has loaded the program already; one in batches does them here.
    """
    counts = seen.counts
    state, differing = job.state(job.home)
    counts[f"{kind}{state}"] += 1
    if state == "neither":
        seen.failure(job, f"{what}: neither the earlier nor the new outputs stand there: {differing}")
    left = _left(job)
    dead = any("." in name for folder in left for name in _names(job.home / folder))
    with _in_batches_here() if job.code == IN_BATCHES else contextlib.nullcontext():
        status, said = _run(*job.arguments, *(["--replace"] if job.name == "archive add" else []))
    counts["next_runs"] += 1
    state, differing = job.state(job.home)
    if status == 0 and state == "new":
        counts["next_runs_good"] += 1
    else:
        seen.failure(
            job, f"{what}: the next run ended with {status}, outputs {state} {differing}: {said[-300:]}"
        )
    if left:
        counts["left_over"] += 1
        told = "was ended before it was done" in said or job.name == "archive add" or not dead
        if told and not _left(job):
            counts["cleared"] += 1
        else:
            seen.failure(job, f"{what}: left {left}, after the next run {_left(job)}; it said {said[:200]}")


@contextlib.contextmanager
def _in_batches_here() -> Iterator[None]:
    """The batches of :data:`IN_BATCHES`, done in this process: the outputs are the same."""
    with (
        mock.patch.object(reading, "ROWS_A_BATCH", ROWS),
        mock.patch.object(reading, "BYTES_A_BATCH", BYTES),
        mock.patch.object(engine, "processes", lambda beside: contextlib.nullcontext(Here())),
    ):
        yield


def _names(folder: Path) -> list[str]:
    return [path.name for path in folder.iterdir()] if folder.is_dir() else []


def _every_step(job: Job, seen: Seen, most: int = 24) -> None:
    """Kill before the first step, the second, and so on; of many, evenly spread ones and the last."""
    steps = _steps(job)
    stride = -(-steps // most)
    for step in sorted({*range(1, steps + 1, stride), steps}):
        _prepare(job)
        done = subprocess.run(
            [sys.executable, "-c", AT_STEP + job.code, str(step), str(job.home), *job.arguments],
            capture_output=True,
            check=False,
        )
        if done.returncode != -signal.SIGKILL:
            # A run may take a step less than another.
            continue
        seen.counts["steps"] += 1
        _judge(job, f"{job.name}, step {step} of {steps}", seen, "steps_")


def _steps(job: Job) -> int:
    """How many steps a run takes."""
    _prepare(job)
    counting = AT_STEP + "import atexit\natexit.register(lambda: print(-left, file=sys.stderr))\n"
    done = subprocess.run(
        [sys.executable, "-c", counting + job.code, "0", str(job.home), *job.arguments],
        capture_output=True,
        text=True,
        encoding="utf-8",
        check=True,
    )
    return int(done.stderr.split()[-1])
