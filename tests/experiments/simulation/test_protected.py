"""The protected loop: with nothing wrong it is the plain loop, and a failure acts as in a run of its own."""
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.protection.guards import PROTECTIONS, without
from controller.tick.firmware import CLAMP, FILL, VENT
from experiments.rigs.rig import clamp, load_rig
from experiments.rigs.thresholds import thresholds
from experiments.simulation.coupled import CHANNELS, Orders, at_rest, closed_loop, no_commands, run_ticks
from experiments.simulation.outcome import NEVER, Limits, first_actions, judge_of
from experiments.simulation.protected import FAULT_CHANNELS, protected_loop, protected_start, protection_of
from plant.assembly import Inputs, Surroundings, initial_state


def both(rig, ticks, arterial, modes, seed=1, guards=None):
    """Trace and state of the plain loop and of the protected one, on the same inputs."""
    point = clamp(rig, float(np.mean(arterial)), 0.0)
    loop = closed_loop(rig, 5)
    inputs = Inputs(arterial, 0.05 * np.sin(np.arange(ticks + 1) * 1e-3), np.full(ticks + 1, 0.02))
    orders = Orders(modes.astype(np.int64), np.full(ticks, point.state.cuff_mmHg), np.full(ticks, point.light),
                    np.full(ticks, point.light_slope))
    rest = initial_state(rig.plant, Surroundings(float(arterial[0]), 0.0, 0.02))
    plain, traced = np.zeros((ticks, len(CHANNELS))), np.zeros((ticks, len(FAULT_CHANNELS)))
    end, *_ = run_ticks(loop, seed, inputs, orders, at_rest(rest), no_commands(loop), plain)
    system = protected_loop(loop, protection_of(guards or thresholds(rig), judge_of(rig.plant, Limits(), 0), 20))
    after, *_ = run_ticks(system, seed, inputs, orders, protected_start(rest), no_commands(system), traced)
    return plain, end, traced, after


@pytest.mark.parametrize("name", ["wrist", "cabinet"])
@given(st.integers(0, 2**31), st.floats(60.0, 120.0), st.booleans())
@settings(max_examples=6, deadline=None)
def test_no_fault_and_silent_protection_are_the_plain_loop(name, seed, mean, missed):
    """Bit for bit, states included, with jitter, missed ticks and a dead time that is no whole tick."""
    rig = load_rig(name, ["timing.dead_time_s=0.0013", "timing.jitter_s=0.0002",
                          f"timing.missed_share={0.005 if missed else 0.0}"])
    ticks = 9000
    arterial = mean + 20.0 * np.sin(2.0 * np.pi * 1.2 * np.arange(ticks + 1) * 1e-3)
    modes = np.where(np.arange(ticks) < 6500, FILL, CLAMP)
    plain, end, traced, after = both(rig, ticks, arterial, modes, seed)
    assert np.array_equal(plain, traced[:, : len(CHANNELS)])
    assert str(after.plant.plant) == str(end.plant) and str(after.firmware) == str(end.firmware)
    assert set(first_actions(after.sums).values()) == {NEVER}, "a protection acted"
    assert np.all(traced[:, FAULT_CHANNELS.index("fallback")] == 0.0)


def test_everything_taken_away_is_the_plain_loop_too():
    rig = load_rig("wrist")
    ticks = 3000
    arterial = np.full(ticks + 1, 95.0)
    modes = np.where(np.arange(ticks) < 1000, FILL, np.where(np.arange(ticks) < 2500, CLAMP, VENT))
    plain, _, traced, _ = both(rig, ticks, arterial, modes, guards=without(rig.guards, *PROTECTIONS))
    assert np.array_equal(plain, traced[:, : len(CHANNELS)])
