"""Probable causes: from what is odd about a unit to the part, and to the check that would settle it.

Goes in: each feature's distance from the peers or from the unit's own past, the catalogue, and what documents
and work notes say was seen. Comes out: the chance of every cause beside "nothing wrong", "none of these" and
"more than one", the evidence for and against in words, and which look or measurement tells most for its
minutes.
"""

from coldsift.causes.bring import alike_and_likely, to_bring
from coldsift.causes.catalogue import (
    HEALTHY,
    NAMED_CAUSES,
    NAMES,
    OTHER,
    SEVERAL,
    WORTH_NAMING,
    Catalogue,
    CatalogueError,
    Cause,
    Observation,
    Risk,
    load_catalogue,
)
from coldsift.causes.checks import (
    CheckTable,
    NextCheck,
    after,
    before,
    check_table,
    first_checks,
    information,
    leaf_chances,
    next_checks,
    yes_table,
)
from coldsift.causes.judge import Judgement, judge
from coldsift.causes.noted import noted_observations

__all__ = [
    "HEALTHY",
    "NAMED_CAUSES",
    "NAMES",
    "OTHER",
    "SEVERAL",
    "WORTH_NAMING",
    "Catalogue",
    "CatalogueError",
    "Cause",
    "CheckTable",
    "Judgement",
    "NextCheck",
    "Observation",
    "Risk",
    "after",
    "alike_and_likely",
    "before",
    "check_table",
    "first_checks",
    "information",
    "judge",
    "leaf_chances",
    "load_catalogue",
    "next_checks",
    "noted_observations",
    "to_bring",
    "yes_table",
]
