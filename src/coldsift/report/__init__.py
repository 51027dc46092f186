"""The pages that a person reads: the report.

Goes in: :class:`Material`, the tables of :mod:`coldsift.schema` with words for what is not a table; and the
readings, of any units at a time. Comes out: HTML texts with the names of their files: an index, and a page a
unit beside it, or one page with everything; and a hand-over sheet of one printed page. None of them needs a
network. The stage computes nothing about refrigeration; it counts, words and draws what it is given.

A voyage too large for one look: :func:`overview_of` condenses the readings of each batch of units,
:func:`prepare` gets the report ready, :meth:`Report.units_of` writes the pages of a batch in any process, and
:meth:`Report.rest` what is about all of them.
"""

from coldsift.report.language import UnknownLanguage, available, load_language
from coldsift.report.material import Material
from coldsift.report.model import FeatureWords, MessageView, SourceView
from coldsift.report.overview import Overview, overview_of
from coldsift.report.page import HANDOVER, INDEX, Report, build_report, prepare
from coldsift.report.unit_pages import UnitPages

__all__ = [
    "HANDOVER",
    "INDEX",
    "FeatureWords",
    "Material",
    "MessageView",
    "Overview",
    "Report",
    "SourceView",
    "UnitPages",
    "UnknownLanguage",
    "available",
    "build_report",
    "load_language",
    "overview_of",
    "prepare",
]
