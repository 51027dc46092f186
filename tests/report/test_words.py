"""Numbers and hostile text in plain words."""

from __future__ import annotations

import pytest

from coldsift.report import words


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        (0.995, "virtually certain"),
        (0.90, "very likely"),
        (0.89, "likely"),
        (0.66, "likely"),
        (0.5, "about as likely as not"),
        (0.32, "unlikely"),
        (0.09, "very unlikely"),
        (0.0, "exceptionally unlikely"),
    ],
)
def test_words_for_a_chance_follow_the_published_scale(value: float, expected: str) -> None:
    # IPCC Fourth Assessment Report (2007), Working Group II, front matter F, table "Likelihood of the
    # occurrence/outcome": >99 % virtually certain, 90-99 very likely, 66-90 likely, 33-66 about as likely
    # as not, 10-33 unlikely, 1-10 very unlikely, <1 exceptionally unlikely.
    assert words.chance(value).startswith(f"{expected} (")


def test_no_chance_is_shown_as_certain_or_impossible() -> None:
    assert words.chance(1.0) == "virtually certain (over 99\u00a0%)"
    assert words.chance(0.0) == "exceptionally unlikely (under 1\u00a0%)"
    assert words.chance(0.97) == "very likely (97\u00a0%)"
    assert words.chance(None) == "not judged"


@pytest.mark.parametrize(
    ("hours", "expected"),
    [
        (None, "no approach seen"),
        (float("nan"), "no approach seen"),
        (0.0, "outside its band now"),
        (0.4, "within the hour"),
        (1.2, "in about 1 hour"),
        (6.2, "in about 6 hours"),
        (72.0, "in about 3 days"),
        (900.0, "in more than 14 days"),
    ],
)
def test_time_to_the_limit_reads_as_a_person_would_say_it(hours: float | None, expected: str) -> None:
    assert words.time_to_limit(hours).replace("\u00a0", " ") == expected


@pytest.mark.parametrize(
    ("value", "expected"), [(-18.04, "−18.0 °C"), (-0.04, "0.0 °C"), (None, "–"), (float("inf"), "–")]
)
def test_temperatures_carry_their_unit_and_a_true_minus(value: float | None, expected: str) -> None:
    assert words.number(value, 1, "°C").replace("\u00a0", " ") == expected


@pytest.mark.parametrize(
    "hidden", ["\u202e", "\u2066", "\x00", "\x1b", "\u200b", "\ufeff", "\ud800", "\u2028"]
)
def test_hidden_characters_show_as_their_code_point(hidden: str) -> None:
    assert words.visible(f"a{hidden}b") == f"a‹U+{ord(hidden):04X}›b"


def test_ordinary_text_of_any_script_passes_unchanged() -> None:
    assert words.visible("Zuluft −18 °C, 温度, حرارة") == "Zuluft −18 °C, 温度, حرارة"
    assert words.visible("two\nlines\tof text") == "two lines of text"
