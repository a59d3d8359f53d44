"""Predicted against simulated."""
import math

import numpy as np
import pytest

from experiments.design.tune.confirm import confirm_finger


def test_the_tuning_confirms_its_extremes(tuning):
    why = [c.why for c in tuning.confirmations]
    assert why[0] == "largest error" and len({c.finger for c in tuning.confirmations}) == len(why)
    order = np.argsort(tuning.tuned.found.rms_mmHg)
    assert tuning.confirmations[0].finger == tuning.people.cases[order[-1]].finger.name


def test_the_linear_prediction_is_what_the_simulation_finds(tuning):
    """For the finger with the largest error, within a fifth: the linear loop is a fair judge of the pulse's band."""
    worst = tuning.confirmations[0]
    assert worst.status == "done"
    assert worst.simulated_mmHg == pytest.approx(worst.predicted_mmHg, rel=0.2)
    assert worst.whole_mmHg > worst.simulated_mmHg


def test_a_run_that_diverges_is_told(tuning):
    case = tuning.people.cases[0]
    wild = tuning.tuned.found._replace(controller=tuning.rig.controller._replace(kp=2.0, ti_s=1e-4))
    found = confirm_finger(tuning.rig, case, wild, 1)
    assert found.status != "done" and math.isnan(found.simulated_mmHg)
