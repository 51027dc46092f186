"""From an inspection to one HTML text that needs no script, no other file and no network."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from importlib import resources

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from coldsift.intake import Message, SourceRecord
from coldsift.pre_trip.drawing import LINES
from coldsift.pre_trip.inspect import Inspection
from coldsift.pre_trip.views import build_page_view
from coldsift.report.words import printed, visible

TEMPLATES = resources.files("coldsift.pre_trip") / "templates"
HOUSE = resources.files("coldsift.report") / "templates"


@dataclass(frozen=True, slots=True)
class Provenance:
    """Where the page's numbers come from.

    Attributes
    ----------
    sources, messages
        Of the intake.
    parameters
        Words and value of what shaped the numbers.
    invented
        True where the logs say that they are simulated.
    """

    sources: Sequence[SourceRecord]
    messages: Sequence[Message]
    parameters: Sequence[tuple[str, str]]
    invented: bool


def build_page(inspection: Inspection, provenance: Provenance, title: str) -> str:
    """Write the page.

    Parameters
    ----------
    inspection
        From :func:`coldsift.pre_trip.inspect_log`.
    provenance
        Files, messages, parameters.
    title
        Heading.

    Returns
    -------
    str
        HTML; the same input gives the same text.
    """
    style = _style()
    environment = Environment(
        loader=PackageLoader("coldsift.pre_trip"),
        autoescape=True,
        finalize=printed,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["visible"] = visible
    return environment.get_template("pre_trip.html").render(
        page=build_page_view(inspection, title),
        provenance=provenance,
        lines=LINES[::-1],
        policy=_policy(style),
        style=Markup(style),
    )


def _style() -> str:
    base, dark = ((HOUSE / name).read_text(encoding="utf-8") for name in ("base.css", "dark.css"))
    own = (TEMPLATES / "pre_trip.css").read_text(encoding="utf-8")
    return f"{base}\n@media screen and (prefers-color-scheme: dark) {{\n{dark}}}\n{own}"


def _policy(style: str) -> str:
    """Content-security policy: nothing is fetched, nothing runs, and only this very style is heeded."""
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    return (
        f"default-src 'none'; style-src 'sha256-{digest}'; img-src data:; base-uri 'none'; form-action 'none'"
    )
