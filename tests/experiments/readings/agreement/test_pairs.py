import numpy as np
import pytest

from experiments.readings.agreement.pairs import pairs_of, subject_means, within_variance
from plant.errors import InputError


def test_rows_of_a_subject_stand_together_in_their_order() -> None:
    pairs = pairs_of(["b", "a", "b", "a"], np.array([1.0, 2.0, 3.0, 4.0]), np.zeros(4))
    assert pairs.subject.tolist() == [0, 0, 1, 1] and pairs.tested.tolist() == [1.0, 3.0, 2.0, 4.0]
    assert pairs.sizes.tolist() == [2, 2] and pairs.difference.tolist() == [1.0, 3.0, 2.0, 4.0]


def test_variance_within() -> None:
    subject = np.array([0, 0, 1, 1, 1])
    assert within_variance(subject, np.array([1.0, 3.0, 5.0, 5.0, 8.0])) == pytest.approx((2.0 + 6.0) / 3)
    assert np.isnan(within_variance(np.arange(3), np.ones(3)))
    assert subject_means(subject, np.array([1.0, 3.0, 5.0, 5.0, 8.0])).tolist() == [2.0, 6.0]


def test_refusals() -> None:
    with pytest.raises(InputError, match="2 pairs"):
        pairs_of([1, 2], np.ones(2), np.ones(2))
    with pytest.raises(InputError, match="reference value 2 = nan"):
        pairs_of([1, 2, 3], np.ones(3), np.array([1.0, np.nan, 1.0]))
