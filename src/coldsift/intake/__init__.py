"""Intake: log files in, common log out, every line accounted for.

Goes in: paths to files, folders, globs, zip and gzip in any layout that is declared or speaks the trade's
words. Comes out: an :class:`Intake` with the common log, what was set aside and why, one record per source
and the messages for the user. Nothing here raises for bad input.
"""

from coldsift.intake.logs import read_logs
from coldsift.intake.read import ReadOptions
from coldsift.intake.records import Intake, Message, SourceRecord, WrongCall

__all__ = ["Intake", "Message", "ReadOptions", "SourceRecord", "WrongCall", "read_logs"]
