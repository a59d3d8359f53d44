import numpy as np

from experiments.readings.arm.transfer import FEATURES, KNOTS
from experiments.readings.arm.values import FEATURES as VALUES
from experiments.readings.fitted.store import as_plain, from_plain, shipped
from experiments.readings.output.estimators import ESTIMATORS, SHAPE, SHAPE_FEATURES


def test_what_is_shipped_is_whole() -> None:
    held = shipped()
    assert set(held.laws) == {*ESTIMATORS, SHAPE} and held.arm.shape == (3, len(VALUES))
    assert held.transfer.gains.shape == (len(FEATURES), KNOTS)
    count = len(SHAPE_FEATURES)
    assert len(held.laws[SHAPE].shape) == 2 * count + count * (count + 1) // 2
    assert len(held.laws[SHAPE].change_shape) == 2 * count and len(held.laws["Herd"].change_shape) == 2
    assert all(np.all(law.absolute_sd > 0) and np.all(law.change_sd > 0) for law in held.laws.values())


def test_plain_data_and_back() -> None:
    again = from_plain(as_plain(shipped()))
    assert np.allclose(again.transfer.gains, shipped().transfer.gains) and np.allclose(again.arm, shipped().arm)
    assert set(again.tube_sd_mmHg) == {"systolic", "mean", "diastolic"}
    assert again.laws["Herd"].known_mL == shipped().laws["Herd"].known_mL
