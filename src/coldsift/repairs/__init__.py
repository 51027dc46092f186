"""What became of each repair.

Goes in: the timeline, the defrosts, the work notes, the peer groups. Comes out: one row a noted repair with
a verdict (recovered, better, unchanged, worse, too early, cannot tell), and the numbers behind it: the unit
before and after, its own good past, and its peers in the same hours.
"""

from coldsift.repairs.judge import judge_repairs, units_needed

__all__ = ["judge_repairs", "units_needed"]
