"""How each unit's clock stands to those of the other units; reported, never used to correct a time.

Goes in: when each unit was without power by its own clock (:func:`outages`), the events that the ship shared,
the day wave of each unit's ambient air, and from when to when each unit logs. Comes out:
:data:`coldsift.schema.CLOCKS`: how far the clock is ahead, between which bounds, what that rests on, and how
much it gains a day.
"""

from coldsift.clocks.compared import compare_clocks
from coldsift.clocks.outages import outages

__all__ = ["compare_clocks", "outages"]
