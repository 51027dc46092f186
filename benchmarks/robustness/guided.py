"""Fuzzing led by coverage: atheris tries what reaches new code of intake, judged as the mutator's cases are.

Goes in: a number of runs or seconds. Comes out: how many inputs were tried, what of intake they reached, and
those that failed, kept as files. Only the files of ``coldsift.intake`` are instrumented. Another version of
Python, of atheris or of a library below it leads to other inputs, with the same seed too.
"""

from __future__ import annotations

import importlib
import importlib.util
import json
import os
import re
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

from benchmarks.robustness.mutator import samples

SEED = 31
LONGEST, LONGEST_WAIT = 10, 120
"""An input that takes longer is a hang: processor time, and by the clock. [s]"""
LARGEST = 4096
"""Bytes of an input."""
MEMORY = 4096
"""The run ends when it holds more. [MiB]"""


def measure(scratch: Path, runs: int = 0, seconds: int = 120, seed: int = SEED) -> dict[str, Any]:
    """Let atheris try inputs, in a process of its own.

    Parameters
    ----------
    scratch
        Takes the inputs that reached something new, and those that failed.
    runs
        How many inputs; without end when 0.
    seconds
        After how long it ends.
    seed
        Of the inputs.

    Returns
    -------
    dict
        ``skipped`` (why nothing was tried, else empty), ``runs`` (inputs tried), ``kept`` (inputs that
        reached something new), ``edges`` (places of intake that were reached, as the library counts them),
        ``failed`` (faults of those inputs that failed), ``ended`` (empty, or how the process ended where it
        did not end well: a hang, too much memory). Counts differ from version to version.
    """
    nothing = {"skipped": "", "runs": 0, "kept": 0, "edges": 0, "failed": [], "ended": ""}
    if importlib.util.find_spec("atheris") is None:
        return nothing | {"skipped": "atheris is not installed: pip install 'coldsift[robustness]'"}
    corpus, broken = scratch / "corpus", scratch / "failed"
    for folder in (corpus, broken):
        folder.mkdir(parents=True, exist_ok=True)
    for at, sample in enumerate(samples()):
        if len(sample.data) <= LARGEST:
            (corpus / f"sample {at}").write_bytes(sample.data)
    before = len(list(corpus.iterdir()))
    options = [
        *(f"-seed={seed}", f"-runs={runs or -1}", f"-max_total_time={seconds}", f"-max_len={LARGEST}"),
        *(f"-timeout={LONGEST_WAIT}", f"-rss_limit_mb={MEMORY}", f"-artifact_prefix={broken}/"),
    ]
    done = subprocess.run(
        [sys.executable, "-m", "benchmarks.robustness.guided", str(broken), *options, str(corpus)],
        cwd=Path(__file__).parents[2],
        env=os.environ | {"POLARS_MAX_THREADS": "1"},
        capture_output=True,
        text=True,
        errors="replace",
        timeout=seconds + 120,
        check=False,
    )
    tried = [int(count) for count in re.findall(r"^#(\d+)\s", done.stderr, re.MULTILINE)]
    reached = [int(count) for count in re.findall(r"cov: (\d+)", done.stderr)]
    faults = [json.loads(path.read_text()) for path in sorted(broken.glob("*.json"))]
    return nothing | {
        "runs": max(tried, default=0),
        "kept": len(list(corpus.iterdir())) - before,
        "edges": max(reached, default=0),
        "failed": faults,
        "ended": "" if done.returncode == 0 else f"status {done.returncode}: {done.stderr[-500:]}",
    }


def _lead(broken: Path, arguments: list[str]) -> None:
    """Run in this process until atheris has had enough."""
    atheris: Any = importlib.import_module("atheris")
    with atheris.instrument_imports(include=["coldsift.intake"]):
        from coldsift.intake import read_logs
    from benchmarks.robustness.fuzz import intake_faults, warm_up

    warm_up()

    folder = broken.parent / "input"
    folder.mkdir(exist_ok=True)
    path = folder / "log.csv"

    def one(data: bytes) -> None:
        path.write_bytes(data)
        started = time.process_time()
        try:
            faults = intake_faults(read_logs([path]))
        # Also what a library written in another language raises when it panics.
        except BaseException as error:
            if isinstance(error, KeyboardInterrupt):
                raise
            faults = [f"{type(error).__name__}: {str(error)[:300]}"]
        if time.process_time() - started > LONGEST:
            faults.append("it took too long")
        if faults:
            number = len(list(broken.glob("*.json")))
            (broken / f"{number}.bin").write_bytes(data)
            (broken / f"{number}.json").write_text(json.dumps({"input": f"{number}.bin", "faults": faults}))

    atheris.Setup([sys.argv[0], *arguments], one)
    atheris.Fuzz()


if __name__ == "__main__":
    _lead(Path(sys.argv[1]), sys.argv[2:])
