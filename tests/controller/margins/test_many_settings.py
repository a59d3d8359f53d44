"""Many settings on one prepared loop: the margins of `margins`."""
import numpy as np
import pytest

from controller.margins.loop import open_loop
from controller.margins.many_settings import prepare, rows_of, survey_settings
from controller.margins.margins import margins
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


def test_the_plants_integrators_are_those_without_the_controllers(make_loop):
    """The same plant behind a controller with and without an integral term."""
    plain, integral = (Controller(kp=0.02, ti_s=ti) for ti in (0.0, 0.03))
    counts = [prepare(open_loop(make_loop(controller=c))).plant_integrators for c in (plain, integral)]
    assert counts[0] == counts[1]
