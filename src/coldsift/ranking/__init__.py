"""The order of inspection.

Goes in: the comparison with peers, the units' traits, how soon each unit's air leaves its band
(:func:`hours_to_limit`, of the timeline), the excursions, the causes, the ordered set points against the
logged ones, and the thresholds of the groups. Comes out:
:data:`coldsift.schema.FINDINGS` and :data:`coldsift.schema.REASONS`, the sentences behind them. Beside it,
:func:`choose` finds thresholds by stated costs on units whose state is known.
"""

from coldsift.ranking.limits import hours_to_limit
from coldsift.ranking.rank import Ranking, rank
from coldsift.ranking.thresholds import (
    Costs,
    Provenance,
    Thresholds,
    ThresholdsError,
    load_costs,
    load_thresholds,
    to_toml,
)
from coldsift.ranking.tuning import choose, cost_of_groups, decided_by_chance

__all__ = [
    "Costs",
    "Provenance",
    "Ranking",
    "Thresholds",
    "ThresholdsError",
    "choose",
    "cost_of_groups",
    "decided_by_chance",
    "hours_to_limit",
    "load_costs",
    "load_thresholds",
    "rank",
    "to_toml",
]
