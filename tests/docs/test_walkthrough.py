"""Every command of the pages is run, and what a page shows is what was printed."""

from __future__ import annotations

import html
import re
import shutil
from pathlib import Path

import pytest

from docs import printed

QUOTED = re.compile(r"“([^”]+)”")
TOURS = printed.DOCS / "tours"

pytestmark = pytest.mark.skipif(
    shutil.which("bash") is None or shutil.which("make") is None,
    reason="the pages' commands are for a shell with make",
)


def said(folder: Path) -> str:
    """The words of every page that the commands wrote."""
    pages = (path.read_text("utf-8") for path in sorted(folder.glob("reports/**/*.html")))
    words = html.unescape(re.sub(r"<(script|style).*?</\1>|<[^>]+>", "", " ".join(pages), flags=re.DOTALL))
    return re.sub(r"\s+", " ", words)


@pytest.mark.parametrize("page", printed.pages(), ids=lambda page: page.stem)
def test_a_page_shows_what_its_commands_print(page: Path) -> None:
    text = page.read_text("utf-8")
    calls = printed.calls_of(text)
    with printed.clone() as folder:
        now = printed.run(text, folder)
        words = said(folder)
        missing = untold(folder)
    assert len(now) == len(calls) > 0
    differing = [
        f"$ {call.command}\n{shown}"
        for call, shown in zip(calls, now, strict=True)
        if not printed.same(call.printed, shown)
    ]
    assert not differing, f"{page.name} says otherwise (docs/printed.py writes it anew):\n" + "\n".join(
        differing
    )
    assert missing == []
    if page.parent == TOURS:
        assert [quoted for quoted in QUOTED.findall(text) if quoted not in words] == []


def untold(folder: Path) -> list[str]:
    """Files that the commands wrote beside the pages and that the documentation does not name."""
    pages = ("outputs.md", "dossier.md")
    told = "".join((printed.DOCS / page).read_text("utf-8") for page in pages)
    return [path.name for path in sorted(folder.glob("reports/*/*")) if path.name not in told]


def test_what_was_printed_is_compared_line_by_line_and_dots_stand_for_the_rest() -> None:
    assert printed.same("a\nb", "a\nb")
    assert printed.same("a\n…\nd", "a\nb\nc\nd")
    assert printed.same("a\n…\nb", "a\nb")
    assert printed.same("abc…", "abcdef")
    assert not printed.same("a\nb", "a\nc")
    assert not printed.same("a", "a\nb")
    assert not printed.same("a.c", "abc")


def test_a_command_may_go_over_several_lines() -> None:
    page = "1. Do:\n\n    ```console\n    $ one \\\n          two\n    three\n    $ four\n    ```\n"
    assert printed.calls_of(page) == [printed.Call("one \\\n      two", "three"), printed.Call("four", "")]
