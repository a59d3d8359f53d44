"""The limit of one finger."""
import math

import numpy as np
import pytest

from controller.margins.disturbed import servo_errors
from controller.margins.many_settings import rows_of, survey_settings
from controller.tick.law import design
from controller.tuning.best_possible import error_rms, samples_sensitivity
from experiments.design.tune.bound import (
    delay_margin_ticks,
    finger_bound,
    finger_samples,
    small_gain,
    tuned_sensitivity,
)
from experiments.design.tune.limits import margin_limits


@pytest.fixture(scope="module")
def case(tuning):
    return tuning.people.cases[0]


@pytest.fixture(scope="module")
def law(tuning):
    return design(tuning.tuned.found.controller, 1e-3)


def of_pressure_and_light(case):
    """The finger's disturbance as the limit has it: without veins, and noise as the light shows it."""
    one = case.disturbances[0]
    return one._replace(venous_mmHg2=0.0 * one.venous_mmHg2, cross_mmHg2=0.0 * one.cross_mmHg2, cuff=one.plant)


def test_its_grid_tells_the_same_error_as_the_tuning(case, law):
    """But for how finely the noise is spread, for the veins, and for noise that the cuff shows before the light."""
    samples, order = finger_samples(case, law)
    error = np.hypot(*servo_errors(law, rows_of([law], np.ones(1)), of_pressure_and_light(case)))[0]
    assert error_rms(samples, samples_sensitivity(samples)) == pytest.approx(error, rel=2e-3)
    assert np.all(np.diff(samples.omega_rad_s[order]) >= 0.0)


def test_no_tuning_is_below_the_limit_and_longer_memory_is_no_worse(tuning, case, law):
    found = finger_bound(case, law, tuning.limits)
    error = np.hypot(*servo_errors(law, rows_of([law], np.ones(1)), case.disturbances[0]))[0]
    assert found.rms_mmHg < error
    assert found.rms_mmHg <= found.half_taps_mmHg < 1.1 * found.rms_mmHg
    assert found.rms_mmHg <= found.delay_bound_mmHg * (1.0 + 1e-4)
    assert math.hypot(found.pressure_mmHg, found.noise_mmHg) == pytest.approx(found.rms_mmHg)
    assert np.max(abs(found.sensitivity)) <= 1.6


def test_delay_margin_from_s_alone(case, law):
    """The one that the exact survey finds, to the width of the grid."""
    samples, order = finger_samples(case, law)
    found = delay_margin_ticks(samples.omega_rad_s[order] * 1e-3, samples_sensitivity(samples)[order])
    exact = survey_settings(case.loops[0], rows_of([law], np.ones(1))).delay_margin_s[0] / 1e-3
    assert found == pytest.approx(exact, rel=0.02)


def test_small_gain_makes_sure_of_the_delay_margin(tuning, case, law):
    samples, order = finger_samples(case, law)
    assert small_gain(samples, 0.0) is None
    bound = small_gain(samples, 2.0)
    assert np.min(bound) == 0.5 and bound[order][0] > 100.0
    from controller.tuning.best_possible import best_possible

    found = best_possible(samples, 1.6, 60, bound)
    assert delay_margin_ticks(samples.omega_rad_s[order] * 1e-3, found.sensitivity[order]) >= 2.0


def test_a_loose_limit_on_the_peak_lowers_it(case, law):
    tight, loose = (finger_bound(case, law, margin_limits({"sensitivity_peak": {"max": peak}}), 60, quick=True)
                    for peak in (1.3, 2.0))
    assert loose.rms_mmHg < tight.rms_mmHg and math.isnan(loose.half_taps_mmHg)


def test_the_sensitivity_for_the_picture(case, law):
    samples, _ = finger_samples(case, law)
    assert tuned_sensitivity(case.loops[0], law, samples.omega_rad_s) == pytest.approx(samples_sensitivity(samples))
