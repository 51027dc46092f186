"""How well the cargo model does: against exact solutions, on planted cargo, on the clock.

Goes in: nothing. Comes out: figures on the terminal. ``python -m benchmarks.cargo`` prints all of them.
"""
