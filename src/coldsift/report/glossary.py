"""The words of the trade that the report uses, from ``glossary.toml``."""

from __future__ import annotations

import tomllib
from importlib import resources

from coldsift.report.model import GlossaryEntry


def load_glossary() -> tuple[GlossaryEntry, ...]:
    """Read the shipped glossary, sorted by term."""
    return read_glossary((resources.files("coldsift.report") / "glossary.toml").read_text(encoding="utf-8"))


def read_glossary(text: str) -> tuple[GlossaryEntry, ...]:
    """Read a glossary.

    Parameters
    ----------
    text
        TOML with an array of tables ``entry``: ``term``, ``meaning``, and optionally ``unit`` and ``source``.

    Returns
    -------
    tuple of GlossaryEntry
        Sorted by term, upper and lower case alike.
    """
    entries = (
        GlossaryEntry(entry["term"], entry["meaning"], entry.get("unit", ""), entry.get("source", ""))
        for entry in tomllib.loads(text)["entry"]
    )
    return tuple(sorted(entries, key=lambda entry: entry.term.casefold()))
