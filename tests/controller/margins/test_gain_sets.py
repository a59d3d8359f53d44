"""Many controllers on one plant: each has the margins that it has alone."""
import math

import numpy as np
import pytest

from controller.margins.gain_sets import _counts, gain_sets, margins_of_sets
from controller.margins.loop import build_loop, loop_margins
from controller.tick.law import Controller, design
from experiments.rigs.rig import clamp, load_rig
from plant.errors import InputError

PARTS = {"wrist": {"kp": (0.001, 0.0086, 0.03, 0.2), "ti_s": (0.0, 0.0012, 0.05), "td_s": (0.0, 0.0285),
                   "notch_Hz": (0.0, 120.0)},
         "cabinet": {"kp": (0.0005, 0.0044, 0.02), "ti_s": (0.0, 0.0085, 3.0), "lead_pole_Hz": (200.0, 450.0)}}


@pytest.mark.parametrize("name", ["wrist", "cabinet"])
def test_as_of_each_loop_alone(name):
    """With and without integral and derivative, stable and unstable, a slow integral and a notch."""
    rig = load_rig(name)
    point = clamp(rig, 95.0, 0.0)
    keys, values = list(PARTS[name]), list(PARTS[name].values())
    sets = [design(rig.controller._replace(**dict(zip(keys, row, strict=True))), rig.timing.period_s)
            for row in np.array(np.meshgrid(*values)).reshape(len(keys), -1).T]
    loop = build_loop(rig.plant, point, "vent", rig.timing, rig.stage, sets[0])
    found = margins_of_sets(loop, gain_sets(sets))
    assert {bool(s) for s in found.stable} == {True, False}
    for i, coefficients in enumerate(sets):
        alone = loop_margins(loop._replace(coefficients=coefficients))
        for key, column in found._asdict().items():
            if key == "modulus_margin_Hz":  # a flat minimum: the place is less well known than its depth
                continue
            assert column[i] == pytest.approx(getattr(alone, key), rel=1e-6, abs=1e-9, nan_ok=True), (i, key)


def test_none_at_all():
    with pytest.raises(InputError, match="none given"):
        gain_sets([])


def test_one_without_any_gain():
    """It has no margins to speak of, and the same ones alone."""
    rig = load_rig("wrist")
    silent = design(rig.controller._replace(kp=0.0), 1e-3)
    loop = build_loop(rig.plant, clamp(rig, 95.0, 0.0), "fill", rig.timing, rig.stage, silent)
    found, alone = margins_of_sets(loop, gain_sets([silent])), loop_margins(loop)
    assert found.stable[0] == alone.stable and found.gain_margin[0] == alone.gain_margin == math.inf


def test_poles_are_counted_by_hand():
    """Integrators at 1 to rounding; unstable ones outside the circle, wherever, and none twice."""
    poles = np.array([[1.0, 1.0 + 1e-10, 0.5], [-1.5, 1.2j, 1.0 + 1e-6], [0.9, -0.9, 0.0], [2.0, 1.0, -1.0]], complex)
    integrators, unstable = _counts(poles)
    assert list(integrators) == [2, 0, 0, 1] and list(unstable) == [0, 3, 0, 1]


def test_what_is_known_of_controllers_beforehand():
    """An integral term is one integrator; the slowest pole is the filter's, T/(τ) to first order, or nothing."""
    plain, integral = Controller(kp=0.01), Controller(kp=0.01, ti_s=0.02)
    lagging = Controller(kp=0.01, lead_zero_Hz=20.0, lead_pole_Hz=10.0)
    ready = gain_sets([design(c, 1e-3) for c in (plain, integral, lagging)])
    assert list(ready.integrators) == [0, 1, 0] and list(ready.unstable) == [0, 0, 0]
    assert ready.slowest == pytest.approx(2.0 * math.pi * 10.0 * 1e-3, rel=0.01)
    assert gain_sets([design(plain, 1e-3)]).slowest == math.inf
    silent = gain_sets([design(integral._replace(kp=0.0), 1e-3)])
    assert list(silent.integrators) == [0], "a state that never reaches the demand is none of the loop's"
