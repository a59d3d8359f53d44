"""A plant times what a measurement found beside its model."""
import math

import numpy as np
import pytest

from controller.margins.corrected import Correction, corrected
from controller.margins.loop import build_loop, loop_margins, open_loop
from controller.margins.margins import margins
from controller.response import Unity, sweep
from controller.tick.law import design
from experiments.rigs.rig import clamp, load_rig

LINES = 2.0 * np.pi * np.array([2.0, 10.0, 50.0, 200.0])
NOTHING = Correction(LINES, np.zeros(4), np.zeros(4))


def test_at_its_lines_between_and_beyond():
    """Exact at the lines, straight over log frequency between; phase to zero at both ends, the gain's share stays."""
    part = corrected(Unity(), Correction(LINES, np.log([1.0, 2.0, 2.0, 0.5]), np.array([0.1, 0.2, 0.4, 1.0])), 3000.0)
    at = sweep(part, LINES)
    assert np.allclose(np.abs(at), [1.0, 2.0, 2.0, 0.5]) and np.allclose(np.angle(at), [0.1, 0.2, 0.4, 1.0])
    between = sweep(part, np.sqrt(LINES[:1] * LINES[1:2]))[0]
    assert abs(between) == pytest.approx(math.sqrt(2.0)) and np.angle(between) == pytest.approx(0.15)
    low, end = sweep(part, np.array([0.5 * LINES[0], 3000.0]))
    assert np.angle(low) == pytest.approx(0.05) and abs(low) == pytest.approx(1.0)
    assert end == pytest.approx(0.5) and end.imag == pytest.approx(0.0)


def test_lines_beyond_the_band_are_left_out():
    assert len(corrected(Unity(), NOTHING, 400.0).omega_rad_s) == 3


@pytest.mark.slow
def test_margins_with_a_correction():
    """Nothing found: the model's own margins. Gain found: as much less gain margin. A delay found: as much less delay
    margin. The margins' whole search is compiled for it: a minute."""
    rig = load_rig("cabinet")
    point = clamp(rig, 90.0, rig.tone.level)
    loop = build_loop(rig.plant, point, "fill", rig.timing, rig.stage, design(rig.controller, 1e-3))
    whole, own = open_loop(loop), loop_margins(loop)
    lines = np.geomspace(2.0, 3000.0, 400)

    def with_found(gain, delay_s):
        found = Correction(lines, np.full(400, np.log(gain)), -delay_s * lines)
        return margins(whole._replace(plant=corrected(whole.plant, found, whole.high_rad_s)))

    same = with_found(1.0, 0.0)
    assert same.phase_margin_deg == pytest.approx(own.phase_margin_deg) and same.gain_margin == pytest.approx(
        own.gain_margin)
    assert with_found(1.2, 0.0).gain_margin == pytest.approx(own.gain_margin / 1.2, rel=1e-6)
    assert with_found(1.0, 5e-4).delay_margin_s == pytest.approx(own.delay_margin_s - 5e-4, rel=1e-3)
