"""The intake stage as a whole, for as many files as memory holds at once."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Literal

from coldsift.intake.files import Found, gather
from coldsift.intake.layouts import load_layouts
from coldsift.intake.read import ReadOptions, read_files
from coldsift.intake.records import Intake
from coldsift.intake.together import account_repeats, all_messages, all_set_aside, in_path_order, merge_rows
from coldsift.schema import COMMON_LOG

Progress = Callable[[str, int, int], None]


def read_logs(
    paths: Sequence[Path | str],
    *,
    parsers: Sequence[Path] = (),
    progress: Progress | None = None,
    date_order: Literal["day_first", "month_first"] | None = None,
    time_zone: str | None = None,
    layout: str | None = None,
) -> Intake:
    """Read a batch of log files.

    Parameters
    ----------
    paths
        Files, folders, glob patterns, zip and gzip; their order never changes the result.
    parsers, date_order, time_zone, layout
        See :class:`coldsift.intake.ReadOptions`.
    progress
        Called with the shown path, the number of files done and their total.

    Returns
    -------
    Intake
        Log, lines set aside, source records, messages. Bad input ends in messages, never in an exception.

    Raises
    ------
    WrongCall
        When ``time_zone`` is no time zone.
    """
    options = ReadOptions(tuple(parsers), date_order, time_zone, layout)
    layouts, broken = load_layouts(options.parsers)
    files, missing = gather(paths)
    tell = progress or (lambda what, done, total: None)
    started = iter(range(len(files)))

    def told(found: Found) -> None:
        tell(found.shown, next(started), len(files))

    read = read_files(files, options, layouts, told)
    tell("", len(files), len(files))
    sources, (names,) = in_path_order([read.sources])
    log = COMMON_LOG.empty()
    if read.rows.height:
        merged = merge_rows([(read.rows, names)])
        log = COMMON_LOG.conform(merged.log)
        sources = account_repeats(sources, merged.repeats, options, layouts)
    return Intake(
        log,
        all_set_aside(sources),
        tuple(source.record for source in sources),
        all_messages((*broken, *missing, *read.messages), sources),
    )
