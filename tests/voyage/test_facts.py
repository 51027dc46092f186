from __future__ import annotations

from pathlib import Path

import pytest

from coldsift.voyage import FactsError, UnitFacts, read_facts

NUMBER = "QXAU4710227"


def facts_of(folder: Path, text: str):
    path = folder / "facts.toml"
    path.write_text(text, encoding="utf-8")
    return read_facts(path)


def test_what_holds_for_every_unit_gives_way_to_what_is_said_of_one(tmp_path: Path) -> None:
    facts = facts_of(
        tmp_path,
        f"[bands]\nchilled = 1\n[every_unit]\ncargo = 'grapes'\nband_above = 1.5\n"
        f"[units.{NUMBER}]\nband_above = 0.5\nprobes = ['cargo_probe_2']\n"
        "[units.'qxau 478947-4']\n",
    )
    assert facts.band_chilled == 1.0
    assert facts.band_frozen is None
    assert facts.units[NUMBER] == UnitFacts("grapes", band_above=0.5, probes=("cargo_probe_2",))
    assert facts.units["QXAU4789474"] == UnitFacts("grapes", band_above=1.5)


def test_a_unit_that_the_file_does_not_name_takes_what_holds_for_every_unit(tmp_path: Path) -> None:
    facts = facts_of(tmp_path, "[every_unit]\ncargo = 'grapes'\n")
    assert facts.of("ZZRU4314001") == UnitFacts("grapes")


def test_every_fault_of_a_facts_file_is_told_at_once(tmp_path: Path) -> None:
    with pytest.raises(FactsError) as caught:
        facts_of(
            tmp_path,
            f"[band]\n[bands]\nfrozen = 'wide'\n[units.{NUMBER}]\nlimit_hig = 3\nband_above = -1\n"
            "limit_low = 5\nlimit_high = 2\nprobes = ['cargo_probe_9']\ncargo = ''\nheat_leak = nan\n",
        )
    for told in (
        "band is not known; did you mean bands?",
        "bands.frozen: a number is needed (K)",
        "did you mean limit_high?",
        "band_above = -1",
        "limit_low 5 is not below limit_high 2",
        "cargo_probe_9",
        "cargo: a text is needed",
        "heat_leak: a number is needed",
    ):
        assert told in str(caught.value)


@pytest.mark.parametrize(
    ("text", "told"),
    [("[units", "not valid TOML"), ("units = 3", "a table is needed"), ("units.X = 3", "a table is needed")],
)
def test_a_file_that_is_no_facts_file_is_named(tmp_path: Path, text: str, told: str) -> None:
    with pytest.raises(FactsError, match=told) as caught:
        facts_of(tmp_path, text)
    assert str(caught.value).startswith("facts.toml")


def test_a_facts_file_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(FactsError, match="Name a file that can be read"):
        read_facts(tmp_path / "none.toml")
