"""Fits the likelihoods of the cause catalogue on simulated fleets.

Run with ``python -m benchmarks.likelihoods``. Goes in: fitting seeds, kept apart from those that accuracy is
judged on. Comes out: ``src/coldsift/causes/likelihoods.toml``, written whole.
"""
