"""From view models to HTML texts: the templates in one language, and what a page carries along.

Goes in: the names of a template, of style sheets and of scripts, and view models. Comes out: a page that
needs no network, and whose policy lets only its own scripts run.
"""

from __future__ import annotations

import base64
import hashlib
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, cached_property
from importlib import resources
from typing import Any

import plotly.offline
from jinja2 import Environment, PackageLoader, StrictUndefined, nodes
from jinja2.ext import InternationalizationExtension
from markupsafe import Markup

from coldsift.report.attributes import MachineAttributes
from coldsift.report.embedded import script_safe
from coldsift.report.language import Language, as_logged, load_language, untranslated
from coldsift.report.model import Heading

TEMPLATES = resources.files("coldsift.report") / "templates"


class TranslatedOnce(InternationalizationExtension):
    """Texts that say the same on every page are translated once, when their template is compiled."""

    def _make_node(
        self,
        singular: str,
        plural: str | None,
        context: str | None,
        variables: dict[str, nodes.Expr],
        plural_expr: nodes.Expr | None,
        vars_referenced: bool,
        num_called_num: bool,
    ) -> nodes.Output:
        if plural is None and context is None and not variables:
            said = self.environment.translated(singular)  # type: ignore[attr-defined]
            return nodes.Output([nodes.TemplateData(said % {})])
        return super()._make_node(
            singular, plural, context, variables, plural_expr, vars_referenced, num_called_num
        )


@dataclass(frozen=True)
class Look:
    """Style sheets and scripts of a page, in order.

    Attributes
    ----------
    styles, scripts
        Names of files among the templates.
    first
        A script of this run alone, before the others.
    library
        True when the page carries the chart library; otherwise, where it has scripts, it loads the script
        that lies beside it.
    """

    styles: tuple[str, ...]
    scripts: tuple[str, ...] = ()
    first: str | None = None
    library: bool = False

    @cached_property
    def values(self) -> dict[str, Any]:
        """What templates/frame.html wants to know of it."""
        scripts = [*([] if self.first is None else [self.first]), *map(asset, self.scripts)]
        allowed = [*scripts, plotly.offline.get_plotlyjs()] if self.library else scripts
        return {
            "policy": policy(allowed, beside=bool(scripts) and not self.library),
            "style": Markup("\n".join(map(asset, self.styles))),
            "scripts": [Markup(script) for script in scripts],
            "library": Markup(deflated(plotly.offline.get_plotlyjs()) if self.library else ""),
        }


@dataclass(frozen=True, slots=True)
class Pages:
    """Templates in one language, ready to be filled for one report."""

    language: Language
    heading: Heading

    def page(self, template: str, look: Look, **values: Any) -> str:
        """Fill a template with what a page of this look carries along, and with view models."""
        return self.filled(
            template,
            **look.values,
            texts=script_safe(self.language.script_texts()),
            language=self.language.code,
            heading=self.heading,
            **values,
        )

    def filled(self, template: str, **values: Any) -> str:
        """Fill a template with view models."""
        return environment(self.language.code).get_template(template).render(values)


def deflated(text: str) -> str:
    """Base64 of a zlib stream (RFC 1950): the chart library takes two fifths of its room."""
    return base64.b64encode(zlib.compress(text.encode())).decode()


@cache
def asset(name: str) -> str:
    """A style sheet or a script."""
    return (TEMPLATES / name).read_text(encoding="utf-8")


@cache
def environment(code: str) -> Environment:
    """The templates in a language; compiled once in a process."""
    language = load_language(code)
    made = Environment(
        loader=PackageLoader("coldsift.report"),
        extensions=[TranslatedOnce, MachineAttributes],
        autoescape=True,
        finalize=language.printed,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    made.policies["ext.i18n.trimmed"] = True
    made.extend(translated=language.gettext)
    made.install_gettext_callables(  # type: ignore[attr-defined]
        language.gettext, language.ngettext, newstyle=True
    )
    made.filters |= {"as_logged": as_logged, "untranslated": untranslated}
    return made


def policy(scripts: Sequence[str], beside: bool) -> str:
    """Content-security policy: nothing is fetched from elsewhere, and only these very scripts run.

    ``beside`` lets a page load the script that lies beside it, too.
    """
    digests = (base64.b64encode(hashlib.sha256(script.encode()).digest()).decode() for script in scripts)
    allowed = (
        " ".join([*(["'self'"] if beside else []), *(f"'sha256-{digest}'" for digest in digests)]) or "'none'"
    )
    return (
        f"default-src 'none'; script-src {allowed}; style-src 'unsafe-inline'; img-src data:; "
        "base-uri 'none'; form-action 'none'"
    )
