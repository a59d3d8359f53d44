"""The actuator stage: what it asks for is what the valve does, and what wrong beliefs do to it.

Between a pressure of 10 mmHg and 0.9 of the believed supply neither gain is held away from zero by force.
"""
import math
from collections.abc import Callable

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from controller.tick.inverse import Direct, FlowInverse, achieved_demand, believed_flows, stage_slopes, valve_command
from plant.pneumatics.air import Air
from plant.pneumatics.flow_valve import FlowValve, SpoolState, flow_valve_flows, side_gain

few = settings(max_examples=50, deadline=None)
Believe = Callable[..., FlowInverse]


def in_range(part: type, **bounds: tuple[float, float]) -> st.SearchStrategy:
    return st.fixed_dictionaries({name: st.floats(*of) for name, of in bounds.items()}).map(lambda v: part(**v))


stages = in_range(
    FlowInverse, full_flow_mL_s=(1, 100), supply_mmHg=(300, 900), conductance=(0.01, 0.3), critical_ratio=(0.1, 0.5),
    dead_band=(0, 0.2), bleed_conductance=(0, 0.02), atmosphere_mmHg=(600, 800),
)
valves = in_range(
    FlowValve, dead_band=(0, 0.2), conductance=(0.01, 0.3), critical_ratio=(0.1, 0.5), bleed_conductance=(0, 0.01))
readings = st.floats(10, 250)
demands = st.floats(-2, 2)
PRESSURE, SUPPLY = 95.0, 600.0


def net_flow(valve: FlowValve, command: float, pressure_mmHg: float, supply_mmHg: float = SUPPLY) -> float:
    """What flows into the line [mL/s] once the spool stands where the command wants it."""
    return float(flow_valve_flows(valve, Air(), SpoolState(command, 0.0), pressure_mmHg, supply_mmHg)[1])


# --- there and back ---------------------------------------------------------------------------------------------


@few
@given(stages, demands, readings)
def test_the_demand_comes_back(stage: FlowInverse, demand: float, reading: float) -> None:
    """No demand is lost: the inverse jumps the dead band."""
    command = valve_command(stage, demand, reading)
    assert abs(command) >= stage.dead_band
    assert achieved_demand(stage, command, reading) == pytest.approx(demand, rel=1e-9, abs=1e-9)


@few
@given(stages, st.floats(-1, 1), readings)
def test_the_command_comes_back_outside_the_dead_band(stage: FlowInverse, command: float, reading: float) -> None:
    assume(abs(command) > stage.dead_band + 1e-9)
    demand = achieved_demand(stage, command, reading)
    assert valve_command(stage, demand, reading) == pytest.approx(command, abs=1e-12)


@few
@given(stages, st.floats(-1, 1), readings)
def test_inside_the_dead_band_only_the_bleed_flows(stage: FlowInverse, share: float, reading: float) -> None:
    bleed = believed_flows(stage, reading)[2]
    achieved = achieved_demand(stage, share * stage.dead_band, reading)
    assert achieved == pytest.approx(-bleed / stage.full_flow_mL_s, abs=1e-12)


@few
@given(stages, demands, demands, readings)
def test_more_demand_is_more_command(stage: FlowInverse, one: float, other: float, reading: float) -> None:
    low, high = sorted((one, other))
    assume(high - low > 1e-6)
    assert valve_command(stage, low, reading) < valve_command(stage, high, reading)


@few
@given(st.floats(0.01, 100), demands, readings)
def test_direct_passes_the_demand_on(gain: float, demand: float, reading: float) -> None:
    stage = Direct(gain)
    command = valve_command(stage, demand, reading)
    assert command == gain * demand
    assert achieved_demand(stage, command, reading) == pytest.approx(demand, rel=1e-12)
    assert stage_slopes(stage, "fill", demand, reading) == stage_slopes(stage, "vent", demand, reading) == (gain, 0.0)


# --- slopes -----------------------------------------------------------------------------------------------------


@few
@given(stages, st.sampled_from(["fill", "vent"]), st.just(0.0) | st.floats(1e-3, 2), readings)
def test_slopes_are_those_of_the_function(stage: FlowInverse, side: str, size: float, reading: float) -> None:
    """By demand and by reading, on each side, right up to the edge where no air flows."""
    assume(reading < 0.9 * stage.supply_mmHg)
    sign = 1.0 if side == "fill" else -1.0
    bleed = believed_flows(stage, reading)[2]
    demand = (sign * size - bleed) / stage.full_flow_mL_s  # the flow through the spool is ±size
    by_demand, by_reading = stage_slopes(stage, side, demand, reading)
    step = sign * 1e-3  # the function is linear in the demand, so one step outwards will do at the edge as well
    near, far = (valve_command(stage, demand + k * step, reading) for k in (1, 2))
    assert by_demand == pytest.approx((far - near) / step, rel=1e-8)
    if size > 0.0:
        small = 1e-3
        above, below = (valve_command(stage, demand, reading + k * small) for k in (1, -1))
        assert by_reading == pytest.approx((above - below) / (2.0 * small), rel=1e-4, abs=1e-9)


@few
@given(stages, st.sampled_from(["fill", "vent"]))
def test_at_rest_without_bleed_the_reading_does_nothing(stage: FlowInverse, side: str) -> None:
    """No flow to put right: the slope by reading is that of the dead band's edge, zero."""
    assert stage_slopes(stage._replace(bleed_conductance=0.0), side, 0.0, PRESSURE)[1] == 0.0


@few
@given(stages, st.sampled_from(["fill", "vent"]), st.floats(0.01, 2), st.booleans())
def test_slopes_beyond_the_range_that_the_inverse_trusts(
    stage: FlowInverse, side: str, size: float, high: bool
) -> None:
    """Next to supply and atmosphere the reading is held, so the slope by reading is zero, as in the function."""
    reading = 0.99 * stage.supply_mmHg if high else 0.5
    demand = size if side == "fill" else -2.0 * size - believed_flows(stage, reading)[2] / stage.full_flow_mL_s
    by_demand, by_reading = stage_slopes(stage, side, demand, reading)
    assert by_reading == 0.0
    assert valve_command(stage, demand, reading + 0.1) == valve_command(stage, demand, reading - 0.1)
    rise = valve_command(stage, demand + 1e-3, reading) - valve_command(stage, demand - 1e-3, reading)
    assert by_demand == pytest.approx(rise / 2e-3, rel=1e-8)


# --- with the valve ---------------------------------------------------------------------------------------------


@few
@given(valves, st.floats(-1, 1), st.floats(20, 250))
def test_right_beliefs_give_the_demanded_net_flow(
    believe: Believe, valve: FlowValve, demand: float, pressure: float
) -> None:
    """On either side, whatever the pressure, the dead band and the bleed."""
    stage = believe(valve, full_flow_mL_s=5.0)
    command = valve_command(stage, demand, pressure)
    assume(abs(command) <= 1.0)
    assert net_flow(valve, command, pressure) == pytest.approx(5.0 * demand, rel=1e-9, abs=1e-9)


def test_without_the_inverse_filling_is_stronger_than_venting(believe: Believe) -> None:
    """Default valve, 95 mmHg in the cuff, 600 mmHg of supply: about 2.6 to 1, and nothing at all in the dead band."""
    valve = FlowValve()
    edge, step = valve.dead_band, 0.01
    filling = (net_flow(valve, edge + 2 * step, PRESSURE) - net_flow(valve, edge + step, PRESSURE)) / step
    venting = (net_flow(valve, -edge - step, PRESSURE) - net_flow(valve, -edge - 2 * step, PRESSURE)) / step
    assert filling / venting == pytest.approx(2.6, abs=0.05)
    assert net_flow(valve, 0.9 * edge, PRESSURE) == net_flow(valve, -0.9 * edge, PRESSURE) == 0.0
    stage = believe(valve)
    up = net_flow(valve, valve_command(stage, step, PRESSURE), PRESSURE) / step
    down = net_flow(valve, valve_command(stage, -step, PRESSURE), PRESSURE) / -step
    assert up / down == pytest.approx(1.0, rel=1e-9)


@few
@given(valves, st.floats(20, 250))
def test_inverse_and_valve_together_have_one_gain(believe: Believe, valve: FlowValve, pressure: float) -> None:
    """Slope of the stage times slope of the valve is the full flow on both sides: what margins see."""
    stage = believe(valve)
    for side in ("fill", "vent"):
        slope = stage_slopes(stage, side, 0.0, pressure)[0] * side_gain(valve, Air(), side, pressure, SUPPLY)
        assert slope == pytest.approx(stage.full_flow_mL_s, rel=1e-9)


@few
@given(valves, st.floats(20, 250))
def test_bleed_is_made_up_for(believe: Believe, valve: FlowValve, pressure: float) -> None:
    """At no demand nothing flows; a firmware that does not know of the bleed loses just that."""
    valve = valve._replace(bleed_conductance=0.002 + 0.1 * valve.bleed_conductance)
    lost = -net_flow(valve, 0.0, pressure)
    assert lost > 0.0
    knowing, unaware = believe(valve), believe(valve, bleed_conductance=0.0)
    assert net_flow(valve, valve_command(knowing, 0.0, pressure), pressure) == pytest.approx(0.0, abs=1e-9)
    assert net_flow(valve, valve_command(unaware, 0.0, pressure), pressure) == pytest.approx(-lost, abs=1e-9)


# --- wrong beliefs ----------------------------------------------------------------------------------------------


def true_gain(stage: FlowInverse, side: str) -> float:
    """Net flow per demanded flow of the default valve under an inverse that may be wrong about it."""
    valve, sign = FlowValve(), 1.0 if side == "fill" else -1.0
    near, far = (net_flow(valve, valve_command(stage, sign * d, PRESSURE), PRESSURE) for d in (0.4, 0.8))
    return (far - near) / (sign * 0.4 * stage.full_flow_mL_s)


@few
@given(st.floats(0.5, 2), st.sampled_from(["fill", "vent"]))
def test_a_wider_valve_than_believed_has_that_much_more_gain(believe: Believe, ratio: float, side: str) -> None:
    """Conductance enters as a factor: the gain is off by just its inverse, on both sides."""
    stage = believe(FlowValve(), conductance=FlowValve().conductance * ratio)
    assert true_gain(stage, side) == pytest.approx(1.0 / ratio, rel=1e-9)


@few
@given(st.floats(350, 580), st.floats(620, 900))
def test_wrong_supply_pressure_shifts_filling_only(believe: Believe, low: float, high: float) -> None:
    """More supply than believed fills too fast, less too slowly; venting does not ask the supply."""
    weak, strong = believe(FlowValve(), supply_mmHg=low), believe(FlowValve(), supply_mmHg=high)
    assert true_gain(strong, "fill") < 1.0 < true_gain(weak, "fill")
    assert true_gain(weak, "vent") == pytest.approx(1.0, rel=1e-9)
    assert true_gain(strong, "vent") == pytest.approx(1.0, rel=1e-9)


@few
@given(st.floats(0.001, 0.019), st.floats(0.021, 0.1))
def test_wrong_dead_band_leaves_a_gap_or_a_jump(believe: Believe, narrow: float, wide: float) -> None:
    """Believed too narrow, a small demand moves no air; too wide, the smallest one moves too much."""
    valve = FlowValve()
    small = 1e-6
    for sign in (1.0, -1.0):
        short = valve_command(believe(valve, dead_band=narrow), sign * small, PRESSURE)
        beyond = valve_command(believe(valve, dead_band=wide), sign * small, PRESSURE)
        assert net_flow(valve, short, PRESSURE) == 0.0
        assert sign * net_flow(valve, beyond, PRESSURE) > 10.0 * small * FlowInverse().full_flow_mL_s


def test_the_sign_of_nothing_decides_the_edge() -> None:
    """No flow asked for: the spool waits at an edge of the dead band, where no air flows."""
    stage = FlowInverse(dead_band=0.03)
    assert valve_command(stage, 0.0, PRESSURE) == 0.03
    assert valve_command(stage, -1e-300, PRESSURE) == pytest.approx(-0.03, abs=1e-12)
    assert math.isclose(achieved_demand(stage, 0.0, PRESSURE), 0.0, abs_tol=1e-15)


@few
@given(stages, st.floats(0.01, 1.0))
def test_readings_are_trusted_up_to_two_percent_below_the_supply(stage: FlowInverse, demand: float) -> None:
    """And down to 1 mmHg: beyond, a reading is taken for that limit, so that no gain comes near zero."""
    supply, bleed = stage.supply_mmHg, believed_flows(stage, 1.0)[2]
    high = [valve_command(stage, demand, share * supply) for share in (0.97, 0.98, 0.985, 1.2)]
    assert high[0] < high[1] == pytest.approx(high[2], rel=1e-12) and high[2] == high[3]
    venting = -demand - 2.0 * bleed / stage.full_flow_mL_s
    low = [valve_command(stage, venting, reading) for reading in (1.1, 1.0, 0.9, -5.0)]
    assert low[0] > low[1] == low[2] == low[3]
