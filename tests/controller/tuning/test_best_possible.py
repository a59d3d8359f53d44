"""The convex programme's own promises; its closed-form answers are in tests/outside/test_tracking_limit.py."""
import math

import numpy as np
import pytest

from controller.tuning.best_possible import LoopSamples, best_possible, error_rms, samples_sensitivity


@pytest.fixture
def loop():
    """An integrator with two ticks of dead time under a PI that keeps it stable; pressure below a tenth of Nyquist."""
    angle = np.pi * (np.arange(500) + 0.5) / 500
    z = np.exp(1j * angle)
    plant = 0.1 / (z - 1.0) / z**2
    controller = 1.0 * (1.0 + 0.02 / (1.0 - 1.0 / z))
    pressure = np.where(angle < 0.1 * np.pi, 1.0, 0.0)
    return LoopSamples(angle, plant, controller, pressure / 50.0, np.full(500, 0.01 / 500), 1.0, 1)


def test_it_is_never_worse_than_the_controller_it_starts_from(loop):
    start = samples_sensitivity(loop)
    peak = float(np.max(abs(start)))
    found = best_possible(loop, 1.0001 * peak, 40)
    assert found.rms_mmHg < error_rms(loop, start)
    assert error_rms(loop, found.sensitivity) == pytest.approx(found.rms_mmHg)
    assert found.taps == 40


def test_more_taps_and_looser_bounds_are_never_worse(loop):
    rms = [best_possible(loop, 1.5, taps).rms_mmHg for taps in (5, 20, 60)]
    assert rms[0] >= rms[1] >= rms[2]
    rms = [best_possible(loop, peak, 30).rms_mmHg for peak in (1.3, 1.6, 2.5, math.inf)]
    assert rms == sorted(rms, reverse=True)


def test_bounds_are_kept_and_the_gap_is_told(loop):
    found = best_possible(loop, 1.4, 40)
    assert found.peak <= 1.4
    assert 0.999 * found.rms_mmHg < found.least_mmHg <= found.rms_mmHg


def test_a_bound_on_t_costs_and_is_kept(loop):
    bound = np.full(len(loop.omega_rad_s), math.inf)
    bound[250:] = 0.05
    free, bounded = best_possible(loop, 1.6, 40), best_possible(loop, 1.6, 40, bound)
    assert np.max(abs(1.0 - bounded.sensitivity[250:])) <= 0.05 < np.max(abs(1.0 - free.sensitivity[250:]))
    assert bounded.rms_mmHg > free.rms_mmHg


def test_a_start_outside_the_bounds_is_brought_inside(loop):
    assert np.max(abs(samples_sensitivity(loop))) > 1.15
    assert best_possible(loop, 1.15, 60).peak <= 1.15


def test_what_cannot_be_kept_says_so(loop):
    """No loop with dead time keeps |S| below one everywhere (Bode)."""
    found = best_possible(loop, 0.9, 20)
    assert math.isnan(found.rms_mmHg) and math.isnan(found.peak)


@pytest.mark.parametrize("noise", [0.0, 0.3, 1.0, 4.0])
def test_without_dead_time_it_is_wieners_filter(noise):
    """White pressure of variance 1 and white noise through a plant of 1: T = p/(p + n), variance pn/(p + n) (Wiener
    1949), which one tap reaches and no number of taps betters."""
    angle = np.pi * (np.arange(200) + 0.5) / 200
    none = np.zeros(200, complex)
    loop = LoopSamples(angle, none + 1.0, none, np.full(200, 1.0 / 200), np.full(200, noise / 200), 1.0, 0)
    for taps in (1, 7):
        found = best_possible(loop, math.inf, taps)
        assert found.rms_mmHg == pytest.approx(math.sqrt(noise / (1.0 + noise)), abs=1e-6)
        assert found.sensitivity == pytest.approx(none + noise / (1.0 + noise), abs=1e-6)
