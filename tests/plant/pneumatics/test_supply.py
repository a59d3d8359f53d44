"""The reservoir and its pump: mass balance, running down, its steady state, its twin."""
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from plant.pneumatics.air import Air, expansion
from plant.pneumatics.supply import Supply, linear_twin, supply_equilibrium, supply_rate

few = settings(max_examples=80, deadline=None)
supplies = st.from_type(Supply)
airs = st.from_type(Air)
flows = st.floats(0, 500)


@few
@given(supplies, airs, st.floats(0, 3000), flows, st.floats(0, 500))
def test_mass_balance(supply: Supply, air: Air, pressure: float, outflow: float, more: float) -> None:
    """Drawing more by x costs exactly n p_ref x / V; the pump never sucks air out nor pushes more than it can."""
    rate = supply_rate(supply, air, pressure, outflow)
    per_flow = air.polytropic_exponent * expansion(air) / supply.volume_mL
    drop = rate - supply_rate(supply, air, pressure, outflow + more)
    assert drop == pytest.approx(per_flow * more, rel=1e-9, abs=1e-9 * (1.0 + abs(rate)))
    pump = supply_rate(supply, air, pressure, 0.0) / per_flow
    assert 0.0 <= pump <= supply.pump_flow_mL_s * (1.0 + 1e-12)
    if pressure >= min(supply.pressure_mmHg, supply.stall_mmHg):
        assert pump == 0.0


@few
@given(supplies, airs, flows)
def test_equilibrium_is_at_rest(supply: Supply, air: Air, outflow: float) -> None:
    """At the steady pressure the pump gives what is drawn."""
    assume(outflow <= supply.pump_flow_mL_s and supply.regulator_mL_s_mmHg > 1e-3 and supply.pump_flow_mL_s > 1e-3)
    steady = supply_equilibrium(supply, outflow)
    per_flow = air.polytropic_exponent * expansion(air) / supply.volume_mL
    # the pump's flow at a pressure rounded to the last bit
    assert supply_rate(supply, air, steady, outflow) / per_flow == pytest.approx(0.0, abs=1e-9)


@few
@given(supplies, flows, st.floats(0.1, 100))
def test_more_draw_means_less_pressure(supply: Supply, outflow: float, more: float) -> None:
    """Never above the set or stall pressure, and falling with the draw."""
    steady = supply_equilibrium(supply, outflow)
    assert steady <= min(supply.pressure_mmHg, supply.stall_mmHg)
    assert supply_equilibrium(supply, outflow + more) < steady


@few
@given(supplies, airs, st.floats(0, 3000), st.floats(1.01, 5))
def test_finite_supply_runs_down(supply: Supply, air: Air, pressure: float, factor: float) -> None:
    """Drawn faster than the pump's free flow, it falls at any pressure; with a dead pump any draw empties it."""
    greedy = factor * supply.pump_flow_mL_s + 0.1
    assert supply_rate(supply, air, pressure, greedy) < 0.0
    assert supply_rate(supply._replace(pump_flow_mL_s=0.0), air, pressure, 0.1) < 0.0
    larger = supply._replace(volume_mL=2.0 * supply.volume_mL)
    slower = supply_rate(larger, air, pressure, greedy)
    assert slower == pytest.approx(0.5 * supply_rate(supply, air, pressure, greedy), rel=1e-9)


@few
@given(supplies, airs, st.floats(0, 3000), flows)
def test_twin_is_the_slope_of_the_compiled_function(
    supply: Supply, air: Air, pressure: float, outflow: float
) -> None:
    """A and B by central differences, in all three regimes of the pump, away from the corners between them."""
    step = 1e-3

    def regime(p: float) -> int:
        wanted = supply.regulator_mL_s_mmHg * (supply.pressure_mmHg - p)
        available = supply.pump_flow_mL_s * (1.0 - p / supply.stall_mmHg)
        return 0 if min(wanted, available) < 0.0 else 1 if wanted < available else 2

    assume(regime(pressure - 2.0 * step) == regime(pressure + 2.0 * step))
    twin = linear_twin(supply, air, pressure)
    low, high = (supply_rate(supply, air, pressure + d, outflow) for d in (-step, step))
    by_pressure = high - low
    by_flow = supply_rate(supply, air, pressure, outflow + 1.0) - supply_rate(supply, air, pressure, outflow - 1.0)
    scale = abs(twin.b[0, 0]) * (1.0 + outflow + supply.regulator_mL_s_mmHg * 3000.0)
    assert by_pressure / (2.0 * step) == pytest.approx(twin.a[0, 0], rel=1e-5, abs=1e-12 * scale / step)
    assert by_flow / 2.0 == pytest.approx(twin.b[0, 0], rel=1e-9, abs=1e-13 * scale)


@pytest.mark.parametrize(("pressure", "slope"), [(700.0, 0.0), (590.0, -1.0), (100.0, -60.0 / 1200.0)])
def test_three_regimes_of_the_default_pump(pressure: float, slope: float) -> None:
    """Above the set pressure it idles, just below the regulator throttles it, far below it gives all it can."""
    twin = linear_twin(Supply(), Air(), pressure)
    assert -twin.a[0, 0] / twin.b[0, 0] == pytest.approx(slope, rel=1e-12, abs=1e-15)
