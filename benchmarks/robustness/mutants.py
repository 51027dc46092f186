"""Whether the tests notice when the code of features and excursions is changed.

Goes in: a folder for results. Comes out: how many of the sampled changes (mutants) make a test fail, and the
list of those that do not.

The changes are cosmic-ray's operators, of each family the replacement that is nearest to the original, and
one of our own: a method of an expression gives way to its opposite (``first`` to ``last``). cosmic-ray's own
runner starts a process for each mutant, which costs more than the tests; mutmut changes function bodies
alone, while the catalogue of features and the signs that a probe erred stand outside any. So a mutant here
is a fork of a process that has loaded the libraries and none of what is changed: it imports the changed
module in place of the written one, and runs the tests that run the changed line, those of the module's own
test files first, up to the first that fails. Of a change within one feature's entry of the catalogue, those
tests that name it.
"""

from __future__ import annotations

import ast
import hashlib
import importlib.abc
import importlib.machinery
import importlib.util
import json
import os
import random
import re
import resource
import signal
import subprocess
import sys
import time
import tomllib
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from functools import cache, partial
from pathlib import Path
from types import CodeType, ModuleType
from typing import Any, NoReturn

import parso.python.tree
from cosmic_ray.ast import ast_nodes, get_ast
from cosmic_ray.mutating import mutate_code
from cosmic_ray.operators import (
    binary_operator_replacement,
    boolean_replacer,
    comparison_operator_replacement,
    number_replacer,
    unary_operator_replacement,
)
from cosmic_ray.operators.operator import Operator

ROOT = Path(__file__).parents[2]
SOURCES = ROOT / "src"
LOOKED_AT = Path(__file__).with_name("survivors.toml")

TESTS: Mapping[str, Sequence[str]] = {
    "features": (
        "tests/features",
        "tests/outside/test_circuit_features.py",
        "tests/outside/test_pull_down_fit.py",
        # The gaps rest on two figures of the warm-up.
        "tests/excursions/test_gaps.py",
    ),
    "excursions": (
        "tests/excursions",
        "tests/outside/test_excursion_bounds.py",
        "tests/outside/test_kinetic_temperature.py",
    ),
}
"""What is run against the mutants of each package."""

ELSEWHERE = ("test_features_are_the_same_on_any_number_of_threads",)
"""Tests that start a Python of their own, which does not see the mutant."""

LIBRARIES = (
    *("CoolProp.CoolProp", "hypothesis.strategies", "numpy.random", "polars.testing", "pytest"),
    *("scipy.integrate", "scipy.optimize", "scipy.special", "scipy.stats", "coldsift.regimes"),
)
"""What the tests need, and does not need what is changed."""

CPU_SECONDS = 60
"""A mutant that takes longer is held for one that hangs."""

FEW = 8
"""Tests that are run before the others are loaded."""

WALL_SECONDS = 900
"""Likewise for one that waits without working, on a machine that has other things to do."""

_BINARY = {
    "Add_Sub",
    "Sub_Add",
    "Mul_Div",
    "Div_Mul",
    "BitAnd_BitOr",
    "BitOr_BitAnd",
    "Pow_Mul",
    "Mod_FloorDiv",
}
_BINARY |= {"FloorDiv_Mod", "RShift_LShift", "LShift_RShift"}
_COMPARISONS = {"Gt_GtE", "GtE_Gt", "Lt_LtE", "LtE_Lt", "Gt_LtE", "GtE_Lt", "Lt_GtE", "LtE_Gt"}
_COMPARISONS |= {"Eq_NotEq", "NotEq_Eq", "Is_IsNot", "IsNot_Is"}
_UNARY = {"Delete_USub", "Delete_Invert", "Delete_Not"}

_PAIRS = (
    ("first", "last"),
    ("min", "max"),
    ("min_horizontal", "max_horizontal"),
    ("minimum", "maximum"),
    ("fmin", "fmax"),
    ("arg_min", "arg_max"),
    ("argmin", "argmax"),
    ("any", "all"),
    ("any_horizontal", "all_horizontal"),
    ("mean", "median"),
    ("forward_fill", "backward_fill"),
    ("is_null", "is_not_null"),
)
OPPOSITES = dict(_PAIRS) | {second: first for first, second in _PAIRS}


class OppositeMethod(Operator):  # type: ignore[misc]
    """A method's opposite in its place."""

    def mutation_positions(self, node: Any) -> Iterator[tuple[tuple[int, int], tuple[int, int]]]:
        """Where this operator can change a node."""
        if isinstance(node, parso.python.tree.Name) and node.value in OPPOSITES:
            before = node.get_previous_leaf()
            if before is not None and before.value == ".":
                yield node.start_pos, node.end_pos

    def mutate(self, node: Any, index: int) -> Any:
        """Change it."""
        node.value = OPPOSITES[node.value]
        return node

    @classmethod
    def examples(cls) -> tuple[()]:
        """None are wanted here."""
        return ()


def _operators() -> dict[str, Operator]:
    def of(classes: Iterable[type[Operator]], wanted: set[str]) -> Iterator[type[Operator]]:
        return (each for each in classes if each.__name__.split("Operator_")[-1] in wanted)

    classes = (
        number_replacer.NumberReplacer,
        boolean_replacer.ReplaceTrueWithFalse,
        boolean_replacer.ReplaceFalseWithTrue,
        boolean_replacer.ReplaceAndWithOr,
        boolean_replacer.ReplaceOrWithAnd,
        boolean_replacer.AddNot,
        *of(binary_operator_replacement.operators(), _BINARY),
        *of(comparison_operator_replacement.operators(), _COMPARISONS),
        *of(unary_operator_replacement.operators(), _UNARY),
        OppositeMethod,
    )
    return {each.__name__: each() for each in classes}


OPERATORS = _operators()


@dataclass(frozen=True, slots=True, order=True)
class Mutant:
    """One change of one place.

    Attributes
    ----------
    file
        Module, from ``src/coldsift`` on.
    operator, occurrence
        What is changed, and which of all such places of the file.
    line
        Its line number.
    within
        Function, feature or constant that the place belongs to.
    """

    file: str
    operator: str
    occurrence: int
    line: int
    within: str

    @property
    def is_figure(self) -> bool:
        """Whether it changes a number that stands outside any function: a scale, a threshold, a factor."""
        number = self.operator in {"NumberReplacer", "ReplaceUnaryOperator_Delete_USub"}
        return number and not _module(self.file).in_function(self.line)


@dataclass(frozen=True, slots=True)
class Verdict:
    """What became of a mutant.

    Attributes
    ----------
    outcome
        ``killed``, ``killed_by_error``, ``killed_by_limit``, ``no_test`` or ``survived``.
    by
        Test that failed.
    text, becomes
        The line as it is, and as it was changed.
    """

    outcome: str
    by: str
    text: str
    becomes: str


class _Module:
    """What is known of a module's text: statements, annotations, and what each line belongs to."""

    def __init__(self, file: str) -> None:
        self.path = SOURCES / "coldsift" / file
        self.name = "coldsift." + file.removesuffix(".py").replace("/", ".").removesuffix(".__init__")
        self.text = self.path.read_text()
        self.tree = ast.parse(self.text)
        self.lines = self.text.splitlines()
        self._annotations = [
            span
            for node in ast.walk(self.tree)
            for span in (getattr(node, "annotation", None), getattr(node, "returns", None))
            if isinstance(span, ast.expr)
        ]

    def is_annotation(self, line: int, column: int) -> bool:
        """Whether a place is never evaluated."""
        return any(
            (span.lineno, span.col_offset)
            <= (line, column)
            < (span.end_lineno or 0, span.end_col_offset or 0)
            for span in self._annotations
        )

    def statement(self, line: int) -> range:
        """Lines of the innermost statement at a line, of a compound one its heading."""
        found = range(line, line + 1)
        for node in ast.walk(self.tree):
            if isinstance(node, ast.stmt) and node.lineno <= line <= (node.end_lineno or 0):
                body = getattr(node, "body", None)
                end = body[0].lineno if body else (node.end_lineno or 0) + 1
                if line < max(end, node.lineno + 1):
                    found = range(node.lineno, max(end, node.lineno + 1))
        return found

    def in_function(self, line: int) -> bool:
        """Whether a line belongs to a function."""
        return any(
            isinstance(node, ast.FunctionDef) and node.lineno <= line <= (node.end_lineno or 0)
            for node in ast.walk(self.tree)
        )

    def within(self, line: int) -> str:
        """Function, feature or constant that a line belongs to."""
        name = ""
        for node in ast.walk(self.tree):
            if not (getattr(node, "lineno", 10**9) <= line <= (getattr(node, "end_lineno", None) or 0)):
                continue
            match node:
                case ast.FunctionDef() | ast.ClassDef():
                    name = f"{name}.{node.name}" if name else node.name
                case ast.Assign(targets=[ast.Name(id=target)]) | ast.AnnAssign(target=ast.Name(id=target)):
                    name = name or target
                case ast.Call(
                    func=ast.Name(id="Feature" | "Evidence"), args=[ast.Constant(value=str(first)), *_]
                ):
                    name = first
        return name


@cache
def _module(file: str) -> _Module:
    return _Module(file)


@cache
def mutants() -> Sequence[Mutant]:
    """All of them, in a fixed order."""
    found = []
    for package in TESTS:
        for path in sorted((SOURCES / "coldsift" / package).glob("*.py")):
            file = f"{package}/{path.name}"
            module = _module(file)
            nodes = list(ast_nodes(get_ast(module.text)))
            for name, operator in OPERATORS.items():
                places = [start for node in nodes for start, _ in operator.mutation_positions(node)]
                found += [
                    Mutant(file, name, occurrence, line, module.within(line))
                    for occurrence, (line, column) in enumerate(places)
                    if not module.is_annotation(line, column)
                ]
    return tuple(sorted(found))


def _changed(mutant: Mutant) -> str:
    text: str = mutate_code(_module(mutant.file).text, OPERATORS[mutant.operator], mutant.occurrence)
    return text


def _changed_line(before: str, after: str) -> tuple[str, str]:
    pairs = zip(before.splitlines(), after.splitlines(), strict=True)
    old, new = next(((old, new) for old, new in pairs if old != new), ("", ""))
    return " ".join(old.split()), " ".join(new.split())


class _InItsPlace(importlib.machinery.SourceFileLoader):
    """Loads a text in place of the module's file."""

    text = ""

    def get_code(self, fullname: str) -> CodeType:
        return compile(self.text, self.path, "exec", dont_inherit=True)


class _Finder(importlib.abc.MetaPathFinder):
    def __init__(self, module: _Module, text: str) -> None:
        self.module, self.text = module, text

    def find_spec(
        self, fullname: str, path: Sequence[str] | None, target: ModuleType | None = None
    ) -> importlib.machinery.ModuleSpec | None:
        if fullname != self.module.name:
            return None
        loader = _InItsPlace(fullname, str(self.module.path))
        loader.text = self.text
        return importlib.util.spec_from_file_location(fullname, self.module.path, loader=loader)


class _Chosen:
    """Runs some tests in an order, and writes down the first that failed."""

    def __init__(self, order: Mapping[str, int] | None, said: Path) -> None:
        self.order, self.said = order, said

    def pytest_collection_modifyitems(self, items: list[Any]) -> None:
        """Leave out what is not wanted, and sort the rest."""
        items[:] = [item for item in items if item.originalname not in ELSEWHERE]
        if self.order is not None:
            order = self.order
            items[:] = sorted(
                (item for item in items if item.nodeid in order), key=lambda item: order[item.nodeid]
            )

    def pytest_runtest_logreport(self, report: Any) -> None:
        """A test has failed."""
        if report.failed:
            self.said.write_text(report.nodeid)


class _Contexts:
    """Tells coverage which test runs, and how long each took."""

    def __init__(self, measuring: Any) -> None:
        self.measuring = measuring
        self.seconds: dict[str, float] = {}

    def pytest_runtest_logstart(self, nodeid: str) -> None:
        """A test begins."""
        self.measuring.switch_context(nodeid)

    def pytest_runtest_logreport(self, report: Any) -> None:
        """A phase of a test has ended."""
        self.seconds[report.nodeid] = self.seconds.get(report.nodeid, 0.0) + report.duration


def _run_tests(paths: Sequence[str], plugins: list[Any], scratch: Path) -> int:
    import pytest

    os.chdir(ROOT)
    options = ["-x", "-q", "--noconftest", "-p", "no:xdist", "-p", "no:cacheprovider", "--no-header"]
    options += ["--basetemp", str(scratch / "temporary"), "-W", "ignore::pytest.PytestAssertRewriteWarning"]
    return int(pytest.main([*options, *paths], plugins=plugins))


def _in_a_fork(scratch: Path, work: Any, cpu_seconds: int) -> int | None:
    """Exit code of some work, None where a limit ended it."""
    process = os.fork()
    if process == 0:
        _leave_with(work, scratch, cpu_seconds)
    last = time.monotonic() + WALL_SECONDS
    while time.monotonic() < last:
        ended, status = os.waitpid(process, os.WNOHANG)
        if ended:
            if os.WIFSIGNALED(status):
                return None if os.WTERMSIG(status) == signal.SIGXCPU else 128 + os.WTERMSIG(status)
            return os.WEXITSTATUS(status)
        time.sleep(0.02)
    os.kill(process, signal.SIGKILL)
    os.waitpid(process, 0)
    return None


def _leave_with(work: Any, scratch: Path, cpu_seconds: int) -> NoReturn:
    code = 70
    try:
        output = os.open(scratch / "output.txt", os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
        os.dup2(output, 1)
        os.dup2(output, 2)
        # The soft limit's signal ends the process; the time of the parent does not count.
        resource.setrlimit(resource.RLIMIT_CPU, (cpu_seconds, cpu_seconds + 5))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        code = work()
    finally:
        sys.stdout.flush()
        os._exit(code)


class _Baseline:
    """Which tests run which line of a package, and how long each takes."""

    def __init__(self, package: str, scratch: Path) -> None:
        kept = scratch / f"{package}-baseline.json"
        key = _digest([*_test_files(package), *(SOURCES / "coldsift").rglob("*.py")])
        known = json.loads(kept.read_text()) if kept.is_file() else {}
        if known.get("key") != key:
            code = _in_a_fork(scratch, lambda: self._measure(package, scratch, kept, key), 600)
            if code != 0:
                message = f"the tests of {package} fail without any mutant: see {scratch / 'output.txt'}"
                raise RuntimeError(message)
            known = json.loads(kept.read_text())
        self.seconds: dict[str, float] = known["seconds"]
        self.lines: dict[str, dict[str, list[str]]] = known["lines"]

    @staticmethod
    def _measure(package: str, scratch: Path, kept: Path, key: str) -> int:
        import coverage

        data = scratch / f"{package}.coverage"
        data.unlink(missing_ok=True)
        measuring = coverage.Coverage(
            data_file=str(data), config_file=False, source=[str(SOURCES / "coldsift" / package)]
        )
        measuring.start()
        contexts = _Contexts(measuring)
        code = _run_tests(TESTS[package], [_Chosen(None, scratch / "failed.txt"), contexts], scratch)
        measuring.stop()
        found = measuring.get_data()
        lines = {
            f"{package}/{Path(path).name}": {
                str(line): tests for line, tests in found.contexts_by_lineno(path).items()
            }
            for path in found.measured_files()
        }
        kept.write_text(json.dumps({"key": key, "seconds": contexts.seconds, "lines": lines}))
        return code

    def tests(self, mutant: Mutant) -> list[str]:
        """Tests that may notice a mutant, the likeliest and quickest first."""
        statement = _module(mutant.file).statement(mutant.line)
        lines = self.lines.get(mutant.file, {})
        found = {test for line in statement for test in lines.get(str(line), ())}
        if "" in found:
            # Run at import: by all.
            found = set(self.seconds)
            if f'    Feature(\n        "{mutant.within}",' in _module(mutant.file).text:
                found = {test for test in found if _speaks_of(test, mutant.within)}
        stem = Path(mutant.file).stem

        def rank(test: str) -> tuple[bool, float, str]:
            return stem not in test, self.seconds[test], test

        return sorted(found, key=rank)


@cache
def _functions(file: str) -> tuple[dict[str, str], str]:
    """Text of each test function of a file, and what stands outside them."""
    text = (ROOT / file).read_text()
    lines = text.splitlines()
    functions, outside = {}, list(lines)
    for node in ast.parse(text).body:
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test_"):
            begin = min([node.lineno, *(each.lineno for each in node.decorator_list)]) - 1
            functions[node.name] = "\n".join(lines[begin : node.end_lineno])
            outside[begin : node.end_lineno] = [""] * ((node.end_lineno or 0) - begin)
    return functions, "\n".join(outside)


def _speaks_of(test: str, feature: str) -> bool:
    """Whether a test names a feature or goes through all of them."""
    file, _, name = test.partition("[")[0].partition("::")
    functions, outside = _functions(file)
    named = re.compile(rf"\b{re.escape(feature)}(_now|_shift|_trend|_abruptness)?\b|\bFEATURES\b")
    imports = re.compile(r"^from .*FEATURES.*$", re.MULTILINE)
    return bool(named.search(functions.get(name, "")) or named.search(imports.sub("", outside)))


def _test_files(package: str) -> list[Path]:
    found = [ROOT / "tests" / "builders.py"]
    for path in (ROOT / name for name in TESTS[package]):
        found += sorted(path.rglob("*.py")) if path.is_dir() else [path]
    return found


def _digest(paths: Iterable[Path]) -> str:
    whole = hashlib.sha256()
    for path in sorted(paths):
        whole.update(f"{path.name}\0".encode() + path.read_bytes())
    return whole.hexdigest()


def _judge(mutant: Mutant, baseline: _Baseline, scratch: Path) -> Verdict:
    module, text = _module(mutant.file), _changed(mutant)
    before, becomes = _changed_line(module.text, text)
    tests = baseline.tests(mutant)
    if not tests:
        return Verdict("no_test", "", before, becomes)
    said = scratch / "failed.txt"
    said.unlink(missing_ok=True)

    def work(some: Sequence[str]) -> int:
        sys.meta_path.insert(0, _Finder(module, text))
        paths = list(dict.fromkeys(test.split("::")[0] for test in some))
        return _run_tests(paths, [_Chosen({test: place for place, test in enumerate(some)}, said)], scratch)

    # The few first notice most; loading the others costs as much as running these.
    code: int | None = 0
    for some in (tests[:FEW], tests[FEW:]):
        if some and code == 0:
            code = _in_a_fork(scratch, partial(work, some), CPU_SECONDS)
    by = said.read_text() if said.is_file() else ""
    outcome = "killed" if by else "killed_by_error"
    if code == 0:
        outcome = "survived"
    elif code is None:
        outcome = "killed_by_limit"
    return Verdict(outcome, by, before, becomes)


def _load_libraries() -> None:
    """Load what every mutant needs; none of what is changed, and no thread that a fork would miss."""
    sys.path[:0] = [str(SOURCES), str(ROOT)]
    for name in LIBRARIES:
        importlib.import_module(name)
    import hypothesis

    # The same draws every time.
    hypothesis.settings.register_profile("fixed", derandomize=True, database=None, deadline=None)
    hypothesis.settings.load_profile("fixed")
    changed = tuple(f"coldsift.{package}" for package in TESTS)
    if loaded := [name for name in sys.modules if name.startswith(changed)]:
        message = f"already loaded, and so not to be changed: {loaded}"
        raise RuntimeError(message)


def run(scratch: Path, sample: int, seed: int) -> None:
    """Judge a sample of the mutants; what is known from an earlier run of the same code and tests is kept.

    A mutant that a test has killed stays so while that test's file is the same; a survivor is tried again
    when any test has changed.
    """
    scratch.mkdir(parents=True, exist_ok=True)
    _load_libraries()
    baselines = {package: _Baseline(package, scratch) for package in TESTS}
    tests = {package: _digest(_test_files(package)) for package in TESTS}
    kept = scratch / "verdicts.jsonl"
    known: dict[str, dict[str, Any]] = {}
    if kept.is_file():
        known = {each["key"]: each for each in map(json.loads, kept.read_text().splitlines())}
    for mutant in chosen(sample, seed):
        package = mutant.file.split("/")[0]
        key = _key(mutant)
        earlier = known.get(key)
        if earlier and earlier["tests"] in (tests[package], _killer(earlier["by"])):
            continue
        verdict = _judge(mutant, baselines[package], scratch)
        rests_on = _killer(verdict.by) or tests[package]
        with kept.open("a") as file:
            file.write(json.dumps({"key": key, "tests": rests_on, **asdict(verdict)}) + "\n")


def _key(mutant: Mutant) -> str:
    text = hashlib.sha256(_module(mutant.file).text.encode()).hexdigest()[:16]
    return f"{mutant.file} {mutant.operator} {mutant.occurrence} {text}"


def _killer(test: str) -> str:
    path = ROOT / test.partition("::")[0]
    return _digest([path]) if test and path.is_file() else ""


def chosen(sample: int, seed: int) -> list[Mutant]:
    """So many of the mutants, drawn by a seed: a larger sample holds the smaller ones."""
    whole = list(mutants())
    random.Random(seed).shuffle(whole)
    return whole[:sample]


def measure(scratch: Path, sample: int = 600, seed: int = 9) -> dict[str, Any]:
    """Judge a sample of the mutants of features and excursions.

    Parameters
    ----------
    scratch
        Folder for results: a run that was broken off goes on from there.
    sample
        How many mutants.
    seed
        Which ones.

    Returns
    -------
    dict
        ``mutants`` (all there are), ``sampled``, ``seed``; counts by outcome: ``killed`` (a test failed),
        ``killed_by_error`` (something no longer loads, or the process died), ``killed_by_limit`` (ran out of
        time), ``no_test`` (no test runs the line), ``survived``; ``killed_share`` of the sample, all three
        kinds, and its ``interval`` (Wilson, 95 %); of what was not killed how many are ``equivalent`` (change
        nothing that can be seen), ``figure`` (a figure of judgement, for which no outside value exists),
        noticed ``elsewhere`` (by a test that is not run here), ``untested`` and ``not_looked_at``;
        ``killed_share_but_equivalent``, equivalent ones left out; ``parts``, the same by package, of each
        ``code`` and ``figures`` (numbers outside functions: scales, thresholds, factors); and ``survivors``,
        each with ``file``, ``line``, ``within``, ``text``, ``becomes``, ``verdict`` and ``why``.
    """
    folder = scratch / "mutants"
    subprocess.run(
        [sys.executable, "-m", "benchmarks.robustness.mutants", str(folder), str(sample), str(seed)],
        check=True,
        cwd=ROOT,
        env=os.environ | {"POLARS_MAX_THREADS": "1", "OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"},
    )
    return counted(folder, sample, seed)


def counted(folder: Path, sample: int, seed: int) -> dict[str, Any]:
    """Count what :func:`run` has found, as :func:`measure` gives it."""
    known = {
        each["key"]: each for each in map(json.loads, (folder / "verdicts.jsonl").read_text().splitlines())
    }
    drawn = [(mutant, known[_key(mutant)]) for mutant in chosen(sample, seed) if _key(mutant) in known]
    drawn.sort(key=lambda pair: (pair[0].file, pair[0].line, pair[1]["becomes"]))
    survivors = {
        mutant: {
            "file": mutant.file,
            "line": mutant.line,
            "within": mutant.within,
            "text": verdict["text"],
            "becomes": verdict["becomes"],
            **_looked_at(mutant, verdict["text"], verdict["becomes"]),
        }
        for mutant, verdict in drawn
        if verdict["outcome"] in {"survived", "no_test"}
    }
    parts = {
        f"{package}, {what}": _counts(
            [verdict for mutant, verdict in drawn if of(mutant)],
            [each for mutant, each in survivors.items() if of(mutant)],
        )
        for package in TESTS
        for what in ("code", "figures")
        for of in [partial(_is_of, package, what)]
    }
    return {
        "mutants": len(mutants()),
        "seed": seed,
        **_counts([verdict for _, verdict in drawn], list(survivors.values())),
        "parts": parts,
        "survivors": list(survivors.values()),
    }


def _is_of(package: str, what: str, mutant: Mutant) -> bool:
    return mutant.file.startswith(f"{package}/") and mutant.is_figure == (what == "figures")


_OUTCOMES = ("killed", "killed_by_error", "killed_by_limit", "no_test", "survived")
_VERDICTS = ("equivalent", "figure", "elsewhere", "untested", "not_looked_at")


def _counts(
    verdicts: Sequence[Mapping[str, str]], survivors: Sequence[Mapping[str, object]]
) -> dict[str, Any]:
    outcomes = Counter(verdict["outcome"] for verdict in verdicts)
    looked = Counter(str(each["verdict"]) for each in survivors)
    killed = sum(count for outcome, count in outcomes.items() if outcome.startswith("killed"))
    sampled = len(verdicts)
    return {
        "sampled": sampled,
        **{outcome: outcomes[outcome] for outcome in _OUTCOMES},
        **{verdict: looked[verdict] for verdict in _VERDICTS},
        "killed_share": round(killed / max(sampled, 1), 4),
        "interval": _wilson(killed, sampled),
        "killed_share_but_equivalent": round(killed / max(sampled - looked["equivalent"], 1), 4),
    }


def _wilson(hits: int, count: int) -> list[float]:
    """Range of a share, 95 %: Wilson's score interval."""
    if not count:
        return [0.0, 1.0]
    z, share = 1.959964, hits / count
    middle = (share + z * z / (2 * count)) / (1 + z * z / count)
    half = z / (1 + z * z / count) * (share * (1 - share) / count + z * z / (4 * count * count)) ** 0.5
    return [round(middle - half, 4), round(middle + half, 4)]


@cache
def _verdicts() -> Sequence[Mapping[str, str]]:
    found: list[Mapping[str, str]] = tomllib.loads(LOOKED_AT.read_text())["survivor"]
    return found


def _looked_at(mutant: Mutant, text: str, becomes: str) -> dict[str, str]:
    """What was said of a survivor: the first entry whose patterns all fit."""
    place = {"file": mutant.file, "within": mutant.within, "text": text, "becomes": becomes}
    place["kind"] = "figure" if mutant.is_figure else "code"
    for entry in _verdicts():
        if all(re.fullmatch(entry[name], place[name]) for name in place if name in entry):
            return {"verdict": entry["verdict"], "why": entry["why"]}
    return {"verdict": "not_looked_at", "why": ""}


if __name__ == "__main__":
    run(Path(sys.argv[1]), int(sys.argv[2]), int(sys.argv[3]))
