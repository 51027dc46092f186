"""From view models to one HTML text."""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Mapping, Sequence
from importlib import resources

import plotly.offline
import polars as pl
from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from coldsift.causes import Catalogue
from coldsift.report.model import FeatureWords, MessageView, SourceView
from coldsift.report.views import build_page
from coldsift.report.words import printed

SCRIPTS = ("page.js", "checks.js", "answers.js")

TEMPLATES = resources.files("coldsift.report") / "templates"


def build_report(
    *,
    findings: pl.DataFrame,
    features: pl.DataFrame,
    excursions: pl.DataFrame,
    defrosts: pl.DataFrame,
    cargo: pl.DataFrame,
    voyage_events: pl.DataFrame,
    set_aside: pl.DataFrame,
    timeline: pl.DataFrame,
    causes: pl.DataFrame,
    evidence: pl.DataFrame,
    catalogue: Catalogue,
    sources: Sequence[SourceView],
    messages: Sequence[MessageView],
    parameters: Mapping[str, str],
    feature_words: Mapping[str, FeatureWords],
    reasons: Mapping[str, tuple[str, ...]],
    title: str,
    invented: bool,
) -> str:
    """Write the report as one HTML text that needs no other file and no network.

    Parameters
    ----------
    findings, features, excursions, defrosts, cargo, voyage_events, set_aside
        Tables as in :mod:`coldsift.schema`, units as stated there.
    timeline
        The common log with ``regime``, ``controlling_air``, ``band_low``, ``band_high`` [°C] and ``gap``
        (true where the next reading is missing).
    causes, evidence
        Chances and what speaks for and against, from :func:`coldsift.causes.judge`.
    catalogue
        The one they were judged with, from :func:`coldsift.causes.load_catalogue`.
    sources, messages
        What was read, and what there was to say about it.
    parameters
        Every parameter of the run with its value and unit, in words.
    feature_words
        Words for each feature id; a feature without an entry is shown under its id.
    reasons
        Plain sentences for each container, strongest first; without an entry, ``why`` stands.
    title
        Heading of the page.
    invented
        True when the data are made up: the page then says so at its top.

    Returns
    -------
    str
        HTML. The same input gives the same text.
    """
    page = build_page(
        findings=findings,
        features=features,
        excursions=excursions,
        defrosts=defrosts,
        cargo=cargo,
        voyage_events=voyage_events,
        set_aside=set_aside,
        timeline=timeline,
        causes=causes,
        evidence=evidence,
        catalogue=catalogue,
        sources=sources,
        messages=messages,
        parameters=parameters,
        feature_words=feature_words,
        reasons=reasons,
        title=title,
        invented=invented,
    )
    scripts = [*map(_asset, SCRIPTS), plotly.offline.get_plotlyjs()]
    environment = Environment(
        loader=PackageLoader("coldsift.report"),
        autoescape=True,
        finalize=printed,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    return environment.get_template("page.html").render(
        page=page,
        policy=_policy(scripts),
        style=Markup(_asset("page.css")),
        scripts=[Markup(script) for script in scripts],
    )


def _asset(name: str) -> str:
    return (TEMPLATES / name).read_text(encoding="utf-8")


def _policy(scripts: Sequence[str]) -> str:
    """Content-security policy: nothing is fetched, and only these very scripts run."""
    digests = (base64.b64encode(hashlib.sha256(script.encode()).digest()).decode() for script in scripts)
    allowed = " ".join(f"'sha256-{digest}'" for digest in digests)
    return (
        f"default-src 'none'; script-src {allowed}; style-src 'unsafe-inline'; img-src data:; "
        "base-uri 'none'; form-action 'none'"
    )
