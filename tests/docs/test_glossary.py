"""The words of the trade are told once, plainly, and agree with what the program does."""

from __future__ import annotations

from coldsift.report.glossary import load_glossary
from coldsift.report.views import GROUPS
from coldsift.report.words import CHANCES

ENTRIES = {entry.term: entry for entry in load_glossary()}
LONGEST = 260


def test_each_term_is_told_once_in_a_few_short_sentences() -> None:
    assert len(ENTRIES) == len(load_glossary()) >= 50
    for entry in ENTRIES.values():
        assert entry.meaning.endswith("."), entry.term
        assert len(entry.meaning) <= LONGEST, entry.term
        assert not entry.source.endswith("."), entry.term


def test_every_group_of_the_list_is_explained() -> None:
    assert {group.word for group in GROUPS} <= set(ENTRIES)


def test_the_chance_words_have_the_edges_that_the_report_uses() -> None:
    told = ENTRIES["Chance words"].meaning.lower()
    for edge, word in CHANCES:
        assert (f"{word} from {100 * edge:g} %" if edge else word) in told
