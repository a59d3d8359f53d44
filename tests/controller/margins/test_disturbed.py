"""Error and command activity of many settings under pressure, veins and noise."""
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from controller.margins.disturbed import (
    EFFORTS,
    NOISE_POINTS,
    Disturbance,
    Spectrum,
    disturbance_of,
    disturbed,
    servo_errors,
)
from controller.margins.loop import sampled
from controller.margins.many_settings import rows_of
from controller.margins.sampled import augmented
from controller.response import sweep
from controller.tick.law import Controller, controller_linear, design

SETTINGS = [Controller(kp=0.02, ti_s=0.03), Controller(kp=0.03), Controller(kp=0.02, ti_s=0.02, td_s=0.002)]
NOTHING = Spectrum(np.array([5.0]), np.zeros(1), np.zeros(1), np.zeros(1, complex))


def plain(omega, plant, **more):
    """A disturbance with a direct command and without veins."""
    none = np.zeros(len(omega))
    values = {"pressure_mmHg2": none, "venous_mmHg2": none, "cross_mmHg2": none.astype(complex), "noise_mmHg2": none,
              "room_low": 0.5, "room_high": 0.5, "cuff": plant, "command": np.ones(len(omega), complex)} | more
    return Disturbance(omega, plant, **values)


@pytest.fixture
def omega():
    return np.geomspace(1.0, 3000.0, 30)


@pytest.fixture
def plant(make_loop, omega):
    return sweep(sampled(make_loop()), omega)


def test_error_and_command_are_those_of_the_closed_loop(omega, plant):
    pressure, noise = np.linspace(0.0, 2.0, 30), np.linspace(1.0, 0.0, 30)
    made = [design(c, 1e-3) for c in SETTINGS]
    disturbance = plain(omega, plant, pressure_mmHg2=pressure, noise_mmHg2=noise, command=np.full(30, 2.0 + 0j))
    found = disturbed(made[0], rows_of(made, np.ones(1)), disturbance)
    for i, coefficients in enumerate(made):
        law = sweep(coefficients, omega)
        s = 1.0 / (1.0 + plant * law)
        assert found.pressure_mmHg[i] == pytest.approx(np.sqrt(np.sum(pressure * abs(s) ** 2)))
        assert found.noise_mmHg[i] == pytest.approx(np.sqrt(np.sum(noise * abs(1.0 - s) ** 2)))
        assert found.command_noise_rms[i] == pytest.approx(2.0 * np.sqrt(np.sum(noise * abs(law * s) ** 2)))
        assert found.command_pulse_rms[i] == pytest.approx(2.0 * np.sqrt(np.sum(pressure * abs(law * s) ** 2)))
        change = abs(1.0 - np.exp(-1j * omega * 1e-3)) ** 2
        assert found.command_step_sd[i] == pytest.approx(
            2.0 * np.sqrt(np.sum((noise + pressure) * abs(law * s) ** 2 * change)))
    pressure_mmHg, noise_mmHg = servo_errors(made[0], rows_of(made, np.ones(1)), disturbance)
    assert list(pressure_mmHg) == list(found.pressure_mmHg) and list(noise_mmHg) == list(found.noise_mmHg)


@settings(max_examples=25, deadline=None)
@given(st.floats(0.1, 3.0), st.floats(0.0, 2.0), st.floats(0.0, 6.28))
def test_veins_add_to_the_pressure_as_one_wave_with_it(size, ratio, angle):
    """A single frequency: −S r + T w with w a fixed share and phase of r."""
    omega, plant = np.array([30.0]), np.array([25.0 - 12.0j])
    share = ratio * np.exp(1j * angle)  # w = share · r, so E[r w*] = share* E[r r*]
    law = design(SETTINGS[0], 1e-3)
    found = disturbed(law, rows_of([law], np.ones(1)), plain(
        omega, plant, pressure_mmHg2=np.array([size]), venous_mmHg2=np.array([ratio**2 * size]),
        cross_mmHg2=np.array([np.conj(share) * size])))
    gain = plant * sweep(law, omega)
    s, t = 1.0 / (1.0 + gain), gain / (1.0 + gain)
    assert found.pressure_mmHg[0] == pytest.approx(math.sqrt(size) * abs(-s + t * share)[0], rel=1e-9, abs=1e-9)
    assert found.command_pulse_rms[0] == pytest.approx(
        math.sqrt(size) * abs(sweep(law, omega) * s * (1.0 + share))[0], rel=1e-9, abs=1e-9)


def test_the_share_at_a_limit_is_that_of_a_gaussian(omega, plant):
    """A standard normal value is above 1.96 in 2.5 % of cases, and beyond 1 on either side in 31.73 % (tables)."""
    law = design(SETTINGS[0], 1e-3)
    disturbance = plain(omega, plant, noise_mmHg2=np.ones(30))
    spread = disturbed(law, rows_of([law], np.ones(1)), disturbance).command_noise_rms[0]
    for low, high, expected in ((9e9, 1.96 * spread, 0.025), (spread, spread, 0.31731), (9e9, 9e9, 0.0)):
        found = disturbed(law, rows_of([law], np.ones(1)), disturbance._replace(room_low=low, room_high=high))
        assert found.command_limit_share[0] == pytest.approx(expected, abs=2e-5)
    calm = disturbed(law, rows_of([law], np.ones(1)), plain(omega, plant))
    assert calm.command_limit_share[0] == 0.0 and calm.command_noise_rms[0] == 0.0


@pytest.mark.parametrize("side", ["fill", "vent"])
def test_noise_is_what_a_run_of_the_linear_loop_shows(make_loop, side):
    """White noise through the sampled closed loop, tick by tick: command and cuff by the matrices, not by responses."""
    loop = make_loop(side=side)
    found = disturbed(loop.coefficients, rows_of([loop.coefficients], np.ones(1)), disturbance_of(loop, NOTHING, 0.5))
    a, b, c = augmented(loop.discrete, loop.by_demand, loop.by_reading, loop.light_slope)
    ca, column, row, straight = controller_linear(loop.coefficients)
    cb, cc, cd = column[:, 0], row[0], float(straight[0, 0])
    n = len(loop.discrete.phi)
    noise = 0.5 * np.random.default_rng(3).normal(size=60_000)
    x, xc = np.zeros(len(a)), np.zeros(len(ca))
    command, cuff = np.empty(len(noise)), np.empty(len(noise))
    for k, one in enumerate(noise):
        error = one - c @ x
        demand = cc @ xc + cd * error
        command[k] = loop.by_demand * demand + loop.by_reading * (loop.discrete.c[1] @ x[:n])
        cuff[k] = loop.plant.tissue.transmission * loop.discrete.cuff @ x[:n]
        x, xc = a @ x + b * demand, ca @ xc + cb * error
    assert found.command_noise_rms[0] == pytest.approx(np.std(command[2000:]), rel=0.03)
    assert found.command_step_sd[0] == pytest.approx(np.std(np.diff(command[2000:])), rel=0.03)
    assert found.noise_mmHg[0] == pytest.approx(np.std(cuff[2000:]), rel=0.05)


def test_a_disturbance_holds_all_of_it_and_can_be_cut(make_loop):
    spectrum = Spectrum(np.array([0.1, 2.0]), np.array([1.0, 4.0]), np.array([0.2, 0.1]), np.array([0.1j, 0.2]))
    loop = make_loop()
    whole = disturbance_of(loop, spectrum, 0.3)
    assert len(whole.omega_rad_s) == 2 + NOISE_POINTS and np.sum(whole.noise_mmHg2) == pytest.approx(0.09)
    assert np.sum(whole.pressure_mmHg2) == 5.0 and whole.room_high == 1.0 - loop.point.command
    cut = whole.above(0.4)
    assert np.sum(cut.pressure_mmHg2) == 4.0 and np.sum(cut.venous_mmHg2) == pytest.approx(0.1)
    assert np.sum(cut.noise_mmHg2) == pytest.approx(0.09) and set(EFFORTS) < set(disturbed(
        loop.coefficients, rows_of([loop.coefficients], np.ones(1)), cut)._fields)
