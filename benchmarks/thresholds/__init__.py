"""Chooses the thresholds of the ranking groups by their stated costs, on simulated fleets.

Run with ``python -m benchmarks.thresholds``. Goes in: fitting seeds that the likelihoods have not seen, and
the costs in the shipped file. Comes out: ``src/coldsift/ranking/thresholds.toml``, and the cost of the choice
beside that of others. Every figure it prints is of simulated fleets.
"""
