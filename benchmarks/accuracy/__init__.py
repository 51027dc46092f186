"""How well planted faults stand above healthy units, on simulated fleets, beside simple baselines.

Run with ``python -m benchmarks.accuracy``. Goes in: seeds. Comes out: a table. Every figure it prints is of
simulated fleets.
"""
