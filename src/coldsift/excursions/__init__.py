"""Stretches in which the controlling air left its band.

Goes in: the timeline, and what was found on it before: defrosts, custody. Comes out, each a table of
:mod:`coldsift.schema`: ``EXCURSIONS``, one row a stretch: when, between which readings, how far, how long,
how many degree-hours, at least and at most, and how likely it is that the probe erred and not the air;
``EXCURSION_PARTS``, the same divided by regime and by custody; ``GAPS``, and where the air can have been in
each; ``DEFROST_RISES``, what is a defrost's and no excursion. Beside them, excursions divided by day.
"""

from coldsift.excursions.defrost_rises import DEFROST_RULES, find_defrost_rises
from coldsift.excursions.find import GRACE_HOURS, find_excursions
from coldsift.excursions.gaps import find_gaps
from coldsift.excursions.kinetic import mean_kinetic_temperature
from coldsift.excursions.parts import by_day, divide

__all__ = [
    "DEFROST_RULES",
    "GRACE_HOURS",
    "by_day",
    "divide",
    "find_defrost_rises",
    "find_excursions",
    "find_gaps",
    "mean_kinetic_temperature",
]
