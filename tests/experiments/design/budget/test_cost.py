"""Figures of one loop: margins as elsewhere, and an error that grows with pulse and noise as it must."""
import math

import numpy as np
import pytest

from experiments.check.check import judge_loops
from experiments.design.budget.cost import LoopCost, difference, loop_cost, worst_cost
from experiments.rigs.rig import load_rig
from experiments.subjects.bands import Bands, usual_bands

BANDS = usual_bands(1e-3)
SILENT = Bands(BANDS.omega, 0.0 * BANDS.rms_mmHg)


@pytest.mark.parametrize("name", ["wrist", "cabinet"])
def test_margins_are_those_of_the_loops(name):
    rig = load_rig(name)
    for judged in judge_loops(rig, {"here": 95.0}):
        found, margins = loop_cost(rig, 95.0, judged.loop.side, BANDS), judged.margins
        assert found[:3] == (margins.phase_margin_deg, margins.delay_margin_ticks, margins.sensitivity_peak)
        assert found.modulus_margin == margins.modulus_margin


def test_the_error_is_of_pulse_and_noise():
    """Twice the pulse, twice the error of a silent instrument; noise adds in squares and does not need a pulse."""
    quiet = load_rig("wrist", ["light.noise=0.0", "light.bits=0", "transducer.noise_mmHg=0.0", "transducer.bits=0",
                               "controller.output_bits=0"])
    pulse = loop_cost(quiet, 90.0, "fill", BANDS).error_mmHg
    twice = loop_cost(quiet, 90.0, "fill", Bands(BANDS.omega, 2.0 * BANDS.rms_mmHg)).error_mmHg
    assert twice == pytest.approx(2.0 * pulse, rel=1e-12)
    assert loop_cost(quiet, 90.0, "fill", SILENT).error_mmHg == 0.0
    noisy = load_rig("wrist", ["light.noise=0.001"])
    noise = loop_cost(noisy, 90.0, "fill", SILENT).error_mmHg
    assert loop_cost(noisy, 90.0, "fill", BANDS).error_mmHg == pytest.approx(math.hypot(pulse, noise), rel=1e-9)


def test_a_bit_less_is_twice_the_step():
    """With nothing but the light converter's steps the error doubles with each bit that is taken away."""
    def steps(bits):
        rig = load_rig("wrist", ["light.noise=0.0", f"light.bits={bits}", "transducer.noise_mmHg=0.0",
                                 "transducer.bits=0", "controller.output_bits=0"])
        return loop_cost(rig, 90.0, "fill", SILENT).error_mmHg

    assert steps(9) == pytest.approx(2.0 * steps(10), rel=1e-12) == pytest.approx(4.0 * steps(11), rel=1e-12)


def test_unstable_is_a_value():
    found = worst_cost(load_rig("wrist", ["controller.kp=0.08"]), 90.0, BANDS)
    assert all(math.isnan(v) for v in found[:4]) and found.modulus_margin < 0.0


def test_the_worse_side_counts():
    rig = load_rig("wrist", ["actuator.kind=direct", "controller.kp=0.002616", "valve.bleed_conductance=0"])
    sides = np.array([loop_cost(rig, 90.0, side, BANDS) for side in ("fill", "vent")])
    worst = worst_cost(rig, 90.0, BANDS)
    assert worst.phase_margin_deg == sides[:, 0].min() and worst.sensitivity_peak == sides[:, 2].max()
    assert difference(worst, worst) == LoopCost(0.0, 0.0, 0.0, 0.0, 0.0)
