"""The twins in single precision."""
import numpy as np
import pytest

from controller.tick.check_sum import settings_sum
from controller.tick.firmware import Order, firmware_tick
from experiments.firmware.emit.kinds import Refusal
from experiments.firmware.emit.single import Twins, rounded
from experiments.firmware.package.contents import firmware_of
from experiments.firmware.vectors.reference import initial_firmware
from experiments.rigs.rig import load_rig
from plant.numerics.layout import leaves


@pytest.mark.parametrize("rig", ["wrist", "cabinet"])
def test_every_number_of_a_tick_is_single_and_near_the_double(rig: str) -> None:
    """24 bits, through every step, and not far from what 53 give."""
    firmware = firmware_of(load_rig(rig))
    given = Order(1, 90.0, 0.55, 0.003), 0.56, 88.0
    double = firmware_tick(firmware, initial_firmware(firmware), *given)
    single = Twins().twin(firmware_tick)(rounded(firmware), rounded(initial_firmware(firmware)), *rounded(given))
    for (_, exact), (_, held) in zip(leaves(double), leaves(single), strict=True):
        if isinstance(exact, float):
            assert isinstance(held, np.float32)
            assert held == pytest.approx(exact, rel=1e-3, abs=1e-4)


def test_a_sum_is_off_by_its_roundings() -> None:
    """So that a check sum must be made out in the arithmetic that checks it."""
    law = firmware_of(load_rig("wrist")).coefficients
    assert Twins().twin(settings_sum)(rounded(law)) != settings_sum(law)


def test_what_is_not_compiled_has_no_twin() -> None:
    """Plain Python is refused."""
    with pytest.raises(Refusal, match="no twin"):
        Twins().twin(len)
