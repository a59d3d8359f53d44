import math

import pytest

from experiments.readings.limits.study import Worth
from tests.experiments.readings.limits.required import one_answer


def test_both_ways_are_there() -> None:
    found = one_answer()
    assert [row.reading for row in found.rows] == ["systolic", "output", "variation"]
    worth = {one.reading: one for one in found.worth}
    assert set(worth) == {"systolic", "diastolic", "mean", "pulse", "output"}
    assert worth["systolic"].by_level == pytest.approx(1.645 * 2.0) and worth["pulse"].by_level == 0.0
    assert found.floor_percent < 0.5 and 0.0 < found.gap_share < 0.1


def test_kept_means_both_together() -> None:
    assert Worth("mean", "mmHg", 1.0, 1.0, 2.0).kept is True and Worth("mean", "mmHg", 1.0, 1.1, 2.0).kept is False
    assert Worth("mean", "mmHg", 1.0, 1.0, math.nan).kept is None
