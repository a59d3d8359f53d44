import numpy as np
import pytest

from experiments.readings.servo.rig_servo import LOWEST_mmHg, rig_servo
from experiments.rigs.rig import load_rig


@pytest.mark.parametrize("name", ["wrist", "cabinet"])
def test_slow_changes_are_read_as_they_are(name) -> None:
    servo = rig_servo(load_rig(name), 90.0)
    assert servo.response(np.array([0.0])) == 1.0
    assert abs(servo.response(np.array([0.5]))[0]) == pytest.approx(1.0, abs=0.03)
    assert 0.0 < servo.noise_mmHg < 0.2 and servo.width_Hz > 15.0


def test_any_mean_has_a_loop() -> None:
    rig, high = load_rig("cabinet"), np.array([10.0])
    assert rig_servo(rig, 3.0).response(high) == pytest.approx(rig_servo(rig, LOWEST_mmHg).response(high))
