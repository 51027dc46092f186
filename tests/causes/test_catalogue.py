"""The catalogue: what the shipped files hold, what a user's own file may add, and what is refused."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import asdict
from pathlib import Path

import pytest

from coldsift.causes import HEALTHY, NAMES, OTHER, Catalogue, CatalogueError, load_catalogue
from coldsift.causes.catalogue import SHIPPED, WORDS
from coldsift.features import FEATURES
from coldsift.simulate import CAUSES

SHIPPED_CATALOGUE = load_catalogue()


# What is shipped.
def test_every_simulated_cause_is_in_the_catalogue_and_the_other_way_round() -> None:
    assert set(SHIPPED_CATALOGUE.causes) == set(CAUSES)


def test_every_likelihood_is_of_a_feature_there_is() -> None:
    used = {feature for entry in SHIPPED_CATALOGUE.likelihoods.values() for feature in entry}
    assert used - set(FEATURES) == set()


def test_every_cause_leaves_a_trace_in_the_log_itself_or_by_its_kinds() -> None:
    for name, cause in SHIPPED_CATALOGUE.causes.items():
        kinds = [f"{name}.{kind.id}" in SHIPPED_CATALOGUE.likelihoods for kind in cause.kinds]
        assert name in SHIPPED_CATALOGUE.likelihoods or (kinds and all(kinds)), name


def test_an_unknown_fault_leaves_a_trace_too() -> None:
    assert SHIPPED_CATALOGUE.likelihoods[OTHER]


@pytest.mark.parametrize("name", SHIPPED_CATALOGUE.causes)
def test_every_cause_can_be_told_by_two_observations_at_least(name: str) -> None:
    naming = [
        observation.id
        for observation in SHIPPED_CATALOGUE.observations.values()
        if name in {each.partition(".")[0] for each in observation.chance}
    ]
    assert len(naming) >= 2


@pytest.mark.parametrize("name", SHIPPED_CATALOGUE.causes)
def test_every_cause_says_what_to_check_to_bring_to_mind_and_what_comes_next(name: str) -> None:
    cause = SHIPPED_CATALOGUE.causes[name]
    for text in (cause.name, cause.about, cause.if_left):
        assert text.strip()
    assert cause.first_checks
    assert cause.cautions
    assert cause.tools
    assert cause.hidden_by or cause.told_apart


def test_kinds_share_their_cause_and_differ() -> None:
    for cause in SHIPPED_CATALOGUE.causes.values():
        if cause.kinds:
            assert sum(kind.share for kind in cause.kinds) == pytest.approx(1.0)
            assert len({kind.id for kind in cause.kinds}) == len(cause.kinds) >= 2
            assert all(0 < kind.share < 1 and kind.repair for kind in cause.kinds)


def test_causes_that_look_alike_say_so_of_each_other() -> None:
    for name, cause in SHIPPED_CATALOGUE.causes.items():
        for twin in cause.alike:
            assert set(SHIPPED_CATALOGUE.causes[twin].alike) == set(cause.alike), (name, twin)


def test_questions_can_be_answered_by_yes_or_no() -> None:
    for observation in SHIPPED_CATALOGUE.observations.values():
        assert observation.question.endswith("?")
        assert observation.yes != observation.no
        assert observation.how
        assert observation.chance, observation.id


def test_every_observation_tells_some_cause_from_another() -> None:
    for observation in SHIPPED_CATALOGUE.observations.values():
        chances = {observation.otherwise, *observation.chance.values()}
        assert max(chances) - min(chances) > 0.3, observation.id


def texts(catalogue: Catalogue) -> Iterator[str]:
    """Every text that a reader may see."""

    def strings(value: object) -> Iterator[str]:
        if isinstance(value, str):
            yield value
        elif isinstance(value, dict):
            for each in value.values():
                yield from strings(each)
        elif isinstance(value, list | tuple):
            for each in value:
                yield from strings(each)

    for entries in (catalogue.causes, catalogue.observations):
        for entry in entries.values():
            yield from strings(asdict(entry))


def test_no_text_says_that_anything_is_safe() -> None:
    # A safety cut-out is a part, and stays.
    assert [
        text for text in texts(SHIPPED_CATALOGUE) if re.search(r"\bsafe(ly)?\b|harmless", text, re.I)
    ] == []


def test_a_magnet_on_the_valve_is_never_left_in_place() -> None:
    """It leaves the low side without control: common practice, no source."""
    cautions = " ".join(SHIPPED_CATALOGUE.causes["expansion_valve_not_opening"].cautions)
    assert "never leave it in place" in cautions


def test_hypotheses_that_always_compete_have_words() -> None:
    assert {SHIPPED_CATALOGUE.name(hypothesis) for hypothesis in NAMES} == set(NAMES.values())


# A user's own file.
CAUSE = """
[causes.{name}]
name = "Rope in the fan"
about = "A lashing end has come into the blades."
prior = 0.2
if_left = "The motor burns out."
"""
OBSERVATION = """
[observations.rope_seen]
question = "Rope in the fan?"
yes = "rope seen"
no = "no rope"
how = "Look."
minutes = 1
risk = "moving_parts"
otherwise = 0.02
chance = {chance}
"""
WHOLE = CAUSE.format(name="rope_in_fan") + OBSERVATION.format(chance="{ rope_in_fan = 0.9 }")


def own(tmp_path: Path, text: str) -> Catalogue:
    path = tmp_path / "mine.toml"
    path.write_text(text, encoding="utf-8")
    return load_catalogue(path)


def refused(tmp_path: Path, text: str) -> str:
    with pytest.raises(CatalogueError) as error:
        own(tmp_path, text)
    return str(error.value)


def test_a_file_of_ones_own_adds_a_cause_its_check_and_its_trace(tmp_path: Path) -> None:
    found = own(tmp_path, WHOLE + '[likelihoods.rope_in_fan]\nsplit_now = "lower"\n')
    assert set(found.causes) == {*SHIPPED_CATALOGUE.causes, "rope_in_fan"}
    assert found.observations["rope_seen"].chance == {"rope_in_fan": 0.9}
    assert found.likelihoods["rope_in_fan"] == {"split_now": WORDS["lower"]}
    # What is shipped stays as it is.
    assert found.causes["low_refrigerant"] == SHIPPED_CATALOGUE.causes["low_refrigerant"]
    assert load_catalogue() is SHIPPED_CATALOGUE


def test_a_file_of_ones_own_replaces_what_has_the_same_name(tmp_path: Path) -> None:
    found = own(tmp_path, CAUSE.format(name="warm_cargo"))
    assert found.causes["warm_cargo"].name == "Rope in the fan"
    assert list(found.causes) == list(SHIPPED_CATALOGUE.causes)


def test_the_share_of_faulty_units_may_be_ones_own(tmp_path: Path) -> None:
    assert own(tmp_path, "fault_share = 0.3\n").fault_share == 0.3


def test_words_stand_for_figures_of_a_plain_sign(tmp_path: Path) -> None:
    found = own(
        tmp_path,
        "[likelihoods.warm_cargo]\n"
        'split = "higher"\nsuperheat = "lower"\nvoltage_imbalance = "usual"\nlift = [0, -1, 0.5]\n',
    )
    rows = found.likelihoods["warm_cargo"]
    usual, below, above = rows["split"]
    assert above > 0 > usual
    assert below < 0
    assert rows["superheat"] == (usual, above, below)
    usual, below, above = rows["voltage_imbalance"]
    assert usual > 0 > below == above
    assert rows["lift"] == (0.0, -1.0, 0.5)


@pytest.mark.parametrize(
    ("text", "where", "what"),
    [
        ("[cause.typing_error]\nname = 'x'\n", "cause is no part of a catalogue", "causes, observations"),
        (WHOLE.replace('about = "A lashing', 'abuot = "A lashing'), "causes.rope_in_fan", "about is missing"),
        (WHOLE.replace("prior = 0.2", ""), "causes.rope_in_fan", "prior is missing"),
        (WHOLE.replace("prior = 0.2", 'prior = "rare"'), "causes.rope_in_fan", "prior = 'rare'"),
        (WHOLE.replace("prior = 0.2", "prior = true"), "causes.rope_in_fan", "prior = True"),
        (WHOLE.replace("prior = 0.2", "prior = 0"), "causes.rope_in_fan", "prior must be above 0"),
        (WHOLE.replace("prior = 0.2", "prior = nan"), "causes.rope_in_fan", "prior = nan"),
        (WHOLE.replace("prior = 0.2", "prior = inf"), "causes.rope_in_fan", "prior = inf"),
        (WHOLE.replace("prior = 0.2", "prior = 0.2\ncolour = 1"), "causes.rope_in_fan", "unknown key colour"),
        (WHOLE.replace("prior = 0.2", 'prior = 0.2\nparts = "fan"'), "causes.rope_in_fan", "parts = 'fan'"),
        (
            WHOLE.replace("prior = 0.2", 'prior = 0.2\nfirst_checks = ["nowhere"]'),
            "causes.rope_in_fan",
            "no nowhere",
        ),
        (WHOLE.replace("prior = 0.2", 'prior = 0.2\nalike = ["nobody"]'), "causes.rope_in_fan", "no nobody"),
        ('[causes]\nrope_in_fan = "fan"\n', "causes.rope_in_fan", "a table is needed"),
        ("causes = 3\n", "causes = 3", "[causes.name]"),
        (WHOLE.replace("rope_in_fan = 0.9", "rope = 0.9"), "observations.rope_seen.chance", "no cause rope"),
        (
            WHOLE.replace("rope_in_fan = 0.9", '"rope_in_fan.hemp" = 0.9'),
            "observations.rope_seen.chance",
            "no cause rope_in_fan.hemp",
        ),
        (WHOLE.replace("= 0.9", "= 1"), "observations.rope_seen", "chance 1 of rope_in_fan must lie between"),
        (WHOLE.replace("= 0.9", "= 0"), "observations.rope_seen", "chance 0 of rope_in_fan must lie between"),
        (WHOLE.replace("= 0.9", "= nan"), "observations.rope_seen", "rope_in_fan must lie between"),
        (WHOLE.replace("= 0.9", "= 'often'"), "observations.rope_seen", "rope_in_fan = 'often'"),
        (WHOLE.replace("otherwise = 0.02", "otherwise = 0"), "observations.rope_seen", "0 of otherwise"),
        (WHOLE.replace("moving_parts", "lions"), "observations.rope_seen", "'lions' is none of none, cargo"),
        (WHOLE.replace("minutes = 1", "minutes = 0"), "observations.rope_seen", "minutes must be above 0"),
        (WHOLE.replace("minutes = 1", "minutes = nan"), "observations.rope_seen", "minutes = nan"),
        ("[likelihoods.rope]\nsplit = 'lower'\n", "likelihoods", "no cause rope"),
        (
            "[likelihoods.warm_cargo]\nsplit = 'warmer'\n",
            "likelihoods.warm_cargo.split",
            "'warmer' is none of higher, lower, usual",
        ),
        ("[likelihoods.warm_cargo]\nsplit = [1, 2]\n", "likelihoods.warm_cargo.split", "three figures"),
        ("[likelihoods.warm_cargo]\nsplit = [1, 2, 'x']\n", "likelihoods.warm_cargo.split", "three figures"),
        ("[likelihoods.warm_cargo]\nsplit = [1, 2, nan]\n", "likelihoods.warm_cargo.split", "three figures"),
        ("[likelihoods]\nwarm_cargo = 'lower'\n", "likelihoods.warm_cargo", "a table is needed"),
        ("fault_share = 1\n", "fault_share", "between 0 and 1"),
        ("fault_share = 'few'\n", "fault_share", "between 0 and 1"),
        ("[causes.x\n", "not valid TOML", "Correct it there"),
        ("a = 1\na = 2\n", "not valid TOML", "Correct it there"),
    ],
)
def test_a_mistake_is_named_with_file_entry_and_what_is_wrong(
    tmp_path: Path, text: str, where: str, what: str
) -> None:
    message = refused(tmp_path, text)
    assert "mine.toml" in message
    assert where in message
    assert what in message
    assert message.endswith(".")


KINDS = """
[[causes.rope_in_fan.kinds]]
id = "hemp"
name = "Hemp rope"
share = {first}
repair = "Cut it out."
[[causes.rope_in_fan.kinds]]
id = "{second_id}"
name = "Steel rope"
share = {second}
repair = "Call the yard."
"""


@pytest.mark.parametrize(
    ("first", "second", "second_id", "what"),
    [
        (0.5, 0.4, "steel", "must add up to 1"),
        (1.5, -0.5, "steel", "share"),
        (1.0, 0.0, "steel", "share"),
        ("nan", 0.5, "steel", "share"),
        ('"half"', 0.5, "steel", "share = 'half'"),
        (0.5, 0.5, "hemp", "two kinds hemp"),
    ],
)
def test_kinds_that_do_not_share_their_cause_are_refused(
    tmp_path: Path, first: object, second: object, second_id: str, what: str
) -> None:
    kinds = KINDS.format(first=first, second=second, second_id=second_id)
    message = refused(tmp_path, CAUSE.format(name="rope_in_fan") + kinds)
    assert message.startswith("mine.toml, causes.rope_in_fan")
    assert what in message


def test_kinds_that_share_their_cause_are_taken(tmp_path: Path) -> None:
    text = CAUSE.format(name="rope_in_fan") + KINDS.format(first=0.75, second=0.25, second_id="steel")
    kinds = own(tmp_path, text).causes["rope_in_fan"].kinds
    assert {kind.id: kind.share for kind in kinds} == {"hemp": 0.75, "steel": 0.25}


def test_a_file_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(CatalogueError, match=r"none\.toml: No such file.*Name a file that can be read\."):
        load_catalogue(tmp_path / "none.toml")


def test_a_folder_is_no_catalogue(tmp_path: Path) -> None:
    with pytest.raises(CatalogueError, match=r"Name a file that can be read\."):
        load_catalogue(tmp_path)


def test_bytes_that_are_no_text_are_no_catalogue(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_bytes(b"\xff\xfe\x00name")
    with pytest.raises(CatalogueError, match=r"mine\.toml is not valid TOML"):
        load_catalogue(path)


def test_the_shipped_files_say_what_they_rest_on() -> None:
    """Judgement here, simulated fleets there; neither poses as measured."""
    judgement, fitted = (path.read_text(encoding="utf-8") for path in SHIPPED)
    assert "common practice, no source" in judgement[:1500]
    assert "simulated fleets only" in fitted[:1500]


def test_a_good_unit_has_no_likelihood_of_its_own() -> None:
    """All others are given against it."""
    assert HEALTHY not in SHIPPED_CATALOGUE.likelihoods
