"""The tick of the firmware: its three modes, the changes between them, limits and anti-windup."""
import math
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from controller.tick.firmware import CLAMP, FILL, MODES, VENT, Filling, Firmware, FirmwareState, Order, firmware_tick
from controller.tick.inverse import Direct, FlowInverse, achieved_demand, believed_flows, valve_command
from controller.tick.law import Coefficients, Controller, ControllerState, Terms, control_step, design, initial_control
from plant.pneumatics.air import Air
from plant.pneumatics.cuff import Cuff, content_at_rest, cuff_rate
from plant.pneumatics.flow_valve import FlowValve, SpoolState, flow_valve_flows
from plant.pneumatics.pressure_valve import PressureValve

few = settings(max_examples=50, deadline=None)
T = 0.001
SLOPE = 0.002  # light per mmHg
ORDER = Order(CLAMP, 80.0, 0.5, SLOPE)
QUIET = FirmwareState(initial_control(), 0.0, CLAMP)

laws = st.sampled_from([
    design(Controller(kp=kp, ti_s=ti_s, td_s=td_s, lead_zero_Hz=100.0, lead_pole_Hz=lead_pole_Hz, notch_Hz=notch_Hz,
                      output_bits=0, method=method), T)
    for kp in (0.002, 0.05) for ti_s in (0.0, 0.01, 0.3) for td_s in (0.0, 0.002) for lead_pole_Hz in (100.0, 400.0)
    for notch_Hz, method in ((0.0, "tustin"), (70.0, "tustin"), (70.0, "backward_euler"), (70.0, "matched"))
])
stages = st.sampled_from([Direct(), Direct(0.5), FlowInverse(), FlowInverse(bleed_conductance=0.004, dead_band=0.05)])
errors = st.floats(-60, 60)  # mmHg
readings = st.floats(20, 200)
commands = st.floats(-1, 1)
states = st.builds(ControllerState, *[st.floats(-2, 2)] * 5)


def firmware_of(law: Controller | Coefficients, stage: Direct | FlowInverse, **filling: float) -> Firmware:
    """Hand-over at once unless asked for, so that each tick's error is the one given."""
    coefficients = design(law, T) if isinstance(law, Controller) else law
    return Firmware(coefficients, stage, Filling(**{"handover_mmHg_s": 0.0, **filling}))


def same(one: object, other: object) -> bool:
    """Equal to the last bit; a set point that has arrived is NaN on both sides."""
    return repr(one) == repr(other)


def light_at(error_mmHg: float) -> float:
    return ORDER.set_point - error_mmHg * SLOPE


def clamp_tick(
    firmware: Firmware, state: FirmwareState, error_mmHg: float, reading_mmHg: float = 90.0
) -> tuple[FirmwareState, float, Terms, bool]:
    result: Any = firmware_tick(firmware, state, ORDER, light_at(error_mmHg), reading_mmHg)
    return result


def test_modes_are_named_in_order() -> None:
    assert (MODES[FILL], MODES[CLAMP], MODES[VENT]) == ("fill", "clamp", "vent")


# --- fill -------------------------------------------------------------------------------------------------------


@few
@given(laws, stages, states, st.floats(0, 1), st.floats(0.1, 0.9), readings, commands, st.floats(20, 200))
def test_fill_does_not_look_at_the_light(
    law: Coefficients, stage: Direct | FlowInverse, control: ControllerState, light: float, set_point: float,
    reading: float, command: float, target: float,
) -> None:
    """Neither light, set point nor what the clamp remembers moves the valve, and the clamp's memory stays as it is."""
    firmware = firmware_of(law, stage, feedforward_per_mmHg=0.001)
    blind = firmware_tick(firmware, FirmwareState(initial_control(), command, FILL), Order(FILL, target, 0.5, 0.002),
                          0.5, reading)
    found = firmware_tick(firmware, FirmwareState(control, command, FILL), Order(FILL, target, set_point, 0.01),
                          light, reading)
    assert found[1] == blind[1]
    assert same(found[0], FirmwareState(control, blind[0].command, FILL, set_point, True))
    demand = 0.02 * (target - reading) + 0.001 * target
    assert found[1] == pytest.approx(min(max(valve_command(stage, demand, reading), -1.0), 1.0), abs=1e-12)


@pytest.mark.parametrize("bleed", [0.0, 0.002])
def test_fill_reaches_its_pressure_through_a_flow_valve(bleed: float) -> None:
    """Valve and cuff are the plant's own functions, the spool at once where it is told: within 0.5 mmHg in a second.

    The light is that of an artery far too full: a clamp would have gone on pumping."""
    valve, cuff, air = FlowValve(bleed_conductance=bleed), Cuff(), Air()
    firmware = firmware_of(Controller(kp=0.03, ti_s=0.02), FlowInverse(bleed_conductance=bleed))
    state, pressure = FirmwareState(initial_control(), 0.0, FILL), 0.0
    for _ in range(1000):
        state, command, _, _ = firmware_tick(firmware, state, Order(FILL, 80.0, 0.5, SLOPE), 0.1, pressure)
        _, flow = flow_valve_flows(valve, air, SpoolState(command, 0.0), pressure, 600.0)
        pressure += T * cuff_rate(cuff, air, pressure, content_at_rest(cuff, air, pressure, 0.0), flow, 0.0)
    assert pressure == pytest.approx(80.0, abs=0.5)
    assert state.control == initial_control()


def test_fill_reaches_its_pressure_through_a_pressure_valve() -> None:
    """The feedforward of one over the range asks for the target outright; what is missing is added to it."""
    valve = PressureValve()
    firmware = firmware_of(Controller(kp=0.005, output_low=0.0), Direct(), gain_per_mmHg=0.001,
                           feedforward_per_mmHg=1.0 / valve.range_mmHg)
    state, pressure = FirmwareState(initial_control(), 0.0, FILL), 0.0
    for _ in range(500):
        state, command, _, _ = firmware_tick(firmware, state, Order(FILL, 80.0, 0.5, SLOPE), 0.1, pressure)
        pressure += 0.05 * (command * valve.range_mmHg - pressure)
    assert pressure == pytest.approx(80.0, abs=0.1)


# --- change into clamp ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("handover_mmHg_s", [0.0, 40.0])
@few
@given(laws, stages, states, commands, errors, readings, st.sampled_from([FILL, VENT]))
def test_change_into_clamp_is_bumpless(
    handover_mmHg_s: float, law: Coefficients, stage: Direct | FlowInverse, control: ControllerState, command: float,
    error: float, reading: float, before: int,
) -> None:
    """The first command of the clamp is the last one before it, whatever the error and whatever was remembered."""
    if isinstance(stage, FlowInverse):
        assume(abs(command) > stage.dead_band + 1e-9)
    firmware = firmware_of(law, stage, handover_mmHg_s=handover_mmHg_s)
    state, put_out, terms, _ = clamp_tick(firmware, FirmwareState(control, command, before), error, reading)
    assert state.command == pytest.approx(command, abs=1e-12)
    assert put_out == pytest.approx(command, abs=1e-12)
    first = min(abs(error), handover_mmHg_s * T) if handover_mmHg_s else abs(error)
    assert terms.error_mmHg == pytest.approx(math.copysign(first, error), abs=1e-9)
    assert state.mode == CLAMP


@few
@given(laws, st.floats(-1, 1), errors, readings)
def test_from_inside_the_dead_band_the_flow_is_bumpless(
    law: Coefficients, share: float, error: float, reading: float
) -> None:
    """There the command may move to an edge of the dead band, but no air moves."""
    stage = FlowInverse(dead_band=0.05)
    command = 0.999 * share * stage.dead_band
    state, _, _, _ = clamp_tick(firmware_of(law, stage), FirmwareState(initial_control(), command, FILL), error,
                                reading)
    assert abs(state.command) == pytest.approx(stage.dead_band, abs=1e-9)
    flow = achieved_demand(stage, state.command, reading) * stage.full_flow_mL_s
    assert flow == pytest.approx(0.0, abs=1e-9)


@few
@given(laws, errors, st.floats(-0.5, 0.5))
def test_filters_start_settled(law: Coefficients, error: float, command: float) -> None:
    """At a constant error only the integral moves the command: no kick from derivative, lead or notch on any tick."""
    firmware = firmware_of(law, Direct())
    c = firmware.coefficients
    state, first, _, _ = clamp_tick(firmware, FirmwareState(initial_control(), command, FILL), error)
    rise = (c.integral_new + c.integral_old) * error
    for tick in range(1, 6):
        assume(abs(command + tick * rise) < 1.0)
        state, put_out, _, _ = clamp_tick(firmware, state, error)
        assert put_out - first == pytest.approx(tick * rise, abs=1e-10)


@few
@given(laws, stages, states, states, commands, errors)
def test_change_into_clamp_forgets_the_last_one(
    law: Coefficients, stage: Direct | FlowInverse, one: ControllerState, other: ControllerState, command: float,
    error: float,
) -> None:
    firmware = firmware_of(law, stage)
    first, second = (clamp_tick(firmware, FirmwareState(c, command, FILL), error) for c in (one, other))
    assert same(first, second)


@few
@given(laws, states, errors)
def test_staying_in_clamp_is_no_change(law: Coefficients, control: ControllerState, error: float) -> None:
    """Tick by tick it is the one control law that margins are computed for: the same bits as `control_step`."""
    firmware = firmware_of(law, Direct())
    state, put_out, terms, _ = clamp_tick(firmware, FirmwareState(control, 0.1, CLAMP), error)
    law_state, law_command, law_terms = control_step(
        firmware.coefficients, control, 0.1, (ORDER.set_point - light_at(error)) / SLOPE)
    assert (put_out, terms) == (law_command, law_terms)
    assert np.allclose(state.control, law_state, rtol=1e-12, atol=1e-15)


# --- hand-over of the set point ---------------------------------------------------------------------------------


@few
@given(laws, stages, errors, st.floats(5, 2000), readings)
def test_set_point_travels_at_its_rate_and_arrives(
    law: Coefficients, stage: Direct | FlowInverse, error: float, rate: float, reading: float
) -> None:
    """From the light at the change, in a straight line of so many mmHg a second, until it is there; then no more."""
    firmware = firmware_of(law, stage, handover_mmHg_s=rate)
    state, ticks = FirmwareState(initial_control(), 0.1, FILL), abs(error) / (rate * T)
    for tick in range(1, 41):
        state, _, terms, _ = clamp_tick(firmware, state, error, reading)
        assert abs(terms.error_mmHg) == pytest.approx(min(tick * rate * T, abs(error)), rel=1e-6, abs=1e-9)
        assert terms.error_mmHg * error >= 0.0
        if abs(tick - ticks) > 1e-6:  # on the very tick, rounding decides whether this one or the next arrives
            assert state.arrived == (tick > ticks)


def test_after_arrival_the_set_point_moves_as_its_owner_likes() -> None:
    firmware = firmware_of(Controller(kp=0.01, output_bits=0), Direct(), handover_mmHg_s=1000.0)
    state, seen = FirmwareState(initial_control(), 0.0, FILL), []
    for order_error in (2.5, 2.5, 2.5, 2.5, 40.0, -40.0):
        state, _, terms, _ = clamp_tick(firmware, state, order_error)
        seen.append(terms.error_mmHg)
    assert seen == pytest.approx([1.0, 2.0, 2.5, 2.5, 40.0, -40.0])


def test_leaving_the_clamp_ends_the_journey() -> None:
    """The next change starts from the light of its own moment, not from where the last one was given up."""
    firmware = firmware_of(Controller(kp=0.01, output_bits=0), Direct(), handover_mmHg_s=1000.0)
    state, _, _, _ = clamp_tick(firmware, FirmwareState(initial_control(), 0.0, FILL), 30.0)
    assert state.set_point == pytest.approx(light_at(30.0) + 1.0 * SLOPE)
    state, _, _, _ = firmware_tick(firmware, state, ORDER._replace(mode=FILL), light_at(30.0), 90.0)
    assert state.arrived
    _, _, terms, _ = clamp_tick(firmware, state, -20.0)
    assert terms.error_mmHg == pytest.approx(-1.0)


# --- vent -------------------------------------------------------------------------------------------------------


@few
@given(laws, stages, states, commands, st.floats(0, 1), readings, st.sampled_from([FILL, CLAMP, VENT]),
       st.sampled_from([-1.0, 0.0]), st.sampled_from([0, 8, 16]))
def test_vent_gives_the_lowest_command(
    law: Coefficients, stage: Direct | FlowInverse, control: ControllerState, command: float, light: float,
    reading: float, before: int, low: float, bits: int,
) -> None:
    """At once, whatever light, pressure and memory say: the stage and its beliefs are not asked."""
    quantum = (1.0 - low) * 2.0**-bits if bits else 0.0
    firmware = firmware_of(law._replace(output_low=low, output_quantum=quantum), stage)
    state, put_out, _, limited = firmware_tick(
        firmware, FirmwareState(control, max(command, low), before), ORDER._replace(mode=VENT), light, reading)
    assert put_out == state.command == low
    assert not limited  # what was wanted is what was done
    assert same(state, FirmwareState(control, low, VENT, ORDER.set_point, True))


def test_vent_keeps_the_slew_limit() -> None:
    firmware = firmware_of(Controller(slew_per_s=100.0, output_bits=0), Direct())
    state, seen = FirmwareState(initial_control(), 0.25, CLAMP), []
    for _ in range(14):
        state, put_out, _, limited = firmware_tick(firmware, state, ORDER._replace(mode=VENT), 0.5, 90.0)
        seen.append((put_out, limited))
    assert [put_out for put_out, _ in seen[:2]] == pytest.approx([0.15, 0.05])
    assert [limited for _, limited in seen] == [True] * 12 + [False] * 2
    assert seen[-1][0] == -1.0


# --- limits and anti-windup -------------------------------------------------------------------------------------


@few
@given(laws, stages, states, commands, errors, readings, st.floats(10, 500), st.sampled_from([0, 6, 12]))
def test_limits_hold_in_every_mode(
    law: Coefficients, stage: Direct | FlowInverse, control: ControllerState, command: float, error: float,
    reading: float, slew_per_s: float, bits: int,
) -> None:
    law = law._replace(output_low=-0.5, output_high=0.8, slew_per_tick=slew_per_s * T,
                       output_quantum=1.3 * 2.0**-bits if bits else 0.0)
    firmware, command = firmware_of(law, stage), min(max(command, -0.5), 0.8)
    for mode in (FILL, CLAMP, VENT):
        state, put_out, _, limited = firmware_tick(
            firmware, FirmwareState(control, command, CLAMP), ORDER._replace(mode=mode), light_at(error), reading)
        assert -0.5 <= state.command <= 0.8
        assert abs(state.command - command) <= slew_per_s * T * (1.0 + 1e-9)
        assert abs(put_out - state.command) <= firmware.coefficients.output_quantum
        assert -0.5 <= put_out <= 0.8
        assert bits or put_out == state.command
        assert limited or abs(state.command) < 0.8 + 1e-12


def without_anti_windup(firmware: Firmware) -> Firmware:
    return firmware._replace(coefficients=firmware.coefficients._replace(tracking_gain=0.0))


@few
@given(laws, stages, states, commands, errors, readings)
def test_anti_windup_acts_only_when_limited(
    law: Coefficients, stage: Direct | FlowInverse, control: ControllerState, command: float, error: float,
    reading: float,
) -> None:
    """Not limited: not one bit of difference. Limited: the integral is pushed back towards what was achieved."""
    firmware = firmware_of(law._replace(tracking_gain=0.05), stage)
    start = FirmwareState(control, command, CLAMP)
    state, _, terms, limited = clamp_tick(firmware, start, error, reading)
    plain, _, _, _ = clamp_tick(without_anti_windup(firmware), start, error, reading)
    if not limited:
        assert same(state, plain)
        return
    wanted = valve_command(stage, terms.demand, reading)
    assert abs(wanted) > 1.0
    push = state.control.integral - plain.control.integral
    assert push * wanted < 0.0
    missing = achieved_demand(stage, state.command, reading) - terms.demand
    assert push == pytest.approx(firmware.coefficients.tracking_gain * missing, rel=1e-6, abs=1e-12)
    assert state.control._replace(integral=0.0) == plain.control._replace(integral=0.0)


@pytest.mark.parametrize("stage", [Direct(), FlowInverse()])
def test_recovery_from_a_second_at_the_limit(stage: Direct | FlowInverse) -> None:
    """Pushed at the limit for a second, then an equal error the other way. With Tt = Ti the integral has settled at
    what the limit achieves, D, and the command turns once the integral has come down to Kp e: after
    (D − Kp e)/(Ki e T) ticks. A plain integral comes down from all it was wound up to (Åström & Hägglund, from
    memory)."""

    def ticks_to_turn(firmware: Firmware) -> int:
        state = QUIET
        for _ in range(1000):
            state, _, _, _ = clamp_tick(firmware, state, 40.0)
        for tick in range(1, 3000):
            state, put_out, _, _ = clamp_tick(firmware, state, -40.0)
            if put_out < 0.0:
                return tick
        return 3000

    kp, ti = 0.02, 0.05
    firmware = firmware_of(Controller(kp=kp, ti_s=ti, output_bits=0), stage)
    push, creep, most = kp * 40.0, kp / ti * 40.0 * T, achieved_demand(stage, 1.0, 90.0)
    assert ticks_to_turn(firmware) == pytest.approx((most - push) / creep, abs=1.5)
    assert ticks_to_turn(without_anti_windup(firmware)) == pytest.approx((1000 * creep - push) / creep, abs=1.5)


# --- missed ticks -----------------------------------------------------------------------------------------------


@few
@given(laws, stages, states, commands, errors, readings)
def test_a_tick_leaves_no_trace_outside_its_state(
    law: Coefficients, stage: Direct | FlowInverse, control: ControllerState, command: float, error: float,
    reading: float,
) -> None:
    """The same state and inputs give the same bits, however often: a missed tick is one whose state was not taken."""
    firmware, start = firmware_of(law, stage), FirmwareState(control, command, CLAMP)
    once = clamp_tick(firmware, start, error, reading)
    clamp_tick(firmware, once[0], -error, reading)  # a tick in between that comes to nothing
    assert same(clamp_tick(firmware, start, error, reading), once)
    assert same(start, FirmwareState(control, command, CLAMP))


def test_missed_ticks_cost_their_share_of_the_integral() -> None:
    """Time is counted in ticks that run: every third one missed, two thirds of the integral are left."""
    firmware = firmware_of(Controller(kp=0.001, ti_s=0.5, output_bits=0), Direct())
    through, missing = FirmwareState(initial_control(), 0.0, FILL), FirmwareState(initial_control(), 0.0, FILL)
    for tick in range(30):
        through, _, _, _ = clamp_tick(firmware, through, 5.0)
        if tick % 3 != 1:
            missing, _, _, _ = clamp_tick(firmware, missing, 5.0)
    assert through.command == pytest.approx(29 * 0.001 / 0.5 * 5.0 * T, rel=1e-9)  # the first tick is the bumpless one
    assert missing.command == pytest.approx(19 * 0.001 / 0.5 * 5.0 * T, rel=1e-9)


def test_a_missed_change_into_clamp_is_made_on_the_next_tick() -> None:
    """The state still says fill, so the change is as bumpless a tick later."""
    firmware = firmware_of(Controller(kp=0.02, ti_s=0.02, output_bits=0), Direct())
    filling = FirmwareState(initial_control(), 0.3, FILL)
    clamp_tick(firmware, filling, 30.0)
    assert clamp_tick(firmware, filling, -25.0)[1] == pytest.approx(0.3, abs=1e-12)


# --- sign -------------------------------------------------------------------------------------------------------


@few
@given(laws, stages, states, st.floats(0.5, 30), readings)
def test_too_little_light_raises_pressure(
    law: Coefficients, stage: Direct | FlowInverse, control: ControllerState, size: float, reading: float
) -> None:
    """Less light is more blood: the artery is too large, and more cuff pressure makes it smaller. And the other way."""
    firmware = firmware_of(law, stage)
    start = FirmwareState(control, 0.0, CLAMP)
    dark, right, bright = (clamp_tick(firmware, start, e, reading) for e in (size, 0.0, -size))
    assert dark[2].demand > right[2].demand > bright[2].demand
    assert dark[1] >= right[1] >= bright[1]


def test_too_little_light_fills_the_cuff() -> None:
    """From rest with the inverse: the command stands beyond the dead band on its filling side, and mirrored."""
    firmware = firmware_of(Controller(kp=0.01, output_bits=0), FlowInverse())
    fill, vent, _ = believed_flows(FlowInverse(), 90.0)
    _, up, _, _ = clamp_tick(firmware, QUIET, 5.0)
    _, down, _, _ = clamp_tick(firmware, QUIET, -5.0)
    assert up == pytest.approx(0.02 + 0.05 * 20.0 / fill, rel=1e-9)
    assert down == pytest.approx(-0.02 - 0.05 * 20.0 / vent, rel=1e-9)


@few
@given(laws, errors, st.floats(5e-4, 0.02))
def test_error_is_light_over_slope(law: Coefficients, error: float, slope: float) -> None:
    """In mmHg of cuff pressure, so that gains mean the same on every finger; terms add up to the demand."""
    firmware = firmware_of(law, Direct())
    _, _, terms, _ = firmware_tick(firmware, QUIET, ORDER._replace(light_slope=slope), 0.5 - error * slope, 90.0)
    assert terms.error_mmHg == pytest.approx(error, abs=1e-9)
    assert terms.demand == terms.proportional + terms.integral + terms.derivative
