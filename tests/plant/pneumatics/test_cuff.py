"""The bladder: how it grows, what leaks, that air is neither made nor lost, and its twin."""
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from plant.pneumatics.air import Air, expansion
from plant.pneumatics.cuff import Cuff, bladder_growth, bladder_volume, cuff_rate, linear_twin

few = settings(max_examples=60, deadline=None)
cuffs = st.from_type(Cuff)
airs = st.from_type(Air)
pressures = st.floats(0, 400)
line_mL = st.floats(0, 50)


@few
@given(cuffs, st.floats(-50, 600))
def test_growth_is_the_slope_of_volume(cuff: Cuff, pressure: float) -> None:
    """dV/dp by central differences, on both sides of zero and across it: the wall has no kink."""
    step = 1e-4 * cuff.half_growth_mmHg
    rise = bladder_volume(cuff, pressure + step) - bladder_volume(cuff, pressure - step)
    at_most = cuff.growth_mL / cuff.half_growth_mmHg
    noise = 1e-14 * (cuff.volume_mL + cuff.growth_mL) / step
    assert rise / (2.0 * step) == pytest.approx(bladder_growth(cuff, pressure), abs=2e-4 * at_most + noise)


@few
@given(cuffs, pressures, st.floats(1, 100))
def test_bladder_grows_and_stiffens(cuff: Cuff, pressure: float, more: float) -> None:
    """V0 when empty, half of the growth at p_half, all of it never; ever less growth per pressure."""
    assert bladder_volume(cuff, 0.0) == cuff.volume_mL
    half = bladder_volume(cuff, cuff.half_growth_mmHg)
    assert half == pytest.approx(cuff.volume_mL + 0.5 * cuff.growth_mL, rel=1e-12)
    assert bladder_volume(cuff, pressure) <= bladder_volume(cuff, pressure + more)
    assert bladder_volume(cuff, pressure + more) <= cuff.volume_mL + cuff.growth_mL
    assert bladder_growth(cuff, pressure) >= bladder_growth(cuff, pressure + more) >= 0.0


@few
@given(cuffs, airs, st.floats(-30, 400), line_mL, st.floats(0, 100))
def test_sealed_cuff_holds_and_a_leaking_one_falls(
    cuff: Cuff, air: Air, pressure: float, line: float, inflow: float
) -> None:
    """No flow, no change; a leak lets pressure fall towards ambient from either side; inflow raises it."""
    sealed = cuff._replace(leak_mL_s_mmHg=0.0)
    assert cuff_rate(sealed, air, pressure, 0.0, line) == 0.0
    assert cuff_rate(cuff, air, pressure, 0.0, line) * pressure <= 0.0
    assert cuff_rate(sealed, air, pressure, inflow, line) >= 0.0
    held = cuff.leak_mL_s_mmHg * pressure
    assert cuff_rate(cuff, air, pressure, held, line) == 0.0


@few
@given(cuffs, airs, st.floats(-30, 400), line_mL, st.floats(-100, 100))
def test_isothermal_air_is_conserved(cuff: Cuff, air: Air, pressure: float, line: float, inflow: float) -> None:
    """d(p_abs V)/dt = p_ref (T/T0) q for n = 1: the air in bladder and line end is what came in (ideal gas)."""
    isothermal = air._replace(polytropic_exponent=1.0)
    step = 1e-3

    def content(p: float) -> float:
        return (p + air.atmosphere_mmHg) * (bladder_volume(cuff, p) + line)

    per_pressure = (content(pressure + step) - content(pressure - step)) / (2.0 * step)
    rate = cuff_rate(cuff, isothermal, pressure, inflow, line)
    net = inflow - cuff.leak_mL_s_mmHg * pressure
    assert per_pressure * rate == pytest.approx(expansion(air) * net, rel=1e-4, abs=1e-6)


@few
@given(cuffs, airs, pressures, line_mL)
def test_more_volume_answers_more_slowly(cuff: Cuff, air: Air, pressure: float, line: float) -> None:
    """Air of the line, or a larger bladder, slows the cuff down."""
    rate = cuff_rate(cuff, air, pressure, cuff.leak_mL_s_mmHg * pressure + 1.0, line)
    larger = cuff._replace(volume_mL=2.0 * cuff.volume_mL)
    held = cuff.leak_mL_s_mmHg * pressure
    assert 0.0 < cuff_rate(larger, air, pressure, held + 1.0, line) < rate
    assert 0.0 < cuff_rate(cuff, air, pressure, held + 1.0, line + 1.0) < rate


@few
@given(cuffs, airs, st.floats(0.1, 400), line_mL)
def test_twin_is_the_slope_of_the_compiled_function(cuff: Cuff, air: Air, pressure: float, line: float) -> None:
    """A and B by central differences about the inflow that feeds the leak."""
    twin = linear_twin(cuff, air, pressure, line)
    held, step = cuff.leak_mL_s_mmHg * pressure, 1e-3
    by_pressure = cuff_rate(cuff, air, pressure + step, held, line) - cuff_rate(cuff, air, pressure - step, held, line)
    by_flow = cuff_rate(cuff, air, pressure, held + 1.0, line) - cuff_rate(cuff, air, pressure, held - 1.0, line)
    assert by_pressure / (2.0 * step) == pytest.approx(twin.a[0, 0], rel=1e-4, abs=1e-9)
    assert by_flow / 2.0 == pytest.approx(twin.b[0, 0], rel=1e-9)
    np.testing.assert_array_equal((twin.c, twin.d), ([[1.0]], [[0.0]]))
    assert (twin.inputs, twin.outputs) == (("line_flow",), ("cuff_pressure",))
