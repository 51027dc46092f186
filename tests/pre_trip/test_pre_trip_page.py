"""The page stands alone, escapes what logs say, and its drawings say where a value is."""

from __future__ import annotations

import base64
import hashlib
import re
import xml.etree.ElementTree as ET

import pytest

from coldsift.pre_trip.drawing import band_bar
from coldsift.pre_trip.page import Provenance, build_page
from tests.pre_trip.inspected import by_hand, judged

HOSTILE = "<script>alert(1)</script>"


def page(**changed: object) -> str:
    inspection = judged(by_hand(**changed))
    return build_page(inspection, Provenance((), (), (("pass bands", "shipped"),), True), "Boxes of a test")


@pytest.fixture(scope="module")
def text() -> str:
    return page(alarms=[[HOSTILE]] * 69)


def test_it_runs_nothing_and_asks_for_nothing(text: str) -> None:
    assert "<script" not in text
    assert not re.search(r"""(?:src|href)=["'](?!#|data:,)""", text)
    assert " style=" not in text
    style = re.search(r"<style>(.*?)</style>", text, re.DOTALL)
    assert style
    digest = base64.b64encode(hashlib.sha256(style[1].encode()).digest()).decode()
    assert f"style-src &#39;sha256-{digest}&#39;" in text


def test_text_of_a_log_is_shown_and_not_run(text: str) -> None:
    assert "&lt;script&gt;alert(1)&lt;/script&gt;" in text


def test_it_never_says_safe_or_passed_of_a_box(text: str) -> None:
    visible = re.sub(r"<[^>]+>", " ", text)
    for found in re.finditer(r"\b(safe|passed)\b", visible):
        assert (
            "never says that a unit is safe or has passed" in visible[found.start() - 40 : found.end() + 20]
        )
    assert "Invented data." in visible
    for caution in ("Mains voltage", "Refrigerant under pressure", "Heights", "licensed"):
        assert caution in visible


def test_the_drawing_is_well_formed_and_shades_every_phase(text: str) -> None:
    drawings = re.findall(r"<svg class=\"air-chart\".*?</svg>", text, re.DOTALL)
    assert len(drawings) == 2
    for drawing in drawings:
        root = ET.fromstring(drawing)
        shades = {(each.get("class") or "").split()[-1] for each in root.iter("rect")}
        assert shades == {
            "fans_only",
            "pull_down_chilled",
            "chilled_hold",
            "pull_down_frozen",
            "frozen_hold",
            "defrost",
            "return",
        }
        lines = {(each.get("class") or "").split()[-1] for each in root.iter("path")}
        assert {"set_point", "supply_air", "return_air", "ambient_air"} <= lines


def test_a_log_with_hardly_anything_still_makes_a_page() -> None:
    inspection = judged(by_hand(supply_air=None, return_air=None, ambient_air=None).head(3))
    assert "Nothing" in build_page(inspection, Provenance((), (), (), False), "Little")


def marked_at(value: float, low: float | None, high: float | None) -> float:
    drawn = band_bar(value, low, high)
    assert drawn is not None
    mark = re.search(r'class="at" d="M([\d.]+) ', drawn)
    assert mark
    return float(mark[1])


def test_a_value_stands_in_its_band_where_it_is() -> None:
    drawn = band_bar(5, 0, 10)
    assert drawn is not None
    zone = re.search(r'class="inside" x="([\d.]+)" y="[\d.]+" width="([\d.]+)"', drawn)
    assert zone
    left, width = float(zone[1]), float(zone[2])
    assert marked_at(5, 0, 10) == pytest.approx(left + width / 2, abs=0.2)
    assert marked_at(10, 0, 10) == pytest.approx(left + width, abs=0.2)
    assert marked_at(99, 0, 10) > left + width
    assert marked_at(-99, 0, 10) < left + 5
    assert marked_at(1, None, 10) < marked_at(9, None, 10)
    assert marked_at(1, 10, None) < marked_at(12, 10, None)
    assert band_bar(None, 0, 1) is None
    assert band_bar(1, None, None) is None
