"""One setting judged on every finger."""
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from experiments.design.tune.descent import judge_settings
from experiments.design.tune.verdict import Deciders, evaluate, kept_fingers, left_behind, worst_of_kept
from plant.errors import InputError


def everyone(tuning):
    return kept_fingers(tuning.tuned.found, 0)


def test_the_worst_of_a_finger_is_over_its_loops_sides_and_gains(tuning):
    found = evaluate(tuning.people, tuning.tuned.found.controller, tuning.limits, 1e-3)
    assert found.rms_mmHg == pytest.approx(np.max(found.errors, axis=(1, 2)))
    assert np.hypot(found.pressure_mmHg, found.noise_mmHg) == pytest.approx(found.rms_mmHg)
    peak = [limit.figure for limit in tuning.limits].index("sensitivity_peak")
    assert found.margins["sensitivity_peak"] == pytest.approx(1.6 * (1.0 + found.finger_shortfall[:, peak]))
    assert found.shortfall.shape == (8, 6, 3, 6)


def test_an_unstable_finger_has_no_margins_and_endless_error(tuning):
    wild = tuning.rig.controller._replace(kp=10.0 * tuning.rig.controller.kp)
    found = evaluate(tuning.people, wild, tuning.limits, 1e-3)
    assert np.all(np.isinf(found.rms_mmHg)) and np.all(np.isnan(found.margins["phase_margin_deg"]))


@given(st.integers(0, 7))
def test_those_left_behind_are_the_hardest(tuning, behind):
    found = tuning.tuned.found
    kept = kept_fingers(found, behind)
    assert np.sum(kept.error) == 8 - behind and np.all(np.sum(kept.limits, axis=0) == 8 - behind)
    if 0 < behind < 8:
        assert np.min(found.rms_mmHg[~kept.error]) >= np.max(found.rms_mmHg[kept.error])
    rms, missed = worst_of_kept(found, kept)
    assert rms <= np.max(found.rms_mmHg) and missed <= np.max(found.finger_shortfall)


def test_how_many_may_be_left_behind(tuning):
    people = tuning.people._replace(cases=tuning.people.cases * 12, left_out=(("far", "no clamp"),) * 4)
    assert left_behind(people, 95.0) == 1 and left_behind(people, 90.0) == 6
    with pytest.raises(InputError, match="4 of 100 fingers cannot be clamped and 0 may be left behind at --percentile"):
        left_behind(people, 100.0)


def test_deciders_hold_the_worst_and_settle(tuning):
    """The few loops taken up say of a setting what all of them say."""
    deciders = Deciders(tuning.people, everyone(tuning), tuning.limits)
    found = tuning.tuned.found
    assert deciders.absorb(found) and not deciders.absorb(found)
    judged = judge_settings([found.controller], deciders.deciding(), 1e-3)
    assert np.max(np.exp(judged.log_rms)) == pytest.approx(np.max(found.rms_mmHg))
    assert np.max(judged.shortfall) == pytest.approx(np.max(found.shortfall))
    other = deciders.copy(tuning.limits)
    other.absorb(tuning.shipped.found)
    assert len(other.loops) >= len(deciders.loops) and other.loops is not deciders.loops
