"""The pages that a person reads: the report.

Goes in: :class:`Material`, the tables of :mod:`coldsift.schema` with words for what is not a table. Comes
out: HTML texts with the names of their files: an index, and a page a unit beside it, or one page with
everything; and a hand-over sheet of one printed page. None of them needs a network. The stage computes
nothing about refrigeration; it counts, words and draws what it is given.
"""

from coldsift.report.language import UnknownLanguage, available, load_language
from coldsift.report.material import Material
from coldsift.report.model import FeatureWords, MessageView, SourceView
from coldsift.report.page import HANDOVER, INDEX, build_report

__all__ = [
    "HANDOVER",
    "INDEX",
    "FeatureWords",
    "Material",
    "MessageView",
    "SourceView",
    "UnknownLanguage",
    "available",
    "build_report",
    "load_language",
]
