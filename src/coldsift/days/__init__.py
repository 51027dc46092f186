"""Each unit day by day, for calendars and for a whole fleet at one look.

Goes in: the timeline, the defrosts and the excursions. Comes out: :data:`coldsift.schema.UNIT_DAYS`.
"""

from coldsift.days.unit_days import unit_days

__all__ = ["unit_days"]
