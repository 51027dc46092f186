"""Where a container stands, as the facts say it."""

from __future__ import annotations

from pathlib import Path

import pytest

from coldsift.voyage import FactsError, read_facts
from coldsift.voyage.stowage import cell

NUMBER = "QXAU4710227"


@pytest.mark.parametrize(
    ("written", "place"),
    [("210482", "0210482"), ("0210482", "0210482"), (" 1010206 ", "1010206"), ("010002", "0010002")],
)
def test_six_and_seven_digits_name_the_same_place(written: str, place: str) -> None:
    assert cell(written) == place


@pytest.mark.parametrize(
    "written",
    [
        *("21-04-82", "21482", "02104820", "", "O210482", "٠٢١٠٤٨٢", 210482, None, 2.5),
        *("000000", "9990482", "2000482", "0219982", "0210400"),
    ],
)
def test_what_is_no_bay_row_and_tier_is_no_place(written: object) -> None:
    assert cell(written) is None


@pytest.mark.parametrize("value", ['"21-04-82"', "210482", '""', "true"])
def test_a_place_written_otherwise_is_refused_and_told_how_to_write_it(tmp_path: Path, value: str) -> None:
    path = tmp_path / "facts.toml"
    path.write_text(f"[units.{NUMBER}]\nposition = {value}\n", encoding="utf-8")
    with pytest.raises(FactsError, match=f"units.{NUMBER}.position: .* is no place on board") as caught:
        read_facts(path)
    assert 'seven BBBRRTT, in quotation marks: "0210482"' in str(caught.value)


def test_a_place_is_one_unit_s_alone(tmp_path: Path) -> None:
    path = tmp_path / "facts.toml"
    path.write_text('[every_unit]\nposition = "0210482"\n', encoding="utf-8")
    with pytest.raises(FactsError, match="no two units have one place"):
        read_facts(path)


def test_a_unit_takes_its_place_and_what_holds_for_every_unit(tmp_path: Path) -> None:
    path = tmp_path / "facts.toml"
    path.write_text(
        f"[every_unit]\ncargo = 'grapes'\n[units.{NUMBER}]\nposition = '210482'\n", encoding="utf-8"
    )
    facts = read_facts(path)
    assert (facts.of(NUMBER).position, facts.of(NUMBER).cargo) == ("0210482", "grapes")
    assert facts.of("QXAU4789474").position is None
