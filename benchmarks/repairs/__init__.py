"""How often the verdict on a repair is right, on simulated voyages.

Goes in: nothing. Comes out: figures on the terminal. ``python -m benchmarks.repairs`` prints all of them.
"""
