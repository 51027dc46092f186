"""Spanish of texts that are made of several."""

from __future__ import annotations

from itertools import permutations

from coldsift.causes import SEVERAL, load_catalogue
from coldsift.ranking import load_thresholds
from coldsift.report.cause_views import hypothesis_name
from coldsift.report.language import load_language

SPANISH = load_language("es")


def test_every_pair_of_causes_is_told_in_spanish_also_where_a_name_holds_the_word_and() -> None:
    catalogue = load_catalogue()
    left = {
        part
        for pair in permutations(catalogue.causes, 2)
        for part in SPANISH.untranslated(hypothesis_name(SEVERAL, pair, catalogue))
    }
    assert left == set()
    again = hypothesis_name(SEVERAL, ("power_interrupted", "vent_left_open"), catalogue)
    assert "repetidos, y toma de aire" in SPANISH.translate(again)


def test_where_the_shipped_thresholds_come_from_is_told_in_spanish() -> None:
    told = SPANISH.translate(f"shipped: {load_thresholds(None).provenance.in_words()}")
    assert "semillas de 201 a 224; 4755 unidades, 915 con avería" in told
