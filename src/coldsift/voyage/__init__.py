"""What is known of a voyage beyond the logs; all of it optional.

Goes in: a facts file (TOML: cargo, contract limits, treatment ordered), custody events and work notes (CSV).
Comes out: :class:`Facts`, and the tables :data:`coldsift.schema.CUSTODY` and :data:`coldsift.schema.NOTES`.
A file that is wrong is refused whole, with the lines that are wrong.
"""

from coldsift.voyage.custody import read_custody
from coldsift.voyage.facts import Facts, FactsError, UnitFacts, read_facts
from coldsift.voyage.notes import read_notes
from coldsift.voyage.tables import TableError

__all__ = [
    "Facts",
    "FactsError",
    "TableError",
    "UnitFacts",
    "read_custody",
    "read_facts",
    "read_notes",
]
