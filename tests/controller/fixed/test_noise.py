"""Added noise: the closed loop has the poles of the margins' one, and white rounding gives the variance foreseen."""
import numpy as np
import pytest

from controller.fixed.formats import effective, plan
from controller.fixed.noise import PLACES, added_noise, closed_loop, variances
from controller.fixed.ranges import ranges_of
from controller.margins.loop import closed_loop_poles
from controller.tick.law import design
from tests.controller.conftest import CONTROLLER, loop_of

LAW = design(CONTROLLER._replace(notch_Hz=120.0, notch_width_Hz=40.0, notch_depth_dB=10.0), 1e-3)


@pytest.fixture(scope="module")
def loop():
    return loop_of(controller=CONTROLLER._replace(notch_Hz=120.0, notch_width_Hz=40.0, notch_depth_dB=10.0))


@pytest.fixture(scope="module")
def fixed(loop):
    return plan(loop.coefficients, 16, ranges_of(loop.coefficients, 64.0, 2.0, 2.0))


def test_its_poles_are_those_of_the_loop(loop):
    a = closed_loop(loop, loop.coefficients).a
    found = np.sort(np.abs(np.linalg.eigvals(a)))
    np.testing.assert_allclose(found, np.sort(np.abs(closed_loop_poles(loop))), atol=1e-6)


def test_a_run_with_white_noise_has_the_variance_that_is_foreseen(loop, fixed):
    law, formats = fixed
    noisy = closed_loop(loop, effective(law, formats))
    a, b, row = noisy.a, noisy.b[:, :5], noisy.c[0]
    chance = np.random.default_rng(5)
    deviation = np.sqrt(variances(law, formats))
    state, seen = np.zeros(len(a)), []
    for noise in chance.normal(size=(60_000, 5)) * deviation:
        state = a @ state + b @ noise
        seen.append(row @ state)
    found = added_noise(loop, law, formats)
    assert np.std(seen[2000:]) == pytest.approx(found.whole, rel=0.1)
    assert found.whole == pytest.approx(np.sqrt(sum(getattr(found, name) ** 2 for name in PLACES)))


def test_two_bits_more_quarter_it(loop, fixed):
    finer = plan(loop.coefficients, 18, ranges_of(loop.coefficients, 64.0, 2.0, 2.0))
    assert added_noise(loop, *finer).whole == pytest.approx(0.25 * added_noise(loop, *fixed).whole, rel=0.01)


def test_a_block_that_passes_its_word_on_adds_nothing():
    plain = loop_of(controller=CONTROLLER._replace(lead_zero_Hz=10.0, lead_pole_Hz=10.0, td_s=0.0))
    law, formats = plan(plain.coefficients, 16, ranges_of(plain.coefficients, 64.0, 2.0, 2.0))
    found = added_noise(plain, law, formats)
    assert (found.lead, found.notch, found.rate) == (0.0, 0.0, 0.0)
    assert found.error > 0.0 and found.demand > 0.0


def test_an_unstable_loop_has_no_finite_noise(fixed):
    wild = loop_of(gain=60.0)
    law, formats = plan(wild.coefficients, 16, ranges_of(wild.coefficients, 64.0, 2.0, 2.0))
    assert added_noise(wild, law, formats).whole == np.inf
