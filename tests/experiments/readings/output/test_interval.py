import math

import numpy as np
import pytest

from experiments.readings.output.interval import Contribution, interval

PARTS = (Contribution("model", 3.0, True), Contribution("noise", 4.0, False))


def test_squares_add_and_the_common_part_cancels_in_a_change() -> None:
    found = interval(100.0, PARTS)
    assert found.sd == 5.0 and found.high - found.low == pytest.approx(2 * 1.6449 * 5.0, rel=1e-4)
    assert found.change_sd == pytest.approx(math.sqrt(2) * 4.0)
    assert found.holds(108.0) and not found.holds(109.0)


def test_relative_intervals_are_of_the_logarithm() -> None:
    found = interval(5.0, (Contribution("model", 0.2, True),), relative=True)
    assert found.low * found.high == pytest.approx(25.0) and found.low > 0.0
    draws = 5.0 * np.exp(0.2 * np.random.default_rng(1).standard_normal(20_000))
    assert np.mean((draws > found.low) & (draws < found.high)) == pytest.approx(0.9, abs=0.01)
