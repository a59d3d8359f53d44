"""The control law on its tick: signs, linear twin, bumpless start, limits, anti-windup, telemetry."""
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numba import njit

from controller.response import response
from controller.tick.discretise import METHODS
from controller.tick.law import (
    NO_SLEW_LIMIT,
    Controller,
    ControllerState,
    block_gains,
    block_responses,
    bumpless_start,
    control_demand,
    control_settle,
    control_step,
    controller_linear,
    design,
    initial_control,
    limit_command,
    quantise_command,
)

T = 1e-3
many = settings(deadline=None)


@st.composite
def laws(draw):
    """An ordinary law of either form: gains, filters and methods of a pressure servo at 1 kHz."""
    off = st.just(0.0)
    method = draw(st.sampled_from(METHODS))
    law = Controller(
        kp=draw(st.floats(1e-4, 1.0)), method=method, output_bits=0,
        prewarp_Hz=draw(off | st.floats(1.0, 100.0)) if method == "tustin" else 0.0,
        notch_Hz=draw(off | st.floats(20.0, 400.0)), notch_width_Hz=draw(st.floats(5.0, 60.0)),
        notch_depth_dB=draw(st.floats(3.0, 60.0)),
    )
    if draw(st.booleans()):
        zero = draw(st.floats(3.0, 60.0))
        law = law._replace(lead_zero_Hz=zero, lead_pole_Hz=zero * draw(st.floats(0.4, 8.0)))
    if draw(st.booleans()):
        return law._replace(form="parallel", ki=draw(off | st.floats(1e-3, 10.0)),
                            kd=draw(off | st.floats(1e-6, 1e-2)), filter_s=draw(st.floats(1e-4, 0.02)))
    return law._replace(ti_s=draw(off | st.floats(5e-3, 10.0)), td_s=draw(off | st.floats(2e-3, 0.05)))


errors = st.lists(st.floats(-100.0, 100.0), min_size=5, max_size=40)


@njit
def demands(coefficients, error):
    """Demand and filtered error on each tick, from rest, nothing limited; columns as `Terms`."""
    state = ControllerState(0.0, 0.0, 0.0, 0.0, 0.0)
    rows = np.empty((len(error), 7))
    for k in range(len(error)):
        demand, terms = control_demand(coefficients, state, error[k])
        state = control_settle(coefficients, state, terms, demand)
        for j, value in enumerate(terms):
            rows[k, j] = value
    return rows


@njit
def follow(coefficients, set_point, decay, gain):
    """A first-order plant y' = decay·y + gain·command under the law; pressure and command on each tick."""
    state = ControllerState(0.0, 0.0, 0.0, 0.0, 0.0)
    pressure, command = 0.0, 0.0
    rows = np.empty((len(set_point), 2))
    for k in range(len(set_point)):
        state, command, _ = control_step(coefficients, state, command, set_point[k] - pressure)
        rows[k, 0], rows[k, 1] = pressure, command
        pressure = decay * pressure + gain * command
    return rows


def step_of(law, ticks=200, size=1.0):
    return dict(zip(("error", "lead", "notch", "proportional", "integral", "derivative", "demand"),
                    demands(design(law, T), np.full(ticks, size)).T, strict=True))


# --- signs -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_proportional_pushes_with_the_error(method, sign):
    """Too little pressure (positive error) asks for air, and by Kp for each mmHg."""
    found = step_of(Controller(kp=0.02, method=method), size=sign)
    assert np.array_equal(found["proportional"], np.full(200, 0.02 * sign))
    assert np.array_equal(found["demand"], found["proportional"])


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_integral_keeps_growing_with_the_error(method, sign):
    """Kp/Ti a second: after 0.2 s of 1 mmHg at Kp = 0.02/mmHg, Ti = 0.05 s it is 0.08, but for half a tick."""
    found = step_of(Controller(kp=0.02, ti_s=0.05, method=method), size=sign)
    assert np.all(np.diff(sign * found["integral"]) > 0.0)
    assert found["integral"][-1] == pytest.approx(sign * 0.08, rel=0.003)


@pytest.mark.parametrize("method", METHODS)
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_derivative_pushes_with_a_growing_error_and_dies_out_when_it_stays(method, sign):
    law = Controller(kp=0.02, td_s=0.01, method=method)
    found = step_of(law, size=sign)
    assert found["derivative"][0] * sign > 0.02
    assert abs(found["derivative"][-1]) < 1e-9
    ramp = demands(design(law, T), sign * np.arange(200) * T)  # 1 mmHg/s: settles at Kp Td
    assert ramp[-1, 5] == pytest.approx(sign * 0.02 * 0.01, rel=1e-9)


@pytest.mark.parametrize("method", METHODS)
def test_lead_leads_and_a_lag_lags(method):
    """A rising error is answered at once by about the ratio of the corners, and a steady one by itself."""
    lead = step_of(Controller(lead_zero_Hz=10.0, lead_pole_Hz=50.0, method=method))["lead"]
    lag = step_of(Controller(lead_zero_Hz=50.0, lead_pole_Hz=10.0, method=method))["lead"]
    assert 3.0 < lead[0] < 5.5
    assert np.all(np.diff(lead) <= 0.0)
    assert 0.15 < lag[0] < 0.35
    assert np.all(np.diff(lag) >= 0.0)
    assert (lead[-1], lag[-1]) == pytest.approx((1.0, 1.0), rel=1e-4)
    omega = 2.0 * math.pi * math.sqrt(10.0 * 50.0)
    leading = block_gains(design(Controller(lead_zero_Hz=10.0, lead_pole_Hz=50.0, method=method), T), omega)[0]
    assert 35.0 < math.degrees(np.angle(leading)) < 45.0


@pytest.mark.parametrize("method", ["tustin", "matched"])
def test_notch_takes_out_its_frequency_and_leaves_the_rest(method):
    law = Controller(notch_Hz=80.0, notch_width_Hz=20.0, notch_depth_dB=40.0, method=method,
                     prewarp_Hz=80.0 if method == "tustin" else 0.0)
    coefficients = design(law, T)
    gain = {f: abs(block_gains(coefficients, 2 * math.pi * f)[1]) for f in (0.5, 40.0, 70.0, 80.0, 90.0, 160.0)}
    assert gain[80.0] == pytest.approx(0.01, rel=1e-6 if method == "tustin" else 0.1)
    assert gain[0.5] == pytest.approx(1.0, abs=1e-4)
    assert gain[40.0] > 0.9
    assert gain[160.0] > 0.9
    assert 0.6 < gain[70.0] < 0.8  # the -3 dB width of a deep notch
    assert 0.6 < gain[90.0] < 0.8


def test_limits_hold_a_large_error_on_its_own_side():
    coefficients = design(Controller(kp=1.0, output_low=-0.3, output_high=0.8), T)
    for error, expected in ((100.0, 0.8), (-100.0, -0.3), (0.5, 0.5), (-0.25, -0.25)):
        assert control_step(coefficients, initial_control(), 0.0, error)[1] == expected


# --- the linear twin -------------------------------------------------------------------------------------------------


@many
@given(laws(), st.floats(2.0, 300.0))
def test_response_is_what_a_sinusoid_settles_to(law, frequency):
    """The step function driven by cos(ωkT) for six seconds; amplitude and phase by least squares over the last one."""
    coefficients, omega = design(law, T), 2.0 * math.pi * frequency
    time = np.arange(6000) * T
    demand = demands(coefficients, np.cos(omega * time))[-1000:, 6]
    tail = time[-1000:]
    basis = np.column_stack([np.cos(omega * tail), -np.sin(omega * tail), np.ones(1000)])  # a constant: the integral's
    (real, imaginary, _), *_ = np.linalg.lstsq(basis, demand, rcond=None)
    assert complex(real, imaginary) == pytest.approx(response(coefficients, omega), rel=1e-6, abs=1e-9)


@many
@given(laws(), errors)
def test_state_space_is_the_step_function(law, error):
    coefficients = design(law, T)
    a, b, c, d = controller_linear(coefficients)
    state, found = np.zeros((5, 1)), []
    for value in error:
        found.append((c @ state + d * value).item())
        state = a @ state + b * value
    scale = np.max(np.abs(found)) + 1e-30
    assert demands(coefficients, np.array(error))[:, 6] == pytest.approx(np.array(found), rel=1e-9, abs=1e-12 * scale)


@many
@given(laws(), st.floats(0.1, 3000.0))
def test_state_space_has_the_response(law, omega):
    coefficients = design(law, T)
    a, b, c, d = controller_linear(coefficients)
    exact = (c @ np.linalg.solve(np.exp(1j * omega * T) * np.eye(5) - a, b) + d).item()
    assert response(coefficients, omega) == pytest.approx(exact, rel=1e-7)


@many
@given(laws())
def test_there_is_a_pole_at_one_exactly_when_there_is_an_integral(law):
    poles = np.linalg.eigvals(controller_linear(design(law, T))[0])
    assert np.sum(np.abs(poles - 1.0) < 1e-9) == (1 if law.ti_s > 0.0 or law.ki > 0.0 else 0)


@many
@given(laws())
def test_the_blocks_make_up_the_whole(law):
    coefficients, omega = design(law, T), np.geomspace(0.1, 3000.0, 7)
    blocks = block_responses(coefficients, omega)
    assert list(blocks) == ["lead", "notch", "pid", "derivative filter"]
    whole = np.array([response(coefficients, w) for w in omega])
    assert np.prod(list(blocks.values()), axis=0) == pytest.approx(whole, rel=1e-9)
    if law.td_s == law.kd == 0.0:
        assert np.array_equal(blocks["derivative filter"], np.ones(7))


def test_a_derivative_filter_costs_phase():
    coefficients = design(Controller(td_s=0.01, method="matched"), T)
    assert np.angle(block_responses(coefficients, np.array([2 * math.pi * 40.0]))["derivative filter"][0]) < -0.05


def test_response_at_zero_frequency():
    assert response(design(Controller(kp=0.3, td_s=0.01), T), 0.0) == pytest.approx(0.3, rel=1e-12)
    assert abs(response(design(Controller(ti_s=0.1), T), 0.0)) == math.inf


@many
@given(st.floats(1e-9, 1e-3))
def test_response_keeps_its_digits_towards_zero_frequency(omega):
    """PI: C → Kp (1 + 1/(jω Ti)) with relative error of order ωT."""
    exact = 0.02 * (1.0 + 1.0 / (1j * omega * 0.05))
    assert response(design(Controller(kp=0.02, ti_s=0.05), T), omega) == pytest.approx(exact, rel=1e-12)


def test_response_is_resolved_inside_compiled_code():
    @njit
    def inside(part, omega):
        return response(part, omega)

    coefficients = design(Controller(ti_s=0.1, td_s=0.01), T)
    assert inside(coefficients, 100.0) == response(coefficients, 100.0)


# --- start, limits, quantiser ----------------------------------------------------------------------------------------


@many
@given(laws(), st.floats(-100.0, 100.0), st.floats(-1.0, 1.0))
def test_bumpless_start_gives_the_command_that_was_in_force(law, error, command):
    """To rounding: the sum of the terms may lose the last digit of the largest."""
    coefficients = design(law, T)
    state = bumpless_start(coefficients, error, command)
    demand, terms = control_demand(coefficients, state, error)
    rounding = 1e-14 * (abs(command) + sum(abs(coefficients.derivative_gain * e) for e in (terms.lead, terms.notch))
                        + abs(terms.proportional) + abs(terms.integral))
    assert demand == pytest.approx(command, rel=0.0, abs=rounding + 1e-300)


@many
@given(laws(), st.floats(-100.0, 100.0), st.floats(-1.0, 1.0))
def test_after_a_bumpless_start_only_the_integral_moves(law, error, command):
    """Filters are settled: with the error constant, each tick adds its integral (Ki T a mmHg, prewarp aside)."""
    coefficients = design(law, T)
    state = bumpless_start(coefficients, error, command)
    each = (coefficients.integral_new + coefficients.integral_old) * error
    largest = 1e-10 * (1.0 + abs(error) * (1.0 + abs(coefficients.derivative_gain)))
    for k in range(20):
        demand, terms = control_demand(coefficients, state, error)
        assert demand == pytest.approx(command + k * each, abs=largest)
        state = control_settle(coefficients, state, terms, demand)


@many
@given(st.floats(-1.0, 1.0), st.floats(-1e6, 1e6), st.floats(0.1, 1000.0), st.floats(-1.0, 0.0), st.floats(0.1, 1.0))
def test_slew_and_output_limits_are_never_exceeded(previous, wanted, slew, low, high):
    coefficients = design(Controller(slew_per_s=slew, output_low=low, output_high=high), T)
    previous = min(max(previous, low), high)
    command, limited = limit_command(coefficients, previous, wanted)
    assert low <= command <= high
    assert abs(command - previous) <= slew * T + 1e-15
    assert limited == (command != wanted)
    reached = abs(command - previous) >= slew * T - 1e-15 or command in (low, high)
    assert command == wanted or reached  # as near to what is wanted as the limits let it
    assert (command - previous) * (wanted - previous) >= 0.0


@many
@given(st.floats(-1.0, 1.0), st.floats(-1.0, 1.0))
def test_without_a_slew_limit_a_command_in_range_passes_untouched(previous, wanted):
    coefficients = design(Controller(), T)
    assert coefficients.slew_per_tick == NO_SLEW_LIMIT
    assert limit_command(coefficients, previous, wanted) == (wanted, False)


@many
@given(st.floats(-1.0, 1.0), st.integers(1, 24))
def test_output_converter(command, bits):
    coefficients = design(Controller(output_bits=bits), T)
    assert coefficients.output_quantum == 2.0 ** (1 - bits)
    assert abs(quantise_command(coefficients, command) - command) <= 0.5 * coefficients.output_quantum
    assert quantise_command(design(Controller(output_bits=0), T), command) == command


# --- anti-windup -----------------------------------------------------------------------------------------------------

WINDING = [
    Controller(kp=0.1, ti_s=0.4, output_bits=0),
    Controller(kp=0.1, ti_s=0.4, td_s=0.005, output_bits=0),
    Controller(form="parallel", kp=0.1, ki=0.25, kd=5e-4, filter_s=5e-4, output_bits=0),
    Controller(kp=0.1, ti_s=0.4, tracking_time_s=0.05, method="backward_euler", output_bits=0),
]


BY_THE_RULE = [0.4, math.sqrt(0.4 * 0.005), math.sqrt(0.4 * 0.005), 0.05]


@pytest.mark.parametrize(("law", "time"), list(zip(WINDING, BY_THE_RULE, strict=True)))
def test_tracking_time_by_the_rule_or_as_given(law, time):
    """Tt = √(Ti Td), or Ti without derivative action: Åström & Hägglund [memory, high]; T/Tt a tick."""
    assert design(law, T).tracking_gain == pytest.approx(T / time, rel=1e-12)


@pytest.mark.parametrize("law", [Controller(kp=0.1), Controller(kp=0.1, td_s=0.01, tracking_time_s=0.1)])
def test_without_an_integral_nothing_winds_up(law):
    assert design(law, T).tracking_gain == 0.0


@pytest.mark.parametrize("law", [
    Controller(form="parallel", kp=0.0, ki=1.0),
    Controller(ti_s=1.0, tracking_time_s=1e-5),
])
def test_a_tracking_time_below_the_tick_puts_the_integral_right_at_once(law):
    assert design(law, T).tracking_gain == 1.0


@pytest.mark.parametrize("law", WINDING)
@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_recovery_and_overshoot_are_less_than_without(law, sign):
    """A cuff that takes 100 mmHg/s at full command is asked for 100 mmHg more: a second at the limit."""
    coefficients = design(law, T)
    set_point = np.full(6000, sign * 100.0)
    found = {}
    for name, version in (("with", coefficients), ("plain", coefficients._replace(tracking_gain=0.0))):
        pressure, command = follow(version, set_point, 1.0, 100.0 * T).T
        assert np.max(np.abs(command)) == 1.0
        outside = np.flatnonzero(np.abs(sign * pressure - 100.0) > 2.0)
        found[name] = np.max(sign * pressure) - 100.0, outside[-1] * T
    assert found["with"][0] < 0.3 * found["plain"][0]
    assert found["with"][1] < 0.75 * found["plain"][1]


@pytest.mark.parametrize("law", WINDING)
def test_nothing_differs_bit_for_bit_when_nothing_saturates(law):
    coefficients = design(law, T)
    set_point = 5.0 * np.sin(2 * math.pi * 1.3 * np.arange(3000) * T)
    found = follow(coefficients, set_point, 0.99, 1.0)
    assert np.max(np.abs(found[:, 1])) < 1.0
    assert np.array_equal(found, follow(coefficients._replace(tracking_gain=0.0), set_point, 0.99, 1.0))


@many
@given(laws(), errors)
def test_achieving_the_demand_settles_like_no_anti_windup(law, error):
    coefficients = design(law, T)
    plain, state = coefficients._replace(tracking_gain=0.0), initial_control()
    for value in error:
        demand, terms = control_demand(coefficients, state, value)
        after = control_settle(coefficients, state, terms, demand)
        assert after == control_settle(plain, state, terms, math.copysign(123.0, demand))
        state = after


@many
@given(st.floats(-5.0, 5.0), st.floats(0.001, 1.0))
def test_back_calculation_draws_the_integral_towards_what_was_achieved(achieved, time):
    coefficients = design(Controller(kp=0.1, ti_s=0.4, tracking_time_s=time), T)
    demand, terms = control_demand(coefficients, initial_control(), 3.0)
    drawn = control_settle(coefficients, initial_control(), terms, achieved).integral
    kept = control_settle(coefficients, initial_control(), terms, demand).integral
    assert drawn - kept == pytest.approx((achieved - demand) * T / time, rel=1e-9, abs=1e-15)


# --- telemetry -------------------------------------------------------------------------------------------------------


@many
@given(laws(), errors)
def test_the_terms_add_up_to_the_demand(law, error):
    rows = demands(design(law, T), np.array(error))
    assert np.array_equal(rows[:, 0], np.array(error))
    assert np.array_equal(rows[:, 3] + rows[:, 4] + rows[:, 5], rows[:, 6])


@many
@given(laws(), errors, st.floats(-1.0, 1.0))
def test_the_whole_step_is_its_three_pieces(law, error, previous):
    coefficients = design(law._replace(slew_per_s=50.0), T)
    one = other = initial_control()
    command, held = previous, previous
    for value in error:
        one, command, terms = control_step(coefficients, one, command, value)
        demand, same_terms = control_demand(coefficients, other, value)
        held, _ = limit_command(coefficients, held, demand)
        other = control_settle(coefficients, other, same_terms, held)
        assert (one, command, terms) == (other, held, same_terms)
