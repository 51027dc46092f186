"""What the terminal shows: progress on the way, a short table at the end, plain lines in a pipe."""

from __future__ import annotations

import unicodedata
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeRemainingColumn
from rich.table import Table
from rich.text import Text

from coldsift.causes import load_catalogue
from coldsift.engine import Screening
from coldsift.engine.bundles import Written
from coldsift.engine.checking import Checked, kinds_in_words
from coldsift.engine.labelled import AGAIN, USED, History, Tuned, came_true, labelled_by_group
from coldsift.intake import Message
from coldsift.schema import Table as OutputTable

FIRST_ROWS = 10
MOST_MESSAGES = 20

FIRST_LINES = 3
"""Lines named of each reason for which labels were set aside."""

SHOWN_HYPOTHESES = 5
SHOWN_CHECKS = 5
LEAST_SHOWN = 0.01
"""Hypotheses and checks listed, and the smallest chance that is."""

GROUP_WORDS = {
    "go_now": "go now",
    "this_round": "this round",
    "watch": "watch",
    "nothing_found": "nothing found",
    "cannot_tell": "cannot tell",
}


def plain(text: str) -> str:
    """Text from a log without control and direction characters, which can rewrite a terminal."""
    return "".join("\ufffd" if unicodedata.category(letter) in {"Cc", "Cf"} else letter for letter in text)


@contextmanager
def follow() -> Iterator[Callable[[str, int, int], None]]:
    """Show progress with the time left on a terminal, and nothing in a pipe."""
    console = Console(stderr=True)
    columns = (TextColumn("{task.description}"), BarColumn(), TextColumn("{task.completed}/{task.total}"))
    with Progress(
        *columns, TimeRemainingColumn(), console=console, transient=True, disable=not console.is_terminal
    ) as bar:
        task = bar.add_task("reading", total=None)

        def tell(what: str, done: int, total: int) -> None:
            bar.update(task, description=plain(what), completed=done, total=total)

        yield tell


def show(screening: Screening, page: Path | None) -> None:
    """Print messages, accounting, the first units and where the report is."""
    console = Console(highlight=False, soft_wrap=not Console().is_terminal)
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
    files = _counted(len(screening.sources), "file")
    containers = _counted(len(screening.findings), "container")
    console.print(
        f"{files}, {_counted(rows, 'row')} = {used} used + {merged} merged + {aside} set aside; {containers}"
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
    console.print(Text(f"Report: {page}"))


def show_dossier(screening: Screening, written: Written) -> None:
    """Print what was wrong with the logs, the first page's answers, and where the dossier is."""
    console = Console(highlight=False, soft_wrap=not Console().is_terminal)
    for line in _told_once(screening.messages)[:MOST_MESSAGES]:
        console.print(Text(plain(line)))
    for answer in written.answers:
        console.print(Text(plain(answer.question), style="bold"))
        console.print(Text(plain(f"  {answer.answer}")))
        if answer.sure:
            console.print(Text(plain(f"  {answer.sure}"), style="dim"))
    if written.no_pdf:
        console.print(Text(plain(f"No PDF: {written.no_pdf}")))
    console.print(Text(f"Dossier: {written.page}"))


def _counted(count: int, word: str) -> str:
    return f"{count} {word}{'' if count == 1 else 's'}"


def _told_once(messages: Sequence[Message]) -> list[str]:
    """Errors first, then warnings; what several files share is told once. Notes are left to the report."""
    shared: dict[tuple[str, str, str], list[Message]] = {}
    for message in messages:
        if message.severity != "note":
            shared.setdefault((message.severity, message.what, message.do), []).append(message)
    lines = []
    for (severity, what, do), group in sorted(shared.items(), key=lambda entry: entry[0][0] != "error"):
        first = group[0]
        where = first.file + (f", line {first.line}" if first.line is not None else "")
        others = f" and {len(group) - 1} more" if len(group) > 1 else ""
        lines.append(f"{severity}: {where}{others}: {what} {do}")
    return lines


def _show_first_units(screening: Screening, console: Console) -> None:
    """The first units that are not without findings: a table on a terminal, one line each in a pipe."""
    first = screening.findings.filter(screening.findings["group"].cast(str) != "nothing_found").head(
        FIRST_ROWS
    )
    catalogue = load_catalogue(screening.settings.causes)
    rows: list[list[str]] = []
    for row in first.iter_rows(named=True):
        reasons = screening.analysis.reasons[row["container"]]
        cause = f"{catalogue.name(row['cause_1'])} {100 * row['chance_1']:.0f} %" if row["cause_1"] else ""
        cells = (
            str(row["rank"]),
            row["container"],
            GROUP_WORDS[row["group"]],
            cause,
            row["first_check"] or "",
            reasons[0] if reasons else "",
        )
        rows.append([plain(cell) for cell in cells])
    if not console.is_terminal:
        for line in rows:
            console.print(Text("  ".join(filter(None, line))))
        return
    table = Table(box=None, pad_edge=False, header_style="bold")
    shares = {"rank": 1, "container": 3, "group": 3, "cause": 5, "check first": 7, "why": 10}
    for heading, share in shares.items():
        table.add_column(heading, overflow="fold", ratio=share, min_width=min(len(heading), 5))
    for line in rows:
        table.add_row(*(Text(cell) for cell in line))
    console.print(table)


def show_check(checked: Checked) -> None:
    """Print chances, evidence, advice on the leading cause, and what to see next."""
    console = Console(highlight=False, soft_wrap=not Console().is_terminal)
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
    console = Console(highlight=False, soft_wrap=not Console().is_terminal)
    outcomes = history.labels["outcome"].to_list()
    used = history.used
    faults = int(used["faulty"].sum())
    aside = [outcome for outcome in dict.fromkeys(outcomes) if outcome not in (USED, AGAIN)]
    console.print(
        f"{_counted(len(outcomes), 'label')} = {used.height} used ({faults} with a fault, "
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
    console = Console(highlight=False, soft_wrap=not Console().is_terminal)
    console.print("Chance of a fault, said → came true, on these labels")
    for low, high, said, true, units in came_true(history.used):
        console.print(f"  {low:4.0%} to {high:4.0%}: {said:4.0%} → {true:4.0%} ({_counted(units, 'unit')})")
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
