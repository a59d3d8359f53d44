"""Flow through a restriction and pressure in a chamber: the laws that any air obeys."""
import math

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from plant.pneumatics.air import Air, chamber_rate, expansion, restriction_flow, restriction_slopes

few = settings(max_examples=80, deadline=None)
airs = st.from_type(Air)
gauges = st.floats(-200, 1500)
conductances = st.floats(1e-4, 10)
ratios = st.floats(0.05, 0.6)


@few
@given(airs, conductances, ratios, gauges, gauges)
def test_flow_reverses_with_the_pressures(air: Air, c: float, b: float, first: float, second: float) -> None:
    """q(p1, p2) = −q(p2, p1), downhill, and nothing flows between equal pressures."""
    forward = restriction_flow(air, c, b, first, second)
    assert forward == -restriction_flow(air, c, b, second, first)
    assert forward * (first - second) >= 0.0
    assert restriction_flow(air, c, b, first, first) == 0.0


@few
@given(airs, conductances, ratios, gauges, gauges, st.floats(0.1, 10))
def test_flow_is_proportional_to_conductance(
    air: Air, c: float, b: float, first: float, second: float, factor: float
) -> None:
    """C scales the flow, and warmer air flows less by √(T0/T) (ISO 6358)."""
    flow = restriction_flow(air, c, b, first, second)
    assert restriction_flow(air, factor * c, b, first, second) == pytest.approx(factor * flow, rel=1e-12)
    warm = restriction_flow(air._replace(temperature_K=330.0), c, b, first, second)
    assert warm == pytest.approx(flow * math.sqrt(air.temperature_K / 330.0), rel=1e-12)


@few
@given(airs, conductances, ratios, gauges, gauges, st.floats(0.01, 200))
def test_flow_is_monotone(air: Air, c: float, b: float, first: float, second: float, more: float) -> None:
    """More pressure upstream never passes less, more downstream never more; a higher b never passes less."""
    flow, slack = restriction_flow(air, c, b, first, second), 1e-9 * c
    assert restriction_flow(air, c, b, first + more, second) >= flow - slack
    assert restriction_flow(air, c, b, first, second + more) <= flow + slack
    assert abs(restriction_flow(air, c, min(b + 0.1, 0.65), first, second)) >= abs(flow) - slack


@few
@given(airs, conductances, ratios, st.floats(0, 1500), st.floats(0, 1))
def test_choked_flow_ignores_what_is_downstream(air: Air, c: float, b: float, high: float, share: float) -> None:
    """Below the critical ratio q = C p1 √(T0/T1), with C in dm³/(s·bar): 1 bar passes C litres a second."""
    absolute = high + air.atmosphere_mmHg
    downstream = share * b * absolute - air.atmosphere_mmHg
    litres = c * absolute * 133.322 / 1e5 * math.sqrt(293.15 / air.temperature_K)
    assert restriction_flow(air, c, b, high, downstream) == pytest.approx(1000.0 * litres, rel=1e-12)


@few
@given(airs, ratios, st.floats(0, 1500))
def test_flow_has_no_jumps(air: Air, b: float, high: float) -> None:
    """It is continuous where the formula changes: at the critical ratio and where the laminar piece begins."""
    absolute = high + air.atmosphere_mmHg
    for ratio in (b, air.laminar_ratio):
        edge = ratio * absolute - air.atmosphere_mmHg
        below, above = (restriction_flow(air, 1.0, b, high, edge + d) for d in (-1e-7, 1e-7))
        assert below == pytest.approx(above, rel=1e-4)


def away(ratio: float, knots: tuple[float, ...], by: float) -> bool:
    return all(abs(ratio - knot) > by for knot in knots)


@few
@given(airs, conductances, ratios, gauges, gauges)
def test_slopes_are_the_derivative_of_the_flow(
    air: Air, c: float, b: float, first: float, second: float
) -> None:
    """Closed-form slopes against central differences, away from the two kinks and from equal pressures' rounding."""
    high, low = max(first, second) + air.atmosphere_mmHg, min(first, second) + air.atmosphere_mmHg
    step = 1e-4
    assume(away(low / high, (b, air.laminar_ratio), 2.0 * step / high))
    assume(first == second or abs(first - second) > 2.0 * step)
    flow, by_up, by_down = restriction_slopes(air, c, b, first, second)
    assert flow == restriction_flow(air, c, b, first, second)
    up = restriction_flow(air, c, b, first + step, second) - restriction_flow(air, c, b, first - step, second)
    down = restriction_flow(air, c, b, first, second + step) - restriction_flow(air, c, b, first, second - step)
    # next to the laminar piece the curvature of √(1 − r²) is steep, hence the loose relative figure
    assert up / (2.0 * step) == pytest.approx(by_up, rel=1e-3, abs=1e-4 * c)
    assert down / (2.0 * step) == pytest.approx(by_down, rel=1e-3, abs=1e-4 * c)


def test_flow_into_a_vacuum_is_finite() -> None:
    """Below absolute zero there is no air: the downstream pressure counts as none."""
    assert restriction_flow(Air(), 1.0, 0.3, 0.0, -5000.0) == restriction_flow(Air(), 1.0, 0.3, 0.0, -760.0)


@few
@given(airs, st.floats(0.05, 500), st.floats(-100, 1000), st.floats(-1000, 1000), st.floats(0.1, 10))
def test_rigid_chamber(air: Air, volume: float, pressure: float, inflow: float, factor: float) -> None:
    """V dp/dt = n p_ref (T/T0) q: linear in the flow, inverse in the volume, the same at every pressure."""
    rate = chamber_rate(air, volume, 0.0, pressure, inflow)
    assert rate * volume == pytest.approx(air.polytropic_exponent * expansion(air) * inflow, rel=1e-12)
    assert chamber_rate(air, volume, 0.0, pressure, factor * inflow) == pytest.approx(factor * rate, rel=1e-12)
    assert chamber_rate(air, factor * volume, 0.0, pressure, inflow) == pytest.approx(rate / factor, rel=1e-12)
    assert chamber_rate(air, volume, 0.0, 0.5 * pressure, inflow) == rate


@few
@given(airs, st.floats(0.05, 500), st.floats(0, 40), st.floats(0, 1000), st.floats(-1000, 1000))
def test_growing_chamber_spends_flow_on_its_growth(
    air: Air, volume: float, growth: float, pressure: float, inflow: float
) -> None:
    """n p_ref (T/T0) q = V dp/dt + n p_abs dV/dt: what enters raises the pressure and pushes out the wall."""
    rate = chamber_rate(air, volume, growth, pressure, inflow)
    wall = air.polytropic_exponent * (pressure + air.atmosphere_mmHg) * growth * rate
    entering = air.polytropic_exponent * expansion(air) * inflow
    assert volume * rate + wall == pytest.approx(entering, rel=1e-9, abs=1e-9)
    assert abs(rate) <= abs(chamber_rate(air, volume, 0.0, pressure, inflow)) * (1.0 + 1e-12)


def test_isothermal_litre() -> None:
    """A litre of ANR air into a litre at the reference temperature adds 100 kPa: Boyle's law."""
    air = Air(polytropic_exponent=1.0)
    assert chamber_rate(air, 1000.0, 0.0, 0.0, 1000.0) * 133.322 == pytest.approx(100_000.0, rel=1e-9)
