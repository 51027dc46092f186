"""What the terminal shows: progress on the way, a short table at the end, plain lines in a pipe."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

import polars as pl
from rich.console import Console, RenderableType
from rich.live import Live
from rich.padding import Padding
from rich.progress_bar import ProgressBar
from rich.table import Table
from rich.text import Text

from coldsift.causes import load_catalogue
from coldsift.cli.course import Course, Position
from coldsift.cli.printable import counted, plain
from coldsift.engine import Screening
from coldsift.engine.bundles import Written
from coldsift.engine.checking import Checked, kinds_in_words
from coldsift.engine.labelled import AGAIN, USED, History, Tuned, came_true, labelled_by_group
from coldsift.engine.naming import probable
from coldsift.intake import Message
from coldsift.report.views import GROUPS
from coldsift.report.words import percent
from coldsift.schema import Table as OutputTable

FIRST_ROWS = 10
MOST_MESSAGES = 20

FIRST_LINES = 3
"""Lines named of each reason for which labels were set aside."""

SHOWN_HYPOTHESES = 5
SHOWN_CHECKS = 5
LEAST_SHOWN = 0.01
"""Hypotheses and checks listed, and the smallest chance that is."""

LONGEST_CONTAINER = 20
LONGEST_NAME = 100
LONGEST_SENTENCE = 400
"""Characters shown of a container, a file's name and one sentence: a log can hold any length."""

INDENT = 6

BAR_WIDTH = 24
LEFT_WIDTH = 18

GROUP_WORDS = {group.key: group.word.lower() for group in GROUPS}


@contextmanager
def follow(
    ending: str = "report", console: Console | None = None
) -> Iterator[Callable[[str, int, int], None]]:
    """Show one bar over the whole run with the time left on a terminal, and nothing in a pipe.

    Parameters
    ----------
    ending
        What the run ends with, one of :data:`coldsift.cli.course.ENDINGS`.
    console
        Where; the standard error stream without it.
    """
    console = console or Console(stderr=True)
    course = Course(ending)
    if not console.is_terminal or console.is_dumb_terminal:
        yield course.tell
        return
    with Live(
        get_renderable=lambda: progress_line(course.position(), console.width),
        console=console,
        transient=True,
        refresh_per_second=4,
    ):
        yield course.tell


def progress_line(position: Position, width: int) -> RenderableType:
    """What is done, the bar, the share, and the time left, in one line."""
    line = Table.grid(padding=(0, 1))
    words = max(width - BAR_WIDTH - LEFT_WIDTH - len("100 %") - 4, 10)
    line.add_column(width=words, no_wrap=True, overflow="ellipsis")
    line.add_column(width=BAR_WIDTH)
    line.add_column(justify="right", width=len("100 %"))
    line.add_column(width=LEFT_WIDTH, no_wrap=True)
    line.add_row(
        Text(plain(position.words, LONGEST_NAME)),
        ProgressBar(total=1.0, completed=position.share, width=BAR_WIDTH),
        f"{int(100 * position.share)} %",
        "" if position.left is None else left_words(position.left),
    )
    return line


def left_words(seconds: float) -> str:
    """Time left, no finer than it can be known."""
    if seconds < 5:
        return "a few seconds left"
    if seconds < 90:
        return f"about {5 * round(seconds / 5)} s left"
    if seconds < 5400:
        return f"about {seconds / 60:.0f} min left"
    return f"about {seconds / 3600:.0f} h left"


def show(screening: Screening, page: Path | str | None, console: Console | None = None) -> None:
    """Print messages, accounting, the first units and where the report is.

    Parameters
    ----------
    screening
        What was found.
    page
        The report, if one was written.
    console
        Where; the standard output without it.
    """
    console = console or _console()
    trouble = _told_once(screening.messages)
    for line in trouble[:MOST_MESSAGES]:
        console.print(Text(plain(line)))
    if len(trouble) > MOST_MESSAGES:
        rest = len(trouble) - MOST_MESSAGES
        console.print(f"… and {rest} more of these, in the report under data quality")
    rows, used, merged, aside = (
        sum(getattr(source, name) for source in screening.sources)
        for name in ("rows", "used", "merged", "set_aside")
    )
    files = counted(len(screening.sources), "file")
    containers = counted(len(screening.findings), "container")
    console.print(
        f"{files}, {counted(rows, 'row')} = {used} used + {merged} merged + {aside} set aside; {containers}"
    )
    if page is None:
        console.print("Nothing could be analysed; no report was written.")
        return
    _show_first_units(screening, console)
    counts = screening.findings["group"].cast(str).to_list()
    console.print(
        ", ".join(f"{counts.count(group)} {words}" for group, words in GROUP_WORDS.items())
        + ". Nothing found does not mean safe."
    )
    console.print(Text(plain(f"Report: {page}")))


def show_dossier(messages: Sequence[Message], written: Written) -> None:
    """Print what was wrong with the logs, the first page's answers, and where the dossier is."""
    console = _console()
    for line in _told_once(messages)[:MOST_MESSAGES]:
        console.print(Text(plain(line)))
    for answer in written.answers:
        console.print(Text(plain(answer.question), style="bold"))
        console.print(Text(plain(f"  {answer.answer}")))
        if answer.sure:
            console.print(Text(plain(f"  {answer.sure}"), style="dim"))
    if written.no_pdf:
        console.print(Text(plain(f"No PDF: {written.no_pdf}")))
    console.print(Text(plain(f"Dossier: {written.page}")))


def _console() -> Console:
    """Standard output: lines broken at words on a terminal, and left whole in a pipe."""
    console = Console(highlight=False)
    console.soft_wrap = not console.is_terminal
    return console


def _told_once(messages: Sequence[Message]) -> list[str]:
    """Errors first, then warnings; what several files share is told once. Notes are left to the report."""
    shared: dict[tuple[str, str, str], list[Message]] = {}
    for message in messages:
        if message.severity != "note":
            shared.setdefault((message.severity, message.what, message.do), []).append(message)
    lines = []
    for (severity, what, do), group in sorted(shared.items(), key=lambda entry: entry[0][0] != "error"):
        first = group[0]
        where = plain(first.file, LONGEST_NAME) + (f", line {first.line}" if first.line is not None else "")
        others = f" and {len(group) - 1} more" if len(group) > 1 else ""
        told = f"{plain(what, LONGEST_SENTENCE)} {plain(do, LONGEST_SENTENCE)}"
        lines.append(f"{severity}: {where}{others}: {told}")
    return lines


def _show_first_units(screening: Screening, console: Console) -> None:
    """The first units that are not without findings: a block each on a terminal, one line each in a pipe."""
    first = screening.findings.filter(pl.col("group").cast(pl.String) != "nothing_found").head(FIRST_ROWS)
    named = probable(first, screening.causes, load_catalogue(screening.settings.causes))
    strongest = dict(
        screening.reasons.filter(pl.col("container").is_in(first["container"].implode()))
        .sort("container", "place")
        .group_by("container", maintain_order=True)
        .first()
        .select("container", "words")
        .iter_rows()
    )
    units = []
    for row in first.iter_rows(named=True):
        container = row["container"]
        cause = named.get(container)
        words = (
            # A line may break at the blank before the sign.
            f"{cause.name}, {percent(cause.chance)}".replace("\u00a0%", "%") if cause else "",
            strongest.get(container) or row["why"] or row["cannot_tell"] or "",
            f"Check: {row['first_check']}" if row["first_check"] else "",
            f"Bring: {', '.join(cause.bring)}" if cause and cause.bring else "",
        )
        units.append(
            (
                str(row["rank"]),
                " ".join(filter(None, (plain(container, LONGEST_CONTAINER), row["position"]))),
                GROUP_WORDS[row["group"]],
                *(plain(text, LONGEST_SENTENCE) for text in words),
            )
        )
    if not console.is_terminal:
        for unit in units:
            console.print(Text("  ".join(filter(None, unit))))
        return
    if not units:
        return
    headings = ("rank", "container", "group", "probable cause, why, what to check, what to bring")
    widths = [max(map(len, column)) for column in list(zip(headings, *units, strict=False))[:3]]
    for rank, container, group, title, *rest in (headings, *units):
        line = Table.grid(padding=(0, 2, 0, 0))
        for width in widths:
            line.add_column(width=width, overflow="fold")
        line.add_column(ratio=1)
        line.add_row(rank, Text(container), group, Text(title), style="bold")
        console.print(line)
        for text in filter(None, rest):
            console.print(Padding(Text(text), (0, 0, 0, INDENT)))


def show_check(checked: Checked) -> None:
    """Print chances, evidence, advice on the leading cause, and what to see next."""
    console = _console()
    catalogue = checked.catalogue

    def line(text: str, style: str = "") -> None:
        console.print(Text(plain(text), style=style))

    if checked.answers:
        line("Seen")
        for name, seen in checked.answers.items():
            observation = catalogue.observations[name]
            line(f"  {observation.yes if seen else observation.no}")
    line(checked.container, "bold")
    for hypothesis in checked.hypotheses[:SHOWN_HYPOTHESES]:
        if hypothesis.chance < LEAST_SHOWN:
            continue
        pair = " and ".join(catalogue.name(cause) for cause in hypothesis.together)
        line(f"  {100 * hypothesis.chance:3.0f} %  {hypothesis.name}{f': {pair}' if pair else ''}", "bold")
        kinds = kinds_in_words(hypothesis, catalogue)
        if kinds:
            line(f"         {', '.join(kinds)}")
        told = checked.evidence.filter(checked.evidence["cause"] == hypothesis.id)
        for side in ("for", "against"):
            for words, odds in told.filter(told["side"] == side).select("words", "odds").iter_rows():
                factor = odds if odds >= 1 else 1 / odds
                turn = "likelier" if odds >= 1 else "less likely"
                line(f"         {side:7}  {words} ({factor:.1f} times {turn})")
    leading = next((each.id for each in checked.hypotheses if each.id in catalogue.causes), None)
    if leading and checked.hypotheses[0].id == leading:
        cause = catalogue.causes[leading]
        line(cause.name, "bold")
        for words, texts in (
            ("", (cause.about,)),
            ("Hidden by: ", cause.hidden_by),
            ("Looks the same in a log: ", (cause.told_apart,)),
            ("If it is left: ", (cause.if_left,)),
            ("Parts: ", (", ".join(cause.parts),)),
            ("Tools: ", (", ".join(cause.tools),)),
            ("Caution: ", cause.cautions),
        ):
            for text in filter(None, texts):
                line(f"  {words}{text}")
    if checked.checks:
        line("Check next", "bold")
    for place, check in enumerate(checked.checks[:SHOWN_CHECKS], start=1):
        observation = catalogue.observations[check.observation]
        risk = "" if observation.risk == "none" else f", risk: {observation.risk.replace('_', ' ')}"
        line(f"  {place}. {observation.question} ({observation.minutes:g} min{risk})  [{observation.id}]")
        line(f"     {observation.how}")
    line("Local rules, lock-out and licensed practice come first.")
    line("This advises; it never says that a unit is safe.")


def show_history(history: History) -> None:
    """Print how many labels are used and how many are not, why, and what a history leaves out."""
    console = _console()
    outcomes = history.labels["outcome"].to_list()
    used = history.used
    faults = int(used["faulty"].sum())
    aside = [outcome for outcome in dict.fromkeys(outcomes) if outcome not in (USED, AGAIN)]
    console.print(
        f"{counted(len(outcomes), 'label')} = {used.height} used ({faults} with a fault, "
        f"{used.height - faults} healthy) + {outcomes.count(AGAIN)} said again + "
        f"{sum(map(outcomes.count, aside))} set aside"
    )
    for reason in aside:
        rows = history.labels.filter(history.labels["outcome"] == reason)
        named = [
            f"line {line} {container or 'no container'}{f' {found!r}' if found else ''}"
            for line, container, found in rows.select("line", "container", "found")
            .head(FIRST_LINES)
            .iter_rows()
        ]
        more = ", …" if rows.height > FIRST_LINES else ""
        console.print(Text(plain(f"  {rows.height} set aside, {reason}: {', '.join(named)}{more}")))
    told = [f"{GROUP_WORDS[group]} {count} of {all_}" for group, count, all_ in labelled_by_group(history)]
    console.print(f"Labels used, of the units of each group: {', '.join(told)}.")
    console.print(
        "Labels of inspected units only are a biased history: of the units left alone it knows nothing, and "
        "thresholds come out too low or too high. Label the uninspected ones that arrived well as healthy, "
        "and those that did not as fault."
    )


def show_tuned(tuned: Tuned, history: History, out: Path) -> None:
    """Print whether chances came true, what old and new thresholds cost, and where the new ones are."""
    console = _console()
    console.print("Chance of a fault, said → came true, on these labels")
    for low, high, said, true, units in came_true(history.used):
        console.print(f"  {low:4.0%} to {high:4.0%}: {said:4.0%} → {true:4.0%} ({counted(units, 'unit')})")
    new = tuned.thresholds
    console.print("Cost per 100 labelled units, in minutes of one technician")
    console.print(f"  {tuned.before:7.0f}  as the runs grouped them")
    console.print(
        f"  {tuned.after:7.0f}  this round from {new.this_round:g}, watch from {new.watch:g} "
        "(on the labels it was chosen on)"
    )
    console.print(Text(plain(f"Written: {out}. Use it with: coldsift screen LOGS --thresholds {out}")))


def show_tables(tables: Mapping[str, OutputTable]) -> None:
    """Print tables and their columns."""
    console = Console(highlight=False)
    for name, entry in tables.items():
        console.print(Text(f"{name}: {entry.words}", style="bold"))
        table = Table(box=None, pad_edge=False)
        for heading in ("column", "type", "unit", "meaning"):
            table.add_column(heading)
        for column in entry.columns:
            table.add_row(
                *(Text(cell) for cell in (column.name, str(column.dtype), column.unit, column.words))
            )
        console.print(table)
        console.print()
