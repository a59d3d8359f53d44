"""Runs with protection and failures: the bits of `simulate` without, one run or many side by side, what is refused."""
import math
from functools import partial

import numpy as np
import pytest

from experiments.rigs.rig import load_rig
from experiments.safety.faults.catalogue import CATALOGUE
from experiments.simulation.coupled import CHANNELS
from experiments.simulation.failing import Affected, Trouble, run_protected, run_protected_together, simulate_protected
from experiments.simulation.many import finger_ready
from experiments.simulation.simulate import Plan, simulate
from experiments.subjects.population import sample_fingers
from plant.errors import InputError
from plant.pressure.synthetic import SyntheticPressure, synthesise

FILLED = Plan(fill_s=7.0, settle_s=0.5)
TRACE = synthesise(SyntheticPressure(), 0.001, 9.5, 1)
RIG = load_rig("wrist")
SIDE_BY_SIDE = (
    "valve_stuck_open", "valve_slow", "transducer_drift", "light_stuck_bit", "channels_swapped", "motion_artefact",
    "samples_stale", "tick_late", "ticks_lost", "tick_doubled", "processor_hung", "processor_reset", "brown_out",
    "bladder_burst", "tube_kinked", "supply_empty", "set_point_corrupted",
)


def trouble(name, onset_s=8.0, duration_s=math.inf, lost=()):
    """An entry of the catalogue as the trouble of a run."""
    return Trouble(partial(CATALOGUE[name].inject, severity=1.0), onset_s, duration_s, lost)


def same(one, other):
    """Bit for bit, every channel and figure."""
    assert one.figures == other.figures and one.acted == other.acted
    assert (one.run.status, one.run.message) == (other.run.status, other.run.message)
    for name, channel in one.run.channels.items():
        assert np.array_equal(channel, other.run.channels[name], equal_nan=True), name
    assert str(one.run.final) == str(other.run.final)


def test_nothing_wrong_is_simulate():
    """To the bit, its judgement included."""
    plain, found = simulate(RIG, TRACE, FILLED, 3), simulate_protected(RIG, TRACE, FILLED, 3)
    assert all(np.array_equal(plain.channels[name], found.run.channels[name]) for name in CHANNELS)
    assert found.run.status == plain.status and set(found.acted.values()) == {-1.0}
    assert found.figures["highest_mmHg"] == np.max(plain.channels["cuff_mmHg"])


def test_a_failure_begins_at_its_onset_and_protection_ends_the_run():
    calm = simulate_protected(RIG, TRACE, FILLED)
    found = simulate_protected(RIG, TRACE, FILLED, trouble=trouble("valve_stuck_open"))
    cuff = found.run.channels["cuff_mmHg"]
    assert np.array_equal(cuff[:8000], calm.run.channels["cuff_mmHg"][:8000])
    assert np.max(cuff[8000:8050]) > cuff[7999] + 20.0
    assert found.figures["highest_mmHg"] < 330.0 and 0.0 <= found.figures["detected_s"] < 0.1
    assert np.max(cuff[8000:]) == found.figures["highest_mmHg"]
    missing = trouble("valve_stuck_open", lost=("pressure_rate", "response"))
    bare = simulate_protected(RIG, TRACE, FILLED, trouble=missing)
    assert bare.figures["highest_mmHg"] > found.figures["highest_mmHg"] and bare.acted["pressure_rate"] == -1.0


def test_a_failure_that_ends():
    found = simulate_protected(RIG, TRACE, FILLED, trouble=trouble("transducer_drift", 8.0, 0.4)).run.channels
    apart = found["reading_mmHg"] - found["cuff_mmHg"]
    assert np.mean(apart[8300:8400]) > 0.4 and abs(np.mean(apart[8500:])) < 0.2 and len(apart) == 9500


def test_a_vented_run_says_who_acted():
    run = simulate_protected(RIG, TRACE, FILLED, trouble=trouble("processor_hung", 7.5)).run
    assert run.status == "vented" and "watchdog" in run.message and len(run.channels["cuff_mmHg"]) < 9500


@pytest.mark.slow
def test_many_failures_side_by_side_are_their_single_runs():
    """Failures of every kind on four fingers: onsets of their own, one that ends, two without a protection."""
    ready = [finger_ready((RIG, finger), 8.6, FILLED, 6) for finger in sample_fingers(4)]
    troubles = [trouble(name, 7.6 + 0.1 * (i % 3), 0.3 if i == 2 else math.inf, ("watchdog",) if i % 8 == 1 else ())
                for i, name in enumerate(SIDE_BY_SIDE)]
    runs = [Affected.of(ready[i % 4], one) for i, one in enumerate([*troubles, Trouble()])]
    for one, other in zip(run_protected_together(runs), map(run_protected, runs), strict=True):
        same(one, other)


@pytest.mark.parametrize("wrong", [
    {"onset_s": -1.0}, {"onset_s": 9.5}, {"onset_s": math.nan}, {"duration_s": 0.0}, {"duration_s": math.nan},
])
def test_an_onset_outside_the_run_is_refused(wrong):
    with pytest.raises(InputError, match="use an onset"):
        simulate_protected(RIG, TRACE, FILLED, trouble=Trouble(**wrong))


def test_a_protection_that_is_none_is_refused():
    with pytest.raises(InputError, match="airbag"):
        simulate_protected(RIG, TRACE, FILLED, trouble=Trouble(lost=("airbag",)))
