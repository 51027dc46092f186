"""What is new since an earlier run.

Goes in: the findings of this run, and those of an earlier one from its folder. Comes out: one row a
container that says whether it is new, gone, worse, better, of another cause, or the same.
"""

from coldsift.changes.compare import compare_runs
from coldsift.changes.earlier import EarlierRunError, earlier_findings

__all__ = ["EarlierRunError", "compare_runs", "earlier_findings"]
