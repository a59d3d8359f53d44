"""What the simulator's functions answer to a stimulus."""
import numpy as np

from controller.tick.firmware import Order, firmware_tick
from experiments.firmware.emit.kinds import DOUBLE
from experiments.firmware.package.contents import firmware_of, protection_of
from experiments.firmware.vectors.reference import (
    initial_firmware,
    law_reference,
    protection_reference,
    single_reference,
    usual_watched,
)
from experiments.firmware.vectors.stimulus import law_stimulus, values
from experiments.rigs.rig import load_rig
from plant.numerics.layout import leaves


def test_rows_are_those_of_the_tick_itself() -> None:
    """Tick by tick, state after state."""
    rig = load_rig("wrist")
    firmware, given = firmware_of(rig), values(law_stimulus(rig, 100))[:40]
    names, rows = law_reference(firmware, given)
    state = initial_firmware(firmware)
    for row, seen in zip(rows, given, strict=True):
        answer = firmware_tick(firmware, state, Order(int(seen[0]), *seen[1:4]), seen[4], seen[5])
        state = answer[0]
        assert np.array_equal(row, [float(value) for _, value in leaves(answer)], equal_nan=True)
    assert len(names) == rows.shape[1]


def test_single_precision_follows_the_double_for_a_while() -> None:
    """Both references have the same columns and agree to some digits over the first ticks."""
    rig = load_rig("cabinet")
    firmware = firmware_of(rig)
    part = protection_of(rig, firmware, DOUBLE)
    given = values(law_stimulus(rig, 100))[:20]
    seen = np.array([[float(value) for _, value in leaves(usual_watched())]] * 20)
    _, law = law_reference(firmware, given)
    _, watch = protection_reference(part, seen)
    with np.errstate(all="ignore"):
        single, single_watch = single_reference(firmware, part, given.astype(np.float32), seen.astype(np.float32))
    assert np.allclose(single, law, rtol=1e-2, atol=1e-3, equal_nan=True)
    assert single_watch.shape == watch.shape
