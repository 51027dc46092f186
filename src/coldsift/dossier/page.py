"""From a reconstruction to one HTML text."""

from __future__ import annotations

import base64
import hashlib
import itertools
import re
from importlib import resources

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape

from coldsift.dossier.model import Reconstruction
from coldsift.report.words import printed, visible

_DATE = re.compile(r"\d{4}-\d\d-\d\d")

TEMPLATES = resources.files("coldsift.dossier") / "templates"


def build_dossier(reconstruction: Reconstruction) -> str:
    """Write the dossier as one HTML text that needs no script, no other file and no network.

    Parameters
    ----------
    reconstruction
        One container in one window of time.

    Returns
    -------
    str
        HTML. The same input gives the same text. Drawings use settings of the whole process: build one
        dossier at a time in a process.
    """
    # What draws takes a third of a second to load, which a screening need not wait for.
    from coldsift.dossier.views import build_document

    style = (TEMPLATES / "dossier.css").read_text(encoding="utf-8") + _margins(reconstruction)
    environment = Environment(
        loader=PackageLoader("coldsift.dossier"),
        autoescape=True,
        finalize=printed,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["dated"] = _dated
    environment.globals["next_figure"] = itertools.count(1).__next__
    environment.globals["next_table"] = itertools.count(1).__next__
    environment.globals["next_section"] = itertools.count(1).__next__
    return environment.get_template("dossier.html").render(
        document=build_document(reconstruction),
        policy=_policy(style),
        style=Markup(style),
    )


def _dated(text: str) -> Markup:
    """A text, escaped, whose dates are not broken at their hyphens."""
    return Markup(_DATE.sub(r'<span class="date">\g<0></span>', str(escape(visible(text)))))


def _policy(style: str) -> str:
    """Content-security policy: nothing is fetched, nothing runs, and only this very style is heeded."""
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    return (
        f"default-src 'none'; style-src 'sha256-{digest}'; img-src data:; base-uri 'none'; form-action 'none'"
    )


def _margins(of: Reconstruction) -> str:
    """What stands in the margins of every printed page."""
    window = f"{of.start:%Y-%m-%d} to {of.end:%Y-%m-%d} UTC"
    invented = "Invented data" if of.invented else ""
    return (
        "@page {"
        f" @top-left {{ content: {_css_text(of.container)}; font-weight: 600; }}"
        f" @top-right {{ content: {_css_text(f'Temperature dossier, {window}')}; }}"
        f" @bottom-left {{ content: {_css_text(invented)}; }}"
        ' @bottom-right { content: "Page " counter(page) " of " counter(pages); }'
        " }\n"
    )


def _css_text(text: str) -> str:
    """A text as CSS writes it, whatever is in it: letters and figures as they are, all else by its number."""
    return (
        '"'
        + "".join(
            each if each.isascii() and each.isalnum() else f"\\{ord(each):06x}" for each in visible(text)
        )
        + '"'
    )
