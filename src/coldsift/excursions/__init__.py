"""Stretches in which the controlling air left its band.

Goes in: the timeline. Comes out: :data:`coldsift.schema.EXCURSIONS`, one row per stretch: when, between
which readings, how far, how long, how many degree-hours, the mean kinetic temperature, what else happened,
and how likely it is that the probe erred and not the air.
"""

from coldsift.excursions.find import GRACE_HOURS, find_excursions
from coldsift.excursions.kinetic import mean_kinetic_temperature

__all__ = ["GRACE_HOURS", "find_excursions", "mean_kinetic_temperature"]
