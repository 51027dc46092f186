"""Heat leak of a box, and how fast a box warms by it.

Goes in: wall coefficient and areas, or a time constant. Comes out: heat leak [W/K], heat [W], warm-up.
"""

from __future__ import annotations

import math


def heat_leak(coefficient: float, inside_area: float, outside_area: float) -> float:
    """Heat leak of a box, K √(Si Se). [W/K].

    Parameters
    ----------
    coefficient
        Overall coefficient K of the walls. [W/m² K]
    inside_area, outside_area
        Of the walls. [m²]

    Notes
    -----
    Mean area as in ATP Annex 1, Appendix 2, from memory.
    """
    return coefficient * math.sqrt(inside_area * outside_area)


def leak_heat(leak: float, outside: float, inside: float) -> float:
    """Heat that comes in. [W].

    Parameters
    ----------
    leak
        [W/K]
    outside, inside
        [°C]
    """
    return leak * (outside - inside)


def warm_up_time(heat_capacity: float, leak: float) -> float:
    """Time constant of a box without power whose cargo warms as one. [h].

    Parameters
    ----------
    heat_capacity
        Mass times specific heat. [J/K]
    leak
        [W/K]
    """
    return heat_capacity / leak / 3600.0


def warm_up_rate(heat_capacity: float, leak: float, outside: float, inside: float) -> float:
    """Warming of such a box at first. [K/h].

    Parameters
    ----------
    heat_capacity, leak
        As in :func:`warm_up_time`.
    outside, inside
        [°C]
    """
    return (outside - inside) / warm_up_time(heat_capacity, leak)
