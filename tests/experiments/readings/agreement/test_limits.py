import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from experiments.readings.agreement.limits import Replicates, changing, constant, constant_pairs, plain
from experiments.readings.agreement.pairs import pairs_of


def draw(seed: int, people: int = 400, each: int = 6, between: float = 2.0, within: float = 1.0):
    random = np.random.default_rng(seed)
    subject = np.repeat(np.arange(people), each)
    bias = between * random.standard_normal(people)[subject]
    reference = 50 + 10 * random.standard_normal(people * each)
    return pairs_of(subject, reference + bias + within * random.standard_normal(people * each), reference)


def test_repeated_pairs_bring_both_spreads_back() -> None:
    found = changing(draw(1))
    assert found.sd == pytest.approx(np.sqrt(5.0), rel=0.1) and found.within == pytest.approx(1.0, rel=0.05)
    assert found.upper - found.lower == pytest.approx(3.92 * found.sd, rel=1e-3)


def test_one_pair_each_is_the_plain_one() -> None:
    pairs = draw(2, each=1)
    assert changing(pairs).sd == plain(pairs).sd


@given(st.integers(0, 10_000), st.floats(-50, 50), st.floats(0.1, 9))
def test_limits_move_and_scale_with_the_differences(seed: int, shift: float, scale: float) -> None:
    pairs = draw(seed, 12, 4)
    moved = pairs_of(pairs.subject, pairs.reference + shift + scale * pairs.difference, pairs.reference)
    for method in (plain, changing):
        one, two = method(pairs), method(moved)
        assert two.sd == pytest.approx(scale * one.sd, rel=1e-6)
        assert two.bias == pytest.approx(shift + scale * one.bias, abs=1e-6)


def test_with_constant_truth_the_noise_of_single_readings_is_put_back() -> None:
    """Truth 10 apart, methods with noise 1 and 2: single readings differ with SD √5, whatever the replicates."""
    random = np.random.default_rng(3)
    truth = 50 + 10 * random.standard_normal(3000)
    sides = []
    for noise, each in ((1.0, 2), (2.0, 5)):
        subject = np.repeat(np.arange(3000), each)
        sides.append(Replicates(subject, truth[subject] + noise * random.standard_normal(len(subject))))
    assert constant(*sides).sd == pytest.approx(np.sqrt(5.0), rel=0.03)


def test_negative_between_is_set_to_nothing() -> None:
    pairs = pairs_of([1, 1, 2, 2], np.array([-1.0, 1.0, -1.0, 1.0]), np.zeros(4))
    found = changing(pairs)
    assert found.between == 0.0 and found.sd == pytest.approx(np.sqrt(found.within))
    assert constant_pairs(pairs).bias == 0.0
