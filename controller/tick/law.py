"""The control law of the firmware: lead, notch and PID with filtered derivative in series, on the tick.

Order on a tick: error → lead → notch → P + I + D = demand → actuator stage → slew and output limits → quantiser. What
the limited command achieves comes back to the integral (back-calculation, Åström & Hägglund). Every filter is in
transposed direct form II: one state an order, and nothing is remembered outside `ControllerState`. The last limited
command, which the slew limit needs, is the caller's to keep.
"""
from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from controller.response import response
from controller.tick.discretise import Biquad, FirstOrder, derivative, integrator, lead, notch, rule
from controller.tick.parameters import Controller as Controller  # whoever asks for the law asks for this too
from controller.tick.parameters import check_controller, to_parallel
from plant.declare import compiled, inlined, verb
from plant.electronics.converter import convert

# a law comes in variants, told apart by the class of its coefficients: real numbers here, words in `controller.fixed`
control_demand = verb("control_demand")  # (coefficients, state, error [mmHg]) -> (demand, terms)
control_settle = verb("control_settle")  # (coefficients, state, terms, achieved demand) -> state for the next tick
bumpless_start = verb("bumpless_start")  # (coefficients, error [mmHg], demand) -> state
told_terms = verb("told_terms")  # (coefficients, terms) -> Terms, as numbers with their units

Matrix = NDArray[np.float64]
NO_SLEW_LIMIT = 1e9  # full commands a tick: beyond any range, yet a plain number in emitted code


class Coefficients(NamedTuple):
    """The control law as the tick runs it; all floats."""

    period_s: float  # tick
    proportional: float  # command per mmHg
    integral_new: float  # command per mmHg of this tick's filtered error
    integral_old: float  # command per mmHg of the last tick's
    derivative_pole: float  # in the z plane
    derivative_gain: float  # command per mmHg of change
    lead_b0: float  # (b0 + b1/z)/(1 + a1/z)
    lead_b1: float
    lead_a1: float
    notch_b0: float  # (b0 + b1/z + b2/z²)/(1 + a1/z + a2/z²)
    notch_b1: float
    notch_b2: float
    notch_a1: float
    notch_a2: float
    output_low: float  # command
    output_high: float  # command
    slew_per_tick: float  # command a tick
    tracking_gain: float  # share of (achieved − demand) given to the integral each tick; 0 for no anti-windup
    output_quantum: float  # command; 0 for no steps


class ControllerState(NamedTuple):
    """What the law remembers between ticks, one number per order; all zero at rest."""

    lead: float  # mmHg
    notch_1: float  # mmHg
    notch_2: float  # mmHg
    integral: float  # command; without integral action a constant bias
    derivative: float  # command


class Terms(NamedTuple):
    """What each block said on one tick."""

    error_mmHg: float
    lead: float  # mmHg behind the lead
    notch: float  # mmHg behind lead and notch
    proportional: float  # command
    integral: float  # command
    derivative: float  # command
    demand: float  # command, the sum of the three


# --- design ----------------------------------------------------------------------------------------------------------


def design(controller: Controller, period_s: float) -> Coefficients:
    """Coefficients of the law at a tick [s]. Raises InputError naming a key out of bounds or at odds with another."""
    check_controller(controller, period_s)
    by = rule(controller.method, period_s, controller.prewarp_Hz)
    part = to_parallel(controller)
    integral = integrator(part.ki, by)
    rate = derivative(part.kd, part.filter_s, by)
    first, second = FirstOrder(1.0, 0.0, 0.0), Biquad(1.0, 0.0, 0.0, 0.0, 0.0)
    turn = 2.0 * math.pi
    if part.lead_zero_Hz != part.lead_pole_Hz:
        first = lead(turn * part.lead_zero_Hz, turn * part.lead_pole_Hz, by)
    if part.notch_Hz > 0.0 and part.notch_depth_dB > 0.0:
        damping = 0.5 * part.notch_width_Hz / part.notch_Hz
        second = notch(turn * part.notch_Hz, damping * 10.0 ** (-part.notch_depth_dB / 20.0), damping, by)
    return Coefficients(
        float(period_s), float(part.kp), integral.new, integral.old, rate.pole, rate.gain, *first, *second,
        float(part.output_low), float(part.output_high),
        part.slew_per_s * period_s if part.slew_per_s > 0.0 else NO_SLEW_LIMIT, _tracking_gain(part, period_s),
        (part.output_high - part.output_low) * 2.0**-part.output_bits if part.output_bits > 0 else 0.0,
    )


def _tracking_gain(part: Controller, period_s: float) -> float:
    """T/Tt, at most 1, at which the integral is put right within one tick. √(Ti Td) is √(Kd/Ki)."""
    if part.ki == 0.0:
        return 0.0
    time = part.tracking_time_s or (math.sqrt(part.kd / part.ki) if part.kd > 0.0 else part.kp / part.ki)
    return period_s / max(time, period_s)


# --- on the tick -----------------------------------------------------------------------------------------------------


def initial_control() -> ControllerState:
    """The law at rest."""
    return ControllerState(0.0, 0.0, 0.0, 0.0, 0.0)


@control_demand.of(Coefficients)
def law_demand(coefficients: Coefficients, state: ControllerState, error_mmHg: float) -> tuple[float, Terms]:
    """Demand (fraction of full command) for this tick's error [mmHg], and what each block said."""
    c = coefficients
    led = c.lead_b0 * error_mmHg + state.lead
    clean = c.notch_b0 * led + state.notch_1
    proportional = c.proportional * clean
    integral = c.integral_new * clean + state.integral
    rate = c.derivative_gain * clean + state.derivative
    demand = proportional + integral + rate
    return demand, Terms(error_mmHg, led, clean, proportional, integral, rate, demand)


@control_settle.of(Coefficients)
def law_settle(
    coefficients: Coefficients, state: ControllerState, terms: Terms, achieved_demand: float
) -> ControllerState:
    """State for the next tick, once it is known what demand the limited command achieves.

    achieved_demand equal to terms.demand leaves the integral as it is.
    """
    c, led, clean = coefficients, terms.lead, terms.notch
    return ControllerState(
        c.lead_b1 * terms.error_mmHg - c.lead_a1 * led,
        c.notch_b1 * led - c.notch_a1 * clean + state.notch_2,
        c.notch_b2 * led - c.notch_a2 * clean,
        terms.integral + c.integral_old * clean + c.tracking_gain * (achieved_demand - terms.demand),
        c.derivative_pole * terms.derivative - c.derivative_gain * clean,
    )


@inlined
def limit_command(coefficients: Coefficients, previous_command: float, command: float) -> tuple[float, bool]:
    """Command within the slew limit of the previous one and, above all, within the output limits; whether one acted."""
    slew = coefficients.slew_per_tick
    slewed = min(max(command, previous_command - slew), previous_command + slew)
    limited = min(max(slewed, coefficients.output_low), coefficients.output_high)
    return limited, limited != command


@inlined
def quantise_command(coefficients: Coefficients, command: float) -> float:
    """Command as the output converter puts it out; its remembered predecessor stays unquantised."""
    return convert(command, coefficients.output_low, coefficients.output_high, coefficients.output_quantum)


@compiled
def control_step(
    coefficients: Coefficients, state: ControllerState, previous_command: float, error_mmHg: float
) -> tuple[ControllerState, float, Terms]:
    """One tick without an actuator stage: new state, limited command (before the quantiser), terms."""
    demand, terms = control_demand(coefficients, state, error_mmHg)
    command, _ = limit_command(coefficients, previous_command, demand)
    return control_settle(coefficients, state, terms, command), command, terms


@told_terms.of(Coefficients)
def law_terms(coefficients: Coefficients, terms: Terms) -> Terms:
    """The terms themselves: they are numbers with units."""
    return terms


@bumpless_start.of(Coefficients)
def law_start(coefficients: Coefficients, error_mmHg: float, demand: float) -> ControllerState:
    """State from which the next tick at this error [mmHg] gives this demand: filters settled, integral preset."""
    c = coefficients
    led = (c.lead_b0 + c.lead_b1) / (1.0 + c.lead_a1) * error_mmHg
    clean = (c.notch_b0 + c.notch_b1 + c.notch_b2) / (1.0 + c.notch_a1 + c.notch_a2) * led
    return ControllerState(
        led - c.lead_b0 * error_mmHg,
        clean - c.notch_b0 * led,
        c.notch_b2 * led - c.notch_a2 * clean,
        demand - c.proportional * clean - c.integral_new * clean,
        -c.derivative_gain * clean,
    )


# --- linear twin -----------------------------------------------------------------------------------------------------


@compiled
def block_gains(coefficients: Coefficients, omega: float) -> tuple[complex, complex, complex, complex]:
    """Gains at `omega` [rad/s] of lead, notch, PID, and of the PID if its derivative had no filter (pole at z = 0)."""
    c = coefficients
    angle = omega * c.period_s
    q = complex(math.cos(angle), -math.sin(angle))
    change = complex(2.0 * math.sin(0.5 * angle) ** 2, math.sin(angle))  # 1 − q, exact where q is almost 1
    leading = (c.lead_b0 + c.lead_b1 * q) / (1.0 + c.lead_a1 * q)
    notching = (c.notch_b0 + q * (c.notch_b1 + c.notch_b2 * q)) / (1.0 + q * (c.notch_a1 + c.notch_a2 * q))
    slow = complex(c.proportional)
    if c.integral_new != 0.0:
        slow += (c.integral_new + c.integral_old * q) / change if change != 0.0 else complex(math.inf)
    filtered = c.derivative_gain * change / (1.0 - c.derivative_pole * q)
    return leading, notching, slow + filtered, slow + c.derivative_gain / (1.0 - c.derivative_pole) * change


@response.of(Coefficients)
def controller_response(coefficients: Coefficients, omega: float) -> complex:
    """Complex gain from error [mmHg] to demand at `omega` [rad/s] away from limits; at 0 infinite with an integral."""
    leading, notching, pid, _ = block_gains(coefficients, omega)
    return leading * notching * pid


def block_responses(coefficients: Coefficients, omega: NDArray[np.float64]) -> dict[str, NDArray[np.complex128]]:
    """Gain of each block along `omega` [rad/s]; their product is the controller's own response.

    'pid' has its derivative as a plain difference over one tick; 'derivative filter' is what the filter makes of it.
    """
    gains = np.array([block_gains(coefficients, w) for w in np.ravel(omega)], complex).reshape(-1, 4)
    filtered = np.ones(len(gains), complex)
    if coefficients.derivative_gain != 0.0:
        filtered = gains[:, 2] / gains[:, 3]
    return {"lead": gains[:, 0], "notch": gains[:, 1], "pid": gains[:, 3], "derivative filter": filtered}


@compiled
def tick_matrix(coefficients: Coefficients) -> Matrix:
    """One tick as a matrix, shape (6, 6): columns for each unit state and a unit error, rows for states and demand.

    Found by running the step itself, which is exact because it is linear away from limits.
    """
    whole = np.empty((6, 6))
    for k in range(6):
        unit = np.zeros(6)
        unit[k] = 1.0
        state = ControllerState(unit[0], unit[1], unit[2], unit[3], unit[4])
        demand, terms = control_demand(coefficients, state, unit[5])
        after = control_settle(coefficients, state, terms, demand)
        whole[0, k], whole[1, k], whole[2, k], whole[3, k], whole[4, k] = after
        whole[5, k] = demand
    return whole


def controller_linear(coefficients: Coefficients) -> tuple[Matrix, Matrix, Matrix, Matrix]:
    """A (5, 5), B (5, 1), C (1, 5), D (1, 1) from error [mmHg] to demand; states as in `ControllerState`.

    Without integral action that state is a constant bias, not a dynamic of the loop: it then has no place in A.
    """
    whole = tick_matrix(coefficients)
    if coefficients.integral_new == 0.0:
        whole[3, 3] = 0.0
    return whole[:5, :5], whole[:5, 5:], whole[5:, :5], whole[5:, 5:]
