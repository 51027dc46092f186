"""One page that a person reads: the report.

Goes in: the tables of :mod:`coldsift.schema`, the timeline, and small view models for what is not a table
(files, messages, words for the features). Comes out: one HTML text that needs nothing else, neither a
network nor a file beside it. The stage computes nothing about refrigeration; it counts, words and draws what
it is given.
"""

from coldsift.report.model import FeatureWords, MessageView, SourceView
from coldsift.report.page import build_report

__all__ = ["FeatureWords", "MessageView", "SourceView", "build_report"]
