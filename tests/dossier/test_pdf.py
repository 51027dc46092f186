"""Printing, as far as it needs no browser."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from coldsift.dossier import NoBrowser, pdf, print_papers, print_pdf

PAGE = '<!doctype html><html lang="en"><body>invented</body></html>'


def _browser(path: Path, does: str) -> str:
    """A stand-in for a browser."""
    path.write_text(f"#!{sys.executable}\nimport sys, time\n{does}\n", encoding="utf-8")
    path.chmod(0o755)
    return str(path)


def test_without_a_browser_the_message_says_what_to_do(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv(pdf.NAMED_BY, raising=False)
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(NoBrowser, match=r"No Chromium or Chrome.*Install Chromium.*or open the HTML"):
        print_pdf(PAGE, tmp_path / "dossier.pdf")
    assert not list(tmp_path.iterdir())


def test_a_browser_that_is_named_and_not_there_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(pdf.NAMED_BY, str(tmp_path / "none"))
    with pytest.raises(NoBrowser, match="cannot be run"):
        print_pdf(PAGE, tmp_path / "dossier.pdf")


@pytest.mark.parametrize(
    ("does", "said"),
    [
        ("print('no display', file=sys.stderr); sys.exit(3)", r"exit status 3\).*It said: no display"),
        ("pass", "ended without printing"),
        ("time.sleep(30)", r"did not print within 0\.5 s"),
    ],
)
def test_a_browser_that_fails_leaves_nothing_behind(
    does: str, said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = tmp_path / "out"
    folder.mkdir()
    target = folder / "dossier.pdf"
    target.write_bytes(b"older")
    monkeypatch.setenv(pdf.NAMED_BY, _browser(tmp_path / "browser", does))
    monkeypatch.setattr(pdf, "SECONDS", 0.5 if "sleep" in does else 60)
    with pytest.raises(NoBrowser, match=said):
        print_pdf(PAGE, target)
    assert target.read_bytes() == b"older"
    assert list(folder.iterdir()) == [target]


def test_what_the_browser_printed_replaces_the_file_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    prints = (
        "target = next(each for each in sys.argv if each.startswith('--print-to-pdf=')).partition('=')[2]\n"
        "now = time.strftime('%Y%m%d%H%M%S').encode()\n"
        "open(target, 'wb').write(b'/CreationDate (D:' + now + b\"+02'00')\")"
    )
    monkeypatch.setenv(pdf.NAMED_BY, _browser(tmp_path / "browser", prints))
    # Also where the target is named from here.
    monkeypatch.chdir(tmp_path)
    target = Path("dossier.pdf")
    print_pdf(PAGE, target, "Letter")
    assert target.read_bytes() == b"/CreationDate (" + pdf.PRINTED_AT + b")"


def test_times_in_a_file_become_one_fixed_time_of_the_same_length() -> None:
    before = (
        b"<</CreationDate (D:20260102030405+00'00')\n/ModDate (D:20260102030406-05'30')>> (D:20260102030405)"
    )
    after = pdf.settled(before)
    assert len(after) == len(before)
    assert after == (
        b"<</CreationDate (D:20000101000000+00'00')\n/ModDate (D:20000101000000+00'00')>> (D:20260102030405)"
    )


def test_names_of_table_cells_are_numbered_anew_in_their_order() -> None:
    one = (
        b"/ID (node00000028) /Headers [(node00000028) (node00000107)] /Names [(node00000028) (node00000107)]"
    )
    other = one.replace(b"28", b"31").replace(b"107", b"110")
    assert pdf.settled(one) == pdf.settled(other)
    assert pdf.settled(one) == one.replace(b"28", b"00").replace(b"107", b"001")


def test_all_papers_are_printed_at_the_same_time(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Each stand-in waits until the other has begun as well."""
    prints = (
        "from pathlib import Path\n"
        "page = Path(next(each for each in sys.argv if each.startswith('file:')).removeprefix('file://'))\n"
        "begun = page.parent.parent / f'{page.parent.name}.begun'\n"
        "begun.touch()\n"
        "while len(list(begun.parent.glob('*.begun'))) < 2: time.sleep(0.01)\n"
        "target = next(each for each in sys.argv if each.startswith('--print-to-pdf=')).partition('=')[2]\n"
        "open(target, 'w').write(page.read_text().partition('data-paper=')[2][:8])"
    )
    monkeypatch.setenv(pdf.NAMED_BY, _browser(tmp_path / "browser", prints))
    monkeypatch.setattr(pdf, "SECONDS", 20)
    print_papers(PAGE, {"A4": tmp_path / "a4.pdf", "Letter": tmp_path / "letter.pdf"})
    assert (tmp_path / "a4.pdf").read_bytes()[:4] == b'"A4"'
    assert (tmp_path / "letter.pdf").read_bytes() == b'"Letter"'


def test_one_paper_that_fails_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(pdf.NAMED_BY, _browser(tmp_path / "browser", "sys.exit(3)"))
    with pytest.raises(NoBrowser, match="exit status 3"):
        print_papers(PAGE, {"A4": tmp_path / "a4.pdf", "Letter": tmp_path / "letter.pdf"})
    assert not list(tmp_path.glob("*.pdf"))
