"""The inspection round on an invented ship: how much walking the order saves, and how many checks that is.

Goes in: nothing. Comes out: tables printed by ``python -m benchmarks.rounds``. The ship, the findings and the
walks are all invented; minutes are those of :mod:`coldsift.rounds.walking`.
"""
