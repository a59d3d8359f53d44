"""A rig on many fingers, each on a rig of its own where a bench left something open."""
import numpy as np
import pytest

from controller.tick.law import design
from experiments.check.judged import judge_loops, operating_pressures, worst_of
from experiments.design.population.study import Plan, case_of, column, judge_fingers, keeps_limit, kept, worst
from experiments.rigs.rig import load_rig, read_rig
from experiments.rigs.uncertain import drawn_rigs
from experiments.subjects.finger import finger_pressure, on_finger
from experiments.subjects.population import sample_fingers
from plant.errors import InputError
from tests.experiments.design.population.opened import judged, opened


def test_without_anything_left_open_it_is_the_rig_itself():
    """The least phase margin of each finger is that of the loops as `check` judges them; nothing is drawn."""
    found = judged(False)
    assert found.uncertain is None and found.drawn is None and found.judged is found.as_found
    rig, finger = load_rig("wrist"), found.plan.fingers[2]
    loops = judge_loops(on_finger(rig, finger), operating_pressures(finger_pressure(finger, 1e-3, 30.0)))
    least = min(one.margins.phase_margin_deg for one in loops)
    assert column(found, found.as_found, "phase_margin_deg")[2] == pytest.approx(least, rel=1e-6)
    assert worst(found, found.as_found, "phase_margin_deg")[0] < least + 1e-9


def test_each_finger_has_its_own_rig_under_the_same_firmware():
    """The figure of a finger is that of its own draw with the stage as the file has it."""
    found = judged()
    source, k = opened(), 3
    own = drawn_rigs(source, source.rig(), 5, found.plan.seed)[k]
    finger = found.plan.fingers[k]
    loops = judge_loops(on_finger(own, finger), operating_pressures(finger_pressure(finger, 1e-3, 30.0)))
    at = worst_of(loops)
    assert column(found, found.judged, "modulus_margin")[k] == pytest.approx(at.margins.modulus_margin, rel=1e-3)
    assert at.loop.coefficients == design(source.rig().controller, 1e-3)
    same = column(judged(False), judged(False).as_found, "modulus_margin")
    assert np.array_equal(column(found, found.as_found, "modulus_margin"), same)
    assert np.all(column(found, found.judged, "modulus_margin") != same)


def test_the_verdict_is_on_drawn_rigs_and_by_share():
    found = judged()
    good = kept(found, found.judged)
    each = [keeps_limit(found, found.judged, limit) for limit in found.limits]
    assert np.array_equal(good, each[0] & each[1]) and found.passed == bool(np.all(good))
    assert found._replace(plan=found.plan._replace(percentile=60.0)).needed == 3


def test_a_finger_that_cannot_be_had_keeps_nothing():
    """Its reason is told; when none can be had at all, that is bad input."""
    dark = read_rig("wrist", ["light.emitter=0.000001"])
    with pytest.raises(InputError, match="not one finger can be had"):
        judge_fingers(Plan(dark, tuple(sample_fingers(2)), {}))
    found = judged()
    holes = found.as_found.copy()
    holes[1] = np.nan
    lost = found._replace(drawn=holes)
    assert not kept(lost, lost.judged)[1] and np.isnan(worst(lost, lost.judged, "phase_margin_deg")[0])
    assert worst(lost, lost.judged, "phase_margin_deg")[1] == found.plan.fingers[1].name


def test_the_case_holds_the_firmwares_beliefs():
    assert case_of(Plan(opened(), (), {})).source.rig().stage == load_rig("wrist").stage
