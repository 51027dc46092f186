"""Layouts: found in the project, in the user's folders and in installed plug-ins; tried on files; drafted.

Goes in: folders with one ``NAME/layout.toml`` each. Comes out: the layouts that can be used, a message for
each that cannot, and the ranking of all of them on a file.
"""

from __future__ import annotations

import contextlib
import os
import sys
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from importlib import metadata
from pathlib import Path

from coldsift import container_numbers
from coldsift.hidden_characters import replaced
from coldsift.intake.declaration import GENERIC, DeclarationError, Layout, read_declaration
from coldsift.intake.files import Found, Payload, load, open_file
from coldsift.intake.fitting import Fit, again, by_content, fit, fit_generic, heading_of
from coldsift.intake.grids import Grid, TextGrid, open_grids
from coldsift.intake.headings import meaning, split_heading
from coldsift.intake.records import Message
from coldsift.intake.times import zone_of
from coldsift.schema import CHANNELS

ENTRY_POINTS = "coldsift.parsers"
SHIPPED = "comes with coldsift"
ENOUGH = 50.0
"""Lowest score at which a file is read."""
NEAR_TIE = 5.0
"""Two declared layouts closer than this are a tie, and a tie is an error."""


@dataclass(frozen=True, slots=True)
class Choice:
    """The layout chosen for a file, or the reason why none was.

    Attributes
    ----------
    fit
        None when no layout fits or two are tied.
    margin
        Lead over the second best.
    what, do
        For the message, when there is no fit.
    """

    fit: Fit | None
    margin: float
    what: str = ""
    do: str = ""


def own_folder() -> Path:
    """The layouts that come with coldsift: in the installed package, or ``parsers/`` of the source tree."""
    here = Path(__file__).resolve()
    installed = here.parents[1] / "parsers"
    return installed if installed.is_dir() else here.parents[3] / "parsers"


def load_layouts(folders: Iterable[Path] = ()) -> tuple[list[Layout], list[Message]]:
    """Every layout that can be used.

    Parameters
    ----------
    folders
        The user's own folders, each with one folder per layout (or itself one layout). A layout there takes
        the place of one of the same name from elsewhere, which a message tells.

    Returns
    -------
    tuple
        Layouts by name, each with its origin; a message for each broken one, which is left out while the
        others go on.
    """
    layouts: dict[str, Layout] = {}
    messages: list[Message] = []
    plugged, broken = _plugged_in()
    messages += broken
    named = [(folder, f"folder {_printable(folder.resolve().name)}") for folder in folders]
    for folder, origin in ((own_folder(), SHIPPED), *plugged, *named):
        for place in _places(folder, messages):
            file = f"{_printable(place.name)}/layout.toml"
            try:
                layout = read_declaration(place)
            except DeclarationError as error:
                messages.append(
                    Message(
                        "warning",
                        file,
                        None,
                        f"This layout is left out: {str(error).rstrip('.')}.",
                        "Correct it (see parsers/README.md); the other layouts are in use.",
                    )
                )
                continue
            before = layouts.get(layout.name)
            if before is not None and before.sha256 != layout.sha256:
                messages.append(
                    Message(
                        "warning",
                        file,
                        None,
                        f"The layout from {origin} takes the place of another of this name: {before.origin}.",
                        "Give it a name of its own, unless that is meant.",
                    )
                )
            layouts[layout.name] = replace(layout, origin=origin)
    return [layouts[name] for name in sorted(layouts)], messages


def _printable(name: str) -> str:
    """A name from the disk as text, also one that is none."""
    return os.fsencode(name).decode("utf-8", "replace")


def _places(folder: Path, messages: list[Message]) -> list[Path]:
    if (folder / "layout.toml").is_file():
        return [folder]
    if not folder.is_dir():
        messages.append(
            Message(
                "warning",
                _printable(str(folder)),
                None,
                "There is no such folder of layouts.",
                "Check --parsers.",
            )
        )
        return []
    return sorted(path.parent for path in folder.glob("*/layout.toml"))


def _plugged_in() -> tuple[list[tuple[Path, str]], list[Message]]:
    """Folders named by installed plug-ins, with their origin in words.

    Each entry point is a path, or a function that returns one. The current folder is no place where anything
    is installed: it may well be that of the logs.
    """
    folders, messages = [], []
    for point in sorted(metadata.entry_points(group=ENTRY_POINTS), key=lambda point: point.name):
        package = f" of {point.dist.name} {point.dist.version}" if point.dist else ""
        try:
            if point.dist and Path(str(point.dist.locate_file(""))).resolve() == Path.cwd():
                raise ImportError("it lies in the current folder and is not installed")
            # What it prints would be taken for output of ours.
            with contextlib.redirect_stdout(sys.stderr):
                target = point.load()
                folder = Path(target() if callable(target) else target)
            folders.append((folder, f"plug-in {point.name}{package}"))
        # A plug-in is somebody else's code: whatever it raises, or if it ends, must not stop the others.
        except (Exception, SystemExit) as error:
            messages.append(
                Message(
                    "warning",
                    f"plug-in {point.name}{package}",
                    None,
                    f"This plug-in is left out: {type(error).__name__}: {error}.",
                    "Update or uninstall it; the other layouts are in use.",
                )
            )
    return folders, messages


def rank(grid: Grid, layouts: Sequence[Layout]) -> list[Fit]:
    """Every layout and the generic reader on a grid, best first."""
    fits = [fit(layout, grid) for layout in layouts]
    fits.append(fit_generic(grid))
    return sorted(fits, key=lambda entry: (-entry.score, entry.name == GENERIC, entry.name))


class Chooser:
    """Chooses the layout of each file of a batch.

    Files of a fleet mostly share their headings. A layout that won is tried alone on the next file with the
    very same heading at the same place, and taken when it scores as before; only else are all tried again.

    Parameters
    ----------
    layouts
        As loaded.
    wanted
        Name that the user insists on.
    """

    def __init__(self, layouts: Sequence[Layout], wanted: str | None = None) -> None:
        self.layouts, self.wanted = layouts, wanted
        self._won: dict[tuple[str, ...], Choice] = {}

    def choose(self, grid: Grid) -> Choice:
        """The layout for a grid."""
        if self.wanted is not None:
            return _insisted(grid, self.layouts, self.wanted)
        for names, before in self._won.items():
            won = before.fit
            if won is None or tuple(heading_of(grid, won)) != names:
                continue
            found = again(won, grid)
            if found.score == won.score and found.heading == won.heading:
                return Choice(found, before.margin)
        choice = choose(grid, self.layouts)
        if choice.fit is not None:
            self._won.setdefault(tuple(heading_of(grid, choice.fit)), choice)
        return choice


def choose(grid: Grid, layouts: Sequence[Layout]) -> Choice:
    """The layout for a grid, all of them tried."""
    ranked = rank(grid, layouts)
    best, second = ranked[0], ranked[1] if len(ranked) > 1 else None
    margin = round(best.score - (second.score if second else 0.0), 1)
    if best.score < ENOUGH:
        nearest = (
            f" Nearest is {best.name} with {best.score:g} of 100: {'; '.join(best.reasons[:3])}."
            if best.score
            else ""
        )
        return Choice(
            None,
            margin,
            f"No layout fits this file.{nearest}",
            "Write one from a draft: coldsift layout draft FILE.",
        )
    if second and GENERIC not in (best.name, second.name) and margin < NEAR_TIE:
        return Choice(
            None,
            margin,
            f"Two layouts fit alike: {best.name} ({best.score:g}) and {second.name} ({second.score:g}).",
            f"Say which with --layout {best.name} or --layout {second.name}.",
        )
    return Choice(best, margin)


def _insisted(grid: Grid, layouts: Sequence[Layout], wanted: str) -> Choice:
    layout = next((entry for entry in layouts if entry.name == wanted), None)
    if layout is None and wanted != GENERIC:
        names = ", ".join(entry.name for entry in layouts)
        return Choice(None, 0, f"There is no layout {wanted!r}.", f"There are: {names}, {GENERIC}.")
    found = fit(layout, grid) if layout else fit_generic(grid)
    if found.plan is None or found.score == 0:
        return Choice(
            None,
            0,
            f"The layout {wanted} does not fit this file: {'; '.join(found.reasons)}.",
            "Leave --layout out, or write a layout from a draft: coldsift layout draft FILE.",
        )
    return Choice(found, found.score)


def _first_grid(path: Path) -> tuple[Payload, Grid]:
    found = Found(path.name, path)
    stored = load(found)
    if isinstance(stored, Message):
        raise ValueError(str(stored))
    for payload in open_file(found, stored):
        if isinstance(payload, Message):
            raise ValueError(str(payload))
        _, grid = open_grids(payload)[0]
        if isinstance(grid, Message):
            raise ValueError(str(grid))
        return payload, grid
    raise ValueError(f"{path}: nothing in it to read")


def try_layouts(
    path: Path | str, folders: Iterable[Path] = ()
) -> list[tuple[Layout, float, tuple[str, ...]]]:
    """Every layout tried on one file, best first, for ``coldsift layout try FILE``.

    Parameters
    ----------
    path
        The file; of an archive the first member.
    folders
        The user's own layout folders.

    Returns
    -------
    list
        Layout, score (0 to 100) and reasons.

    Raises
    ------
    ValueError
        When the file cannot be read at all; the message says why.
    """
    layouts, _ = load_layouts(folders)
    _, grid = _first_grid(Path(path))
    return [(entry.layout, entry.score, entry.reasons) for entry in rank(grid, layouts)]


def draft_layout(path: Path | str) -> str:
    """A starter ``layout.toml`` for one file, every guess marked, for ``coldsift layout draft FILE``.

    Parameters
    ----------
    path
        The file; of an archive the first member.

    Raises
    ------
    ValueError
        When the file cannot be read at all; the message says why.
    """
    _, grid = _first_grid(Path(path))
    found = fit_generic(grid)
    names, layout, delimiter, encoding = _for_draft(grid, found)
    name = _shown(repr(Path(path).name))
    lines = [
        f"# A draft from {name}. Lines marked GUESS need a look; keys: parsers/README.md.",
        "[layout]",
        'name = "my_layout"          # the name of its folder',
        'about = ""',
        f'form = "{layout.form}"',
        f'shape = "{layout.shape}"',
        "",
        "[text]",
    ]
    if delimiter:
        lines.append(f"delimiter = {_quote(delimiter)}  # GUESS")
        lines.append(f"encoding = {_quote(encoding)}  # GUESS")
        lines.append(f"decimal = {_quote(layout.decimal or '.')}  # GUESS")
    lines += [f"heading_rows = {layout.heading_rows}  # GUESS", "", "[time]"]
    lines.append(f"columns = [{', '.join(map(_quote, layout.time_columns or ('?',)))}]  # GUESS")
    facts = found.facts
    zone_key = next((key for key, value in facts.items() if zone_of(value)), None)
    if zone_key:
        lines.append(f"zone_fact = {_quote(zone_key)}  # GUESS")
    else:
        lines.append('zone = "UTC"  # GUESS: UTC, an offset such as "+02:00", or zone_fact = "preamble key"')
    lines += ["", "[container]"]
    container_key = next((key for key, value in facts.items() if container_numbers.is_valid(value)), None)
    if layout.container_columns:
        lines.append(f"columns = [{', '.join(map(_quote, layout.container_columns))}]  # GUESS")
    elif container_key:
        lines.append(f"fact = {_quote(container_key)}  # GUESS")
    else:
        lines.append('# columns = ["..."], or fact = "preamble key", or file_name = "([A-Z]{4}[0-9]{7})"')
    if layout.shape == "tag_value":
        lines += [
            "",
            "[tags]",
            f"tag = {_quote(layout.tag_columns[0])}",
            f"value = {_quote(layout.value_columns[0])}",
        ]
        lines += [f"unit = {_quote(name)}" for name in layout.unit_columns]
    lines += _draft_columns(names, layout)
    return "\n".join(lines) + "\n"


def _for_draft(grid: Grid, found: Fit) -> tuple[list[str], Layout, str, str]:
    encoding = grid.lines().encoding if isinstance(grid, TextGrid) else ""
    if found.plan is not None:
        rows = grid.head(None, found.delimiter) if isinstance(grid, TextGrid) else grid.head()
        return rows[found.heading], found.layout, found.delimiter, encoding
    if isinstance(grid, TextGrid):
        delimiter = max(",;\t|", key=lambda mark: max(len(row) for row in grid.head(None, mark)))
        rows, form = grid.head(None, delimiter), "delimited"
    else:
        delimiter, rows = "", grid.head()
        form = {"cells": "workbook", "parquet": "parquet", "json": "json_lines"}[grid.kind]
    widest = max(sum(bool(cell.strip()) for cell in row) for row in rows)
    heading = next(at for at, row in enumerate(rows) if sum(bool(cell.strip()) for cell in row) == widest)
    names = rows[heading]
    means = by_content([None] * len(names), rows[heading + 1 :])
    layout = Layout(
        "my_layout",
        form=form,  # type: ignore[arg-type]
        time_columns=tuple(name for name, mean in zip(names, means, strict=True) if mean == "[time]"),
        container_columns=tuple(
            name for name, mean in zip(names, means, strict=True) if mean == "[container]"
        ),
    )
    return list(names), layout, delimiter, encoding


def _draft_columns(names: Sequence[str], layout: Layout) -> list[str]:
    keys = {*layout.time_columns, *layout.container_columns}
    lines: list[str] = []
    if layout.shape == "tag_value":
        names, keys = [rule.headings[0] for rule in layout.columns], set()
    for name in names:
        if not name.strip() or name.strip() in keys:
            continue
        bare, unit = split_heading(name)
        mean = meaning(bare)
        if mean is not None and mean in CHANNELS:
            lines += ["", "[[column]]", f"heading = {_quote(name.strip())}", f'channel = "{mean}"  # GUESS']
            if not CHANNELS[mean].is_state:
                mark = "" if unit else "  # GUESS"
                lines.append(f"unit = {_quote(unit or CHANNELS[mean].unit)}{mark}")
        else:
            lines += [
                "",
                "# [[column]]",
                f"# heading = {_quote(name.strip())}",
                '# channel = "..."  # not known: `coldsift schema` lists the channels',
            ]
    return lines


def _quote(text: str) -> str:
    """A text as TOML holds it, whatever is in it; what does not show stands by its number."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return f'"{_shown(escaped)}"'


def _shown(text: str) -> str:
    return replaced(text, lambda each: f"\\U{ord(each):08x}")
