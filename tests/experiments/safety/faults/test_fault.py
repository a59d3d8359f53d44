"""Helpers of injectors."""

from experiments.safety.faults.fault import FAILURE, IN_CLAMP, Fault, anywhere, harm, part_changed
from tests.experiments.safety.faults.fault_bench import bench


def test_a_change_leaves_the_rest_alone():
    case = bench().case(bench().onset_tick)
    worse = harm(case, light_gain=1, late_ticks=2.0)
    assert worse.fault.active and worse.fault.onset_tick == case.onset_tick and not case.fault.active
    assert worse.fault.light_gain == 1.0 and isinstance(worse.fault.light_gain, float) and worse.fault.late_ticks == 2
    other = part_changed(worse, "cuff", volume_mL=9.0)
    assert other.plant.cuff.volume_mL == 9.0 and other.plant.tube == case.plant.tube and other.fault == worse.fault
    assert case.period_s == 0.001


def test_a_failure_begins_in_the_clamp_unless_it_says_otherwise():
    fault = Fault("x", "y", "z", lambda case, severity: case)
    assert (fault.onset, fault.kind, fault.severity) == (IN_CLAMP, FAILURE, 1.0) and anywhere(bench().rig) == ""
