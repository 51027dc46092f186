"""Which lines of a delimited file are whole, against the same said line by line."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from coldsift.intake.body import _sound


def is_sound(line: str, width: int) -> bool:
    """The right number of fields, every quotation mark closed on the line, no NUL."""
    unquoted = line.split('"')[::2]
    fields = 1 + sum(part.count(",") for part in unquoted)
    return fields == width and line.count('"') % 2 == 0 and "\0" not in line


@given(st.lists(st.text('a,"\0', max_size=12), max_size=12), st.integers(1, 4))
def test_a_line_is_judged_by_its_own_quotes_and_delimiters(lines: list[str], width: int) -> None:
    starts = np.cumsum([0, *(len(line) + 1 for line in lines)])[:-1]
    found = _sound("".join(f"{line}\n" for line in lines).encode(), starts, ",", width)
    assert found.tolist() == [is_sound(line, width) for line in lines]
