"""What each unit was doing, reading by reading.

Goes in: the common log. Comes out: the timeline, which is the common log with the controlling air, its
band, the length of each interval, where the log is broken, and the regime (off, pull-down, hold, defrost,
recovery, set-point step, unknown); the table of defrosts; and the events that the whole ship shared.
"""

from coldsift.regimes.bands import Bands
from coldsift.regimes.defrosts import find_defrosts
from coldsift.regimes.ship import find_voyage_events, mark_shared, shareable
from coldsift.regimes.timeline import SET_POINT_STEP, build_timeline, regime_intervals
from coldsift.regimes.traits import unit_traits, with_coverage

__all__ = [
    "SET_POINT_STEP",
    "Bands",
    "build_timeline",
    "find_defrosts",
    "find_voyage_events",
    "mark_shared",
    "regime_intervals",
    "shareable",
    "unit_traits",
    "with_coverage",
]
