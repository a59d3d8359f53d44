"""The loop as a function of plain arrays: every number has its place, and the source makes the same tuples again."""
import itertools

import numpy as np

from experiments.bench.offline.entry import ARRAYS, COUNTS, numbers_of, rebuilding
from plant.numerics.layout import leaves
from tests.experiments.bench.offline.helper import entry, usual


def test_the_source_makes_the_same_tuples_again():
    ready = usual()
    n, places, scope = numbers_of(ready), itertools.count(), {}
    made = [eval(rebuilding(part, places, scope), {"n": n, **scope}) for part in (ready.loop, ready.start)]
    assert made == [ready.loop, ready.start]
    for (name, one), (_, other) in zip(leaves(tuple(made)), leaves((ready.loop, ready.start)), strict=True):
        assert isinstance(one, np.bool_ if isinstance(other, bool) else type(other)), name
    assert next(places) == len(n)


def test_the_function_takes_what_it_says():
    made = entry()
    (line,) = [line for line in made.text.splitlines() if line.startswith("define") and f"@{made.name}(" in line]
    pointers, counts = line.count("ptr "), line.count("i64 ")
    assert pointers == 2 + len(ARRAYS) and counts == len(COUNTS)
