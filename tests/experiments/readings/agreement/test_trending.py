import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from experiments.readings.agreement.pairs import pairs_of
from experiments.readings.agreement.trending import Changes, angles_deg, changes_of, radii, trending


def changes(tested, reference, level=5.0):
    return Changes(np.array(tested, float), np.array(reference, float), np.full(len(tested), level))


def test_changes_stay_within_a_subject() -> None:
    pairs = pairs_of([1, 1, 2, 2, 2], np.array([1.0, 2.0, 9.0, 8.0, 8.5]), np.array([1.0, 1.5, 7.0, 7.0, 9.0]))
    found = changes_of(pairs)
    assert found.tested.tolist() == [1.0, -1.0, 0.5] and found.level.tolist() == [1.25, 7.0, 8.0]


def test_concordance_by_hand() -> None:
    found = trending(changes([1, -1, 1, 0.1, 2], [2, -2, -1, 3, 0.4]), 0.5)
    assert (found.changes, found.outside, found.concordant) == (5, 4, 3) and found.concordance == 0.75
    as_share = trending(changes([1, -1, 1, 0.1, 2], [2, -2, -1, 3, 0.4], 10.0), 0.15, share=True)
    assert as_share.outside == 3


@pytest.mark.parametrize(("x", "r", "angle", "radius"), [
    (1, 1, 0, 1), (-1, -1, 0, 1), (1, 0, 45, 0.5), (0, 1, -45, 0.5), (0, -1, -45, 0.5), (2, 1, 18.435, 1.5)])
def test_polar_by_hand(x, r, angle, radius) -> None:
    one = changes([x], [r])
    assert angles_deg(one)[0] == pytest.approx(angle, abs=1e-3) and radii(one)[0] == radius


@given(st.lists(st.tuples(st.floats(-9, 9), st.floats(-9, 9)), min_size=2, max_size=20))
def test_perfect_following_is_perfect_and_angles_are_folded(points) -> None:
    reference = [r for _, r in points]
    same = trending(changes(reference, reference), 0.0)
    assert same.concordance in (1.0, pytest.approx(np.mean(np.array(reference) ** 2 > 0)))
    assert np.all(np.abs(angles_deg(changes([x for x, _ in points], reference))) <= 90.0)


def test_nothing_to_judge() -> None:
    found = trending(changes([], []), 0.5)
    assert found.changes == 0 and np.isnan(found.concordance) and np.isnan(found.angle_deg)
