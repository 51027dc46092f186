"""What each unit's log says of it, number by number.

Goes in: the timeline, the refrigerants and the defrosts. Comes out: the timeline with the saturation
temperatures of every reading; and one row per container and feature, with the unit of measure, the regime it
was taken in, how many readings stand behind it, and the reason where there is no value. Nothing is averaged
over defrosts, gaps or what the whole ship shared.

``FEATURES`` is the catalogue: each entry says formula, unit, regime, minimum data, source, in which
direction it worries and what to look at first. To add one, append it to the list of its module.
"""

from coldsift.features.catalogue import RECENT_HOURS, Feature, View, Worry
from coldsift.features.circuit import DRAWN_COLUMNS, with_saturation
from coldsift.features.compute import BASES, FEATURES, unit_features
from coldsift.features.data import clock_features, clock_marks

__all__ = [
    "BASES",
    "DRAWN_COLUMNS",
    "FEATURES",
    "RECENT_HOURS",
    "Feature",
    "View",
    "Worry",
    "clock_features",
    "clock_marks",
    "unit_features",
    "with_saturation",
]
