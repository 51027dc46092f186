"""Each unit against its like.

Goes in: features and traits. Comes out: the features with their peers' range and the robust distance from
it, each unit's oddness, and what makes it odd, in plain words with numbers; the range of like units through
time; and, for one unit and some hours, what the others did then.
"""

from coldsift.peers.band import Grid, peer_bands, peer_cells, peer_grid, peer_span
from coldsift.peers.compare import Comparison, compare
from coldsift.peers.forest import isolation_scores
from coldsift.peers.groups import PeerGroups, peer_groups
from coldsift.peers.robust import adjusted, group_statistics
from coldsift.peers.then import peers_then, unit_hours

__all__ = [
    "Comparison",
    "Grid",
    "PeerGroups",
    "adjusted",
    "compare",
    "group_statistics",
    "isolation_scores",
    "peer_bands",
    "peer_cells",
    "peer_grid",
    "peer_groups",
    "peer_span",
    "peers_then",
    "unit_hours",
]
