"""Many controllers on one plant: each has the margins that it has alone."""
import math

import numpy as np
import pytest

from controller.margins.gain_sets import gain_sets, margins_of_sets
from controller.margins.loop import build_loop, loop_margins
from controller.tick.law import design
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
