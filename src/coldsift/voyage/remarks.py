"""Messages about a file, of each kind the first few with their text and the others by number."""

from __future__ import annotations

from dataclasses import dataclass, field

from coldsift.intake.records import Message, Severity

SHOWN = 5
"""Messages of one kind that are written out."""
NUMBERED = 200
"""Further places of one kind that are listed by number."""
MOST = 60
"""Characters of a segment or a line that a message shows."""


@dataclass(slots=True)
class Remarks:
    """Collects what there is to say of one file.

    Attributes
    ----------
    file
        Name shown.
    place
        What is counted in it: ``line``, ``segment`` or ``event``.
    """

    file: str
    place: str
    _kinds: dict[tuple[Severity, str], list[tuple[int | None, str]]] = field(default_factory=dict)

    def add(self, severity: Severity, number: int | None, what: str, do: str, text: str = "") -> None:
        """Note one.

        Parameters
        ----------
        severity
            As :class:`coldsift.intake.Message` has it.
        number
            Line or segment; None when it is the whole file.
        what, do
            What is wrong and what to do; notes with one ``do`` are of one kind.
        text
            The line or segment as it stands.
        """
        shown = f" ({shorten(text)})" if text else ""
        if number is None or self.place == "line":
            said = f"{what}{shown}."
        else:
            said = f"{self.place.capitalize()} {number}{shown}: {what}."
        self._kinds.setdefault((severity, do), []).append((number, said))

    def messages(self) -> tuple[Message, ...]:
        """All of them, errors first, then in order of appearance."""
        told = []
        order = ("error", "warning", "note")
        for (severity, do), noted in sorted(self._kinds.items(), key=lambda kind: order.index(kind[0][0])):
            told += [
                Message(severity, self.file, self._line(number), said, do) for number, said in noted[:SHOWN]
            ]
            rest = [str(number) for number, _ in noted[SHOWN:] if number is not None]
            if rest:
                more = f" and {len(rest) - NUMBERED} more" if len(rest) > NUMBERED else ""
                listed = f"{', '.join(rest[:NUMBERED])}{more}"
                what = f"The same holds for {len(rest)} further {self.place}s: {listed}."
                told.append(Message(severity, self.file, None, what, do))
        return tuple(told)

    def _line(self, number: int | None) -> int | None:
        return number if self.place == "line" else None


def shorten(text: str) -> str:
    """A text in one line, cut where it is long."""
    line = " ".join("".join(sign if sign.isprintable() else " " for sign in text).split())
    return line if len(line) <= MOST else f"{line[: MOST - 1]}…"
