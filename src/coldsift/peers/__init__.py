"""Each unit against its like.

Goes in: features and traits. Comes out: the features with their peers' range and the robust distance from
it, each unit's oddness, and what makes it odd, in plain words with numbers.
"""

from coldsift.peers.compare import Comparison, compare
from coldsift.peers.forest import isolation_scores
from coldsift.peers.groups import peer_groups
from coldsift.peers.robust import group_statistics, without_lift

__all__ = ["Comparison", "compare", "group_statistics", "isolation_scores", "peer_groups", "without_lift"]
