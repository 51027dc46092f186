"""Figures inside the pages."""

from __future__ import annotations

import json
import re

import pytest
from tests.report.fleet import pages


@pytest.fixture(scope="module")
def written() -> dict[str, str]:
    return pages()


def test_charts_are_stored_as_json_that_a_script_element_can_hold(written: dict[str, str]) -> None:
    html = "".join(written.values())
    figures = re.findall(r'<script type="application/json" class="figure-data">(.*?)</script>', html)
    assert len(figures) == 12
    for figure in figures:
        assert "<" not in figure
        assert json.loads(figure)
