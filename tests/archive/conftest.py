"""Half the time of an add goes to the catalogue for other programs: only tests about it have it made."""

from __future__ import annotations

import pytest

from coldsift.archive import add as adding


@pytest.fixture
def catalogue() -> None:
    """Have ``catalogue.duckdb`` made at every add."""


@pytest.fixture(autouse=True)
def _no_catalogue_unasked(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    if "catalogue" not in request.fixturenames:
        monkeypatch.setattr(adding, "_renew_catalogue", lambda *_: None)
