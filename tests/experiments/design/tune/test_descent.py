"""The search on a few deciding loops."""
import math

import numpy as np
import pytest

from controller.tick.parameters import Controller
from experiments.design.tune.descent import Deciding, descend, judge_settings, screen, tune_structure
from experiments.design.tune.limits import margin_limits
from experiments.design.tune.structures import from_settings, space_of, to_settings
from experiments.design.tune.study import nominal_loop


@pytest.fixture(scope="module")
def deciding(tuning):
    case = tuning.people.cases[0]
    return Deciding(((case.loops[0], 1.03), (case.loops[0], 0.97)), ((case.disturbances[0], 1.0),), margin_limits({}))


@pytest.fixture(scope="module")
def space(tuning):
    return space_of("PI", tuning.ultimate, tuning.rig.controller, 1e-3)


def cost(controller, deciding):
    judged = judge_settings([controller], deciding, 1e-3)
    return math.exp(np.max(judged.log_rms)), np.max(judged.shortfall)


def test_settings_that_the_firmware_refuses_are_the_worst(deciding):
    judged = judge_settings([Controller(kp=0.02, ti_s=0.02), Controller(kp=-1.0)], deciding, 1e-3)
    assert math.isinf(judged.log_rms[1, 0]) and np.min(judged.shortfall[1]) > np.max(judged.shortfall[0])
    assert np.all(np.isinf(judge_settings([Controller(kp=-1.0)], deciding, 1e-3).log_rms))


def test_screening_gives_starts_inside_the_bounds(space, tuning, deciding):
    found = screen(space, tuning.ultimate.gain, deciding)
    assert np.all(found >= space.low) and np.all(found <= space.high)
    assert cost(to_settings(space, found[0]), deciding)[1] <= 0.0


def test_descent_is_never_worse_than_its_start(space, tuning, deciding):
    start = from_settings(space, Controller(kp=0.3 * tuning.ultimate.gain, ti_s=0.05))
    before = cost(to_settings(space, start), deciding)
    x, _, missed = descend(space, start, deciding)
    assert before[1] <= 0.0 and missed <= 0.0
    assert cost(to_settings(space, x), deciding)[0] < before[0]


def test_no_grid_of_pi_settings_does_better(space, tuning, deciding):
    """The optimum of two settings against four thousand of them, tried one by one."""
    found = tune_structure(space, tuning.ultimate.gain, deciding, [tuning.rig.controller])
    rms, missed = cost(found.controller, deciding)
    assert found.kept and missed <= 0.0 and found.rms_mmHg == pytest.approx(rms)
    gains = tuning.ultimate.gain * np.geomspace(0.05, 1.0, 80)
    times = tuning.ultimate.period_s * np.geomspace(0.2, 20.0, 50)
    tried = [to_settings(space, np.log([kp, ti])) for kp in gains for ti in times]
    judged = judge_settings(tried, deciding, 1e-3)
    kept = np.max(judged.shortfall, axis=1) <= 0.0
    assert 10 < np.sum(kept) < 4000
    assert rms < math.exp(np.min(np.max(judged.log_rms, axis=1)[kept])) * 1.002


def test_limits_that_nothing_keeps_say_so(space, tuning, deciding):
    hopeless = deciding._replace(limits=margin_limits({"phase_margin_deg": {"min": 120.0},
                                                       "crossover_Hz": {"min": 100.0}}))
    found = tune_structure(space, tuning.ultimate.gain, hopeless, [tuning.rig.controller], screened=False)
    assert not found.kept and math.isnan(found.rms_mmHg)


def test_the_nominal_loop_is_the_rigs_own(tuning, wrist):
    assert nominal_loop(wrist).period_s == wrist.timing.period_s and tuning.ultimate.gain > 0.0
