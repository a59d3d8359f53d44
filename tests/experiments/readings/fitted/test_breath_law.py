import numpy as np

from experiments.readings.fitted.breath_law import as_plain, from_plain, shipped_breath
from experiments.readings.output.breath_gain import FEATURES, terms


def test_what_is_shipped_is_whole() -> None:
    law = shipped_breath()
    assert law.usual.shape == (2, len(FEATURES)) and np.all(law.usual[1] > 0.0) and 0.005 < law.sd < 0.06
    assert len(law.weights) == terms(law.usual, law.usual[:1]).shape[1]


def test_plain_data_and_back() -> None:
    again = from_plain(as_plain(shipped_breath()))
    assert np.array_equal(again.usual, shipped_breath().usual) and again.sd == shipped_breath().sd
    assert np.array_equal(again.weights, shipped_breath().weights)
