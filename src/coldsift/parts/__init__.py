"""Parts: what the units may want against what is on board.

Goes in: the chances of the causes, the findings, the work notes, the spares list and the catalogue. Comes
out: which part each unit may want and whether it is there, and the totals of every part.

Names are matched word by word, never guessed: "coil for expansion valves" is an expansion valve coil, "valve
coil" is none. What is not matched is said to be not listed.
"""

from coldsift.parts.names import Vocabulary, noted_parts
from coldsift.parts.possible import possible_repairs
from coldsift.parts.weigh import WANTING, Parts, weigh_parts

__all__ = ["WANTING", "Parts", "Vocabulary", "noted_parts", "possible_repairs", "weigh_parts"]
