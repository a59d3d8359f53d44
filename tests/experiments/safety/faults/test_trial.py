"""Runs of failures: same bits, protections that did not act, reactions, what the table is made of."""

import numpy as np
import pytest

from controller.protection.guards import PROTECTIONS
from experiments.rigs.rig import load_rig
from experiments.safety.faults.catalogue import CATALOGUE
from experiments.safety.faults.trial import Outcome, make_bench, set_point_of
from experiments.subjects.population import sample_fingers
from tests.experiments.safety.faults.fault_bench import SHORT, bench


def test_a_bench_is_ready_and_quiet():
    here = bench()
    assert here.trouble == [] and here.start.tick == here.onset_tick
    cuff, set_point, slope = set_point_of(here.rig, here.inputs)
    assert here.orders.fill_mmHg[0] == cuff and here.orders.set_point[0] == set_point and slope > 0.0


def test_phases_begin_at_different_points_of_a_beat():
    people = sample_fingers(2)
    onsets = {make_bench(load_rig("wrist"), *people, phase, SHORT).onset_tick for phase in range(3)}
    assert len(onsets) == 3


@pytest.mark.parametrize("name", ["valve_stuck_open", "emitter_out", "processor_hung", "bladder_loose", "ticks_lost"])
def test_same_run_same_bits(name):
    one, rows = bench().run(CATALOGUE[name], trace=True)
    two, again = bench().run(CATALOGUE[name], trace=True)
    assert one == two and np.array_equal(rows, again)


@pytest.mark.parametrize("name", [
    "valve_stuck_open", "transducer_gain", "light_stale", "bladder_wrong_size", "tick_late",
])
def test_a_protection_that_did_not_act_changes_nothing_when_it_is_gone(name):
    """What the study spares itself: the run without it has the same figures to the bit."""
    fault = CATALOGUE[name]
    whole, _ = bench().run(fault)
    idle = [p for p in PROTECTIONS if whole.acted[p] < 0.0]
    acting = [p for p in PROTECTIONS if whole.acted[p] >= 0.0]
    assert len(idle) >= 8 and acting
    for protection in idle:
        assert bench().run(fault, lost=(protection,))[0] == whole, protection


def test_a_failure_that_ends_leaves_the_rest_of_the_run():
    fault = CATALOGUE["transducer_drift"]._replace(duration_s=0.5)
    _, rows = bench().run(fault, trace=True)
    from experiments.simulation.protected import FAULT_CHANNELS as names

    apart = rows[:, names.index("reading_mmHg")] - rows[:, names.index("cuff_mmHg")]
    assert np.mean(apart[400:500]) > 0.5 and abs(np.mean(apart[600:])) < 0.2 and len(rows) == 2500


def test_two_failures_at_once_are_worse_than_either():
    """A valve stuck open with the dump valve's cause of opening gone: watchdog, switch and firmware cannot act."""
    alone, _ = bench().run(CATALOGUE["valve_stuck_open"])
    both, _ = bench().run(CATALOGUE["valve_stuck_open"], CATALOGUE["processor_hung"])
    assert both.figures["highest_mmHg"] > alone.figures["highest_mmHg"]
    assert "pressure_rate" in alone.caught_by and both.acted["watchdog"] >= 0.0


def test_the_reaction_empties_the_cuff():
    outcome, _ = bench().run(CATALOGUE["valve_stuck_open"])
    assert outcome.figures["highest_mmHg"] < 330.0 and 0.0 <= outcome.figures["below_15_s"] < 10.0
    assert outcome.figures["detected_s"] < 0.1


def test_whoever_acts_first_caught_it():
    never = dict.fromkeys(("a", "dump_valve"), -1.0)
    assert Outcome({}, never, False).caught_by == ""
    assert Outcome({}, {"a": 2.0, "dump_valve": 2.0}, False).caught_by == "a"
    assert Outcome({}, {"a": 2.0, "dump_valve": 1.0}, False).caught_by == "dump_valve"
    assert Outcome({}, {"a": -1.0, "dump_valve": 1.0}, False).caught_by == "dump_valve"
