"""The pressure valve: its servo, its limits, its supply, its twin."""
import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from plant.parts import valve_at_rest, valve_flows, valve_nature
from plant.pneumatics.air import Air
from plant.pneumatics.pressure_valve import (
    PressureValve,
    StageState,
    linear_twin,
    pressure_valve_flows,
    pressure_valve_play,
    pressure_valve_rates,
)
from plant.pneumatics.supply import Supply

few = settings(max_examples=60, deadline=None)
valves = st.from_type(PressureValve)
pressures = st.floats(0, 400)


def flows(valve: PressureValve, stage: float, node: float, supply: float) -> tuple[float, float]:
    return pressure_valve_flows(valve, Air(), StageState(stage, 0.0), node, supply)


@few
@given(valves, pressures, pressures, st.floats(0, 2000))
def test_flow_is_limited_both_ways(valve: PressureValve, stage: float, node: float, supply: float) -> None:
    """Never more than the limit, downhill from the lower of stage and supply; air is vented, not returned."""
    drawn, inflow = flows(valve, stage, node, supply)
    assert abs(inflow) <= valve.flow_limit_mL_s
    assert inflow * (min(stage, supply) - node) >= 0.0
    assert drawn == max(inflow, 0.0)
    if abs(min(stage, supply) - node) > valve.flow_limit_mL_s * valve.outlet_resistance_mmHg_s_mL:
        assert abs(inflow) == valve.flow_limit_mL_s


@few
@given(valves, pressures, st.floats(-50, 50))
def test_flow_is_odd_and_ohmic_within_its_limit(valve: PressureValve, node: float, drop: float) -> None:
    """Reversed pressure, reversed flow; twice the resistance, half the flow."""
    inflow = flows(valve, node + drop, node, 5000.0)[1]
    assert flows(valve, node - drop, node, 5000.0)[1] == pytest.approx(-inflow, rel=1e-9, abs=1e-9)
    stiffer = valve._replace(outlet_resistance_mmHg_s_mL=2.0 * valve.outlet_resistance_mmHg_s_mL)
    if abs(drop) < valve.flow_limit_mL_s * valve.outlet_resistance_mmHg_s_mL:
        assert flows(stiffer, node + drop, node, 5000.0)[1] == pytest.approx(0.5 * inflow, rel=1e-9, abs=1e-12)


@few
@given(valves, pressures, st.floats(0, 1), st.floats(-1e5, 1e5))
def test_stage_follows_its_command(valve: PressureValve, stage: float, command: float, rate: float) -> None:
    """At rest at the commanded share of the range; too fast a rate is braked towards the slew limit."""
    there = StageState(command * valve.range_mmHg, 0.0)
    assert pressure_valve_rates(valve, there, command) == StageState(0.0, 0.0)
    braking = pressure_valve_rates(valve, StageState(stage, rate), command).rate_mmHg_s
    if rate > valve.slew_mmHg_s:
        assert braking < 0.0
    if rate < -valve.slew_mmHg_s:
        assert braking > 0.0


@few
@given(valves, st.floats(0, 1), st.floats(0, 1))
def test_play(valve: PressureValve, held: float, command: float) -> None:
    """The follower stays within half the width of play and moves only when pushed."""
    moved = pressure_valve_play(valve, held, command)
    assert abs(moved - command) <= 0.5 * valve.hysteresis + 1e-15
    assert moved == held or abs(command - held) > 0.5 * valve.hysteresis - 1e-15
    assert pressure_valve_play(valve._replace(hysteresis=0.0), held, command) == command


@few
@given(valves, st.floats(0.05, 0.95))
def test_twin_is_the_slope_of_the_compiled_functions(valve: PressureValve, command: float) -> None:
    """A, B, C, D by central differences at no net flow; the supply's row is one-sided and left out of the twin."""
    stage = command * valve.range_mmHg
    small = 0.5 * valve.damping_ratio * valve.slew_mmHg_s / (2.0 * math.pi * valve.natural_frequency_Hz)
    limit = 0.5 * valve.flow_limit_mL_s * valve.outlet_resistance_mmHg_s_mL
    step = min(1.0, small, limit)
    assume(step > 1e-4)

    def model(x: np.ndarray) -> np.ndarray:
        state = StageState(float(x[0]), float(x[1]))
        rates = pressure_valve_rates(valve, state, float(x[2]))
        return np.array([*rates, pressure_valve_flows(valve, Air(), state, float(x[3]), float(x[4]))[1]])

    x = np.array([stage, 0.0, command, stage, 2000.0])
    steps = np.diag([step, 1.0, step / valve.range_mmHg, step, step])
    numeric = np.column_stack([(model(x + h) - model(x - h)) / (2.0 * h.sum()) for h in steps])
    twin = linear_twin(valve)
    ours = np.block([[twin.a, twin.b], [twin.c, twin.d]])
    for row, reference in zip(ours[:3], numeric, strict=True):
        np.testing.assert_allclose(row, reference, rtol=1e-6, atol=1e-9 * np.max(np.abs(row)))
    np.testing.assert_array_equal(ours[3], np.zeros(5))
    assert twin.inputs == ("command", "node_pressure", "supply_pressure")


def test_a_leak_is_fed_through_the_outlet():
    """95 mmHg at the node and 4 mL/s through 2.5 mmHg·s/mL: the stage stands at 105 mmHg, 0.35 of 300."""
    valve = PressureValve(range_mmHg=300.0, outlet_resistance_mmHg_s_mL=2.5)
    rest = valve_at_rest(valve, Air(), Supply(), 4.0, 95.0)
    assert rest.state == StageState(105.0, 0.0) and rest.command == pytest.approx(0.35)
    flows = valve_flows(valve, Air(), rest.state, 95.0, 600.0)
    assert flows == pytest.approx((4.0, 4.0))


def test_it_rests_at_ambient_pressure():
    assert valve_nature(PressureValve()).idle == StageState(0.0, 0.0)
