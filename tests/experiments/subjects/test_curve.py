"""The artery's curve in the loop."""
import math
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.margins.disturbed import disturbed
from controller.margins.many_settings import rows_of
from experiments.check.judged import judge_loops
from experiments.rigs.rig import load_rig
from experiments.subjects.curve import slope_left, swinging_rms_mmHg
from experiments.subjects.disturbed import disturbances
from plant.finger.artery import Artery, static_compliance, unloaded_pressure
from plant.pressure.synthetic import SyntheticPressure, synthesise


@settings(max_examples=20, deadline=None)
@given(st.floats(0.1, 12.0), st.floats(-0.5, 1.0))
def test_the_slope_left_is_the_mean_over_the_swing(swing, tone):
    """By the trapezoid rule over eight SDs, against the quadrature."""
    artery = Artery()
    peak = float(unloaded_pressure(artery, tone))
    z = np.linspace(-8.0, 8.0, 4001)
    weight = np.exp(-0.5 * z * z)
    values = np.array([float(static_compliance(artery, peak + swing * float(x), tone)) for x in z])
    expected = float(np.sum(weight * values) / np.sum(weight)) / float(static_compliance(artery, peak, tone))
    assert slope_left(artery, tone, swing) == pytest.approx(expected, rel=2e-3)


def test_it_falls_with_the_swing():
    found = [slope_left(Artery(), 0.0, swing) for swing in (0.0, 2.0, 5.0, 10.0, 20.0)]
    assert found[0] == pytest.approx(1.0) and all(a > b for a, b in pairwise(found))


def test_a_small_error_is_the_linear_loop_s_and_a_large_one_is_more():
    trace = synthesise(SyntheticPressure(), 1e-3, 12.0, 1)
    for kp, low, high in ((1.0, 1.0, 1.02), (0.05, 1.1, 3.0)):
        rig = load_rig("wrist")
        rig = rig._replace(controller=rig.controller._replace(kp=kp * rig.controller.kp))
        loop = judge_loops(rig, {"here": 95.0})[0].loop
        disturbance = disturbances([loop], rig, trace)[0].above(0.4)
        linear = float(disturbed(loop.coefficients, rows_of([loop.coefficients], np.ones(1)), disturbance).rms_mmHg[0])
        found = swinging_rms_mmHg(loop.coefficients, disturbance, rig.plant.artery, 0.0)
        assert low <= found / linear < high and math.isfinite(found)
