"""Running sums over ticks: those of the plain definition, wherever the run is cut. (Figures: see test_many.)"""
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from experiments.simulation.reduced import Figures, Sums, add_up, joined, refused


@given(st.lists(st.floats(-50, 250) | st.just(float("nan")), min_size=1, max_size=30), st.integers(0, 30))
@settings(deadline=None)
def test_sums_may_be_cut_anywhere(cuff, cut):
    """And are those of the plain definition."""
    ticks = len(cuff)
    columns = range(ticks), cuff, cuff, cuff, [3.0] * ticks
    blocks = [np.tile(np.array(values, float)[:, None], 2) for values in columns]
    counted = np.arange(2 * ticks).reshape(ticks, 2) % 3 > 0

    def total(*edges):
        sums = Sums(*(np.zeros(2) for _ in Sums._fields))
        for first, end in pairwise(edges):
            add_up(sums, *(np.ascontiguousarray(block[first:end]) for block in blocks),
                   np.ascontiguousarray(counted[first:end]))
        return sums

    found = total(0, ticks)
    assert all(np.array_equal(a, b) for a, b in zip(found, total(0, min(cut, ticks), ticks), strict=True))
    for i in range(2):
        keep = counted[:, i] & ~np.isnan(cuff)
        error = (np.array(cuff) - np.arange(ticks))[keep]
        assert found.ticks[i] == len(error) and found.square[i] == pytest.approx(np.sum(error**2))
        assert found.ideal_error[i] == pytest.approx(np.sum(error + 3.0), abs=1e-9)
        assert found.peak[i] == np.max(np.abs(error), initial=0.0)


def test_before_anything_has_run():
    """All are refused, with no figures; parts are joined in order."""
    whole = joined([refused(2), refused(0), refused(1)])
    assert whole.status.tolist() == ["refused"] * 3 and whole.done_s.tolist() == [0.0] * 3
    assert all(np.all(np.isnan(column)) for column in whole[4:]) and len(whole) == len(Figures._fields)
