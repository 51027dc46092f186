"""How right is it? Accuracy under many conditions, beside what people would use instead.

Run with ``python -m benchmarks.accuracy``. Goes in: seeds from 2001 on and open data. Comes out:
``docs/accuracy.md`` and the stored figures that ``--check`` compares with. The way: :mod:`.voyages` says what
is simulated, :mod:`.treatments` makes conditions of it, :mod:`.rankings` screens each fleet beside the
:mod:`.baselines`, :mod:`.figures` and :mod:`.measures` turn that into figures with intervals, :mod:`.page`
writes them. :mod:`.replay`, :mod:`.pull_downs` and :mod:`.real_series` measure what a ranking does not show;
``python -m benchmarks.accuracy.causes`` goes deeper into the causes.
"""
