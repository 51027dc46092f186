"""Excursions on planted truth: how often coldsift finds them, and how often its bounds hold the truth.

Goes in: nothing. Comes out: tables of shares, printed by ``python -m benchmarks.excursions``. The planted
courses are known at every instant; everything is simulated.
"""
