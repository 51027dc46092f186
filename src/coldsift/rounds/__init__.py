"""The inspection round: who is visited in what order, and until when.

Goes in: the findings with their places on board, the first check of each unit, and the hours there are. Comes
out: the stops, the most urgent class first, within a class the shortest walk that a local search finds, with
minutes for the walk and for the check.

The plan of a ship tells cells, not gangways: where the accommodation stands, how high the lashing bridges
are, how a hold is entered, and whether the machinery end of a container looks forward or aft is not known
from it. Walks are reckoned over a plain model of a ship (:mod:`coldsift.rounds.walking`) and are good for
putting stops in order, not for a timetable.
"""

from coldsift.rounds.plan import CLASSES, LOOK_MINUTES, plan_round, urgency_class
from coldsift.rounds.shortest import shortest_order
from coldsift.rounds.walking import UNKNOWN_WALK_MINUTES, places_of, walking_minutes

__all__ = [
    "CLASSES",
    "LOOK_MINUTES",
    "UNKNOWN_WALK_MINUTES",
    "places_of",
    "plan_round",
    "shortest_order",
    "urgency_class",
    "walking_minutes",
]
