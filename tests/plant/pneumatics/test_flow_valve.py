"""The flow valve: spool dynamics and limits, dead band, play, both restrictions, and the twin of either side."""
import math
from typing import Any

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from plant.numerics.integrate import advance, weigh
from plant.pneumatics.air import Air, restriction_flow
from plant.pneumatics.flow_valve import (
    FlowValve,
    Side,
    SpoolState,
    flow_valve_flows,
    flow_valve_play,
    flow_valve_rates,
    linear_twin,
    resting_position,
    side_gain,
)

few = settings(max_examples=60, deadline=None)
valves = st.from_type(FlowValve)
airs = st.from_type(Air)
nodes = st.floats(20, 300)
supplies = st.floats(320, 2000)
sides = st.sampled_from(["fill", "vent"])
SIGN = {"fill": 1.0, "vent": -1.0}


def spool_after(valve: FlowValve, state: SpoolState, command: float, step: float, steps: int) -> list[SpoolState]:
    path = [state]
    for _ in range(steps):
        one = flow_valve_rates(valve, state, command)
        two = flow_valve_rates(valve, advance(state, 0.5 * step, one), command)
        three = flow_valve_rates(valve, advance(state, 0.5 * step, two), command)
        four = flow_valve_rates(valve, advance(state, step, three), command)
        state = advance(state, step, weigh(one, two, three, four))
        path.append(state)
    return path


# --- spool ------------------------------------------------------------------------------------------------------


@settings(max_examples=20, deadline=None)
@given(valves, st.floats(-1, 1), st.floats(-1, 1))
def test_spool_never_exceeds_its_slew_limit(valve: FlowValve, start: float, command: float) -> None:
    """Speed stays within the limit on the way, and the spool ends at its command."""
    omega = 2.0 * math.pi * valve.natural_frequency_Hz
    step = 0.1 / (omega * max(1.0, 2.0 * valve.damping_ratio))
    path = spool_after(valve, SpoolState(start, 0.0), command, step, 60)
    assert max(abs(s.velocity) for s in path) <= valve.slew_per_s * (1.0 + 1e-9)
    assert flow_valve_rates(valve, SpoolState(command, 0.0), command) == SpoolState(0.0, 0.0)


def test_large_step_is_slew_limited_and_a_small_one_is_not() -> None:
    """At 20 per second two full travels take a tenth of a second; a small step is as quick as ever."""
    valve = FlowValve(slew_per_s=20.0)
    path = spool_after(valve, SpoolState(-1.0, 0.0), 1.0, 2e-4, 1000)
    assert max(s.velocity for s in path) == pytest.approx(20.0, rel=1e-3)
    assert path[300].position < 0.3  # 60 ms: 1.2 of travel at most
    assert path[-1].position == pytest.approx(1.0, abs=1e-6)
    small = spool_after(valve, SpoolState(0.0, 0.0), 0.01, 2e-4, 50)
    free = spool_after(valve._replace(slew_per_s=1e6), SpoolState(0.0, 0.0), 0.01, 2e-4, 50)
    assert small[-1].position == free[-1].position


def test_small_step_overshoots_as_a_second_order_system() -> None:
    """Overshoot e^{−πζ/√(1−ζ²)}, 25.38 % at ζ = 0.4: textbook second-order response."""
    valve = FlowValve(damping_ratio=0.4, slew_per_s=1e6)
    path = spool_after(valve, SpoolState(0.0, 0.0), 0.1, 2e-5, 1500)
    assert max(s.position for s in path) / 0.1 == pytest.approx(1.2538, abs=1e-3)


@few
@given(valves, st.lists(st.floats(-1, 1), min_size=1, max_size=8))
def test_play(valve: FlowValve, commands: list[float]) -> None:
    """The follower stays within half the width, moves only when pushed, and has no memory of its own without width."""
    held, half = 0.0, 0.5 * valve.hysteresis
    for command in commands:
        moved = flow_valve_play(valve, held, command)
        assert abs(moved - command) <= half + 1e-15
        if abs(command - held) <= half - 1e-15:
            assert moved == held
        assert flow_valve_play(valve, moved, command) == moved
        held = moved
    assert flow_valve_play(valve._replace(hysteresis=0.0), held, 0.3) == 0.3


def test_play_opens_a_loop_as_wide_as_itself() -> None:
    """Swept up and down, the two ways differ by the width of play: backlash."""
    valve = FlowValve(hysteresis=0.1)
    way = np.concatenate([np.linspace(-1, 1, 201), np.linspace(1, -1, 201)])
    held, follower = -1.0, []
    for command in way:
        held = flow_valve_play(valve, held, float(command))
        follower.append(held)
    up, down = np.array(follower[:201]), np.array(follower[201:])[::-1]
    np.testing.assert_allclose((down - up)[20:181], 0.1, atol=1e-12)


# --- flows ------------------------------------------------------------------------------------------------------


@few
@given(valves, airs, nodes, supplies, st.floats(-1, 1))
def test_dead_band_passes_nothing_but_the_bleed(
    valve: FlowValve, air: Air, node: float, supply: float, share: float
) -> None:
    """Inside the overlap both sides are closed."""
    inside = SpoolState(share * valve.dead_band, 0.0)
    drawn, inflow = flow_valve_flows(valve, air, inside, node, supply)
    assert drawn == 0.0
    assert inflow == -restriction_flow(air, valve.bleed_conductance, valve.critical_ratio, node, 0.0)


@few
@given(valves, airs, nodes, supplies, st.floats(-1.5, 1.5), st.floats(0.001, 0.5))
def test_flow_rises_with_position_and_stops_at_full_travel(
    valve: FlowValve, air: Air, node: float, supply: float, position: float, more: float
) -> None:
    """Monotone from venting to filling, and the ends are the whole sonic conductance, no more."""
    drawn, inflow = flow_valve_flows(valve, air, SpoolState(position, 0.0), node, supply)
    wider_drawn, wider_inflow = flow_valve_flows(valve, air, SpoolState(position + more, 0.0), node, supply)
    assert wider_inflow >= inflow and wider_drawn >= drawn >= 0.0
    bled = restriction_flow(air, valve.bleed_conductance, valve.critical_ratio, node, 0.0)
    whole_in = restriction_flow(air, valve.conductance, valve.critical_ratio, supply, node)
    whole_out = restriction_flow(air, valve.conductance, valve.critical_ratio, node, 0.0)
    for full in (1.0, 1.7):
        wide_open = flow_valve_flows(valve, air, SpoolState(full, 0.0), node, supply)
        assert wide_open == pytest.approx((whole_in, whole_in - bled), rel=1e-9)
        vented = flow_valve_flows(valve, air, SpoolState(-full, 0.0), node, supply)
        assert vented == pytest.approx((0.0, -whole_out - bled), rel=1e-9)


@few
@given(valves, airs, nodes, supplies, st.floats(-1, 1), st.floats(0.1, 10))
def test_flow_scales_with_conductance(
    valve: FlowValve, air: Air, node: float, supply: float, position: float, factor: float
) -> None:
    """Every opening scaled, every flow scaled."""
    flows = flow_valve_flows(valve, air, SpoolState(position, 0.0), node, supply)
    wider = valve._replace(
        conductance=factor * valve.conductance, bleed_conductance=factor * valve.bleed_conductance)
    scaled = flow_valve_flows(wider, air, SpoolState(position, 0.0), node, supply)
    assert scaled == pytest.approx((factor * flows[0], factor * flows[1]), rel=1e-9, abs=1e-9)


def test_air_flows_back_into_an_empty_supply() -> None:
    """An exhausted reservoir is filled from the cuff: the same restriction, the other way."""
    drawn, inflow = flow_valve_flows(FlowValve(), Air(), SpoolState(0.5, 0.0), 120.0, 50.0)
    assert drawn < 0.0 and inflow == drawn


def formula(b: float, upstream: float, downstream: float) -> float:
    ratio = downstream / upstream
    return upstream * (1.0 if ratio <= b else math.sqrt(1.0 - ((ratio - b) / (1.0 - b)) ** 2))


@few
@given(valves, nodes, supplies)
def test_ratio_of_the_sides(valve: FlowValve, node: float, supply: float) -> None:
    """Fill to vent gain is p_s ψ(p/p_s) to p ψ(p_a/p), whatever the conductance and dead band (ISO 6358)."""
    air = Air()
    absolute, source = node + 760.0, supply + 760.0
    assume(absolute / source < air.laminar_ratio and 760.0 / absolute < air.laminar_ratio)
    ours = side_gain(valve, air, "fill", node, supply) / side_gain(valve, air, "vent", node, supply)
    theirs = formula(valve.critical_ratio, source, absolute) / formula(valve.critical_ratio, absolute, 760.0)
    assert ours == pytest.approx(theirs, rel=1e-9)


def test_default_sides_differ_more_than_twofold() -> None:
    """Why one linear gain cannot stand for the valve: about 2.7 to 1 at 90 mmHg."""
    valve, air = FlowValve(), Air()
    ratio = side_gain(valve, air, "fill", 90.0, 600.0) / side_gain(valve, air, "vent", 90.0, 600.0)
    assert 2.5 < ratio < 2.8


@few
@given(valves, airs, nodes, supplies, st.floats(-20, 20))
def test_resting_position_passes_the_flow_asked_for(
    valve: FlowValve, air: Air, node: float, supply: float, outflow: float
) -> None:
    """Where full travel suffices, the flow into the line at that position is the outflow beyond it."""
    position = resting_position(valve, air, outflow, node, supply)
    assert abs(position) >= valve.dead_band
    assume(abs(position) < 1.0)
    _, inflow = flow_valve_flows(valve, air, SpoolState(position, 0.0), node, supply)
    assert inflow == pytest.approx(outflow, rel=1e-6, abs=1e-9)


# --- twin -------------------------------------------------------------------------------------------------------


def model(valve: FlowValve, air: Air, x: np.ndarray) -> np.ndarray:
    """Spool rates and both flows, of position, velocity, command, node and supply pressure."""
    state = SpoolState(float(x[0]), float(x[1]))
    rates = flow_valve_rates(valve, state, float(x[2]))
    drawn, inflow = flow_valve_flows(valve, air, state, float(x[3]), float(x[4]))
    return np.array([*rates, inflow, drawn])


def slopes(valve: FlowValve, air: Air, x: np.ndarray, steps: list[float], outward: Any) -> np.ndarray:
    columns = []
    for i, h in enumerate(steps):
        high, low = x.copy(), x.copy()
        if i == 0 and outward:  # one-sided, away from the dead band
            high[0] += outward * h
            columns.append((model(valve, air, high) - model(valve, air, x)) / (outward * h))
            continue
        high[i] += h
        low[i] -= h
        columns.append((model(valve, air, high) - model(valve, air, low)) / (2.0 * h))
    return np.column_stack(columns)


@few
@given(valves, airs, sides, nodes, supplies, st.sampled_from([0.0, 0.01, 0.3, 0.9]))
def test_twin_is_the_slope_of_the_compiled_functions(
    valve: FlowValve, air: Air, side: Side, node: float, supply: float, opening: float
) -> None:
    """A, B, C, D by central differences; at the dead band's edge one-sided, on the side that the twin describes."""
    sign, step = SIGN[side], 1e-3
    knots = [(node + air.atmosphere_mmHg) / (supply + air.atmosphere_mmHg),
             air.atmosphere_mmHg / (node + air.atmosphere_mmHg)]
    assume(all(abs(ratio - k) > 1e-4 for ratio in knots for k in (valve.critical_ratio, air.laminar_ratio)))
    position = sign * (valve.dead_band + opening * (1.0 - valve.dead_band))
    x = np.array([position, 0.0, position, node, supply])
    small = 1e-3 * valve.slew_per_s * valve.damping_ratio / (2.0 * math.pi * valve.natural_frequency_Hz)
    numeric = slopes(valve, air, x, [min(1e-4, small), 1e-3, min(1e-4, small), step, step], sign * (opening == 0.0))
    twin = linear_twin(valve, air, side, node, supply, position)
    ours = np.block([[twin.a, twin.b], [twin.c, twin.d]])
    for row, reference in zip(ours, numeric, strict=True):
        np.testing.assert_allclose(row, reference, rtol=1e-3, atol=1e-6 * np.max(np.abs(row)) + 1e-9)
    assert twin.inputs == ("command", "node_pressure", "supply_pressure")
    assert twin.outputs == ("valve_flow", "supply_outflow")


@few
@given(valves, airs, sides)
def test_twin_is_a_second_order_lag(valve: FlowValve, air: Air, side: Side) -> None:
    """From command to flow: the side's gain at rest, 1/(2ζ) of it at ω, a quarter turn behind."""
    twin = linear_twin(valve, air, side, 90.0, 600.0, SIGN[side] * valve.dead_band)
    omega = 2.0 * math.pi * valve.natural_frequency_Hz
    rest, corner = twin.response("valve_flow", "command", np.array([0.0, omega]))
    assert rest == pytest.approx(side_gain(valve, air, side, 90.0, 600.0), rel=1e-9)
    assert corner == pytest.approx(rest / (2j * valve.damping_ratio), rel=1e-9)
