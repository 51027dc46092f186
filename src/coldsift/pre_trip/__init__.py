"""Pre-trip inspections of empty boxes: the same features as a voyage's, with pass bands and what to watch.

Goes in: the common log of inspections, refrigerants, and the pass bands (ours in ``bands.toml``, the user's
over them). Comes out: an :class:`Inspection`: the parts of each inspection as found in the log, and one row a
box and item, outside, to watch, within its band, or not tested; and a page of them. Nothing here says that a
box is safe or passed: that is for a pre-trip inspection by licensed practice.
"""

from coldsift.pre_trip.bands import Item, PassBandsError, load_pass_bands
from coldsift.pre_trip.inspect import Inspection, inspect_log
from coldsift.pre_trip.measures import MEASURES, Measure
from coldsift.pre_trip.verdicts import PHASE_WORDS

__all__ = [
    "MEASURES",
    "PHASE_WORDS",
    "Inspection",
    "Item",
    "Measure",
    "PassBandsError",
    "inspect_log",
    "load_pass_bands",
]
