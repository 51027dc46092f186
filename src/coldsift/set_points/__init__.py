"""The set point ordered, held against the one logged.

Goes in: the timeline, the bookings and the stowage plan. Comes out: :data:`coldsift.schema.SET_POINTS`, and
what that answers of the observations by hand, for weighing the causes.
"""

from coldsift.set_points.answers import orders_to_confirm, set_point_answers
from coldsift.set_points.compare import NOW_WRONG, compare_set_points, wrong_now

__all__ = ["NOW_WRONG", "compare_set_points", "orders_to_confirm", "set_point_answers", "wrong_now"]
