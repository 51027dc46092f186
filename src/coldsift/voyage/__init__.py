"""What is known of a voyage beyond the logs; all of it optional.

Goes in: a facts file (TOML: cargo, contract limits, treatment ordered), the stowage plan (UN/EDIFACT or CSV),
bookings, custody events (CSV, or EPCIS 2.0 as JSON), work notes and spare parts (CSV). Comes out:
:class:`Facts`, a :class:`StowagePlan`, and the tables of :mod:`coldsift.schema` for the others. A file that a
person keeps by hand and that is wrong is refused whole, with the lines that are wrong; of plans and of EPCIS
events, which others send, what can be read is used and the rest is named.
"""

from coldsift.voyage.bookings import read_bookings
from coldsift.voyage.custody import CustodyEvents, read_custody, read_events
from coldsift.voyage.facts import Facts, FactsError, UnitFacts, read_facts
from coldsift.voyage.notes import read_notes
from coldsift.voyage.plan import StowagePlan, read_plan
from coldsift.voyage.spares import read_spares
from coldsift.voyage.tables import TableError
from coldsift.voyage.unmatched import unmatched

__all__ = [
    "CustodyEvents",
    "Facts",
    "FactsError",
    "StowagePlan",
    "TableError",
    "UnitFacts",
    "read_bookings",
    "read_custody",
    "read_events",
    "read_facts",
    "read_notes",
    "read_plan",
    "read_spares",
    "unmatched",
]
