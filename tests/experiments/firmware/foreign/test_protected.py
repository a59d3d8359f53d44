"""The protected loop with somebody's firmware is a system like the others; its bits are compared where failures run."""
import numpy as np

from experiments.firmware.foreign.child import HEAD, bare_servo
from experiments.firmware.foreign.protected import ForeignProtectedLoop
from experiments.firmware.foreign.records import NOTE_WORDS
from experiments.rigs.rig import load_rig
from experiments.rigs.thresholds import thresholds
from experiments.simulation.coupled import channels_of, closed_loop, loop_of, no_commands
from experiments.simulation.outcome import Limits, judge_of
from experiments.simulation.protected import FAULT_CHANNELS, protected_loop, protection_of


def test_it_is_a_system_like_the_protected_loop() -> None:
    """The same channels, the same ring of commands, the same loop inside."""
    rig = load_rig("cabinet")
    loop = closed_loop(rig, 6)
    own = protected_loop(loop, protection_of(thresholds(rig), judge_of(rig.plant, Limits(), 0), 8))
    servo = bare_servo(loop, np.zeros(HEAD + NOTE_WORDS, np.int64))
    system = ForeignProtectedLoop(own.loop, own.safety, servo)
    assert channels_of(system) == FAULT_CHANNELS
    assert loop_of(system) is own.loop
    assert len(no_commands(system)) == len(no_commands(own))
    assert (servo.low, servo.high) == (loop.firmware.coefficients.output_low, loop.firmware.coefficients.output_high)
