"""Goods: what the shipped files say, how a name is found, and what is refused in a user's own file."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from coldsift.cargo.commodities import (
    LIVE_GROUPS,
    SHIPPED,
    STANDINGS,
    Commodity,
    GoodsError,
    UnknownCommodity,
    find_commodity,
    load_goods,
)
from coldsift.regimes.bands import DEEP_FROZEN_SET_POINT, FROZEN_SET_POINT
from coldsift.simulate import CARGOES

GOODS = load_goods()

NUMBERS_LEFT_OUT = ("chilling_limit", "freezing_point", "respiration", "q10", "storage_life_days", "water")
"""Fields that an entry may go without."""

OWN = """
[commodities.dragon_fruit]
name = "Dragon fruit"
other_names = ["pitaya"]
group = "fruit"
regime_class = "chilled"
source = "Our trial of last season"
optimum = [6, 10]
packaging = "carton_through_flow"
"""


def load(folder: Path, text: str) -> dict[str, Commodity]:
    path = folder / "own.toml"
    path.write_text(text, encoding="utf-8")
    return dict(load_goods(path).commodities)


def refused(folder: Path, text: str) -> str:
    with pytest.raises(GoodsError) as error:
        load(folder, text)
    return str(error.value)


def rate_at(commodity: Commodity, temperature: float) -> float:
    return dict(commodity.respiration)[temperature]


# What the trade knows.
def test_a_banana_is_harmed_by_cold_that_an_apple_likes() -> None:
    banana, apple = GOODS.commodities["banana"], GOODS.commodities["apple"]
    assert banana.chilling_limit is not None
    assert apple.optimum_high < banana.chilling_limit
    assert apple.chilling_limit is None


def test_broccoli_breathes_far_more_than_apples() -> None:
    assert rate_at(GOODS.commodities["broccoli"], 20) > 5 * rate_at(GOODS.commodities["apple"], 20)


def test_goods_that_do_not_live_give_off_no_carbon_dioxide() -> None:
    dead = [each for each in GOODS.commodities.values() if each.group not in LIVE_GROUPS]
    assert len(dead) > 20
    assert [each.id for each in dead if each.respiration] == []


def test_every_live_good_breathes_but_the_rose_whose_rate_is_not_known() -> None:
    live = [each for each in GOODS.commodities.values() if each.group in LIVE_GROUPS]
    assert [each.id for each in live if not each.respiration] == ["rose"]


def test_fresh_produce_does_not_freeze_in_its_optimum() -> None:
    for each in GOODS.commodities.values():
        if each.group in LIVE_GROUPS and each.freezing_point is not None:
            assert each.freezing_point <= each.optimum_low, each.id


def test_tropical_fruit_is_carried_warmer_than_temperate_fruit() -> None:
    tropical = [GOODS.commodities[each] for each in ("banana", "mango", "pineapple", "papaya")]
    temperate = [GOODS.commodities[each] for each in ("apple", "pear", "grape", "cherry", "kiwifruit")]
    assert max(each.optimum_high for each in temperate) < min(each.optimum_low for each in tropical)


def test_vacuum_packed_beef_is_carried_just_above_its_freezing_point() -> None:
    beef = GOODS.commodities["beef_chilled"]
    assert beef.freezing_point is not None
    assert 0 < beef.optimum_low - beef.freezing_point < 1


def test_frozen_fish_is_carried_colder_than_the_law_asks() -> None:
    fish = GOODS.commodities["fish_frozen"]
    assert fish.rule is not None
    limit = GOODS.rules[fish.rule].limit_high
    assert limit is not None
    assert fish.optimum_high < limit


def test_every_deep_frozen_good_has_a_legal_limit_that_its_optimum_keeps() -> None:
    frozen = [each for each in GOODS.commodities.values() if each.regime_class == "deep_frozen"]
    assert len(frozen) >= 10
    for each in frozen:
        limit = GOODS.rules[each.rule or ""].limit_high
        assert limit is not None and each.optimum_high <= limit, each.id


def test_a_block_of_frozen_cartons_is_thicker_than_a_carton_that_air_goes_through() -> None:
    block, vented = GOODS.packagings["frozen_block"], GOODS.packagings["carton_through_flow"]
    assert block.half_thickness[0] > vented.half_thickness[1]


@pytest.mark.parametrize("commodity", GOODS.commodities.values(), ids=GOODS.commodities)
def test_the_regime_class_of_goods_is_that_of_a_set_point_at_their_optimum(commodity: Commodity) -> None:
    set_point = commodity.optimum_high
    assert (commodity.regime_class == "deep_frozen") == (set_point <= DEEP_FROZEN_SET_POINT)
    assert (commodity.regime_class == "chilled") == (set_point > FROZEN_SET_POINT)


# Sources.
def test_every_number_names_a_source_whose_standing_is_said() -> None:
    endings = tuple(f"({each})" for each in STANDINGS.values())
    for each in GOODS.commodities.values():
        numbers = {"optimum"} | {key for key in NUMBERS_LEFT_OUT if getattr(each, key) not in {None, ()}}
        assert set(each.sources) == numbers, each.id
        assert all(words.endswith(endings) for words in each.sources.values()), each.id
    told = [(rule.id, rule.source) for rule in GOODS.rules.values()]
    told += [(packaging.id, packaging.source) for packaging in GOODS.packagings.values()]
    assert [name for name, source in told if not source.endswith(endings)] == []


def test_no_source_is_listed_that_no_number_rests_on() -> None:
    files = [tomllib.loads(path.read_text(encoding="utf-8")) for path in SHIPPED]
    told = {words for each in GOODS.commodities.values() for words in each.sources.values()}
    told |= {rule.source for rule in GOODS.rules.values()}
    told |= {packaging.source for packaging in GOODS.packagings.values()}
    for file in files:
        for name, source in file["sources"].items():
            assert any(source["words"] in words for words in told), name


# Names.
@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("banana", "banana"),
        ("BANANAS", "banana"),
        ("Mangos", "mango"),
        ("tomatoes", "tomato"),
        ("cherries", "cherry"),
        ("peaches", "peach"),
        ("sweetpotato", "sweet_potato"),
        ("Sweet-Potatoes", "sweet_potato"),
        ("sweet_potato", "sweet_potato"),
        ("beef, frozen", "beef_frozen"),
        ("deep frozen fish", "fish_frozen"),
        ("eggplant", "aubergine"),
        ("2–8 °C", "pharma_2_8"),
        ("Medicines, 15 to 25 °C", "pharma_15_25"),
    ],
)
def test_goods_are_found_by_any_usual_writing_of_a_name(name: str, expected: str) -> None:
    assert find_commodity(name, GOODS).id == expected


def test_all_names_lead_to_their_own_entry() -> None:
    for each in GOODS.commodities.values():
        for name in (each.id, each.name, *each.other_names):
            assert find_commodity(name, GOODS) is each, name


@pytest.mark.parametrize("name", ["beef", "fish", "chicken", "butter", "pork"])
def test_a_name_that_does_not_say_frozen_or_chilled_is_asked_back(name: str) -> None:
    with pytest.raises(UnknownCommodity, match="Did you mean") as error:
        find_commodity(name, GOODS)
    said = str(error.value).lower()
    assert "frozen" in said
    assert "chilled" in said or "fresh" in said


@pytest.mark.parametrize(
    ("name", "near"), [("bananna", "Bananas"), ("chiken", "poultry"), ("melon", "Honeydew")]
)
def test_a_name_that_is_not_known_brings_near_ones_and_how_to_add_it(name: str, near: str) -> None:
    with pytest.raises(UnknownCommodity) as error:
        find_commodity(name, GOODS)
    assert near in str(error.value)
    assert "TOML file of your own" in str(error.value)


@pytest.mark.parametrize("name", ["", "  ", "???", "dragon fruit"])
def test_a_name_that_is_near_to_nothing_is_refused_plainly(name: str) -> None:
    with pytest.raises(UnknownCommodity, match="No name is near"):
        find_commodity(name, GOODS)


def test_the_cargoes_of_the_simulator_are_set_to_the_class_of_their_goods() -> None:
    unknown = []
    for name, cargo in CARGOES.items():
        try:
            commodity = find_commodity(name, GOODS)
        except UnknownCommodity:
            unknown.append(name)
            continue
        for set_point in cargo.set_points:
            assert (commodity.regime_class == "chilled") == (set_point > FROZEN_SET_POINT), name
    assert unknown == ["citrus"], "only this leaves open which fruit it is"


# A user's own file.
def test_own_goods_are_added_with_their_source_in_words(tmp_path: Path) -> None:
    goods = load(tmp_path, OWN)
    assert set(goods) == {*GOODS.commodities, "dragon_fruit"}
    assert goods["dragon_fruit"].sources == {"optimum": "Our trial of last season"}
    assert (goods["dragon_fruit"].optimum_low, goods["dragon_fruit"].optimum_high) == (6, 10)


def test_an_own_entry_replaces_the_shipped_one_of_its_id_as_a_whole(tmp_path: Path) -> None:
    goods = load(tmp_path, OWN.replace("dragon_fruit", "banana").replace("Dragon fruit", "Bananas"))
    assert goods["banana"].chilling_limit is None
    assert goods["apple"] == GOODS.commodities["apple"]


def test_own_sources_rules_and_packagings_can_be_named(tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_text(
        """
        [sources]
        contract = { words = "Contract of the season", standing = "read" }
        [rules.contract]
        name = "Contract"
        limit_high = 10
        mean_kinetic_limit = { value = 9, source = "Letter of the shipper" }
        about = "Asked for by the shipper."
        source = "contract"
        [packagings.crate]
        name = "Crates"
        half_thickness = [0.05, 0.1]
        bulk_density = [300, 400]
        heat_transfer = [5, 10]
        conductivity_factor = [0.5, 1]
        source = "contract"
        """
        + OWN.replace('"carton_through_flow"', '"crate"\nrule = "contract"').replace(
            "Our trial of last season", "contract"
        ),
        encoding="utf-8",
    )
    goods = load_goods(path)
    read = "Contract of the season (read in a retrieved copy)"
    assert goods.rules["contract"].source == f"{read}; mean_kinetic_limit: Letter of the shipper"
    assert goods.packagings["crate"].bulk_density == (300, 400)
    assert goods.commodities["dragon_fruit"].sources == {"optimum": read}


def test_the_shipped_files_are_read_once() -> None:
    assert load_goods() is load_goods()


def test_a_rate_by_volume_is_the_middle_of_its_range_times_the_density_of_the_gas(tmp_path: Path) -> None:
    rows = 'respiration = { value = [[0, 1, 3], [20, 4]], unit = "ml" }\n'
    table = load(tmp_path, OWN + rows)["dragon_fruit"].respiration
    assert [temperature for temperature, _ in table] == [0, 20]
    assert [mass for _, mass in table] == pytest.approx([2 * 1.964, 4 * 1.829], abs=0.01)
    assert load(tmp_path, OWN + rows.replace("ml", "mg"))["dragon_fruit"].respiration == ((0, 2), (20, 4))


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("optimum = [6, 10]", "optimum = [10, 6]", "optimum: 10 is above 6"),
        ("optimum = [6, 10]", "optimum = [6]", "optimum: [6] is no pair"),
        ("optimum = [6, 10]", "optimum = [60, 100]", "Check unit and sign"),
        ("optimum = [6, 10]", "", "optimum: is missing"),
        ("[6, 10]", '[6, 10]\noptimun = [6, 10]', "optimun: is no key of this entry. Did you mean optimum"),
        ("[6, 10]", "[6, 10]\nfreezing_point = 12", "freezing_point: 12 must be colder than the optimum"),
        ("[6, 10]", "[6, 10]\nchilling_limit = 12", "chilling_limit: 12 °C is warmer than the optimum"),
        ("[6, 10]", "[6, 10]\nwater = 84", "water: 84 must lie between 0 and 1"),
        ("[6, 10]", '[6, 10]\nwater = "wet"', "water: 'wet' is no number"),
        ("[6, 10]", "[6, 10]\nwater = nan", "water: nan is no number"),
        ("[6, 10]", "[6, 10]\nwater = { value = 0.8, unit = 1 }", "water: {'value': 0.8, 'unit': 1}; write"),
        ("[6, 10]", "[6, 10]\nq10 = 0.5", "q10: 0.5 must lie between 1 and 30"),
        ("[6, 10]", "[6, 10]\nrespiration = [[5, 9], [0, 10]]", "the row of 0 °C must be warmer"),
        ("[6, 10]", "[6, 10]\nrespiration = [[0, 9], [5, 8]]", "no slower than the one before, 0 °C"),
        ("[6, 10]", "[6, 10]\nrespiration = [5, 9]", "respiration: [5, 9] is no table"),
        ("[6, 10]", '[6, 10]\nrespiration = { value = [[5, 9]], unit = "W/t" }', "'W/t' is none of mg, ml"),
        ("[6, 10]", '[6, 10]\nwater = { value = 0.8, source = "hb66_1986" }', "Did you mean hb66_1968"),
        ('source = "Our trial of last season"', "", "optimum: has no source. Name one"),
        ('"chilled"', '"frozen"', "frozen does not fit an optimum up to 10 °C, which is chilled"),
        ('"fruit"', '"fruits"', "group: there is no 'fruits'. Did you mean fruit"),
        ('"fruit"', "3", "group: 3 is no text"),
        ("carton_through_flow", "carton", "packaging: there is no 'carton'. Did you mean carton_block"),
        ("[6, 10]", '[6, 10]\nrule = "atp_icecream"', "Did you mean atp_ice_cream"),
        ("[6, 10]", '[6, 10]\nrule = "atp_ice_cream"', "rule: the whole optimum 6 to 10 °C is outside"),
        ('["pitaya"]', '["Apples"]', "'Apples' is a name of apple too"),
        ('["pitaya"]', '["?"]', "other_names: ['?'] is no list of names"),
        ("[commodities.dragon_fruit]", "[commodity.dragon_fruit]", "Did you mean commodities"),
        ("[commodities.dragon_fruit]", "[commodities]", "write [commodities.name] and its keys"),
        ("[6, 10]", "[6, 10", "own.toml is not valid TOML"),
    ],
)  # fmt: skip
def test_a_wrong_entry_is_refused_with_its_place_and_what_to_do(
    tmp_path: Path, old: str, new: str, said: str
) -> None:
    assert old in OWN
    message = refused(tmp_path, OWN.replace(old, new))
    assert "own.toml" in message
    assert said in message


def test_dead_goods_cannot_breathe(tmp_path: Path) -> None:
    text = OWN.replace('"fruit"', '"meat"') + "respiration = [[5, 9]]\n"
    assert "goods of the group meat do not breathe" in refused(tmp_path, text)


def test_a_rule_without_any_limit_is_refused(tmp_path: Path) -> None:
    text = '[rules.empty]\nname = "Empty"\nabout = "Nothing."\nsource = "Our own words"\n'
    assert "rules.empty.limit_high: the rule has no limit" in refused(tmp_path, text)


def test_a_source_of_no_known_standing_is_refused(tmp_path: Path) -> None:
    text = '[sources]\nmine = { words = "Mine", standing = "red" }\n'
    assert "sources.mine.standing: 'red'. Did you mean read" in refused(tmp_path, text)


def test_all_defects_are_named_at_once(tmp_path: Path) -> None:
    message = refused(tmp_path, OWN.replace('"fruit"', '"fruits"').replace("[6, 10]", "[10, 6]\nwater = 84"))
    assert message.startswith("Goods cannot be used, 3 defects:")
    assert len(message.splitlines()) == 4


def test_a_missing_file_is_told_plainly(tmp_path: Path) -> None:
    with pytest.raises(GoodsError, match="Name a file that can be read"):
        load_goods(tmp_path / "none.toml")


NUMBERS = st.one_of(st.booleans(), st.integers(-99, 99), st.floats(-99, 99).map(lambda each: round(each, 3)))
TEXTS = st.sampled_from(['"fruit"', '"chilled"', '""', '"ucd"', '"so it is said"', '"<b>"'])
VALUES = st.recursive(
    st.one_of(NUMBERS.map(lambda each: str(each).lower()), TEXTS),
    lambda inner: st.one_of(
        st.lists(inner, max_size=3).map(lambda each: f"[{', '.join(each)}]"),
        st.dictionaries(st.sampled_from(["value", "source", "unit", "x"]), inner, max_size=3).map(
            lambda each: "{ " + ", ".join(f"{key} = {value}" for key, value in each.items()) + " }"
        ),
    ),
    max_leaves=6,
)
KEYS = st.sampled_from(
    (
        *("name", "other_names", "group", "regime_class", "optimum", "freezing_point", "respiration", "q10"),
        *("storage_life_days", "water", "packaging", "rule", "source", "limit_high", "words", "standing"),
    )
)


@settings(max_examples=60, deadline=None)
@given(
    table=st.sampled_from(["commodities", "rules", "packagings", "sources"]),
    entry=st.dictionaries(KEYS, VALUES, max_size=8),
)
def test_no_file_however_odd_ends_in_anything_but_goods_or_a_message(
    tmp_path_factory: pytest.TempPathFactory, table: str, entry: dict[str, str]
) -> None:
    path = tmp_path_factory.mktemp("odd") / "own.toml"
    path.write_text(f"[{table}.odd]\n" + "".join(f"{key} = {value}\n" for key, value in entry.items()))
    try:
        goods = load_goods(path)
    except GoodsError as error:
        assert "own.toml" in str(error)
    else:
        assert len(goods.commodities) >= len(GOODS.commodities)
