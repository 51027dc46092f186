"""The bands file: ours is whole, and a slip in one's own is named."""

from __future__ import annotations

from pathlib import Path

import pytest

from coldsift.pre_trip import MEASURES, PHASE_WORDS, PassBandsError, load_pass_bands
from coldsift.schema import PRE_TRIP_PHASES

NEW = (
    '[items.own]\nphase = "whole"\nmeasure = "current"\nunit = "A"\nwords = "Mean current"\nhigh = 9\n'
    'why = "ours"\nsource = "ours"\n'
)


@pytest.mark.parametrize("item", load_pass_bands(), ids=lambda item: item.id)
def test_every_band_says_why_and_where_from(item: object) -> None:
    for text in (item.words, item.why, item.source, item.look_first):  # type: ignore[attr-defined]
        assert text.strip()
    assert item.low or item.high  # type: ignore[attr-defined]


def test_every_phase_has_its_words() -> None:
    assert list(PHASE_WORDS) == list(PRE_TRIP_PHASES)


def test_a_file_of_ones_own_changes_takes_out_and_adds(tmp_path: Path) -> None:
    own = tmp_path / "own.toml"
    own.write_text(
        "[items.voltage_imbalance]\nhigh = 3.0\n[items.frequency]\noff = true\n" + NEW, encoding="utf-8"
    )
    ours = {item.id: item for item in load_pass_bands()}
    theirs = {item.id: item for item in load_pass_bands(own)}
    assert theirs["voltage_imbalance"].high == (3.0,)
    assert theirs["voltage_imbalance"].near == ours["voltage_imbalance"].near
    assert set(theirs) == set(ours) - {"frequency"} | {"own"}


@pytest.mark.parametrize(
    ("text", "told"),
    [
        ("[items.voltage_imbalance]\nhigh = 'x'\n", "items.voltage_imbalance: high = 'x' is no number"),
        ("[items.voltage_imbalance]\nhihg = 3\n", "unknown key hihg. There are: phase"),
        ("[items.voltage_imbalance]\nunit = 'V'\n", "voltage_imbalance is in '%'"),
        ("[items.coil_apart]\nlow = 5\nhigh = 1\n", "low is not below high"),
        ("[items.fan_current]\nphase = 'fan'\n", "no phase 'fan'. There are: whole, fans_only"),
        ("[items.fan_current]\nmeasure = 'amps'\n", "no measure 'amps'"),
        ("[items.new]\nhigh = 3\n", "items.new: phase is missing"),
        (NEW.replace("high = 9\n", ""), "neither low nor high"),
        ("[items.pull_down_chilled_minutes]\nhigh = [1, 2]\n", "high has 2 values, 5 are needed"),
        (
            "[items.voltage]\nat = [60, 50]\nlow = [1, 1]\nhigh = [2, 2]\n",
            "at needs two or more values, rising",
        ),
        ("[items.voltage]\nagainst = 'moon'\n", "against = 'moon'. There are: ambient, frequency"),
        ("[items.discharge_gas]\nat = [1, 2]\n", "against and at go together"),
        ("[items.return_minutes]\nset_point = 4\n", "set_point is a range"),
        ("[items.return_minutes]\nnear = -1\n", "near is a single number"),
        ("[item.return_minutes]\n", "write every item as [items.ID]"),
        ("[items.fan_current]\noff = 'yes'\n", "off = 'yes' is neither true nor false"),
        ("[items.fan_curent]\noff = true\n", "there is no such item to take out"),
        ("".join(f"[items.{item.id}]\noff = true\n" for item in load_pass_bands()), "every item is off"),
        ("items = 3\n", "write every item as [items.ID]"),
        ("[items]\nvoltage = 3\n", "items.voltage is no table"),
        ("high = \n", "is not valid TOML"),
    ],
)
def test_a_slip_is_named_and_what_to_do(tmp_path: Path, text: str, told: str) -> None:
    own = tmp_path / "own.toml"
    own.write_text(text, encoding="utf-8")
    with pytest.raises(PassBandsError) as refused:
        load_pass_bands(own)
    assert told in str(refused.value)
    assert "own.toml" in str(refused.value)


def test_all_slips_are_told_at_once(tmp_path: Path) -> None:
    own = tmp_path / "own.toml"
    own.write_text("[items.coil_apart]\nlow = 9\n[items.fan_current]\nhigh = 0.1\n", encoding="utf-8")
    with pytest.raises(PassBandsError) as refused:
        load_pass_bands(own)
    assert len(str(refused.value).splitlines()) == 2


def test_a_file_that_cannot_be_read_is_named(tmp_path: Path) -> None:
    with pytest.raises(PassBandsError, match="nowhere"):
        load_pass_bands(tmp_path / "nowhere.toml")
    (tmp_path / "latin.toml").write_bytes(b"# \xe9\n")
    with pytest.raises(PassBandsError, match="not UTF-8"):
        load_pass_bands(tmp_path / "latin.toml")


def test_the_features_of_a_voyage_can_be_measured_too() -> None:
    assert {"superheat", "split", "control_error", "minutes", "heater_power"} <= set(MEASURES)
