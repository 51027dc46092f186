from __future__ import annotations

from pathlib import Path

import pytest
from tests.protocols.held import held, treated

from coldsift.protocols import (
    BeyondGap,
    ProtocolError,
    Reset,
    Standing,
    find_protocol,
    judge_treatment,
    load_protocols,
)
from coldsift.protocols.declaration import DECLARED

SHIPPED = load_protocols()

OWN = """
id = "invented_pear_moth"
name = "Invented"
about = "Made up for a test"
edition = 2026-02-01
source = "invented"
standing = "common practice"
[[ladder]]
at_or_below = 0.5
unit = "°C"
days = 5
[[ladder]]
at_or_below = 34
unit = "°F"
days = 7
printed = 1.1
source = "invented elsewhere"
standing = "from memory"
[probes]
least = 2
placing = "Door and middle."
source = "none"
standing = "common practice"
[interval]
longest_minutes = 30
source = "none"
standing = "common practice"
[precooling]
words = "Cooled before loading."
source = "none"
standing = "common practice"
[gap]
bridged_minutes = 60
beyond = "extend"
source = "none"
standing = "common practice"
[reset]
rule = "restart"
tolerance = 0.1
longest_above_minutes = 60
source = "none"
standing = "common practice"
[calibration]
limit = 0.2
source = "none"
standing = "common practice"
"""


def written(folder: Path, text: str = OWN, name: str = "own.toml") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


def refused(folder: Path, text: str) -> str:
    with pytest.raises(ProtocolError) as caught:
        load_protocols(written(folder, text))
    return str(caught.value)


@pytest.mark.parametrize("protocol", SHIPPED.values(), ids=list(SHIPPED))
def test_every_shipped_protocol_says_where_it_comes_from_and_how_well_that_was_seen(protocol) -> None:
    assert protocol.basis.source
    assert (DECLARED / f"{protocol.id}.toml").is_file(), "a protocol stands in the file of its id"
    told = " ".join(protocol.how_counted)
    for basis in (*protocol.bases.values(), *(step.basis for step in protocol.ladder)):
        assert basis.source
        if basis.standing is Standing.COMMON_PRACTICE:
            assert "Common practice, no source" in told
        else:
            assert f"{basis.source}: {basis.standing}" in told
    for step in protocol.ladder:
        assert step.name in told
        assert f"{step.days:g} days" in told


@pytest.mark.parametrize("protocol", SHIPPED.values(), ids=list(SHIPPED))
def test_a_warmer_step_takes_more_days(protocol) -> None:
    limits = [step.at_or_below for step in protocol.ladder]
    days = [step.days for step in protocol.ladder]
    assert limits == sorted(set(limits))
    assert days == sorted(set(days))


@pytest.mark.parametrize("protocol", SHIPPED.values(), ids=list(SHIPPED))
def test_every_step_of_every_shipped_protocol_can_complete_it(protocol) -> None:
    for step in protocol.ladder:
        start = protocol.start_at_or_below
        first = [(1 / 24, start)] if start is not None else []
        treatment = judge_treatment(treated(held(*first, (step.days, step.at_or_below))), protocol)
        assert treatment.verdict == "complete", step.name
        short = judge_treatment(treated(held(*first, (step.days - 1 / 12, step.at_or_below))), protocol)
        assert short.verdict == "not_complete", step.name


def test_a_protocol_of_ones_own_is_read_with_every_rule(tmp_path: Path) -> None:
    protocol = load_protocols(written(tmp_path))["invented_pear_moth"]
    assert protocol.edition == "2026-02-01"
    assert [(step.name, step.days, step.printed) for step in protocol.ladder] == [
        ("0.5 °C", 5.0, None),
        ("34 °F", 7.0, 1.1),
    ]
    assert protocol.ladder[1].at_or_below == (34 - 32) * 5 / 9
    assert [step.basis.standing for step in protocol.ladder] == ["common practice", "from memory"]
    assert (protocol.least_probes, protocol.interval_minutes, protocol.bridged_minutes) == (2, 30.0, 60.0)
    assert (protocol.reset, protocol.beyond_gap) == (Reset.RESTART, BeyondGap.EXTEND)
    assert (protocol.tolerance, protocol.longest_above_minutes, protocol.ice_point_limit) == (0.1, 60.0, 0.2)
    assert protocol.start_at_or_below is None
    assert "Up to 0.1 K for 60 min are let pass." in " ".join(protocol.how_counted)


def test_ones_own_protocols_come_beside_the_shipped_and_over_those_of_the_same_id(tmp_path: Path) -> None:
    written(tmp_path)
    written(tmp_path, OWN.replace("invented_pear_moth", "medfly_t107a"), "other.toml")
    protocols = load_protocols(tmp_path)
    assert set(protocols) == {*SHIPPED, "invented_pear_moth"}
    assert protocols["medfly_t107a"].name == "Invented"
    assert find_protocol("medfly_t107a", tmp_path).name == "Invented"
    assert find_protocol("medfly_t107a").name != "Invented"
    assert list(protocols) == sorted(protocols)


def test_a_protocol_that_there_is_not_brings_those_spelled_much_alike() -> None:
    with pytest.raises(ProtocolError, match=r"Did you mean medfly_t107a") as caught:
        find_protocol("medfly_t107")
    assert "anastrepha_t107a1" in str(caught.value), "and all there are"
    with pytest.raises(ProtocolError, match=r"no cold-treatment protocol 'xyz'. There are"):
        find_protocol("xyz")


def test_every_fault_of_a_protocol_is_told_at_once(tmp_path: Path) -> None:
    told = refused(
        tmp_path,
        OWN.replace('id = "invented_pear_moth"', 'id = "Pear moth"')
        .replace("edition = 2026-02-01", 'edition = "last year"')
        .replace("days = 5", "days = -5")
        .replace('unit = "°C"', 'unit = "K"')
        .replace("printed = 1.1", "printed = 3.4")
        .replace("least = 2", "least = 2.5")
        .replace("placing =", "placin =")
        .replace("longest_minutes = 30", "longest_minutes = true")
        .replace('beyond = "extend"', 'beyond = "forgive"')
        .replace('rule = "restart"', "rule = 1")
        .replace("longest_above_minutes = 60\n", "")
        .replace("limit = 0.2", "limit = nan")
        .replace('about = "Made up for a test"', "about = ''"),
    )
    for fault in (
        "own.toml: id: 'Pear moth' is no id. Use small letters",
        "edition: 'last year' is no date. Write a date such as 2019-11-15",
        "about: '' is no text",
        "ladder 1.days: -5 does not lie between 0.01 and 365. Write a number from 0.01 to 365 (d)",
        "ladder 1.unit: 'K' is not known. Write °C or °F",
        "ladder 2.printed: 3.4 °C is not 34 °F",
        "probes.least: 2.5 is no whole number",
        "probes.placing: missing. Write a text",
        "probes.placin: not known. Did you mean placing?",
        "interval.longest_minutes: True is no number",
        "gap.beyond: 'forgive' is not known. Write one of break, extend, cannot_judge",
        "reset.rule: 1 is not known. Write one of step_down, restart",
        "reset.tolerance: goes with longest_above_minutes",
        "calibration.limit: nan is no number",
    ):
        assert fault in told
    assert all(line.startswith("own.toml: ") for line in told.splitlines())


def test_a_protocol_without_its_rules_says_what_to_write(tmp_path: Path) -> None:
    told = refused(tmp_path, 'id = "bare"\nprobes = 3\n')
    for fault in (
        "name: missing",
        "edition: missing",
        "standing: missing. Write one of read, secondary, from memory, common practice",
        "ladder: missing. Write [[ladder]] with at_or_below, unit and days",
        "probes: a table is needed, not 3. Write [probes] and its keys",
        "interval: missing. Write [interval] and its keys",
        "calibration: missing",
    ):
        assert fault in told


def test_a_ladder_that_does_not_rise_is_refused(tmp_path: Path) -> None:
    assert "a warmer one takes more days" in refused(tmp_path, OWN.replace("days = 7", "days = 5"))
    assert "from cold to warm" in refused(tmp_path, OWN.replace("at_or_below = 34", "at_or_below = 30"))


def test_a_gap_shorter_than_the_interval_cannot_be_what_is_bridged(tmp_path: Path) -> None:
    told = refused(tmp_path, OWN.replace("bridged_minutes = 60", "bridged_minutes = 20"))
    assert "gap.bridged_minutes: 20 is less than the 30 min" in told


def test_a_start_warmer_than_every_step_is_refused(tmp_path: Path) -> None:
    warm = OWN.replace("[precooling]", '[precooling]\nat_or_below = 5\nunit = "°C"')
    assert "precooling.at_or_below: warmer than every step" in refused(tmp_path, warm)


def test_keys_that_nobody_asked_for_are_refused(tmp_path: Path) -> None:
    assert "stand: not known. Did you mean standing?" in refused(tmp_path, "stand = 1\n" + OWN)
    assert "own.toml: authority: not known. There are id, name," in refused(tmp_path, "authority = 1\n" + OWN)


def test_two_files_of_one_id_are_refused(tmp_path: Path) -> None:
    written(tmp_path, name="a.toml")
    written(tmp_path, name="b.toml")
    with pytest.raises(ProtocolError, match=r"b.toml: id: a.toml has invented_pear_moth too"):
        load_protocols(tmp_path)


def test_files_that_cannot_be_read_are_named(tmp_path: Path) -> None:
    assert "own.toml is not valid TOML" in refused(tmp_path, "id = ")
    with pytest.raises(ProtocolError, match=r"none.toml: .* Name a file that can be read"):
        load_protocols(tmp_path / "none.toml")
    (tmp_path / "empty").mkdir()
    with pytest.raises(ProtocolError, match="holds no TOML file"):
        load_protocols(tmp_path / "empty")
    (tmp_path / "latin.toml").write_bytes(b'id = "\xe9"')
    with pytest.raises(ProtocolError, match=r"latin.toml is not valid TOML"):
        load_protocols(tmp_path / "latin.toml")
