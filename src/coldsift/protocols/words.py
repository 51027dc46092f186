"""Instants, probes and counted days in words."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta

from coldsift.protocols.count import DAY
from coldsift.schema import CHANNELS

EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


def instant(micros: int) -> datetime:
    """An instant, from µs since 1970."""
    return EPOCH + timedelta(microseconds=micros)


def told(micros: int) -> str:
    """An instant to the minute."""
    return f"{instant(micros):%Y-%m-%d %H:%M} UTC"


def days_of(micros: int) -> str:
    """Counted days, rounded down: 13.99 of 14 must not read as 14."""
    return f"{micros * 100 // DAY / 100:g}"


def label(probe: str) -> str:
    """A probe as it is called in a sentence."""
    return CHANNELS[probe].label.lower()


def listed(words: Sequence[str]) -> str:
    """Some words with ``and`` before the last."""
    return " and ".join(filter(None, (", ".join(words[:-1]), *words[-1:])))


def sentence(parts: Sequence[str]) -> str:
    """Parts of a sentence, joined, with a capital and a full stop."""
    joined = "; ".join(parts)
    return f"{joined[:1].upper()}{joined[1:]}."
