"""The loop at rest: left alone nothing moves, and a small kick dies out as the slowest closed-loop poles say."""
import numpy as np

from controller.tick.law import design
from controller.tick.timing import dead_ticks
from experiments.rigs.rig import load_rig
from experiments.simulation.steady_state import perturbed, steady_start
from plant.operating_point import clamp_point

QUIET = [
    "light.noise=0.0", "light.bits=0", "transducer.noise_mmHg=0.0", "transducer.bits=0", "controller.output_bits=0",
]


def quiet_rig():
    rig = load_rig("wrist", QUIET)
    return rig, clamp_point(rig.plant, 90.0), design(rig.controller, rig.timing.period_s)


def test_start_holds_the_resting_command():
    rig, point, coefficients = quiet_rig()
    state, pending = steady_start(rig, point, coefficients)
    assert state.plant == point.state and state.firmware.command == point.command
    assert len(pending) == dead_ticks(rig.timing)[0] + 2 and set(pending) == {point.command}


def test_left_alone_nothing_moves():
    rig, point, coefficients = quiet_rig()
    still = perturbed(rig, point, coefficients, 300, 0.0)
    assert np.max(np.abs(still["cuff_mmHg"] - point.state.cuff_mmHg)) < 1e-8


def test_a_kick_dies_out_and_scales():
    """Small signals: twice the kick, twice the answer."""
    rig, point, coefficients = quiet_rig()
    one = perturbed(rig, point, coefficients, 400, 1e-4)["error_mmHg"]
    two = perturbed(rig, point, coefficients, 400, 2e-4)["error_mmHg"]
    assert np.max(np.abs(one[-50:])) < 0.02 * np.max(np.abs(one))
    assert np.allclose(two, 2.0 * one, atol=1e-3 * np.max(np.abs(one)))
