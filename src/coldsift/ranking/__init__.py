"""The order of inspection.

Goes in: the comparison with peers, the units' traits, the timeline and the excursions. Comes out:
:data:`coldsift.schema.FINDINGS` and, container by container, the reasons in plain words.
"""

from coldsift.ranking.rank import Ranking, rank

__all__ = ["Ranking", "rank"]
