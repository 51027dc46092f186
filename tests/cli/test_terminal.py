"""What the terminal shows, at the widths people have, in a pipe, and on the way."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import polars as pl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len
from rich.console import Console
from typer.testing import CliRunner

import coldsift
from coldsift.causes import load_catalogue
from coldsift.cli import terminal
from coldsift.cli.app import app
from coldsift.cli.course import COUNTED, LEAST_SHARE, STAGES, TOLD_AFTER, Course, Position
from coldsift.engine import Screening
from coldsift.engine.naming import probable
from coldsift.intake import Message
from coldsift.report.cause_views import hypothesis_name

SAMPLE = Path(__file__).parents[2] / "sample_logs"
WIDTHS = (60, 80, 120)
COLOUR = re.compile(r"\x1b\[[0-9;]*\b(?:3[0-9]|4[0-9]|9[0-7]|10[0-7])(?:;[0-9;]*)?m")

GOOD = "Container,Time (UTC),Set point (°C),Supply air (°C),Return air (°C)\n" + "".join(
    f"QXAU0000016,2026-01-{1 + hour // 24:02}T{hour % 24:02}:00:00Z,-18.0,-19.1,-17.{hour % 7}\n"
    for hour in range(72)
)

Ticks = list[tuple[str, int, int]]


@pytest.fixture(scope="module")
def told() -> Ticks:
    return []


@pytest.fixture(scope="module")
def screening(told: Ticks) -> Screening:
    return coldsift.screen([SAMPLE], progress=lambda *tick: told.append(tick))


def shown(screening: Screening, width: int, *, terminal_: bool = True) -> str:
    file = io.StringIO()
    console = Console(
        width=width,
        force_terminal=terminal_,
        color_system=None,
        file=file,
        highlight=False,
        soft_wrap=not terminal_,
    )
    terminal.show(screening, Path("reports/sample/index.html"), console)
    return file.getvalue()


def in_one_line(text: str) -> str:
    return " ".join(text.split())


def with_frames(screening: Screening, **frames: pl.DataFrame) -> Screening:
    return replace(screening, analysis=replace(screening.analysis, **frames))


def first_ten(screening: Screening) -> pl.DataFrame:
    return screening.findings.filter(pl.col("group").cast(pl.String) != "nothing_found").head(10)


@pytest.mark.parametrize("width", WIDTHS)
def test_the_table_fits_and_no_word_is_broken(screening: Screening, width: int) -> None:
    text = shown(screening, width)
    assert max(cell_len(line) for line in text.splitlines()) <= width
    line = in_one_line(text)
    named = probable(screening.findings, screening.causes, load_catalogue(None))
    reasons = screening.reasons.filter(pl.col("place") == 1)
    for row in first_ten(screening).iter_rows(named=True):
        reason = reasons.filter(pl.col("container") == row["container"])["words"][0]
        cause = named[row["container"]]
        start = f"{row['rank']} {row['container']} {terminal.GROUP_WORDS[row['group']]} {cause.name}, "
        assert in_one_line(start).rstrip() in line
        assert in_one_line(reason) in line
        assert in_one_line(f"Check: {row['first_check']}") in line
        if cause.bring:
            assert in_one_line(f"Bring: {', '.join(cause.bring)}") in line


def test_the_first_ten_are_listed_in_order_and_nothing_found_is_not(screening: Screening) -> None:
    text = shown(screening, 80)
    listed = re.findall(r"^\d+ +(\w{4}\d{7})\b", text, re.MULTILINE)
    assert listed == first_ten(screening)["container"].to_list()
    others = screening.findings.filter(pl.col("group").cast(pl.String) == "nothing_found")["container"]
    assert not any(container in text for container in others)


def test_a_voyage_without_findings_lists_none_and_does_not_call_it_safe(screening: Screening) -> None:
    findings = screening.findings.with_columns(
        group=pl.lit("nothing_found").cast(screening.findings.schema["group"])
    )
    text = shown(with_frames(screening, findings=findings), 80)
    assert "Check:" not in text
    assert "rank" not in text
    assert f"{screening.findings.height} nothing found" in text
    assert "Nothing found does not mean safe." in in_one_line(text)


def test_where_a_unit_stands_is_told_with_its_number(screening: Screening) -> None:
    findings = screening.findings.with_columns(position=pl.lit("0180184"))
    text = shown(with_frames(screening, findings=findings), 80)
    assert f"{findings['container'][0]} 0180184" in text


def test_a_cause_beyond_the_catalogue_is_called_what_the_page_calls_it(screening: Screening) -> None:
    first = screening.findings["container"][0]
    likeliest = screening.findings["cause_1"][0]
    causes = screening.causes.filter(pl.col("cause") != "other_cause").with_columns(
        cause=pl.when((pl.col("container") == first) & (pl.col("cause") == likeliest))
        .then(pl.lit("other_cause"))
        .otherwise("cause")
    )
    text = in_one_line(shown(with_frames(screening, causes=causes), 120))
    name = hypothesis_name("other_cause", (), load_catalogue(None))
    assert name == "A cause that is not in the catalogue"
    assert f"{first} go now {name}, " in text
    assert "None of these" not in text


def test_a_pipe_gets_a_line_a_unit(screening: Screening) -> None:
    text = shown(screening, 60, terminal_=False)
    assert "\x1b" not in text
    lines = text.splitlines()
    first = first_ten(screening).row(0, named=True)
    (line,) = [line for line in lines if first["container"] in line]
    for part in ("go now", "  Check: ", "  Bring: ", "At the end of the log"):
        assert part in line
    assert len(line) > 60


@pytest.mark.parametrize("width", WIDTHS)
def test_a_hostile_log_neither_rewrites_nor_floods_the_terminal(screening: Screening, width: int) -> None:
    first = screening.findings["container"][0]
    bad = "\x1b[2J\u202e\r" + 10_000 * "Q"
    swap = pl.col("container").replace({first: bad})
    hostile = with_frames(
        screening,
        findings=screening.findings.with_columns(swap, position=pl.lit(None, pl.String)),
        causes=screening.causes.with_columns(swap),
        reasons=screening.reasons.with_columns(swap, words=pl.lit(bad)),
    )
    message = Message("warning", 10_000 * "f", 3, f"Holder {10_000 * 'h'} took over.", "Look at the line.")
    text = shown(replace(hostile, messages=(message,)), width)
    assert not {"\x1b", "\u202e", "\r"} & set(text)
    assert max(cell_len(line) for line in text.splitlines()) <= width
    assert len(re.findall(r"Q+", in_one_line(text))[0]) < 20
    assert text.count("Q") < 10 * 500
    assert text.count("h") < 2_000
    assert text.count("…") >= 3
    assert "Look at the line." in in_one_line(text)


def test_a_terminal_without_colour_gets_none(screening: Screening, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    file = io.StringIO()
    console = Console(width=80, force_terminal=True, color_system="truecolor", file=file, highlight=False)
    terminal.show(screening, Path("index.html"), console)
    with terminal.follow(console=console) as tell:
        for number in range(5):
            tell("log.csv", number, 5)
    assert "Reading" in file.getvalue()
    assert not COLOUR.search(file.getvalue())


def test_the_search_for_colours_would_find_one() -> None:
    assert COLOUR.search("\x1b[31mred\x1b[0m")
    assert COLOUR.search("\x1b[1;38;2;1;2;3m")
    assert not COLOUR.search("\x1b[1mbold\x1b[0m")


def test_screening_in_a_pipe_is_plain_lines_and_nothing_but_errors_beside(tmp_path: Path) -> None:
    (tmp_path / "log.csv").write_text(GOOD, encoding="utf-8")
    done = CliRunner().invoke(app, ["screen", str(tmp_path / "log.csv"), "--out", str(tmp_path / "out")])
    assert done.exit_code == 0, done.output
    assert done.stderr == ""
    assert "\x1b" not in done.stdout
    assert done.stdout.splitlines()[0].endswith("1 container")
    assert done.stdout.splitlines()[-1] == f"Report: {tmp_path / 'out' / 'index.html'}"
    refused = CliRunner().invoke(app, ["screen", str(tmp_path / "log.csv"), "--out", str(tmp_path)])
    assert refused.exit_code == 2
    assert refused.stderr.startswith("error: ")


@pytest.mark.parametrize("kind", ["pipe", "dumb"])
def test_a_pipe_and_a_terminal_that_cannot_redraw_get_no_progress(
    kind: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    if kind == "dumb":
        monkeypatch.setenv("TERM", "dumb")
    console = Console(file=io.StringIO(), force_terminal=kind == "dumb")
    with terminal.follow(console=console) as tell:
        tell("log.csv", 0, 2)
        tell("", 2, 2)
    assert isinstance(console.file, io.StringIO)
    assert console.file.getvalue() == ""


@pytest.mark.parametrize("width", WIDTHS)
def test_progress_is_one_line_with_bar_share_and_time_left(width: int) -> None:
    for words in ("Reading", f"Reading {3 * 'long name '}{500 * 'x'}.csv\x1b[2J"):
        file = io.StringIO()
        console = Console(width=width, force_terminal=True, color_system=None, file=file)
        console.print(terminal.progress_line(Position(words, 0.5, 42.0), width))
        (line,) = file.getvalue().splitlines()
        assert cell_len(line) <= width
        assert "\x1b" not in line
        assert "50 %" in line
        assert "about 40 s left" in line
        assert "━" in line


def test_time_left_is_told_no_finer_than_it_is_known() -> None:
    assert terminal.left_words(3) == "a few seconds left"
    assert terminal.left_words(42) == "about 40 s left"
    assert terminal.left_words(200) == "about 3 min left"
    assert terminal.left_words(8000) == "about 2 h left"
    longest = max(len(terminal.left_words(seconds)) for seconds in range(100_000))
    assert longest <= terminal.LEFT_WIDTH


class Run:
    """A run on a clock of its own: stages that take what they are told to take."""

    def __init__(self, ending: str = "report") -> None:
        self.now = 0.0
        self.course = Course(ending, lambda: self.now)
        self.seen: list[tuple[float, Position]] = []

    def look(self, seconds: float) -> None:
        end = self.now + seconds
        while self.now < end:
            self.seen.append((self.now, self.course.position()))
            self.now += min(0.25, end - self.now)

    def stage(self, name: str, seconds: float, steps: int = 20) -> None:
        if name == "reading":
            for step in range(steps):
                self.course.tell(f"log_{step}.csv", step, steps)
                self.look(seconds / steps)
        elif name == "sorting":
            self.course.tell("", steps, steps)
            self.look(seconds)
        elif name in COUNTED:
            for step in range(steps):
                self.course.tell(name, step, steps)
                self.look(seconds / steps)
        else:
            self.course.tell(name, 3, 6)
            self.look(seconds)


def sail(factors: dict[str, float]) -> Run:
    run = Run()
    for name, (seconds, _) in STAGES.items():
        if name != "dossier":
            run.stage(name, seconds * factors.get(name, 1.0))
    return run


def test_the_bar_only_goes_forward_and_is_full_only_at_the_end() -> None:
    run = sail({})
    shares = [position.share for _, position in run.seen]
    assert shares == sorted(shares)
    assert shares[0] == 0.0
    assert 0.95 < shares[-1] <= 1.0
    assert all(share < 1.0 for share in shares)


def test_time_left_is_right_when_stages_take_what_they_usually_take() -> None:
    run = sail({})
    for now, position in run.seen:
        if position.left is not None:
            assert position.left == pytest.approx(run.now - now, abs=max(0.15 * run.now, 2))


def test_time_left_is_told_only_once_the_run_has_gone_on() -> None:
    run = sail({})
    for now, position in run.seen:
        assert (position.left is None) == (now < TOLD_AFTER or position.share < LEAST_SHARE)
    assert run.seen[-1][1].left is not None


@given(st.fixed_dictionaries({name: st.floats(0.2, 4.0) for name in STAGES if name != "dossier"}))
def test_time_left_never_jumps_wildly(factors: dict[str, float]) -> None:
    run = sail(factors)
    told = [(now, position.left) for now, position in run.seen if position.left is not None]
    for (before, earlier), (now, later) in pairwise(told):
        assert abs(later - earlier) <= 0.25 + 0.06 * max(earlier, run.now) * (now - before) / 0.25
    shares = [position.share for _, position in run.seen]
    assert shares == sorted(shares)


def test_between_two_files_the_bar_goes_on_but_never_past_the_next() -> None:
    run = Run()
    for number, name in enumerate(("one.csv", "two.csv", "huge.csv")):
        run.course.tell(name, number, 4)
        run.look(1.0)
    first = run.course.position().share
    run.look(1000.0)
    end = STAGES["reading"][0] / sum(seconds for name, (seconds, _) in STAGES.items() if name != "dossier")
    assert first < run.seen[-1][1].share <= 0.75 * end


def test_a_file_may_be_called_what_it_likes() -> None:
    run = Run()
    run.course.tell("cargo", 0, 2)
    assert run.course.position() == Position("Reading cargo", 0.0, None)
    run.course.tell("report", 1, 2)
    assert run.course.position().words == "Reading report"
    assert run.course.position().share < 0.2


def test_every_stage_that_the_engine_tells_of_has_its_words(screening: Screening, told: Ticks) -> None:
    assert screening.findings.height > 0
    names = [what for what, _, _ in told]
    after_reading = names[names.index("") + 1 :]
    assert set(after_reading) == STAGES.keys() - {"reading", "sorting", "report", "dossier"}
    assert [name for name in STAGES if name in after_reading] == list(dict.fromkeys(after_reading))


def test_a_stage_that_is_not_known_stops_nothing() -> None:
    run = Run()
    run.stage("reading", 3.0)
    run.stage("sorting", 1.0)
    before = run.course.position().share
    run.course.tell("something new", 0, 1)
    assert run.course.position().words == "something new"
    assert run.course.position().share == pytest.approx(before, abs=0.02)
