"""Many settings on one prepared loop: the margins of `margins`, and the servo's error."""
import numpy as np
import pytest

from controller.margins.loop import open_loop
from controller.margins.many_settings import (
    Disturbance,
    error_variances,
    prepare,
    rows_of,
    servo_errors,
    survey_settings,
)
from controller.margins.margins import margins
from controller.response import sweep
from controller.tick.law import Coefficients, Controller, design

SETTINGS = [Controller(kp=0.02, ti_s=0.03), Controller(kp=0.03), Controller(kp=0.02, ti_s=0.02, td_s=0.002)]


@pytest.fixture
def loop(make_loop):
    return open_loop(make_loop())


def test_rows_are_settings_at_every_gain():
    made = [design(c, 1e-3) for c in SETTINGS]
    rows = rows_of(made, np.array([0.5, 1.0, 2.0]))
    assert rows.shape == (9, len(Coefficients._fields))
    for i, controller in enumerate(SETTINGS):
        for k, factor in enumerate((0.5, 1.0, 2.0)):
            assert rows[3 * i + k] == pytest.approx(np.array(design(controller._replace(kp=factor * controller.kp),
                                                                   1e-3)))


def test_margins_are_those_of_the_loop_itself(loop):
    """With and without an integral: each row's own count of integrators is used."""
    made = [design(c, 1e-3) for c in SETTINGS]
    survey = survey_settings(prepare(loop), rows_of(made, np.ones(1)))
    own = loop.integrators - 1  # the plant's
    for i, coefficients in enumerate(made):
        alone = loop._replace(controller=coefficients, integrators=own + (1 if SETTINGS[i].ti_s else 0))
        found = margins(alone)
        assert survey.unstable[i] == found.unstable_closed_loop_poles
        assert survey.modulus[i] == pytest.approx(found.modulus_margin, rel=1e-9)
        assert survey.delay_margin_s[i] == pytest.approx(found.delay_margin_s, rel=1e-9)


def test_error_is_pressure_through_s_and_noise_through_t(loop):
    omega = np.geomspace(1.0, 3000.0, 30)
    plant = sweep(loop.plant, omega)
    pressure, noise = np.linspace(0.0, 2.0, 30), np.linspace(1.0, 0.0, 30)
    made = [design(c, 1e-3) for c in SETTINGS]
    found = servo_errors(made[0], rows_of(made, np.ones(1)), Disturbance(omega, plant, pressure, noise))
    for i, coefficients in enumerate(made):
        s = 1.0 / (1.0 + plant * sweep(coefficients, omega))
        assert found[0][i] == pytest.approx(np.sqrt(np.sum(pressure * abs(s) ** 2)))
        assert found[1][i] == pytest.approx(np.sqrt(np.sum(noise * abs(1.0 - s) ** 2)))


def test_variances_are_squares_of_the_errors(loop):
    omega = np.array([10.0, 100.0])
    rows = rows_of([design(SETTINGS[0], 1e-3)], np.ones(1))
    arguments = omega, sweep(loop.plant, omega), np.array([1.0, 2.0]), np.array([0.5, 0.1])
    squares = error_variances(design(SETTINGS[0], 1e-3), rows, *arguments)
    roots = servo_errors(design(SETTINGS[0], 1e-3), rows, Disturbance(*arguments))
    assert [v[0] for v in squares] == pytest.approx([r[0] ** 2 for r in roots])


def test_the_plants_integrators_are_those_without_the_controllers(make_loop):
    """The same plant behind a controller with and without an integral term."""
    plain, integral = (Controller(kp=0.02, ti_s=ti) for ti in (0.0, 0.03))
    counts = [prepare(open_loop(make_loop(controller=c))).plant_integrators for c in (plain, integral)]
    assert counts[0] == counts[1]
